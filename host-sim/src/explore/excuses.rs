//! What never occurs, and why that is in order: a `sometimes` that nothing reaches is a finding
//! unless it is excused by name with a reason.

use std::collections::BTreeMap;

use supervisor::bits::Bits;
use supervisor::table::{Action, NO_STEP};

use super::search::Found;
use super::sometimes::{REFUSALS, Reaction, Sometimes};
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

/// An excuse of the user that excuses nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Idle {
    /// What it is for.
    pub name: String,
    /// Why it is not needed.
    pub why: String,
}

/// Everything that never occurred in a complete search, with the excuses that the table itself
/// gives, and those of the user by name; and the user's excuses that nothing needs.
pub fn dead(
    d: &Driveline,
    data: &TableData,
    found: &Found,
    budget: u8,
    excused: &BTreeMap<String, String>,
) -> (Vec<Dead>, Vec<Idle>) {
    let mut idle = Vec::new();
    let mut list = Vec::new();
    for (name, occurs, excuse) in expected(d, data, Some(&found.sometimes), budget) {
        let by_user = excused.get(&name);
        let why = match &excuse {
            _ if occurs => Some("it occurs".to_string()),
            Some(own) => Some(format!("the table itself says why it never occurs: {own}")),
            None => None,
        };
        if let (Some(why), true) = (why, by_user.is_some()) {
            idle.push(Idle { name: name.clone(), why });
        }
        if !occurs {
            list.push(Dead { name, excuse: excuse.or(by_user.cloned()) });
        }
    }
    (list, idle)
}

/// Names of everything that must occur at some time.
pub fn names(d: &Driveline, data: &TableData) -> Vec<String> {
    expected(d, data, None, 0).into_iter().map(|(name, ..)| name).collect()
}

/// All that must occur: its name, whether it did, and the table's own excuse where it did not.
fn expected(
    d: &Driveline,
    data: &TableData,
    seen: Option<&Sometimes>,
    budget: u8,
) -> Vec<(String, bool, Option<String>)> {
    let occurs = |has: &dyn Fn(&Sometimes) -> bool| seen.is_some_and(has);
    let mut list = Vec::new();
    for (step, name) in step_names(d, data).into_iter().enumerate() {
        let taken = occurs(&|seen| seen.steps.has(step));
        let excuse = if taken { None } else { step_excuse(data, step as u16, budget) };
        list.push((name, taken, excuse));
    }
    for (a, arrangement) in d.arrangements.iter().enumerate() {
        let stood = occurs(&|seen| seen.arrangements.has(a));
        list.push((format!("arrangement:{}", arrangement.name), stood, None));
    }
    for (number, word) in REFUSALS.iter().enumerate() {
        let stated = occurs(&|seen| seen.refusals.has(number));
        list.push((format!("refusal:{word}"), stated, refusal_excuse(d, data, word, budget)));
    }
    for reaction in Reaction::ALL {
        let done = occurs(&|seen| seen.reactions.has(reaction as usize));
        let excuse = reaction_excuse(data, reaction, budget);
        list.push((format!("reaction:{}", reaction.name()), done, excuse));
    }
    list
}

/// Each step by where it begins and what it does; steps that read alike are counted.
fn step_names(d: &Driveline, data: &TableData) -> Vec<String> {
    let mut names = BTreeMap::new();
    let mut list = Vec::new();
    for step in 0..data.steps.len() {
        let word = step_word(d, data, step as u16);
        let from: Vec<&str> =
            data.steps[step].from.iter().map(|l| d.locks[usize::from(l)].name.as_str()).collect();
        let from = if from.is_empty() { "nothing".to_string() } else { from.join("+") };
        let name = format!("step:{from} {word}");
        let twice: &mut usize = names.entry(name.clone()).or_default();
        *twice += 1;
        list.push(if *twice > 1 { format!("{name} #{twice}") } else { name });
    }
    list
}

/// Lock sets that can be held while no lock has a fault: what steps close, beginning with nothing,
/// less any of it that is let go for whatever reason.
fn sets_without_faults(data: &TableData) -> Vec<bool> {
    let mut held = vec![false; 1 << data.locks.len()];
    let mut waiting = vec![Bits::EMPTY];
    while let Some(set) = waiting.pop() {
        let Some(slot) = held.get_mut(usize::from(set.0)) else { continue };
        if std::mem::replace(slot, true) {
            continue;
        }
        let closings = data.steps.iter().filter(|s| s.action == Action::Close && s.from == set);
        waiting.extend(closings.map(|step| set.with(step.lock, true)));
        waiting.extend(set.iter().map(|lock| set.with(lock, false)));
    }
    held
}

/// Whether these locks hold a machine with the engine joined and are no arrangement.
fn is_joined_overlap(data: &TableData, locks: Bits) -> bool {
    data.sets.get(usize::from(locks.0)).is_some_and(|set| {
        set.engine_joined
            && !set.held_machines.is_empty()
            && !data.arrangements.iter().any(|a| a.closed == locks)
    })
}

/// A step from an overlap with the engine joined is never begun: SW-D2 ends that overlap at once,
/// and only looks at the step for which lock goes first.
///
/// Without a lock fault, a step that only ways around a stuck lock take needs none, and one that
/// begins in a lock set that no step leads to cannot be begun.
fn step_excuse(data: &TableData, step: u16, budget: u8) -> Option<String> {
    let from = data.steps.get(usize::from(step))?.from;
    if is_joined_overlap(data, from) {
        return Some(
            "it begins in an overlap with the engine joined, which is ended at once and not by \
             steps (SW-D2)"
                .into(),
        );
    }
    if budget > 0 {
        return None;
    }
    if !sets_without_faults(data).get(usize::from(from.0)).is_some_and(|&held| held) {
        return Some(
            "no step leads to the lock set that it begins in, only a lock fault does, and none was \
             allowed"
                .into(),
        );
    }
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
        (false, true) => {
            Some("it belongs to ways around a stuck lock, and no lock fault was allowed".into())
        }
        _ => None,
    }
}

/// Why no overlap can be met that is no arrangement; `None` where one can.
fn overlap_excuse(data: &TableData, budget: u8) -> Option<&'static str> {
    if data.overlaps.is_empty() {
        return Some("there is no overlap");
    }
    let steps_hold = sets_without_faults(data);
    let may_be_held = |set: usize| budget > 0 || steps_hold.get(set).is_some_and(|&held| held);
    let met = data.sets.iter().enumerate().any(|(set, row)| {
        let locks = Bits(set as u8);
        let meant = data.arrangements.iter().any(|a| a.closed == locks);
        let forbidden = data.conflicts.iter().any(|c| locks.contains(c.locks));
        !row.held_machines.is_empty() && !meant && !forbidden && may_be_held(set)
    });
    let why = "every lock set that holds a machine is an arrangement, is forbidden, or needs a \
               lock fault that was not allowed";
    (!met).then_some(why)
}

fn refusal_excuse(d: &Driveline, data: &TableData, word: &str, budget: u8) -> Option<String> {
    let text = match word {
        "table" => "the table is sound, and one that is not is refused before the first tick",
        "engine-not-running" if d.engine().is_none() => "there is no engine",
        "overlap-too-long" => overlap_excuse(data, budget)?,
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
        Reaction::OverlapEnded => overlap_excuse(data, budget)?,
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
