//! Pictures of energy figures: maps, contours, bars, levers.

mod bars;
mod contours;
mod frame;
mod lever;
mod maps;

pub use bars::cruise_bars;
pub use contours::efficiencies;
pub(super) use frame::{Axis, Frame, fill, legend, picture};
pub use lever::lever_diagram;
pub use maps::{gains, winners};

use std::path::Path;

use super::cruise::Cruise;
use super::map::{Map, Mode};
use super::model::Model;
use crate::driveline::Driveline;

/// All pictures with their file names.
pub fn all(d: &Driveline, maps: &[Map], cruises: &[Cruise]) -> Vec<(String, String)> {
    let mut list = Vec::new();
    for map in maps {
        list.push((format!("best-{}.svg", map.mode.word()), winners(d, map)));
        list.push((format!("gain-{}.svg", map.mode.word()), gains(d, map)));
    }
    for (i, a) in d.arrangements.iter().enumerate() {
        // An arrangement that runs the engine is shown with the battery held.
        let engine = maps.iter().flat_map(|m| &m.cells).filter_map(|c| c.entries[i].as_ref());
        let mode = if engine.clone().any(|e| e.engine_on) { Mode::Held } else { Mode::Depleting };
        if let Some(map) = maps.iter().find(|m| m.mode == mode).filter(|m| contours::any(m, i)) {
            list.push((format!("efficiency-{}.svg", a.name), efficiencies(d, map, i)));
        }
    }
    list.push(("cruise.svg".to_string(), cruise_bars(d, cruises)));
    let middle = cruises.iter().filter(|c| c.entry.feasible()).map(|c| c.kmh).fold(0.0, f64::max);
    for c in cruises.iter().filter(|c| c.entry.feasible() && c.kmh == middle) {
        let name = format!("lever-{}-{:.0}.svg", d.arrangements[c.arrangement].name, c.kmh);
        if !d.planetaries.is_empty() && !list.iter().any(|l| l.0 == name) {
            list.push((name, lever_diagram(d, c)));
        }
    }
    list
}

/// Write all pictures into a folder, which is made if need be.
///
/// # Errors
/// The exit code, 2, after a complaint.
pub fn write(
    folder: &Path,
    d: &Driveline,
    _model: &Model,
    maps: &[Map],
    cruises: &[Cruise],
) -> Result<(), i32> {
    write_files(folder, &all(d, maps, cruises))
}

/// Write files into a folder, which is made if need be.
///
/// # Errors
/// The exit code, 2, after a complaint.
pub fn write_files(folder: &Path, files: &[(String, String)]) -> Result<(), i32> {
    let cannot = |what: &Path, error: std::io::Error| {
        eprintln!("error: {} cannot be written: {error}", what.display());
        eprintln!("    fix: choose a folder that can be made and written");
        2
    };
    std::fs::create_dir_all(folder).map_err(|e| cannot(folder, e))?;
    for (name, text) in files {
        let path = folder.join(name);
        std::fs::write(&path, text).map_err(|e| cannot(&path, e))?;
    }
    Ok(())
}
