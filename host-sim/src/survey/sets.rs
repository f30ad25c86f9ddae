//! The tables of lock sets, conflicts and overlaps.

use super::{LISTED_SETS_MAX, count};
use crate::driveline::Driveline;
use crate::exact::{Q, text as exact_text, to_f64};
use crate::kinematics::{Kinematics, LockSet, Verdict};
use crate::text::{Table, chars, labelled, paragraph};

/// Longest exact ratio in the table, in characters.
const RATIO_MAX: usize = 8;

/// One character a lock: `x` closed, `r` closed and redundant, `-` open.
pub(super) fn pattern(d: &Driveline, closed: u8, redundant: u8) -> String {
    let mark = |lock: usize| match (closed >> lock & 1, redundant >> lock & 1) {
        (0, _) => '-',
        (_, 0) => 'x',
        _ => 'r',
    };
    (0..d.locks.len()).map(mark).collect()
}

/// The lock sets: all of them, or the usable ones and a summary of the others.
pub(super) fn lock_sets(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let all = k.sets.len() <= LISTED_SETS_MAX;
    let listed: Vec<&LockSet> = k.sets.iter().filter(|s| all || is_usable(s)).collect();
    let mut out = title(k, width);
    let mut legend = "x closed, - open".to_string();
    if listed.iter().any(|s| s.redundant != 0) {
        legend += ", r closed but redundant (opening it alone frees nothing)";
    }
    legend += "; motions: independent motions left; for each machine its speed per speed of \
               the output, \"free\" where the output alone does not determine it";
    let rounded = |set: &&LockSet| {
        let ratios = d.machines.iter().filter_map(|m| set.per_output[m.shaft].as_ref());
        ratios.map(ratio_cell).any(|cell| cell.starts_with('~'))
    };
    if listed.iter().any(rounded) {
        legend += " (~ rounded, exact with --json)";
    }
    legend.push('.');
    out += &paragraph(&legend, 2, width);
    let names: Vec<String> = d.machines.iter().map(|m| m.name.clone()).collect();
    let mut table = sets_table(d, &listed, &names);
    if !table.fits(width) {
        let codes: Vec<String> = (1..=d.machines.len()).map(|n| format!("m{n}")).collect();
        let pairs: Vec<String> =
            codes.iter().zip(&names).map(|(c, n)| format!("{c} {n}")).collect();
        out += &paragraph(&format!("Machines: {}.", pairs.join(", ")), 2, width);
        table = sets_table(d, &listed, &codes);
    }
    out += &table.render(width);
    if !all {
        out += &summary(d, k, width);
    }
    out
}

fn is_usable(set: &LockSet) -> bool {
    matches!(set.verdict, Verdict::Drives | Verdict::HoldsMachine)
}

fn title(k: &Kinematics, width: usize) -> String {
    let number = |verdict: Verdict| k.sets.iter().filter(|s| s.verdict == verdict).count();
    let all = [
        (number(Verdict::Drives), "drives", "drive"),
        (number(Verdict::Neutral), "is neutral", "are neutral"),
        (number(Verdict::HoldsMachine), "holds a machine", "hold a machine"),
        (number(Verdict::HoldsEngine), "holds the engine", "hold the engine"),
        (number(Verdict::HoldsOutput), "holds the output", "hold the output"),
    ];
    let parts: Vec<String> =
        all.iter().filter(|(n, ..)| *n > 0).map(|(n, one, many)| count(*n, one, many)).collect();
    let sets = count(k.sets.len(), "lock set", "lock sets");
    paragraph(&format!("Lock sets: {sets}, of which {}", parts.join(", ")), 0, width)
}

fn sets_table(d: &Driveline, sets: &[&LockSet], machines: &[String]) -> Table {
    let places: String = (1..=d.locks.len()).map(|n| n.to_string()).collect();
    let mut head = vec!["set".to_string(), places, "motions".to_string()];
    head.extend(machines.iter().cloned());
    head.extend(["verdict".to_string(), "held shafts".to_string()]);
    let mut table = Table::new(&head);
    let set_width = sets.iter().map(|s| chars(&s.closed.to_string())).max().unwrap_or(1);
    for set in sets {
        let mut cells = vec![
            format!("{:>1$}", set.closed, set_width.max(3)),
            pattern(d, set.closed, set.redundant),
            format!("{:>7}", set.mobility),
        ];
        cells.extend(d.machines.iter().map(|m| match &set.per_output[m.shaft] {
            Some(ratio) => ratio_cell(ratio),
            None if set.held.contains(&m.shaft) => "0".to_string(),
            None => "free".to_string(),
        }));
        cells.push(set.verdict.word().to_string());
        cells.push(held_cell(d, set));
        table.row(cells);
    }
    table
}

/// An exact ratio, or a rounded one where the exact one would burst the table.
fn ratio_cell(ratio: &Q) -> String {
    let exact = exact_text(ratio);
    if chars(&exact) <= RATIO_MAX {
        return exact;
    }
    let value = to_f64(ratio);
    let decimals = match value.abs() {
        size if size < 10.0 => 4,
        size if size < 100.0 => 3,
        size if size < 1000.0 => 2,
        _ => 0,
    };
    format!("~{value:.decimals$}")
}

/// "-", "all", "all but crank", or the list.
fn held_cell(d: &Driveline, set: &LockSet) -> String {
    let name = |shaft: usize| d.shafts[shaft].name.as_str();
    let turning: Vec<usize> = (0..d.shafts.len()).filter(|s| !set.held.contains(s)).collect();
    match (set.held.len(), turning.as_slice()) {
        (0, _) => "-".to_string(),
        (_, []) => "all".to_string(),
        (3.., [one]) => format!("all but {}", name(*one)),
        _ => set.held.iter().map(|&s| name(s)).collect::<Vec<_>>().join(", "),
    }
}

/// What the long list leaves out.
fn summary(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let patterns = |verdict: Verdict| -> Vec<String> {
        let sets = k.sets.iter().filter(|s| s.verdict == verdict);
        sets.map(|s| pattern(d, s.closed, s.redundant)).collect()
    };
    let neutral = patterns(Verdict::Neutral);
    let forbidden = k.sets.iter().filter(|s| s.verdict.is_forbidden()).count();
    let mut out = String::new();
    if !neutral.is_empty() {
        out += &labelled("Neutral: ", &neutral.join(" "), 2, width);
    }
    if forbidden > 0 {
        let text = format!(
            "{}: each contains a conflict listed below (all one by one with --json).",
            count(forbidden, "lock set", "lock sets")
        );
        out += &labelled("Forbidden: ", &text, 2, width);
    }
    out
}

/// The smallest forbidden lock sets with their reasons.
pub(super) fn conflicts(d: &Driveline, k: &Kinematics, width: usize) -> String {
    if k.conflicts.is_empty() {
        return "Conflicts: none; no lock set holds the output or an engine\n".to_string();
    }
    let title = format!(
        "Conflicts ({}): the smallest lock sets that hold the output or the engine; any lock set \
         that contains one is forbidden",
        k.conflicts.len()
    );
    let mut out = paragraph(&title, 0, width);
    for conflict in &k.conflicts {
        let label = format!("{}  ", pattern(d, conflict.locks, 0));
        out += &labelled(&label, &conflict.reason, 2, width);
    }
    out
}

/// The smallest lock sets that hold an electric machine.
pub(super) fn overlaps(d: &Driveline, k: &Kinematics, width: usize) -> String {
    if k.overlaps.is_empty() {
        return String::new();
    }
    let title = format!(
        "Overlaps ({}): the smallest lock sets, not forbidden, that hold an electric machine",
        k.overlaps.len()
    );
    let mut out = paragraph(&title, 0, width);
    for overlap in &k.overlaps {
        let label = format!("{}  ", pattern(d, overlap.locks, 0));
        out += &labelled(&label, &overlap.reason, 2, width);
    }
    out
}
