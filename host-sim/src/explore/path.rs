//! A way to a state, tick by tick in words. The search keeps no way, only the level of each
//! state: the way back is found by asking each level which of its states leads on.

use std::sync::Mutex;

use supervisor::bits::Bits;
use supervisor::status::Phase;

use super::chooser::Chooser;
use super::codes::{Parts, node_of};
use super::environment::{Actual, LockFault};
use super::expand::{Expander, Next};
use super::model::{Model, Node, Reset, Tick};
use super::search::{Breach, Found};
use super::senses::Mood;
use super::store::States;
use super::table::{Word, level_of};
use crate::driveline::Driveline;
use crate::with_states;

/// The states of a shortest way to what is broken: from the first to the one after.
pub fn way_to(model: &Model, found: &Found, breach: &Breach, threads: usize) -> Vec<Node> {
    let locks = usize::from(model.table.lock_count());
    let mut way = vec![node_of(&breach.after, locks), node_of(&breach.before, locks)];
    with_states!(&found.store, states => {
        let mut at = breach.before;
        for level in (0..breach.level).rev() {
            at = before_on_level(model, states, &at, level, threads);
            way.push(node_of(&at, locks));
        }
    });
    way.reverse();
    way
}

/// Of the states of a level that lead to this one, the first in their order.
fn before_on_level<W: Word>(
    model: &Model,
    states: &States<W>,
    target: &Parts,
    level: u32,
    threads: usize,
) -> Parts {
    let first: Mutex<Option<Parts>> = Mutex::new(None);
    std::thread::scope(|scope| {
        let first = &first;
        for part in states.shards.chunks(states.shards.len().div_ceil(threads.max(1))) {
            scope.spawn(move || {
                let mut codes = states.codes.view();
                let mut expander = Expander::default();
                let target = node_of(target, states.layout.locks);
                let target = super::expand::codes_of(&target, states.layout.locks, &mut codes);
                let words = part.iter().flat_map(|shard| shard.slots());
                for &word in words.filter(|w| **w != W::default() && level_of(**w) == level) {
                    let before = states.node(word, &mut codes);
                    let mut leads = false;
                    expander.expand(model, &before, &mut codes, |next| {
                        leads |= matches!(next, Next::State(state) if *state == target);
                    });
                    if leads {
                        let parts = states.parts(word, &mut codes);
                        let mut first = first.lock().unwrap_or_else(|e| e.into_inner());
                        *first = Some(first.map_or(parts, |known| known.min(parts)));
                    }
                }
            });
        }
    });
    let first = first.into_inner().unwrap_or_else(|e| e.into_inner());
    first.expect("every state but the first was reached from the level before")
}

/// What led from one state to the next.
#[derive(Clone, Debug)]
pub enum Leap {
    /// A tick.
    Tick(Box<Tick>),
    /// A reset of the supervisor.
    Reset(Reset),
}

/// What led from each state of a way to the next.
pub fn leaps(model: &Model, way: &[Node]) -> Vec<Leap> {
    way.windows(2).map(|pair| leap(model, &pair[0], &pair[1])).collect()
}

fn leap(model: &Model, before: &Node, after: &Node) -> Leap {
    let same = |node: Node| model.canonical(node) == model.canonical(*after);
    if let Some(tick) = tick_between(model, before, same) {
        return Leap::Tick(Box::new(tick));
    }
    let warm = same(model.reset(before, Reset::Warm));
    Leap::Reset(if warm { Reset::Warm } else { Reset::Cold })
}

/// The first combination of answers that leads from one state to the other.
fn tick_between(model: &Model, before: &Node, same: impl Fn(Node) -> bool) -> Option<Tick> {
    let mut chooser = Chooser::default();
    loop {
        chooser.begin();
        let tick = model.tick(before, Mood::Hostile, &mut chooser);
        if same(tick.after) {
            return Some(tick);
        }
        if !chooser.advance() {
            return None;
        }
    }
}

/// A way in words: one line a tick.
pub fn words(d: &Driveline, model: &Model, way: &[Node]) -> Vec<String> {
    let mut lines = vec!["tick 0: after a reset, every lock open and nothing ordered".to_string()];
    for (i, leap) in leaps(model, way).iter().enumerate() {
        let told = match leap {
            Leap::Tick(tick) => describe(d, &way[i], tick),
            Leap::Reset(Reset::Warm) => "the supervisor is reset and keeps its trace".to_string(),
            Leap::Reset(Reset::Cold) => "the supervisor is reset and knows nothing".to_string(),
        };
        lines.push(format!("tick {}: {told}", i + 1));
    }
    lines
}

fn faults_in_words(d: &Driveline, before: &Node, tick: &Tick) -> Vec<String> {
    let name = |lock: u8| d.locks[usize::from(lock)].name.as_str();
    let mut parts = Vec::new();
    if let Some((lock, fault)) = tick.happened.fault {
        let what = match fault {
            LockFault::None => "is well",
            LockFault::StuckOpen => "sticks open",
            LockFault::StuckClosed => "sticks closed",
            LockFault::SwitchOpen => "has a switch that says open for ever",
            LockFault::SwitchClosed => "has a switch that says closed for ever",
        };
        parts.push(format!("{} {what}", name(lock)));
    }
    if tick.after.world.lying && !before.world.lying {
        parts.push("speed sensors begin to lie".to_string());
    }
    if let Some(lock) = tick.happened.opened {
        parts.push(format!("{} opens by itself", name(lock)));
    }
    parts
}

fn describe(d: &Driveline, before: &Node, tick: &Tick) -> String {
    let name = |lock: u8| d.locks[usize::from(lock)].name.as_str();
    let mut parts = faults_in_words(d, before, tick);
    for lock in 0..d.locks.len() {
        let (was, is) = (before.world.actual[lock], tick.after.world.actual[lock]);
        if was != is {
            let what = match is {
                Actual::Open => "is open",
                Actual::Closing => "is pressed",
                Actual::Closed => "holds",
                Actual::Opening => "lets go",
            };
            parts.push(format!("{} {what}", name(lock as u8)));
        }
    }
    if let Some(Some(asked)) = tick.request {
        let goal = before.kernel.state().goal();
        if goal != Some(asked) {
            parts.push(format!("{} is asked for", d.arrangements[usize::from(asked)].name));
        }
    }
    let list = |bits: Bits| bits.iter().map(name).collect::<Vec<_>>().join(", ");
    let orders = [
        ("orders closed", tick.after.closing.without(before.closing)),
        ("orders filled", tick.after.filling.without(before.filling)),
        ("orders open", before.closing.without(tick.after.closing)),
    ];
    for (what, locks) in orders.iter().filter(|(_, locks)| !locks.is_empty()) {
        parts.push(format!("the supervisor {what} {}", list(*locks)));
    }
    let phase = match tick.after.kernel.state().phase() {
        Phase::Wake => "waking",
        Phase::Rest => "at rest",
        Phase::Prepare { .. } => "preparing",
        Phase::Closing { .. } => "closing",
        Phase::Opening { .. } => "opening",
        Phase::Settle => "settling",
    };
    if parts.is_empty() {
        parts.push("nothing moves".to_string());
    }
    let broken: Vec<&str> = tick.broken.iter().map(|always| always.text()).collect();
    if !broken.is_empty() {
        parts.push(format!("against \"{}\"", broken.join("\", \"")));
    }
    format!("{} ({phase})", parts.join("; "))
}
