//! The key below a state diagram: for each numbered line the road speeds at which its steps may be
//! taken, and for each pair of arrangements that is refused the reason. All from the table.

use supervisor::table::{Stuck, WAYS, Why, Window};

use super::Edge;
use crate::driveline::Driveline;
use crate::picture::palette::text_width;
use crate::picture::svg::{Anchor, Svg};
use crate::table::{TableData, path, why_word};

/// Height of a line, px, and size of its words.
const LINE: f64 = 15.0;
const SIZE: f64 = 10.5;
/// Between two columns, px.
const GAP: f64 = 26.0;

/// What stands below the diagram.
pub(super) struct Key {
    steps: Vec<(usize, String)>,
    refusals: Vec<String>,
}

impl Key {
    /// For the lines of a diagram in their order; `lock` gives the lock of a line.
    pub(super) fn new(d: &Driveline, data: &TableData, edges: &[(u8, &Edge)]) -> Key {
        let steps = edges.iter().enumerate();
        let steps = steps.map(|(i, &(lock, edge))| (i + 1, line(d, data, lock, edge))).collect();
        Key { steps, refusals: refusals(d, data) }
    }

    /// Width of the widest line of steps.
    fn widest(&self) -> f64 {
        let widths = self.steps.iter().map(|(_, words)| text_width(words, SIZE) + 30.0);
        widths.fold(1.0, f64::max)
    }

    /// Width that the key needs at least.
    pub(super) fn width(&self) -> f64 {
        let refused = self.refusals.iter().map(|words| text_width(words, SIZE));
        refused.fold(self.widest(), f64::max)
    }

    fn columns(&self, width: f64) -> usize {
        let fit = ((width + GAP) / (self.widest() + GAP)).floor().max(1.0) as usize;
        fit.min(self.steps.len().max(1))
    }

    /// Height in a picture of this width.
    pub(super) fn height(&self, width: f64) -> f64 {
        let rows = self.steps.len().div_ceil(self.columns(width));
        2.0 * LINE + LINE * rows as f64 + 10.0 + LINE * (1 + self.refusals.len().max(1)) as f64
    }

    /// Draw it with its upper left corner at `at`.
    pub(super) fn draw(&self, svg: &mut Svg, (left, top): (f64, f64), width: f64) {
        let columns = self.columns(width);
        let rows = self.steps.len().div_ceil(columns);
        let head =
            "Numbered lines: road speeds and torque at the output at which the step may be taken";
        svg.text((left, top + 11.0), Anchor::Start, head, "class=\"name\"");
        for (i, (number, words)) in self.steps.iter().enumerate() {
            let x = left + (i / rows) as f64 * (self.widest() + GAP);
            let y = top + 11.0 + LINE * (1 + i % rows) as f64;
            svg.text((x + 18.0, y), Anchor::End, &number.to_string(), "class=\"small number\"");
            svg.text((x + 26.0, y), Anchor::Start, words, "class=\"small\"");
        }
        let mut y = top + 11.0 + LINE * (1 + rows) as f64 + 10.0;
        svg.text((left, y), Anchor::Start, "Refused by the table", "class=\"name\"");
        let none = ["nothing: at some speed every pair of arrangements has a way".to_owned()];
        let list = if self.refusals.is_empty() { &none[..] } else { &self.refusals[..] };
        for words in list {
            y += LINE;
            svg.text((left, y), Anchor::Start, words, "class=\"small\"");
        }
    }
}

/// What the steps of a line ask for.
fn line(d: &Driveline, data: &TableData, lock: u8, edge: &Edge) -> String {
    let mut words = d.locks[usize::from(lock)].name.clone();
    for (verb, steps) in [("close", &edge.close), ("open", &edge.open)] {
        // Steps of one line differ by what the machines do; their windows mostly do not.
        let mut told: Vec<String> = Vec::new();
        for &number in steps {
            let step = &data.steps[usize::from(number)];
            let mut asks = window(d, &step.window);
            if step.demand_max < f32::MAX {
                asks += &format!(" up to {:.0} Nm", step.demand_max);
            }
            if !step.keeps_push {
                asks += " without push";
            }
            if !told.contains(&asks) {
                told.push(asks);
            }
        }
        if !told.is_empty() {
            words += &format!("; {verb} {}", told.join(", or "));
        }
    }
    words.replacen(';', ":", 1)
}

/// A window of output speed as road speeds, cut at the vehicle's highest.
fn window(d: &Driveline, window: &Window) -> String {
    let per_kmh = d.output_radps_per_kmh();
    let (unit, scale) = per_kmh.map_or(("rad/s", 1.0), |per| ("km/h", per));
    let (a, b) = (f64::from(window.min) / scale, f64::from(window.max) / scale);
    let (low, high) = if scale < 0.0 { (b, a) } else { (a, b) };
    let most = match (&d.vehicle, per_kmh) {
        (Some(vehicle), Some(_)) => vehicle.max_speed_kmh,
        _ => 1e6,
    };
    match () {
        () if low > high => "at no speed".to_owned(),
        () if low <= -most && high >= most => "at any speed".to_owned(),
        () => format!("{:.1} to {:.1} {unit}", low.max(-most), high.min(most))
            .replace('-', "\u{2212}"),
    }
}

/// Pairs that no way joins, or that can never both stand, with the reason.
fn refusals(d: &Driveline, data: &TableData) -> Vec<String> {
    let mut list = Vec::new();
    for (a, from) in d.arrangements.iter().enumerate() {
        for (b, to) in d.arrangements.iter().enumerate().filter(|(b, _)| *b != a) {
            let ends =
                (0..WAYS as u8).map(|way| path(data, way, Stuck::None, from.closed, b as u8).1);
            let ends: Vec<Result<(), Why>> = ends.collect();
            let pair = format!("{} to {}", from.name, to.name);
            let (wa, wb) = (&data.arrangements[a].window, &data.arrangements[b].window);
            if let (true, Err(why)) = (ends.iter().all(Result::is_err), ends[0]) {
                list.push(format!("{pair}: {}", why_word(why).replace('-', " ")));
            } else if wa.min.max(wb.min) >= wa.max.min(wb.max) {
                list.push(format!(
                    "{pair}: no common speed ({} and {})",
                    window(d, wa),
                    window(d, wb)
                ));
            }
        }
    }
    list
}
