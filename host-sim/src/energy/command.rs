//! The command `slipwarden energy FILE`.

use std::io::IsTerminal;
use std::path::Path;

use super::map::{Mode, axes, maps, price_on_board};
use super::model::Model;
use super::{cruise, data, stop, text};
use crate::driveline::{Driveline, Purpose, command};
use crate::input::{self, print};

/// What the command line says.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Road speeds of the cruise table, km/h.
    pub speeds: Vec<f64>,
    /// Slopes of the cruise table, percent.
    pub slopes: Vec<f64>,
    /// Price of battery energy; `None`: what making it on board takes.
    pub price: Option<f64>,
    /// Speeds and forces of the map.
    pub grid: (usize, usize),
    /// Threads; `None`: as many as the machine has.
    pub threads: Option<usize>,
    /// JSON instead of text.
    pub json: bool,
    /// CSV of the maps instead of text.
    pub csv: bool,
    /// Folder for pictures.
    pub svg: Option<std::path::PathBuf>,
}

/// A driveline with its energy model.
pub struct Modelled {
    /// The driveline with kinematics.
    pub surveyed: input::Surveyed,
    /// Its energy model.
    pub model: Model,
}

impl Modelled {
    /// The driveline.
    pub fn driveline(&self) -> &Driveline {
        &self.surveyed.checked.driveline
    }
}

/// Read a file and make its model; complaints go to stderr.
///
/// # Errors
/// The exit code, 2.
pub fn model(file: &str) -> Result<Modelled, i32> {
    let surveyed = input::survey(file)?;
    if let Err(missing) = surveyed.checked.ready_for(Purpose::Plant) {
        eprint!("{}", missing.render(command::colour()));
        return Err(2);
    }
    let folder = Path::new(file).parent();
    let model = Model::new(&surveyed.checked.driveline, &surveyed.kinematics, folder).map_err(
        |message| {
            eprint!("{message}");
            2
        },
    )?;
    Ok(Modelled { surveyed, model })
}

/// Threads to use.
pub fn threads(asked: Option<usize>) -> usize {
    asked.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
}

/// Progress on a terminal: one line, rewritten, and wiped at the end.
pub fn tell(what: &'static str) -> impl Fn(usize, usize) + Sync {
    let terminal = std::io::stderr().is_terminal();
    move |done, total| {
        if terminal && done < total {
            eprint!("\r{what}: {} % ", 100 * done / total);
        } else if terminal {
            eprint!("\r\x1b[K");
        }
    }
}

/// Run `energy`; returns the exit code.
pub fn energy(options: &Options) -> i32 {
    let m = match model(&options.file) {
        Ok(m) => m,
        Err(code) => return code,
    };
    stop::listen();
    let (d, model) = (m.driveline(), &m.model);
    let top = model.road.max_mps * 3.6;
    if let Some(kmh) = options.speeds.iter().find(|v| !(**v > 0.0 && **v <= top)) {
        eprintln!("error: {kmh} km/h is not above 0 and at most {top:.0}, the vehicle's highest");
        eprintln!("    fix: choose other speeds for --speeds");
        return 2;
    }
    let price = options.price.unwrap_or_else(|| price_on_board(model));
    let modes = Mode::ALL.map(|mode| (mode, price));
    let axes = axes(model, options.grid.0, options.grid.1);
    let threads = threads(options.threads);
    let maps = maps(model, d.arrangements.len(), &modes, &axes, threads, &tell("map"));
    let speeds = match options.speeds.is_empty() {
        true => cruise::usual_speeds(model),
        false => options.speeds.clone(),
    };
    let slopes = if options.slopes.is_empty() { vec![0.0, 4.0] } else { options.slopes.clone() };
    let list = cruise::cruises(model, d.arrangements.len(), &speeds, &slopes);
    let _whole = stop::deliver();
    if let Some(folder) = &options.svg
        && let Err(code) =
            super::pictures::write(folder, d, model, &text::shown(model, maps.clone()), &list)
    {
        return code;
    }
    if options.json {
        let mut value = data::json(d, model, price, &maps, &list);
        // What the figures are of, for whoever gathers them as evidence.
        value["file_sha256"] = crate::review::file_hash(&options.file).into();
        return print(&format!("{value:#}\n"));
    }
    if options.csv {
        return print(&data::csv(d, &maps));
    }
    let mut out = text::head(d, model, price);
    for map in &text::shown(model, maps) {
        out += &text::map(d, model, map);
    }
    print(&(out + &text::cruises(d, model, &list)))
}
