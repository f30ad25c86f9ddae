//! What never occurs, and why that is in order: a `sometimes` that nothing reaches is a finding
//! unless it is excused by name with a reason.

use std::collections::BTreeMap;

use supervisor::table::NO_STEP;

use super::search::Found;
use super::sometimes::{REFUSALS, Reaction};
use crate::driveline::Driveline;
use crate::table::{TableData, step_word};

/// Something that never occurred.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dead {
    /// Its name: kind, colon, name.
    pub name: String,
    /// Why that is in order, if it is.
    pub excuse: Option<String>,
}

/// Everything that never occurred in a complete search, with the excuses that the table itself
/// gives, and those of the user by name.
pub fn dead(
    d: &Driveline,
    data: &TableData,
    found: &Found,
    budget: u8,
    excused: &BTreeMap<String, String>,
) -> Vec<Dead> {
    let seen = &found.sometimes;
    let mut list = Vec::new();
    let mut names = BTreeMap::new();
    for step in (0..data.steps.len()).filter(|&s| !seen.steps.has(s)) {
        let word = step_word(d, data, step as u16);
        let from: Vec<&str> =
            data.steps[step].from.iter().map(|l| d.locks[usize::from(l)].name.as_str()).collect();
        let from = if from.is_empty() { "nothing".to_string() } else { from.join("+") };
        let name = format!("step:{from} {word}");
        let twice: &mut usize = names.entry(name.clone()).or_default();
        *twice += 1;
        let name = if *twice > 1 { format!("{name} #{twice}") } else { name };
        list.push((name, step_excuse(data, step as u16, budget)));
    }
    for (a, arrangement) in d.arrangements.iter().enumerate() {
        if !seen.arrangements.has(a) {
            list.push((format!("arrangement:{}", arrangement.name), None));
        }
    }
    for (number, word) in REFUSALS.iter().enumerate() {
        if !seen.refusals.has(number) {
            list.push((format!("refusal:{word}"), refusal_excuse(d, data, word, budget)));
        }
    }
    for reaction in Reaction::ALL {
        if !seen.reactions.has(reaction as usize) {
            let excuse = reaction_excuse(data, reaction, budget);
            list.push((format!("reaction:{}", reaction.name()), excuse));
        }
    }
    let with = |(name, excuse): (String, Option<String>)| {
        let excuse = excused.get(&name).cloned().or(excuse);
        Dead { name, excuse }
    };
    list.into_iter().map(with).collect()
}

/// A step that only ways around a stuck lock take needs one.
fn step_excuse(data: &TableData, step: u16, budget: u8) -> Option<String> {
    let table = data.table();
    let (sets, arrangements) = (table.set_count(), data.arrangements.len());
    let row = sets * arrangements;
    let named = |variant: usize| {
        (0..data.next.len() / (row * table.stuck_count())).any(|way| {
            let from = (way * table.stuck_count() + variant) * row;
            data.next[from..from + row].iter().any(|&e| e & NO_STEP == 0 && e == step)
        })
    };
    let with_stuck = (1..table.stuck_count()).any(named);
    match (named(0), with_stuck) {
        (false, true) if budget == 0 => {
            Some("it belongs to ways around a stuck lock, and no lock fault was allowed".into())
        }
        _ => None,
    }
}

fn refusal_excuse(d: &Driveline, data: &TableData, word: &str, budget: u8) -> Option<String> {
    let text = match word {
        "table" => "the table is sound, and one that is not is refused before the first tick",
        "engine-not-running" if d.engine().is_none() => "there is no engine",
        "overlap-too-long" if data.overlaps.is_empty() => "there is no overlap",
        "hot" if data.locks.iter().all(|lock| lock.rise_max_k <= 0.0) => "no lock gets hot",
        "switch" if data.locks.iter().all(|lock| !lock.has_switch) => "no lock has a switch",
        "interlock" if data.conflicts.is_empty() && data.overlaps.is_empty() => "nothing conflicts",
        "not-opened" | "switch" | "interlock" if budget == 0 => "no lock fault was allowed",
        _ => return None,
    };
    Some(text.to_string())
}

fn reaction_excuse(data: &TableData, reaction: Reaction, budget: u8) -> Option<String> {
    let text = match reaction {
        Reaction::Filled if data.locks.iter().all(|lock| lock.dog) => "dogs are not filled",
        Reaction::OverlapEnded if data.overlaps.is_empty() => "there is no overlap",
        Reaction::EngineReleased if data.engine.is_none() => "there is no engine",
        Reaction::LetGo if data.conflicts.is_empty() => "nothing conflicts",
        Reaction::Denied if data.conflicts.is_empty() && data.overlaps.is_empty() => {
            "nothing conflicts"
        }
        Reaction::Switch if data.locks.iter().all(|lock| !lock.has_switch) => {
            "no lock has a switch"
        }
        Reaction::StuckOpen
        | Reaction::StuckClosed
        | Reaction::Switch
        | Reaction::Lost
        | Reaction::LetGo
        | Reaction::Denied
            if budget == 0 =>
        {
            "no lock fault was allowed"
        }
        _ => return None,
    };
    Some(text.to_string())
}
