//! Lever diagrams: each planetary set as a straight line through the speeds of its members, with
//! lengths in proportion to tooth counts; shafts of no set stand beside as bars.
//!
//! The lever analogy: H. L. Benford and M. B. Leising, "The Lever Analogy: A New Tool in
//! Transmission Analysis", SAE 810102 (1981; from memory).

use super::palette::{self, text_width};
use super::scale::{tick_text, ticks};
use super::svg::{Anchor, Svg};
use crate::driveline::{Driveline, Planet, Planetary, ShaftId};

/// Height of the plot, px, and where it begins.
pub const TOP: f64 = 34.0;
/// Height of the plot, px.
pub const HEIGHT: f64 = 210.0;
const LEFT: f64 = 58.0;
const SET: f64 = 190.0;
const GAP: f64 = 56.0;
const BAR: f64 = 76.0;

const STYLE: &str = ".sw .tick{font-size:10.5px;fill:var(--sw-soft)}\
.sw .grid{stroke:var(--sw-grid)}.sw .zero{stroke:var(--sw-line);stroke-width:1.4}\
.sw .lever{stroke:var(--sw-power);stroke-width:3;fill:none}\
.sw .drop{stroke:var(--sw-line);stroke-dasharray:4 3}\
.sw .dot{fill:var(--sw-paper);stroke:var(--sw-ink);stroke-width:1.6}\
.sw .speed{paint-order:stroke;stroke:var(--sw-paper);stroke-width:4px;font-weight:600}";

/// What a lever diagram shows.
#[derive(Clone, Copy, Debug)]
pub struct Levers<'a> {
    /// Speeds of all shafts, rpm.
    pub rpm: &'a [f64],
    /// Ends of the axis, rpm; see [`axis`].
    pub range: (f64, f64),
    /// Its title, which is drawn where there is room beside the words "rpm".
    pub title: &'a str,
    /// Torques of all machines, Nm, where they are to stand below their shafts.
    pub machine_nm: &'a [f64],
}

/// Members of a set with their places along the lever, 0 to 1.
pub fn members(p: &Planetary) -> [(&'static str, ShaftId, f64); 3] {
    let (sun, ring) = (f64::from(p.sun_teeth), f64::from(p.ring_teeth));
    match p.planet {
        // The carrier divides the way from sun to ring as ring teeth to sun teeth.
        Planet::Single => [
            ("sun", p.sun, 0.0),
            ("carrier", p.carrier, ring / (sun + ring)),
            ("ring", p.ring, 1.0),
        ],
        Planet::Double => [
            ("sun", p.sun, 0.0),
            ("ring", p.ring, (ring - sun) / ring),
            ("carrier", p.carrier, 1.0),
        ],
    }
}

/// Shafts that belong to no planetary set.
fn others(d: &Driveline) -> Vec<ShaftId> {
    let in_set = |s: &ShaftId| d.planetaries.iter().any(|p| [p.sun, p.ring, p.carrier].contains(s));
    (0..d.shafts.len()).filter(|s| !in_set(s)).collect()
}

/// Ends of the axis for speeds from `low` to `high`, rpm: a little more on either side.
pub fn axis((low, high): (f64, f64)) -> (f64, f64) {
    let room = 0.12 * (high - low).max(100.0);
    (low.min(0.0) - room, high.max(0.0) + room)
}

/// Least and most of some speeds, and zero.
pub fn range(rpm: &[f64]) -> (f64, f64) {
    rpm.iter().fold((0.0, 0.0), |(low, high): (f64, f64), &v| (low.min(v), high.max(v)))
}

/// Room for the names below neighbours, px: what the longest name of a shaft takes.
fn pitch(d: &Driveline) -> f64 {
    let names = d.shafts.iter().map(|s| text_width(&s.name, 11.0));
    let machines = d.machines.iter().map(|m| text_width(&m.name, 11.0));
    names.chain(machines).fold(0.0, f64::max)
}

/// Width of a lever: its members stand at least a name apart.
fn set_width(p: &Planetary, pitch: f64) -> f64 {
    let at = members(p).map(|m| m.2);
    let least = (at[1] - at[0]).min(at[2] - at[1]).max(0.05);
    ((pitch + 8.0) / least).clamp(SET, 3.0 * SET)
}

/// The diagram at some speeds, rpm, on an axis; what is held stands on the zero line.
pub fn levers(d: &Driveline, shown: &Levers) -> String {
    let others = others(d);
    let pitch = pitch(d);
    let widths: Vec<f64> = d.planetaries.iter().map(|p| set_width(p, pitch)).collect();
    let gap = GAP.max(pitch);
    let bar = BAR.max(pitch + 8.0);
    let sets: f64 = widths.iter().map(|w| w + gap).sum();
    let width = (LEFT + sets + others.len() as f64 * bar + 40.0).max(300.0);
    let speeds: Vec<String> = (d.shafts.iter().zip(shown.rpm))
        .map(|(shaft, v)| format!("{} {v:.0} rpm", shaft.name))
        .collect();
    let about = format!("Speeds: {}.", speeds.join(", "));
    let mut svg = Svg::themed(width, TOP + HEIGHT + 60.0, shown.title, &about, STYLE);
    let range = shown.range;
    let up = |v: f64| TOP + HEIGHT * (range.1 - v) / (range.1 - range.0);
    scale(&mut svg, range, width - 12.0, up);
    let mut left = LEFT + 30.0;
    for (set, wide) in d.planetaries.iter().zip(widths) {
        let places = members(set).map(|(member, s, at)| (member, s, left + wide * at));
        let line: Vec<(f64, f64)> = places.iter().map(|&(_, s, x)| (x, up(shown.rpm[s]))).collect();
        let data: Vec<String> = places.iter().map(|&(_, s, x)| format!("{s}:{x:.1}")).collect();
        let attributes = format!("class=\"lever\" data-lever=\"{}\"", data.join(" "));
        svg.path(&[line[0], line[2]], false, &attributes);
        svg.text((left, 16.0), Anchor::Start, &format!("set {}", set.name), "class=\"sub\"");
        for (member, shaft, x) in places {
            point(&mut svg, d, shown, shaft, (x, &up), member);
        }
        left += wide + gap;
    }
    for (i, &shaft) in others.iter().enumerate() {
        point(&mut svg, d, shown, shaft, (left + 4.0 + i as f64 * bar, &up), "");
    }
    svg.finish()
}

/// One shaft: a mark at its speed, in the colour of its machine, and words below.
fn point(
    svg: &mut Svg,
    d: &Driveline,
    shown: &Levers,
    shaft: ShaftId,
    (x, up): (f64, &dyn Fn(f64) -> f64),
    member: &str,
) {
    let rpm = shown.rpm[shaft];
    let y = up(rpm);
    svg.line((x, up(0.0)), (x, y), &format!("class=\"drop\" data-drop=\"{shaft}\""));
    let machines = || d.machines.iter().enumerate().filter(|(_, m)| m.shaft == shaft);
    let fill = match machines().next() {
        Some((m, _)) => format!(" style=\"fill:{}\"", palette::machine(m)),
        None => String::new(),
    };
    svg.rect(x - 4.5, y - 4.5, 9.0, 9.0, &format!("class=\"dot\" data-dot=\"{shaft}\"{fill}"));
    let words = format!("class=\"speed\" data-speed=\"{shaft}\"");
    svg.text((x, y - 9.0), Anchor::Middle, &format!("{rpm:.0}").replace('-', "\u{2212}"), &words);
    let below = |line: f64| (x, TOP + HEIGHT + 16.0 + 14.0 * line);
    svg.text(below(0.0), Anchor::Middle, &d.shafts[shaft].name, "class=\"name\"");
    let mut line = 1.0;
    if !member.is_empty() {
        svg.text(below(line), Anchor::Middle, member, "class=\"sub\"");
        line += 1.0;
    }
    let named: Vec<String> = machines()
        .map(|(m, machine)| match shown.machine_nm.get(m) {
            Some(nm) if *nm != 0.0 => format!("{} {nm:.0} Nm", machine.name),
            _ => machine.name.clone(),
        })
        .collect();
    svg.text(below(line), Anchor::Middle, &named.join(", "), "class=\"sub\"");
}

fn scale(svg: &mut Svg, range: (f64, f64), right: f64, up: impl Fn(f64) -> f64) {
    let list = ticks(range.0, range.1, 6);
    let step = list.get(1).map_or(1.0, |b| b - list[0]);
    for value in list {
        let class = if value == 0.0 { "class=\"zero\"" } else { "class=\"grid\"" };
        svg.line((LEFT, up(value)), (right, up(value)), class);
        let text = tick_text(value, step);
        svg.text((LEFT - 6.0, up(value) + 4.0), Anchor::End, &text, "class=\"tick\"");
    }
    svg.text((4.0, 16.0), Anchor::Start, "rpm", "class=\"tick\"");
}
