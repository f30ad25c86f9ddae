//! A way to a state, tick by tick in words.

use supervisor::bits::Bits;
use supervisor::status::Phase;

use super::chooser::Chooser;
use super::environment::{Actual, LockFault};
use super::model::{Model, Node, Tick};
use super::search::Found;
use super::senses::Mood;
use crate::driveline::Driveline;

/// The shortest way to a broken property: one line a tick.
pub fn words(d: &Driveline, model: &Model, found: &Found, parent: u32, last: &Node) -> Vec<String> {
    let mut nodes: Vec<Node> =
        found.store.path_to(parent).iter().map(|&n| *found.store.node(n)).collect();
    nodes.push(*last);
    let mut lines = vec!["tick 0: after a reset, every lock open and nothing ordered".to_string()];
    for (i, pair) in nodes.windows(2).enumerate() {
        lines.push(format!("tick {}: {}", i + 1, between(d, model, &pair[0], &pair[1])));
    }
    lines
}

fn between(d: &Driveline, model: &Model, before: &Node, after: &Node) -> String {
    match tick_between(model, before, after) {
        Some(tick) => describe(d, before, &tick),
        None => "the supervisor is reset".to_string(),
    }
}

/// The first combination of answers that leads from one state to the other.
fn tick_between(model: &Model, before: &Node, after: &Node) -> Option<Tick> {
    let same = |node: Node| Node { kernel: node.kernel.without_statement(), ..node };
    let mut chooser = Chooser::default();
    loop {
        chooser.begin();
        let tick = model.tick(before, Mood::Hostile, &mut chooser);
        if same(tick.after) == same(*after) {
            return Some(tick);
        }
        if !chooser.advance() {
            return None;
        }
    }
}

fn describe(d: &Driveline, before: &Node, tick: &Tick) -> String {
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
    if let Some(lock) = tick.happened.opened {
        parts.push(format!("{} opens by itself", name(lock)));
    }
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
    format!("{} ({phase})", parts.join("; "))
}
