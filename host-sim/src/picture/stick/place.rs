//! Lengths: where each column, row and label of a stick diagram stands, px.

use super::highlight::Highlight;
use super::order::Plan;
use super::parts::{self, Part, Slot};
use crate::driveline::{Driveline, MachineKind, ShaftId};
use crate::picture::palette::text_width;

/// From the middle of a column to its outer slots.
pub(super) const SLOT: f64 = 26.0;
/// Height of the part of the picture in which gears, locks and machines stand.
pub(super) const BAND: f64 = 140.0;
const ROW: f64 = 30.0;
const FIRST_ROW: f64 = 20.0;
pub(super) const MARGIN: f64 = 24.0;
const HEAD: f64 = 52.0;
pub(super) const FOOT: f64 = 62.0;
const COLUMN_GAP: f64 = 12.0;
pub(super) const LINE: f64 = 13.0;
pub(super) const FONT: f64 = 11.0;

/// Where everything stands.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    /// Middle of each column.
    pub(super) x: Vec<f64>,
    /// Middle of the gears.
    pub(super) middle: f64,
    /// By shaft: height of its line.
    pub(super) y: Vec<f64>,
    /// By shaft: ends of its line.
    pub(super) span: Vec<(f64, f64)>,
    /// By shaft: middle of its label.
    pub(super) label: Vec<f64>,
    pub(super) width: f64,
    pub(super) height: f64,
    /// Lines below the title.
    pub(super) subtitle: Vec<String>,
    /// By column: a lock drawn in the line of its shafts.
    pub(super) inline: Vec<bool>,
}

/// Lines of words of a part.
pub(super) fn words(d: &Driveline, part: Part, h: &Highlight) -> Vec<String> {
    let mut lines = broken(parts::name(d, part));
    match part {
        Part::Set(i) => {
            let p = &d.planetaries[i];
            lines.push(format!("{} : {}", p.sun_teeth, p.ring_teeth));
        }
        Part::Pair(i) => lines.push(format!("x {}", crate::exact::text(&d.gear_pairs[i].ratio))),
        Part::Machine(i) => {
            let engine = matches!(d.machines[i].kind, MachineKind::Engine(_));
            let kind = if engine { "engine" } else { "electric" };
            if lines.len() != 1 || lines[0] != kind {
                lines.push(kind.to_string());
            }
            lines.extend(h.machine_notes.get(i).filter(|n| !n.is_empty()).cloned());
        }
        Part::Output if !h.output_note.is_empty() => lines.push(h.output_note.clone()),
        _ => {}
    }
    lines
}

/// A name on at most three lines, broken after its hyphens and underscores.
pub(super) fn broken(name: &str) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for piece in name.split_inclusive(['-', '_', ' ']) {
        let last = lines.len() - 1;
        let long = lines[last].chars().count() + piece.chars().count() > 10;
        if long && !lines[last].is_empty() && lines.len() < 3 {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            line.push_str(piece);
        }
    }
    lines
}

pub(super) fn widest(lines: &[String]) -> f64 {
    lines.iter().map(|l| text_width(l, FONT)).fold(0.0, f64::max)
}

/// Whether a lock joins two shafts of one side.
pub(super) fn is_beside(d: &Driveline, part: Part, plan: &Plan) -> bool {
    match part {
        Part::Lock(i) => d.locks[i].b.is_some_and(|b| plan.outer[b] == plan.outer[d.locks[i].a]),
        _ => false,
    }
}

/// Whether a lock stands in the line of its two shafts.
fn is_inline(d: &Driveline, part: Part, plan: &Plan) -> bool {
    let both = |i: usize| d.locks[i].b.map(|b| (d.locks[i].a, b));
    match part {
        Part::Lock(i) if is_beside(d, part, plan) => {
            both(i).is_some_and(|(a, b)| plan.row[a] == 0 && plan.row[b] == 0)
        }
        _ => false,
    }
}

/// Large line of the picture.
pub(super) fn title<'a>(d: &'a Driveline, h: &'a Highlight) -> &'a str {
    if h.title.is_empty() { &d.name } else { &h.title }
}

/// Words on lines of at most this width.
fn wrapped(text: &str, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), FONT) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

/// How far a column reaches to the left and to the right of its middle.
fn extent(d: &Driveline, part: Part, plan: &Plan, h: &Highlight) -> (f64, f64) {
    let text = widest(&words(d, part, h));
    match part {
        Part::Set(_) | Part::Pair(_) => (SLOT + 8.0, SLOT + 10.0 + text),
        Part::Lock(_) if is_beside(d, part, plan) => {
            let half = (SLOT + 8.0).max(text / 2.0 + 4.0);
            (half, half)
        }
        Part::Lock(_) => (18.0, 20.0 + text),
        Part::Machine(_) => (text / 2.0 + 10.0, text / 2.0 + 10.0),
        Part::Output => ((text / 2.0 + 4.0).max(26.0), (text / 2.0 + 4.0).max(26.0)),
        Part::Loose(_) => (16.0, 16.0),
    }
}

pub(super) fn slot_x(middle: f64, slot: Slot) -> f64 {
    match slot {
        Slot::Left => middle - SLOT,
        Slot::Middle => middle,
        Slot::Right => middle + SLOT,
    }
}

/// Places of a shaft's vertical pieces: column and x, from left to right.
pub(super) fn stands(d: &Driveline, plan: &Plan, x: &[f64], shaft: ShaftId) -> Vec<(usize, f64)> {
    let mut list = Vec::new();
    for (column, (&part, &flip)) in plan.order.iter().zip(&plan.flip).enumerate() {
        for join in parts::joins(d, part, &plan.outer, flip) {
            if join.shaft == shaft {
                list.push((column, slot_x(x[column], join.slot)));
            }
        }
    }
    list.sort_by(|a, b| a.1.total_cmp(&b.1));
    list
}

/// Room for a label: from, to, with the columns of both ends (`None`: the picture's edge).
type Gap = ((Option<usize>, f64), (Option<usize>, f64));

/// Rooms for the label of `shaft`, clear of pieces that pass to farther rows.
fn gaps(d: &Driveline, plan: &Plan, x: &[f64], shaft: ShaftId) -> Vec<Gap> {
    let own = stands(d, plan, x, shaft);
    let (Some(&first), Some(&last)) = (own.first(), own.last()) else { return Vec::new() };
    let same_side = |t: &usize| *t != shaft && plan.outer[*t] == plan.outer[shaft];
    let mut end = (Some(last.0), last.1);
    if own.len() == 1 {
        // A shaft with one place has its label to the right, up to the next in its row.
        end = (None, f64::INFINITY);
        for t in (0..d.shafts.len()).filter(same_side).filter(|&t| plan.row[t] == plan.row[shaft]) {
            for at in stands(d, plan, x, t) {
                if at.1 > last.1 && at.1 < end.1 {
                    end = (Some(at.0), at.1);
                }
            }
        }
    }
    let mut cuts: Vec<(usize, f64)> = (0..d.shafts.len())
        .filter(same_side)
        .filter(|&t| plan.row[t] > plan.row[shaft])
        .flat_map(|t| stands(d, plan, x, t))
        .filter(|at| first.1 < at.1 && at.1 < end.1)
        .collect();
    cuts.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut list = Vec::new();
    let mut from = (Some(first.0), first.1);
    for cut in cuts {
        list.push((from, (Some(cut.0), cut.1)));
        from = (Some(cut.0), cut.1);
    }
    list.push((from, end));
    list
}

/// Middle of the label of `shaft`, or the column after which more room is needed and how much.
fn label(
    d: &Driveline,
    plan: &Plan,
    x: &[f64],
    shaft: ShaftId,
    width: f64,
) -> Result<f64, (usize, f64)> {
    let need = width + 24.0;
    let room = |g: &Gap| g.1.1 - g.0.1;
    let all = gaps(d, plan, x, shaft);
    let Some(best) = all.iter().max_by(|a, b| room(a).total_cmp(&room(b))) else {
        return Ok(0.0);
    };
    let single = stands(d, plan, x, shaft).len() == 1;
    if single && room(best) >= need {
        return Ok(best.0.1 + 14.0 + width / 2.0);
    }
    if room(best) >= need {
        return Ok((best.0.1 + best.1.1) / 2.0);
    }
    let apart = |g: &&Gap| g.0.0 != g.1.0;
    let widest = all.iter().filter(apart).max_by(|a, b| room(a).total_cmp(&room(b)));
    match widest {
        Some(g) => Err((g.0.0.unwrap_or(0), need - room(g))),
        None => Ok((best.0.1 + best.1.1) / 2.0),
    }
}

/// Middles of all columns with this much extra room after each.
fn columns(extents: &[(f64, f64)], extra: &[f64]) -> Vec<f64> {
    let mut at = MARGIN;
    extents
        .iter()
        .zip(extra)
        .map(|(&(left, right), extra)| {
            let x = at + left;
            at = x + right + COLUMN_GAP + extra;
            x.round()
        })
        .collect()
}

/// Columns and labels, with room made where a label lacks it.
fn spread(
    d: &Driveline,
    plan: &Plan,
    h: &Highlight,
    extents: &[(f64, f64)],
) -> (Vec<f64>, Vec<f64>) {
    let mut extra = vec![0.0; extents.len()];
    let mut x = columns(extents, &extra);
    let mut labels = vec![0.0; d.shafts.len()];
    // Every pass makes room for one label; room is never taken away, so it ends.
    for _ in 0..4 * d.shafts.len() + 4 {
        let mut lacks = None;
        for shaft in 0..d.shafts.len() {
            let width = text_width(&h.label(d, shaft), FONT);
            match label(d, plan, &x, shaft, width) {
                Ok(at) => labels[shaft] = at,
                Err(found) => lacks = lacks.or(Some(found)),
            }
        }
        let Some((column, more)) = lacks else { break };
        extra[column] += more.ceil() + 1.0;
        x = columns(extents, &extra);
    }
    (x, labels)
}

/// Ends of a shaft's line; a short stub where it has one place only.
fn ends(stands: &[(usize, f64)]) -> (f64, f64) {
    match (stands.first(), stands.last()) {
        (Some(a), Some(b)) if a.1 < b.1 => (a.1, b.1),
        (Some(a), _) => (a.1 - 10.0, a.1 + 10.0),
        _ => (0.0, 0.0),
    }
}

/// The layout of a plan with the words of a highlight.
pub(super) fn layout(d: &Driveline, plan: &Plan, h: &Highlight) -> Layout {
    let extents: Vec<(f64, f64)> = plan.order.iter().map(|&p| extent(d, p, plan, h)).collect();
    let (x, label) = spread(d, plan, h, &extents);
    let rows = |outer: bool| {
        let of_side = (0..d.shafts.len()).filter(|&s| plan.outer[s] == outer);
        of_side.map(|s| plan.row[s] + 1).max().unwrap_or(0) as f64
    };
    let last = plan.order.len() - 1;
    let labels_end = (0..d.shafts.len())
        .map(|s| label[s] + text_width(&h.label(d, s), FONT) / 2.0)
        .fold(x[last] + extents[last].1, f64::max);
    let title = text_width(title(d, h), 15.0) + MARGIN;
    let width = (labels_end.max(title) + MARGIN).max(660.0).ceil();
    let subtitle = wrapped(&h.subtitle, width - 2.0 * MARGIN);
    let middle = HEAD + subtitle.len() as f64 * LINE + rows(true) * ROW + FIRST_ROW + BAND / 2.0;
    let y = (0..d.shafts.len())
        .map(|s| {
            let away = BAND / 2.0 + FIRST_ROW + plan.row[s] as f64 * ROW;
            if plan.outer[s] { middle - away } else { middle + away }
        })
        .collect();
    let span = (0..d.shafts.len()).map(|s| ends(&stands(d, plan, &x, s))).collect();
    let height = middle + BAND / 2.0 + FIRST_ROW + rows(false) * ROW + FOOT;
    let inline = plan.order.iter().map(|&part| is_inline(d, part, plan)).collect();
    Layout { x, middle, y, span, label, width, height, subtitle, inline }
}
