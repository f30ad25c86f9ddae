//! Lever diagrams: each planetary set as a straight line through the speeds of its members, with
//! lengths in proportion to tooth counts; shafts of no set stand beside as bars.
//!
//! The lever analogy: H. L. Benford and M. B. Leising, "The Lever Analogy: A New Tool in
//! Transmission Analysis", SAE 810102 (1981; from memory).

use crate::driveline::{Driveline, Planet, Planetary, ShaftId};
use crate::picture::scale::{tick_text, ticks};
use crate::picture::svg::{Anchor, Svg};

/// Height of the plot, px, and where it begins.
pub(super) const TOP: f64 = 34.0;
pub(super) const HEIGHT: f64 = 210.0;
const LEFT: f64 = 58.0;
const SET: f64 = 190.0;
const GAP: f64 = 56.0;
const BAR: f64 = 76.0;

/// Members of a set with their places along the lever, 0 to 1.
fn members(p: &Planetary) -> [(&'static str, ShaftId, f64); 3] {
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
pub(super) fn axis((low, high): (f64, f64)) -> (f64, f64) {
    let room = 0.12 * (high - low).max(100.0);
    (low.min(0.0) - room, high.max(0.0) + room)
}

/// The diagram at some speeds, rpm, on an axis; what is held stands on the zero line.
pub(super) fn levers(d: &Driveline, rpm: &[f64], range: (f64, f64), title: &str) -> String {
    let others = others(d);
    let sets = d.planetaries.len() as f64;
    let width = LEFT + sets * (SET + GAP) + others.len() as f64 * BAR + 40.0;
    let speeds: Vec<String> =
        d.shafts.iter().zip(rpm).map(|(shaft, v)| format!("{} {v:.0} rpm", shaft.name)).collect();
    let about = format!("Speeds: {}.", speeds.join(", "));
    let mut svg = Svg::new(width.max(300.0), TOP + HEIGHT + 44.0, title, &about, "");
    svg.group("lever");
    let up = |v: f64| TOP + HEIGHT * (range.1 - v) / (range.1 - range.0);
    scale(&mut svg, range, width.max(300.0) - 12.0, up);
    let point = |svg: &mut Svg, shaft: ShaftId, x: f64, member: &str| {
        let y = up(rpm[shaft]);
        svg.line((x, up(0.0)), (x, y), &format!("class=\"drop\" data-drop=\"{shaft}\""));
        svg.rect(x - 4.5, y - 4.5, 9.0, 9.0, &format!("class=\"dot\" data-dot=\"{shaft}\""));
        let words = format!("class=\"speed\" data-speed=\"{shaft}\"");
        svg.text((x, y - 9.0), Anchor::Middle, &format!("{:.0}", rpm[shaft]), &words);
        svg.text((x, TOP + HEIGHT + 16.0), Anchor::Middle, &d.shafts[shaft].name, "class=\"name\"");
        svg.text((x, TOP + HEIGHT + 31.0), Anchor::Middle, member, "class=\"soft\"");
    };
    for (i, set) in d.planetaries.iter().enumerate() {
        let left = LEFT + 30.0 + i as f64 * (SET + GAP);
        let places = members(set).map(|(member, s, at)| (member, s, left + SET * at));
        let line: Vec<(f64, f64)> = places.iter().map(|&(_, s, x)| (x, up(rpm[s]))).collect();
        let data: Vec<String> = places.iter().map(|&(_, s, x)| format!("{s}:{x:.1}")).collect();
        let attributes = format!("class=\"bar\" data-lever=\"{}\"", data.join(" "));
        svg.path(&[line[0], line[2]], false, &attributes);
        svg.text((left, 16.0), Anchor::Start, &format!("set {}", set.name), "class=\"soft\"");
        for (member, shaft, x) in places {
            point(&mut svg, shaft, x, member);
        }
    }
    let from = LEFT + 34.0 + sets * (SET + GAP);
    for (i, &shaft) in others.iter().enumerate() {
        point(&mut svg, shaft, from + i as f64 * BAR, "");
    }
    svg.end();
    svg.finish()
}

fn scale(svg: &mut Svg, range: (f64, f64), right: f64, up: impl Fn(f64) -> f64) {
    let list = ticks(range.0, range.1, 6);
    let step = list.get(1).map_or(1.0, |b| b - list[0]);
    for value in list {
        let class = if value == 0.0 { "class=\"zero\"" } else { "class=\"grid\"" };
        svg.line((LEFT, up(value)), (right, up(value)), class);
        let text = tick_text(value, step);
        svg.text((LEFT - 6.0, up(value) + 4.0), Anchor::End, &text, "class=\"soft\"");
    }
    svg.text((4.0, 16.0), Anchor::Start, "rpm", "class=\"soft\"");
}
