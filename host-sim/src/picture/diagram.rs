//! The state diagram of a table: lock sets as boxes, one row a number of closed locks, steps as lines.
//!
//! Every step opens or closes one lock, so every line joins two neighbouring rows.

use std::collections::{BTreeMap, BTreeSet};

use supervisor::bits::Bits;
use supervisor::table::{Action, NO_STEP, Stuck, WAYS};

use super::svg::{Anchor, Svg};
use crate::driveline::Driveline;
use crate::table::TableData;

const BOX: (f64, f64) = (168.0, 54.0);
const GAP: (f64, f64) = (28.0, 96.0);
const MARGIN: f64 = 28.0;
const LEGEND: f64 = 64.0;

const STYLE: &str = ".sw .small{font-size:10.5px;fill:var(--sw-soft)}\
.sw .edge{stroke:var(--sw-soft);stroke-width:1.2;fill:none}\
.sw .first{stroke-width:2.4;stroke:var(--sw-power)}.sw .gap{stroke-dasharray:6 4}\
.sw .label{paint-order:stroke;stroke:var(--sw-paper);stroke-width:4px;fill:var(--sw-ink)}\
.sw .head{fill:var(--sw-soft)}.sw .box{fill:var(--sw-paper);stroke:var(--sw-soft);\
stroke-width:1.2}.sw .named{fill:var(--sw-panel);stroke:var(--sw-power);stroke-width:2.2}\
.sw .overlap{stroke:var(--sw-warn);stroke-width:1.4;stroke-dasharray:8 3}\
.sw .never{stroke:var(--sw-alarm);stroke-width:1.6;stroke-dasharray:2 3}";

/// A line between two lock sets: which steps use it and how.
#[derive(Default)]
struct Edge {
    closes: bool,
    opens: bool,
    first: bool,
    keeps_push: bool,
}

/// The diagram of the steps that lead from one arrangement to another, as SVG.
pub fn state_diagram(d: &Driveline, data: &TableData) -> String {
    let edges = used_edges(data);
    let mut sets: BTreeSet<u8> = data.arrangements.iter().map(|a| a.closed.0).collect();
    for &(low, lock) in edges.keys() {
        sets.insert(low);
        sets.insert(low | 1 << lock);
    }
    let forbidden: Vec<u8> =
        data.conflicts.iter().map(|c| c.locks.0).filter(|&s| !sets.contains(&s)).collect();
    sets.extend(forbidden.iter().take(4));
    let places = places(&sets);
    let width = places.values().map(|p| p.0 + BOX.0).fold(0.0, f64::max).max(560.0) + MARGIN;
    let height = places.values().map(|p| p.1 + BOX.1).fold(0.0, f64::max) + MARGIN + LEGEND;
    let title = format!("State diagram of {}", d.name);
    let about = format!(
        "{} lock sets, {} lines between them; arrangements: {}",
        sets.len(),
        edges.len(),
        d.arrangements.iter().map(|a| a.name.as_str()).collect::<Vec<_>>().join(", ")
    );
    let mut svg = Svg::themed(width, height, &title, &about, STYLE);
    for (&(low, lock), edge) in &edges {
        draw_edge(&mut svg, d, &places, low, lock, edge);
    }
    for (&set, &at) in &places {
        draw_box(&mut svg, d, data, set, at, forbidden.contains(&set));
    }
    legend(&mut svg, height - LEGEND + 8.0);
    svg.finish()
}

/// Lines used on any way from any arrangement to any other; the key is the lower lock set and
/// the lock.
fn used_edges(data: &TableData) -> BTreeMap<(u8, u8), Edge> {
    let table = data.table();
    let mut edges: BTreeMap<(u8, u8), Edge> = BTreeMap::new();
    for target in 0..data.arrangements.len() as u8 {
        for way in 0..WAYS as u8 {
            for start in &data.arrangements {
                let mut set = start.closed;
                for _ in 0..data.sets.len() {
                    let Ok(number) = table.next_step(way, Stuck::None, set, target) else { break };
                    debug_assert_eq!(number & NO_STEP, 0);
                    let step = &data.steps[usize::from(number)];
                    let low = set.with(step.lock, false);
                    let edge = edges.entry((low.0, step.lock)).or_default();
                    let closes = step.action == Action::Close;
                    edge.closes |= closes;
                    edge.opens |= !closes;
                    edge.first |= way == 0;
                    edge.keeps_push |= step.keeps_push;
                    set = set.with(step.lock, closes);
                }
            }
        }
    }
    edges
}

/// Place of each box: a row a number of closed locks, the rows centred.
fn places(sets: &BTreeSet<u8>) -> BTreeMap<u8, (f64, f64)> {
    let mut rows: BTreeMap<u32, Vec<u8>> = BTreeMap::new();
    for &set in sets {
        rows.entry(set.count_ones()).or_default().push(set);
    }
    let widest = rows.values().map(Vec::len).max().unwrap_or(1) as f64;
    let full = widest * BOX.0 + (widest - 1.0) * GAP.0;
    let mut places = BTreeMap::new();
    for (row, (_, members)) in rows.iter().enumerate() {
        let count = members.len() as f64;
        let own = count * BOX.0 + (count - 1.0) * GAP.0;
        for (i, &set) in members.iter().enumerate() {
            let x = MARGIN + (full - own) / 2.0 + i as f64 * (BOX.0 + GAP.0);
            places.insert(set, (x, MARGIN + row as f64 * (BOX.1 + GAP.1)));
        }
    }
    places
}

fn draw_box(
    svg: &mut Svg,
    d: &Driveline,
    data: &TableData,
    set: u8,
    (x, y): (f64, f64),
    forbidden: bool,
) {
    let names: Vec<&str> =
        d.arrangements.iter().filter(|a| a.closed == set).map(|a| a.name.as_str()).collect();
    let held = !data.sets[usize::from(set)].held_machines.is_empty();
    let kind = match () {
        () if forbidden => " never",
        () if !names.is_empty() => " named",
        () if held => " overlap",
        () => "",
    };
    svg.rect(x, y, BOX.0, BOX.1, &format!("rx=\"4\" class=\"box{kind}\""));
    let title = match () {
        () if forbidden => "never".to_string(),
        () if !names.is_empty() => names.join(", "),
        () if held => "overlap, at rest".to_string(),
        () => "between".to_string(),
    };
    let mid = x + BOX.0 / 2.0;
    svg.text((mid, y + 17.0), Anchor::Middle, &title, "class=\"name\"");
    let locks = d.lock_names(set);
    let lines = if locks.is_empty() { vec!["all open".to_string()] } else { in_lines(&locks) };
    for (i, line) in lines.iter().take(2).enumerate() {
        svg.text((mid, y + 32.0 + 13.0 * i as f64), Anchor::Middle, line, "class=\"small\"");
    }
}

/// Lock names on at most two lines.
fn in_lines(locks: &[&str]) -> Vec<String> {
    let all = locks.join(" + ");
    if all.chars().count() <= 28 || locks.len() == 1 {
        return vec![all];
    }
    let half = locks.len().div_ceil(2);
    vec![format!("{} +", locks[..half].join(" + ")), locks[half..].join(" + ")]
}

fn draw_edge(
    svg: &mut Svg,
    d: &Driveline,
    places: &BTreeMap<u8, (f64, f64)>,
    low: u8,
    lock: u8,
    edge: &Edge,
) {
    let high = Bits(low).with(lock, true).0;
    let (Some(&a), Some(&b)) = (places.get(&low), places.get(&high)) else { return };
    // Spread the ends over the boxes by the lock, so that lines do not lie on each other.
    let share = (f64::from(lock) + 1.0) / (d.locks.len() as f64 + 1.0);
    let from = (a.0 + BOX.0 * share, a.1 + BOX.1);
    let to = (b.0 + BOX.0 * share, b.1);
    let class = format!(
        "class=\"edge{}{}\"",
        if edge.first { " first" } else { "" },
        if edge.keeps_push { "" } else { " gap" }
    );
    svg.line(from, to, &class);
    if edge.closes {
        arrow(svg, from, to);
    }
    if edge.opens {
        arrow(svg, to, from);
    }
    // Labels at two heights by the lock keep them apart where lines cross.
    let at = 0.36 + 0.28 * (f64::from(lock % 3) / 2.0);
    let mid = (from.0 + (to.0 - from.0) * at, from.1 + (to.1 - from.1) * at + 4.0);
    let name = &d.locks[usize::from(lock)].name;
    svg.text(mid, Anchor::Middle, name, "class=\"small label\"");
}

/// An arrow head at the end of a line.
fn arrow(svg: &mut Svg, from: (f64, f64), to: (f64, f64)) {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let long = (dx * dx + dy * dy).sqrt().max(1e-9);
    let (ux, uy) = (dx / long, dy / long);
    let base = (to.0 - 9.0 * ux, to.1 - 9.0 * uy);
    let points =
        [to, (base.0 - 4.0 * uy, base.1 + 4.0 * ux), (base.0 + 4.0 * uy, base.1 - 4.0 * ux)];
    svg.path(&points, true, "class=\"head\"");
}

fn legend(svg: &mut Svg, y: f64) {
    let items = [
        ("class=\"edge first\"", "on a preferred way"),
        ("class=\"edge\"", "on another way"),
        ("class=\"edge gap\"", "without push at the wheels"),
    ];
    let mut x = MARGIN;
    for (class, text) in items {
        svg.line((x, y), (x + 30.0, y), class);
        svg.text((x + 36.0, y + 4.0), Anchor::Start, text, "class=\"small\"");
        x += 60.0 + 6.4 * text.len() as f64;
    }
    let text = "down the page: the named lock closes; up: it opens; arrows: used in that direction";
    svg.text((MARGIN, y + 24.0), Anchor::Start, text, "class=\"small\"");
}
