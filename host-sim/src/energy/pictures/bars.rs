//! Cruise as bars: what is lost where, beside what the wheels get.

use super::frame::{Axis, Frame, fill, legend, picture};
use crate::driveline::Driveline;
use crate::energy::cruise::Cruise;
use crate::energy::text::loss_list;
use crate::picture::svg::{Anchor, Svg};

const BAR: f64 = 22.0;
const GAP: f64 = 8.0;

/// Losses with what is lost in the engine last, so that the others can be compared.
fn ordered(d: &Driveline, c: &Cruise) -> Vec<(usize, String, f64)> {
    let list = loss_list(d, c).into_iter().enumerate();
    let mut list: Vec<(usize, String, f64)> = list.map(|(k, (name, w))| (k, name, w)).collect();
    if let Some((engine, _)) = d.engine() {
        let last = list.remove(engine);
        list.push(last);
    }
    list
}

/// One bar for each arrangement and speed, on the first slope of the list.
pub fn cruise_bars(d: &Driveline, list: &[Cruise]) -> String {
    let slope = list.first().map_or(0.0, |c| c.percent);
    let bars: Vec<&Cruise> =
        list.iter().filter(|c| c.percent == slope && c.entry.feasible()).collect();
    let total = |c: &Cruise| c.entry.point.losses.sum();
    let most = bars.iter().map(|c| total(c)).fold(1.0, f64::max) / 1e3;
    let mut names: Vec<(usize, String)> = Vec::new();
    for (k, name, watts) in bars.iter().flat_map(|c| ordered(d, c)) {
        if watts > 0.0 && !names.iter().any(|n| n.0 == k) {
            names.push((k, name));
        }
    }
    let height = 90.0 + bars.len() as f64 * (BAR + GAP);
    let title = format!("{}: losses at steady cruise, slope {slope} %", d.name);
    let each: Vec<String> = bars
        .iter()
        .map(|c| {
            let name = &d.arrangements[c.arrangement].name;
            format!("{name} at {:.0} km/h {:.1} kW", c.kmh, total(c) / 1e3)
        })
        .collect();
    let about = format!("Stacked bars of losses in kW. Sums: {}.", each.join(", "));
    let height = height.max(90.0 + 22.0 * names.len() as f64);
    let mut svg = picture(860.0, height, &title, &about);
    let frame = Frame {
        left: 190.0,
        top: 42.0,
        width: 470.0,
        height: bars.len() as f64 * (BAR + GAP),
        x: Axis { low: 0.0, high: 1.12 * most, words: "loss in kW" },
        y: Axis { low: 0.0, high: 1.0, words: "" },
    };
    for (i, c) in bars.iter().enumerate() {
        let y = frame.top + 0.5 * GAP + i as f64 * (BAR + GAP);
        let mut at = 0.0;
        for (k, _, watts) in ordered(d, c) {
            let kw = watts.max(0.0) / 1e3;
            let (x0, x1) = (frame.across(at), frame.across(at + kw));
            let attributes = format!("{} class=\"edged\"", fill(k));
            if x1 - x0 > 0.05 {
                svg.rect(x0, y, x1 - x0, BAR, &attributes);
            }
            at += kw;
        }
        let end = (frame.across(at) + 6.0, y + 15.0);
        svg.text(end, Anchor::Start, &format!("{at:.1} kW"), "class=\"small halo\"");
        let name = format!("{}, {:.0} km/h", d.arrangements[c.arrangement].name, c.kmh);
        svg.text((frame.left - 8.0, y + 15.0), Anchor::End, &name, "");
    }
    axis(&mut svg, &frame);
    legend(&mut svg, (686.0, 44.0), &names);
    svg.finish()
}

/// The axis of losses below the bars.
fn axis(svg: &mut Svg, frame: &Frame) {
    let bottom = frame.top + frame.height;
    svg.line((frame.left, bottom), (frame.left + frame.width, bottom), "class=\"axis\"");
    svg.line((frame.left, frame.top), (frame.left, bottom), "class=\"axis\"");
    let list = crate::picture::scale::ticks(0.0, frame.x.high, 8);
    let step = list.get(1).copied().unwrap_or(1.0);
    for x in list {
        let at = frame.across(x);
        svg.line((at, bottom), (at, bottom + 4.0), "class=\"axis\"");
        let text = crate::picture::scale::tick_text(x, step);
        svg.text((at, bottom + 16.0), Anchor::Middle, &text, "class=\"small\"");
    }
    let middle = frame.left + 0.5 * frame.width;
    svg.text((middle, bottom + 34.0), Anchor::Middle, frame.x.words, "");
}
