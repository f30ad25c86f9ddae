//! The table for a person: ways between the arrangements, limits and what margins left of them.

use supervisor::bits::Bits;
use supervisor::table::{Action, Stuck, WAYS, Why};

use super::data::{Margin, TableData};
use crate::driveline::Driveline;
use crate::text::{Table, labelled, paragraph};

/// The table as text of at most `width` columns.
pub fn text(d: &Driveline, data: &TableData, width: usize) -> String {
    let mut out = paragraph(
        &format!(
            "Supervisor table of \"{}\": {} lock sets, {} arrangements, {} steps, hash {:08x}",
            data.name,
            data.sets.len(),
            data.arrangements.len(),
            data.steps.len(),
            data.hash
        ),
        0,
        width,
    );
    out.push('\n');
    out += &conflicts(d, data, width);
    out += &ways(d, data, width);
    out += &limp(d, data, width);
    out += &margins(&data.margins, width);
    out
}

fn conflicts(d: &Driveline, data: &TableData, width: usize) -> String {
    if data.conflicts.is_empty() && data.overlaps.is_empty() {
        return paragraph("No lock set is forbidden.", 0, width) + "\n";
    }
    let mut table = Table::new(&["never together", "let go first"]);
    for conflict in &data.conflicts {
        let first = &d.locks[usize::from(conflict.release_first)].name;
        table.row(vec![d.lock_names(conflict.locks.0).join(" + "), first.clone()]);
    }
    let mut out = table.titled("Forbidden lock sets (the smallest)", width);
    let mut table = Table::new(&["only at rest", "holds"]);
    for overlap in &data.overlaps {
        let holds: Vec<&str> =
            overlap.machines.iter().map(|m| d.machines[usize::from(m)].name.as_str()).collect();
        table.row(vec![d.lock_names(overlap.locks.0).join(" + "), holds.join(", ")]);
    }
    out += &table.titled("Overlaps (the smallest)", width);
    out.push('\n');
    out
}

/// One step in few words: `+lock` closes, `-lock` opens, `!` without push at the wheels.
pub fn step_word(d: &Driveline, data: &TableData, number: u16) -> String {
    let step = &data.steps[usize::from(number)];
    let note = &data.notes[usize::from(number)];
    let sign = if step.action == Action::Close { '+' } else { '-' };
    let gap = if step.keeps_push { "" } else { "!" };
    let mut word = format!("{sign}{}{gap}", d.locks[usize::from(step.lock)].name);
    if let Some(machine) = note.synchroniser {
        word += &format!(" ({})", d.machines[machine].name);
    }
    if step.demand_max < f32::MAX {
        word += &format!(" [{:.0} Nm]", step.demand_max);
    }
    word
}

/// The steps of one way from a lock set, and how it ends.
pub(crate) fn path(
    data: &TableData,
    way: u8,
    stuck: Stuck,
    from: u8,
    arrangement: u8,
) -> (Vec<u16>, Result<(), Why>) {
    let table = data.table();
    let mut set = Bits(from);
    let mut steps = Vec::new();
    // A way never visits a lock set twice, so it has fewer steps than there are lock sets.
    for _ in 0..=data.sets.len() {
        match table.next_step(way, stuck, set, arrangement) {
            Ok(number) => {
                steps.push(number);
                let lock = data.steps[usize::from(number)].lock;
                set = set.with(lock, !set.has(lock));
            }
            Err(Why::Arrived) => return (steps, Ok(())),
            Err(why) => return (steps, Err(why)),
        }
    }
    (steps, Err(Why::Conflict))
}

fn ways(d: &Driveline, data: &TableData, width: usize) -> String {
    let mut out = paragraph(
        "Ways between the arrangements, in order of preference (+ synchronise and close, by the \
         machine in brackets; - unload and open; ! without push at the wheels; [torque at the \
         output up to which it is taken])",
        0,
        width,
    );
    for (a, from) in d.arrangements.iter().enumerate() {
        for (b, to) in d.arrangements.iter().enumerate() {
            if a == b {
                continue;
            }
            out += &paragraph(&format!("{} -> {}", from.name, to.name), 2, width);
            let mut seen: Vec<Vec<u16>> = Vec::new();
            for way in 0..WAYS as u8 {
                let (steps, end) = path(data, way, Stuck::None, from.closed, b as u8);
                let words: Vec<String> = steps.iter().map(|&s| step_word(d, data, s)).collect();
                match end {
                    Ok(()) if !seen.contains(&steps) => {
                        let label = format!("{}. ", seen.len() + 1);
                        let line = if words.is_empty() {
                            "the same locks; only the engine differs".to_string()
                        } else {
                            words.join("  ")
                        };
                        out += &labelled(&label, &line, 4, width);
                        seen.push(steps);
                    }
                    Err(why) if way == 0 => {
                        out += &paragraph(
                            &format!("refused: {}", super::json::why_word(why)),
                            4,
                            width,
                        );
                    }
                    _ => {}
                }
            }
        }
    }
    out.push('\n');
    out
}

/// What can still be reached when one lock is stuck.
fn limp(d: &Driveline, data: &TableData, width: usize) -> String {
    let mut table = Table::new(&["stuck", "arrangements that can still be reached"]);
    for stuck in super::build::stuck_variants(d.locks.len()) {
        let name = match stuck {
            Stuck::None => continue,
            Stuck::Open(l) => format!("{} open", d.locks[usize::from(l)].name),
            Stuck::Closed(l) => format!("{} closed", d.locks[usize::from(l)].name),
        };
        let starts: Vec<u8> = (0..data.sets.len() as u16)
            .map(|s| s as u8)
            .filter(|&s| super::search::possible(s, stuck) && !data.table().forbids(Bits(s)))
            .collect();
        let reached: Vec<&str> = (0..d.arrangements.len())
            .filter(|&a| starts.iter().any(|&s| path(data, 0, stuck, s, a as u8).1.is_ok()))
            .map(|a| d.arrangements[a].name.as_str())
            .collect();
        let reached = if reached.is_empty() { "none".to_string() } else { reached.join(", ") };
        table.row(vec![name, reached]);
    }
    table.titled("With one lock stuck", width) + "\n"
}

fn margins(margins: &[Margin], width: usize) -> String {
    let mut table = Table::new(&["limit", "sensor", "age", "rounding", "left", "unit", "of"]);
    for m in margins {
        table.row(vec![
            format!("{:.1}", m.limit),
            format!("{:.2}", m.sensor),
            format!("{:.2}", m.latency),
            format!("{:.4}", m.rounding),
            format!("{:.1}", m.left),
            m.unit.to_string(),
            m.what.clone(),
        ]);
    }
    table.titled(
        "Limits that measurements are compared with: what sensor error and quantisation, the age \
         of the value and f32 rounding take, and what is left",
        width,
    )
}
