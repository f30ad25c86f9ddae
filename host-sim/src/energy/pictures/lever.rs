//! The lever diagram of an operating point: each planetary set as a straight line through the
//! speeds of its three members (lever analogy: lengths in proportion to tooth counts).

use super::frame::{Axis, Frame, picture};
use crate::driveline::{Driveline, Planet, Planetary};
use crate::energy::RPM;
use crate::energy::cruise::Cruise;
use crate::picture::svg::{Anchor, Svg};

const WIDE: f64 = 300.0;

/// Members with their places along the lever, 0 to 1.
fn members(p: &Planetary) -> [(&'static str, usize, f64); 3] {
    let (zs, zr) = (f64::from(p.sun_teeth), f64::from(p.ring_teeth));
    match p.planet {
        // The carrier divides the way from sun to ring as ring teeth to sun teeth.
        Planet::Single => {
            [("sun", p.sun, 0.0), ("carrier", p.carrier, zr / (zs + zr)), ("ring", p.ring, 1.0)]
        }
        Planet::Double => {
            [("sun", p.sun, 0.0), ("ring", p.ring, (zr - zs) / zr), ("carrier", p.carrier, 1.0)]
        }
    }
}

/// The diagram of one cruise point.
pub fn lever_diagram(d: &Driveline, c: &Cruise) -> String {
    let p = &c.entry.point;
    let rpm = |s: usize| p.speed[s] / RPM;
    let name = &d.arrangements[c.arrangement].name;
    let title = format!("{}: levers of {name} at {:.0} km/h, slope {} %", d.name, c.kmh, c.percent);
    let speeds: Vec<String> =
        (0..d.shafts.len()).map(|s| format!("{} {:.0} rpm", d.shafts[s].name, rpm(s))).collect();
    let about = format!(
        "Each planetary set is a straight line through the speeds of sun, carrier and ring; \
         lengths in proportion to tooth counts. Speeds: {}.",
        speeds.join(", ")
    );
    let sets = d.planetaries.len().max(1) as f64;
    let mut svg = picture(110.0 + sets * (WIDE + 90.0), 500.0, &title, &about);
    let all = d.planetaries.iter().flat_map(|p| members(p).map(|m| rpm(m.1)));
    let (low, high) = all.fold((0.0f64, 0.0f64), |r, x| (r.0.min(x), r.1.max(x)));
    let room = 0.12 * (high - low).max(100.0);
    for (i, set) in d.planetaries.iter().enumerate() {
        let frame = Frame {
            left: 80.0 + i as f64 * (WIDE + 90.0),
            top: 62.0,
            width: WIDE,
            height: 360.0,
            x: Axis { low: -0.12, high: 1.12, words: "" },
            y: Axis { low: low - room, high: high + room, words: "speed in rpm" },
        };
        one(&mut svg, d, c, set, &frame);
    }
    svg.finish()
}

fn one(svg: &mut Svg, d: &Driveline, c: &Cruise, set: &Planetary, frame: &Frame) {
    let p = &c.entry.point;
    let rpm = |s: usize| p.speed[s] / RPM;
    svg.text((frame.left, frame.top - 10.0), Anchor::Start, &format!("set {}", set.name), "");
    axis(svg, frame);
    let points = members(set).map(|(_, s, at)| (frame.across(at), frame.up(rpm(s))));
    svg.path(&[points[0], points[2]], false, "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"3\"");
    let zero = frame.up(0.0);
    for ((member, shaft, at), (x, y)) in members(set).into_iter().zip(points) {
        svg.line(
            (x, zero),
            (x, y),
            "stroke=\"#1b2733\" stroke-width=\"1\" stroke-dasharray=\"4 3\"",
        );
        let dot = "fill=\"#d55e00\" stroke=\"#1b2733\"";
        svg.rect(x - 4.5, y - 4.5, 9.0, 9.0, dot);
        let above = if rpm(shaft) >= 0.0 { -12.0 } else { 20.0 };
        let text = format!("{:.0} rpm", rpm(shaft));
        svg.text((x, y + above), Anchor::Middle, &text, "class=\"small halo\"");
        let bottom = frame.top + frame.height;
        let shown = frame.across(at);
        svg.text((shown, bottom + 18.0), Anchor::Middle, member, "");
        svg.text((shown, bottom + 33.0), Anchor::Middle, &d.shafts[shaft].name, "class=\"small\"");
        let on: Vec<String> = d
            .machines
            .iter()
            .enumerate()
            .filter(|(m, machine)| machine.shaft == shaft && p.torque[*m] != 0.0)
            .map(|(m, machine)| format!("{} {:.0} Nm", machine.name, p.torque[m]))
            .collect();
        svg.text((shown, bottom + 48.0), Anchor::Middle, &on.join(", "), "class=\"small\"");
    }
}

fn axis(svg: &mut Svg, frame: &Frame) {
    let bottom = frame.top + frame.height;
    svg.line((frame.left, frame.top), (frame.left, bottom), "class=\"axis\"");
    let zero = frame.up(0.0);
    svg.line((frame.left, zero), (frame.left + frame.width, zero), "class=\"axis\"");
    let list = crate::picture::scale::ticks(frame.y.low, frame.y.high, 8);
    let step = list.get(1).map_or(1.0, |b| b - list[0]);
    for y in list {
        let at = frame.up(y);
        svg.line((frame.left - 4.0, at), (frame.left, at), "class=\"axis\"");
        let text = crate::picture::scale::tick_text(y, step);
        svg.text((frame.left - 7.0, at + 4.0), Anchor::End, &text, "class=\"small\"");
    }
    let (x, y) = (frame.left - 50.0, 0.5 * (frame.top + bottom));
    let turn = format!("transform=\"rotate(-90 {x:.1} {y:.1})\"");
    svg.text((x, y), Anchor::Middle, frame.y.words, &turn);
}
