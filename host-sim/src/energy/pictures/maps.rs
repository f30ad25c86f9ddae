//! The winner map and the gain map.

use super::frame::{Axis, Frame, fill, legend, picture};
use crate::driveline::Driveline;
use crate::energy::map::{Cell, Map, Mode};
use crate::picture::palette::{SHADES, role};
use crate::picture::svg::Svg;

/// Steps of the gain, shares of the second best.
const STEPS: [f64; 5] = [0.01, 0.02, 0.05, 0.10, 0.20];

/// How the battery is treated, for titles.
pub(super) fn mode_words(mode: Mode) -> &'static str {
    match mode {
        Mode::Held => "battery held",
        Mode::Depleting => "battery used first",
        Mode::Priced => "battery energy at its price on board",
    }
}

fn half(values: &[f64]) -> f64 {
    0.5 * values.get(1).map_or(1.0, |b| b - values[0]).abs()
}

/// The frame of a map; cells reach half a step around their middle.
pub(super) fn frame(map: &Map) -> Frame<'static> {
    let (dv, df) = (half(&map.speeds_mps) * 3.6, half(&map.forces_n) / 1e3);
    let ends =
        |list: &[f64]| (list.first().copied().unwrap_or(0.0), list.last().copied().unwrap_or(1.0));
    let ((v0, v1), (f0, f1)) = (ends(&map.speeds_mps), ends(&map.forces_n));
    Frame {
        left: 70.0,
        top: 42.0,
        width: 520.0,
        height: 400.0,
        x: Axis { low: v0 * 3.6 - dv, high: v1 * 3.6 + dv, words: "road speed in km/h" },
        y: Axis { low: f0 / 1e3 - df, high: f1 / 1e3 + df, words: "wheel force in kN" },
    }
}

/// Rectangles over cells; neighbours in a column with the same attributes become one.
fn tiles(svg: &mut Svg, map: &Map, look: impl Fn(&Cell) -> Option<String>) {
    let at = frame(map);
    let (dv, df) = (half(&map.speeds_mps) * 3.6, half(&map.forces_n) / 1e3);
    for (s, v) in map.speeds_mps.iter().enumerate() {
        let mut f = 0;
        while f < map.forces_n.len() {
            let begun = f;
            let attributes = look(map.cell(s, f));
            while f < map.forces_n.len() && look(map.cell(s, f)) == attributes {
                f += 1;
            }
            let Some(attributes) = attributes else { continue };
            let (x0, x1) = (at.across(v * 3.6 - dv), at.across(v * 3.6 + dv));
            let top = at.up(map.forces_n[f - 1] / 1e3 + df);
            let bottom = at.up(map.forces_n[begun] / 1e3 - df);
            svg.rect(x0, top, x1 - x0, bottom - top, &attributes);
        }
    }
}

/// Which arrangement is best where.
pub fn winners(d: &Driveline, map: &Map) -> String {
    let title = format!("{}: best arrangement, {}", d.name, mode_words(map.mode));
    let count = |i| map.cells.iter().filter(|c| c.winner == Some(i)).count();
    let shares: Vec<String> = d
        .arrangements
        .iter()
        .enumerate()
        .map(|(i, a)| {
            format!("{} {:.0} %", a.name, 100.0 * count(i) as f64 / map.cells.len() as f64)
        })
        .collect();
    let about = format!(
        "Map over road speed and wheel force. Share of the map in which each is best: {}. Empty: \
         none can.",
        shares.join(", ")
    );
    let mut svg = picture(780.0, 500.0, &title, &about);
    let at = frame(map);
    tiles(&mut svg, map, |c| c.winner.map(fill));
    at.grid(&mut svg);
    at.axes(&mut svg);
    let names: Vec<(usize, String)> =
        d.arrangements.iter().enumerate().map(|(i, a)| (i, a.name.clone())).collect();
    legend(&mut svg, (606.0, 50.0), &names);
    svg.finish()
}

/// How much the best saves against the second best.
pub fn gains(d: &Driveline, map: &Map) -> String {
    let title = format!("{}: saving against the second best, {}", d.name, mode_words(map.mode));
    let list: Vec<f64> = map.cells.iter().filter_map(Cell::gain_share).collect();
    let most = list.iter().copied().fold(0.0, f64::max);
    let mean = list.iter().sum::<f64>() / list.len().max(1) as f64;
    let about = format!(
        "Map over road speed and wheel force; the stronger the shade, the more it saves. Mean {:.1} %, most {:.1} %. \
         Empty: fewer than two can, or braking gives energy back.",
        100.0 * mean,
        100.0 * most
    );
    let mut svg = picture(780.0, 500.0, &title, &about);
    let at = frame(map);
    tiles(&mut svg, map, |c| {
        let level = STEPS.iter().filter(|s| c.gain_share().is_some_and(|g| g >= **s)).count();
        c.gain_share().map(|_| format!("fill=\"{}\"", role(SHADES[level].0)))
    });
    at.grid(&mut svg);
    at.axes(&mut svg);
    for (i, (shade, ..)) in SHADES.iter().enumerate() {
        let y = 50.0 + 22.0 * i as f64;
        let attributes = format!("fill=\"{}\" class=\"edged\"", role(shade));
        svg.rect(606.0, y, 26.0, 16.0, &attributes);
        let name = match (i.checked_sub(1).map(|k| STEPS[k]), STEPS.get(i)) {
            (None, Some(b)) => format!("below {:.0} %", 100.0 * b),
            (Some(a), Some(b)) => format!("{:.0} to {:.0} %", 100.0 * a, 100.0 * b),
            (Some(a), None) => format!("{:.0} % and more", 100.0 * a),
            (None, None) => String::new(),
        };
        svg.text((639.0, y + 12.0), crate::picture::svg::Anchor::Start, &name, "");
    }
    svg.finish()
}
