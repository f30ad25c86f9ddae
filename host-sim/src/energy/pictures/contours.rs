//! Lines of equal efficiency of one arrangement over road speed and wheel force.

use super::frame::picture;
use super::maps::{frame, mode_words};
use crate::driveline::Driveline;
use crate::energy::map::{Entry, Map};
use crate::picture::svg::{Anchor, Svg};

/// Power at the wheels per power that comes in, driving; per power at the wheels, braking.
fn efficiency(e: &Entry) -> Option<f64> {
    let p = &e.point;
    let source = p.fuel_w + p.cell_w;
    match e.feasible() {
        true if p.wheel_w > 0.0 && source > 0.0 => Some(p.wheel_w / source),
        true if p.wheel_w < 0.0 && source < 0.0 => Some(source / p.wheel_w),
        true => Some(0.0),
        false => None,
    }
}

/// Whether there is anything to draw: some point with power at the wheels.
pub(super) fn any(map: &Map, arrangement: usize) -> bool {
    let entries = map.cells.iter().filter_map(|c| c.entries[arrangement].as_ref());
    entries.filter_map(efficiency).any(|e| e > 0.0)
}

/// Lines at every 5 or 10 %.
pub fn efficiencies(d: &Driveline, map: &Map, arrangement: usize) -> String {
    let name = &d.arrangements[arrangement].name;
    let title = format!("{}: efficiency of {name}, {}", d.name, mode_words(map.mode));
    let value =
        |s: usize, f: usize| map.cell(s, f).entries[arrangement].as_ref().and_then(efficiency);
    let all: Vec<f64> = (0..map.speeds_mps.len())
        .flat_map(|s| (0..map.forces_n.len()).filter_map(move |f| value(s, f)))
        .collect();
    let most = all.iter().copied().fold(0.0, f64::max);
    let about = format!(
        "Lines of equal efficiency over road speed and wheel force: power at the wheels per power \
         of fuel and battery, and when braking power into the battery per power at the wheels. \
         Highest {:.0} %. Without shade: not possible. Next to no force, where it falls to \
         nothing, no lines are drawn.",
        100.0 * most
    );
    let mut svg = picture(620.0, 500.0, &title, &about);
    let at = frame(map);
    shade(&mut svg, map, &value);
    at.grid(&mut svg);
    let mut labels = Vec::new();
    for driving in [true, false] {
        // Without force nothing is gained: lines towards it would lie on each other.
        let side = |n: f64| if driving { n > 0.0 } else { n < 0.0 };
        let half = |s: usize, f: usize| value(s, f).filter(|_| side(map.forces_n[f]));
        let most = (0..map.speeds_mps.len())
            .flat_map(|s| (0..map.forces_n.len()).filter_map(move |f| half(s, f)))
            .fold(0.0, f64::max);
        let step = if most > 0.5 { 0.1 } else { 0.05 };
        let count = (most / step).floor() as usize;
        for level in 1..=count {
            line(&mut svg, map, &half, step * level as f64, &mut labels);
        }
    }
    at.axes(&mut svg);
    svg.finish()
}

fn shade(svg: &mut Svg, map: &Map, value: &dyn Fn(usize, usize) -> Option<f64>) {
    let at = frame(map);
    for s in 0..map.speeds_mps.len() - 1 {
        for f in 0..map.forces_n.len() - 1 {
            let corners = [(s, f), (s + 1, f), (s, f + 1), (s + 1, f + 1)];
            if corners.iter().all(|c| value(c.0, c.1).is_some()) {
                let x = |i: usize| at.across(map.speeds_mps[i] * 3.6);
                let y = |i: usize| at.up(map.forces_n[i] / 1e3);
                svg.rect(
                    x(s),
                    y(f + 1),
                    x(s + 1) - x(s),
                    y(f) - y(f + 1),
                    "fill=\"var(--sw-panel)\"",
                );
            }
        }
    }
}

/// One line, square by square (marching squares; a saddle is drawn as two separate pieces).
fn line(
    svg: &mut Svg,
    map: &Map,
    value: &dyn Fn(usize, usize) -> Option<f64>,
    level: f64,
    labels: &mut Vec<(f64, f64)>,
) {
    let at = frame(map);
    let place =
        |s: usize, f: usize| (at.across(map.speeds_mps[s] * 3.6), at.up(map.forces_n[f] / 1e3));
    let mut pieces: Vec<[(f64, f64); 2]> = Vec::new();
    for s in 0..map.speeds_mps.len() - 1 {
        for f in 0..map.forces_n.len() - 1 {
            let corners = [(s, f), (s + 1, f), (s + 1, f + 1), (s, f + 1)];
            let Some(heights) =
                corners.iter().map(|c| value(c.0, c.1)).collect::<Option<Vec<f64>>>()
            else {
                continue;
            };
            let mut ends = Vec::new();
            for i in 0..4 {
                let (a, b) = (heights[i] - level, heights[(i + 1) % 4] - level);
                if (a < 0.0) != (b < 0.0) {
                    let (p, q) = (corners[i], corners[(i + 1) % 4]);
                    let ((x0, y0), (x1, y1)) = (place(p.0, p.1), place(q.0, q.1));
                    let share = a / (a - b);
                    ends.push((x0 + share * (x1 - x0), y0 + share * (y1 - y0)));
                }
            }
            pieces.extend(ends.chunks_exact(2).map(|e| [e[0], e[1]]));
        }
    }
    for piece in &pieces {
        svg.path(piece, false, "class=\"line\"");
    }
    // The label stands as far as it can from those that are there.
    let far = |p: &&[(f64, f64); 2]| {
        let away = |l: &(f64, f64)| (0.6 * (p[0].0 - l.0)).hypot(1.6 * (p[0].1 - l.1));
        labels.iter().map(away).fold(1e3, f64::min) as i64
    };
    let inside = |p: &&[(f64, f64); 2]| {
        p[0].0 > at.left + 14.0 && p[0].0 < at.left + at.width - 14.0 && at.up(0.0) != p[0].1
    };
    if let Some(piece) = pieces.iter().filter(inside).max_by_key(far) {
        let text = format!("{:.0} %", 100.0 * level);
        svg.text((piece[0].0, piece[0].1 + 4.0), Anchor::Middle, &text, "class=\"small halo\"");
        labels.push(piece[0]);
    }
}
