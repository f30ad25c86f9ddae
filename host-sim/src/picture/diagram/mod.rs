//! The state diagram of a table: lock sets as boxes, one row a number of closed locks, steps as lines.
//!
//! Every step opens or closes one lock, so every line joins two neighbouring rows.

use std::collections::{BTreeMap, BTreeSet};

use supervisor::bits::Bits;
use supervisor::table::{Action, NO_STEP, Stuck, WAYS};

mod key;

use super::palette::text_width;
use super::svg::{Anchor, Svg};
use crate::driveline::Driveline;
use crate::table::TableData;
use key::Key;

const HIGH: f64 = 68.0;
/// Lines of lock names in a box.
const LINES: usize = 3;
/// With more lines than this between the boxes, they bear their numbers alone.
const MOST_NAMED: usize = 12;
/// Between boxes, across and down; names on the lines need more room across than numbers.
const GAP: (f64, f64) = (28.0, 96.0);
const WIDE_GAP: f64 = 72.0;
const MARGIN: f64 = 28.0;
const LEGEND: f64 = 64.0;

const STYLE: &str = ".sw .small{font-size:10.5px;fill:var(--sw-soft)}\
.sw .edge{stroke:var(--sw-soft);stroke-width:1.2;fill:none}\
.sw .first{stroke-width:2.4;stroke:var(--sw-power)}.sw .gap{stroke-dasharray:6 4}\
.sw .label{paint-order:stroke;stroke:var(--sw-paper);stroke-width:4px;fill:var(--sw-ink)}\
.sw .number{font-weight:600;fill:var(--sw-ink)}.sw .head{fill:var(--sw-soft)}.sw .box{fill:var(--sw-paper);stroke:var(--sw-soft);\
stroke-width:1.2}.sw .named{fill:var(--sw-panel);stroke:var(--sw-power);stroke-width:2.2}\
.sw .overlap{stroke:var(--sw-warn);stroke-width:1.4;stroke-dasharray:8 3}\
.sw .never{stroke:var(--sw-alarm);stroke-width:1.6;stroke-dasharray:2 3}";

/// A line between two lock sets: the steps that use it, and how.
#[derive(Default)]
struct Edge {
    close: BTreeSet<u16>,
    open: BTreeSet<u16>,
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
    let wide = box_width(d, &sets);
    let numbers_only = edges.len() > MOST_NAMED;
    let gap = if numbers_only { GAP.0 } else { WIDE_GAP };
    let places = places((&sets, &forbidden), &edges, (wide, gap));
    let numbered: Vec<(u8, &Edge)> = edges.iter().map(|(key, edge)| (key.1, edge)).collect();
    let key = Key::new(d, data, &numbered);
    let width = places.values().map(|p| p.0 + wide).fold(0.0, f64::max).max(560.0);
    let width = width.max(key.width() + MARGIN) + MARGIN;
    let key_top = places.values().map(|p| p.1 + HIGH).fold(0.0, f64::max) + MARGIN + LEGEND;
    let key_height = key.height(width - 2.0 * MARGIN);
    let title = format!("State diagram of {}", d.name);
    let about = format!(
        "{} lock sets, {} lines between them; arrangements: {}",
        sets.len(),
        edges.len(),
        d.arrangements.iter().map(|a| a.name.as_str()).collect::<Vec<_>>().join(", ")
    );
    let mut svg = Svg::themed(width, key_top + key_height, &title, &about, STYLE);
    let lines: Vec<Drawn> = (edges.iter().zip(1..))
        .filter_map(|((&key, edge), number)| drawn(d, &places, wide, key, (edge, number)))
        .collect();
    lines.iter().for_each(|line| draw_edge(&mut svg, line));
    draw_labels(&mut svg, &lines, numbers_only);
    for (&set, &at) in &places {
        draw_box(&mut svg, d, data, (set, wide), at, forbidden.contains(&set));
    }
    legend(&mut svg, key_top - LEGEND + 8.0);
    key.draw(&mut svg, (MARGIN, key_top - 8.0), width - 2.0 * MARGIN);
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
                    let steps = if closes { &mut edge.close } else { &mut edge.open };
                    steps.insert(number);
                    edge.first |= way == 0;
                    edge.keeps_push |= step.keeps_push;
                    set = set.with(step.lock, closes);
                }
            }
        }
    }
    edges
}

/// Width of all boxes: what the widest words in them need.
fn box_width(d: &Driveline, sets: &BTreeSet<u8>) -> f64 {
    let words = sets.iter().flat_map(|&set| in_lines(&d.lock_names(set)));
    let small = words.map(|line| text_width(&line, 10.5)).fold(0.0, f64::max);
    let names = d.arrangements.iter().map(|a| text_width(&a.name, 12.0)).fold(0.0, f64::max);
    small.max(names).max(96.0).ceil() + 16.0
}

/// Place of each box: a row a number of closed locks, the rows centred, each row in the order
/// of its neighbours' middles, which keeps lines short and crossings few. What is forbidden has no
/// lines and a row of its own below.
fn places(
    (sets, forbidden): (&BTreeSet<u8>, &[u8]),
    edges: &BTreeMap<(u8, u8), Edge>,
    (wide, gap): (f64, f64),
) -> BTreeMap<u8, (f64, f64)> {
    let mut rows: BTreeMap<u32, Vec<u8>> = BTreeMap::new();
    for &set in sets {
        let row = if forbidden.contains(&set) { u32::MAX } else { set.count_ones() };
        rows.entry(row).or_default().push(set);
    }
    let widest = rows.values().map(Vec::len).max().unwrap_or(1) as f64;
    let full = widest * wide + (widest - 1.0) * gap;
    let put = |rows: &BTreeMap<u32, Vec<u8>>| {
        let mut places = BTreeMap::new();
        for (row, (_, members)) in rows.iter().enumerate() {
            let count = members.len() as f64;
            let own = count * wide + (count - 1.0) * gap;
            for (i, &set) in members.iter().enumerate() {
                let x = MARGIN + (full - own) / 2.0 + i as f64 * (wide + gap);
                places.insert(set, (x, MARGIN + row as f64 * (HIGH + GAP.1)));
            }
        }
        places
    };
    let mut places: BTreeMap<u8, (f64, f64)> = put(&rows);
    let mut best = (tangle(&places, edges), places.clone());
    for _ in 0..16 {
        let numbers: Vec<u32> = rows.keys().copied().collect();
        for number in numbers {
            let mut members = rows[&number].clone();
            let middle = |set: u8| {
                let mut others = Vec::new();
                for &(low, lock) in edges.keys() {
                    let high = low | 1 << lock;
                    let other = if low == set { high } else { low };
                    if low == set || high == set {
                        others.extend(places.get(&other).map(|p| p.0));
                    }
                }
                // Boxes without lines go to the right.
                if others.is_empty() {
                    f64::MAX
                } else {
                    others.iter().sum::<f64>() / others.len() as f64
                }
            };
            members.sort_by(|a, b| middle(*a).total_cmp(&middle(*b)));
            rows.insert(number, members);
            places = put(&rows);
        }
        let now = tangle(&places, edges);
        if now < best.0 {
            best = (now, places.clone());
        }
    }
    best.1
}

/// Sum of how far lines run sideways, px: what the order of the rows makes small.
fn tangle(places: &BTreeMap<u8, (f64, f64)>, edges: &BTreeMap<(u8, u8), Edge>) -> f64 {
    let run = |&(low, lock): &(u8, u8)| {
        let (a, b) = (places.get(&low), places.get(&(low | 1 << lock)));
        a.zip(b).map_or(0.0, |(a, b)| (a.0 - b.0).abs())
    };
    edges.keys().map(run).sum()
}

fn draw_box(
    svg: &mut Svg,
    d: &Driveline,
    data: &TableData,
    (set, wide): (u8, f64),
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
    svg.rect(x, y, wide, HIGH, &format!("rx=\"4\" class=\"box{kind}\""));
    let title = match () {
        () if forbidden => "never".to_string(),
        () if !names.is_empty() => names.join(", "),
        () if held => "overlap, at rest".to_string(),
        () => "between".to_string(),
    };
    let mid = x + wide / 2.0;
    svg.text((mid, y + 17.0), Anchor::Middle, &title, "class=\"name\"");
    let locks = d.lock_names(set);
    let lines = if locks.is_empty() { vec!["all open".to_string()] } else { in_lines(&locks) };
    for (i, line) in lines.iter().enumerate() {
        svg.text((mid, y + 32.0 + 13.0 * i as f64), Anchor::Middle, line, "class=\"small\"");
    }
}

/// Lock names on at most [`LINES`] lines, each as short as that allows.
fn in_lines(locks: &[&str]) -> Vec<String> {
    let all = locks.join(" + ");
    if all.chars().count() <= 20 || locks.len() == 1 {
        return vec![all];
    }
    let rows: Vec<String> =
        locks.chunks(locks.len().div_ceil(LINES)).map(|row| row.join(" + ")).collect();
    let last = rows.len() - 1;
    let ended = rows.into_iter().enumerate();
    ended.map(|(i, row)| if i < last { format!("{row} +") } else { row }).collect()
}

/// A line with its ends and its words.
struct Drawn<'a> {
    from: (f64, f64),
    to: (f64, f64),
    edge: &'a Edge,
    /// Number in the key.
    number: String,
    /// The lock's name.
    lock: &'a str,
}

fn drawn<'a>(
    d: &'a Driveline,
    places: &BTreeMap<u8, (f64, f64)>,
    wide: f64,
    (low, lock): (u8, u8),
    (edge, number): (&'a Edge, usize),
) -> Option<Drawn<'a>> {
    let high = Bits(low).with(lock, true).0;
    let (a, b) = (places.get(&low)?, places.get(&high)?);
    // Spread the ends over the boxes by the lock, so that lines do not lie on each other.
    let share = (f64::from(lock) + 1.0) / (d.locks.len() as f64 + 1.0);
    let from = (a.0 + wide * share, a.1 + HIGH);
    let to = (b.0 + wide * share, b.1);
    let lock = d.locks[usize::from(lock)].name.as_str();
    Some(Drawn { from, to, edge, number: number.to_string(), lock })
}

fn draw_edge(svg: &mut Svg, line: &Drawn) {
    let (from, to, edge) = (line.from, line.to, line.edge);
    let class = format!(
        "class=\"edge{}{}\"",
        if edge.first { " first" } else { "" },
        if edge.keeps_push { "" } else { " gap" }
    );
    svg.line(from, to, &class);
    if !edge.close.is_empty() {
        arrow(svg, from, to);
    }
    if !edge.open.is_empty() {
        arrow(svg, to, from);
    }
}

/// Number and lock on each line, where it covers no other name.
fn draw_labels(svg: &mut Svg, lines: &[Drawn], numbers_only: bool) {
    let mut taken: Vec<[f64; 4]> = Vec::new();
    for line in lines {
        let words = match numbers_only {
            true => line.number.clone(),
            false => format!("{} {}", line.number, line.lock),
        };
        let half = text_width(&words, 10.5) / 2.0 + 2.0;
        let at = |share: f64| {
            let x = line.from.0 + (line.to.0 - line.from.0) * share;
            let y = line.from.1 + (line.to.1 - line.from.1) * share;
            [x - half, y - 7.0, x + half, y + 7.0]
        };
        let covered = |b: &[f64; 4]| -> f64 {
            let shared = |o: &[f64; 4]| {
                let x = (b[2].min(o[2]) - b[0].max(o[0])).max(0.0);
                x * (b[3].min(o[3]) - b[1].max(o[1])).max(0.0)
            };
            taken.iter().map(shared).sum()
        };
        // From the middle outwards; the first free place, or the least covered.
        let shares = [50, 42, 58, 34, 66, 26, 74, 20, 80, 15, 85].map(|s| f64::from(s) / 100.0);
        let best = shares.map(at).into_iter().min_by(|a, b| covered(a).total_cmp(&covered(b)));
        let Some(spot) = best else { continue };
        let mid = ((spot[0] + spot[2]) / 2.0, spot[1] + 10.5);
        svg.text(mid, Anchor::Middle, &words, "class=\"small label\"");
        taken.push(spot);
    }
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
    let text = "down the page: a lock closes; up: it opens; arrows: used in that direction; numbers: see below";
    svg.text((MARGIN, y + 24.0), Anchor::Start, text, "class=\"small\"");
}
