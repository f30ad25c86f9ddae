//! Steps: lock sets, rest, engine, sensors, and what closings and openings share.

use supervisor::bits::Bits;
use supervisor::table as t;

use crate::driveline::EngineUse;

use super::arrangements::within;
use super::context::Context;
use super::forms::support;
use super::relations::output_error;
use super::windows::true_window;
use super::{Audited, closings, openings};

/// For which kinds of targets the table's ways use a step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Used {
    /// Targets that want the engine on.
    pub on: bool,
    /// All others.
    pub other: bool,
}

/// One step under audit.
pub(super) struct Subject<'a> {
    pub step: &'a t::Step,
    pub number: usize,
    pub from: u8,
    pub to: u8,
    pub used: Used,
    /// Whether the engine must be reckoned with as running once the lock has moved.
    pub engine_runs: bool,
}

impl Subject<'_> {
    pub(super) fn place(&self, field: &str) -> String {
        format!("step {} {field}", self.number)
    }
}

pub(super) fn examine(context: &Context, out: &mut Audited) {
    let uses = uses(context);
    let error = output_error(context);
    for (number, step) in context.table.steps.iter().enumerate() {
        let Some((from, to)) = ends(context, step) else {
            let sentence = "it moves a lock that does not exist, or that is already so";
            out.find("AU-STEP", format!("step {number} lock"), sentence);
            continue;
        };
        let used = uses[number];
        if !used.on && !used.other {
            // The builder numbers only steps that a way takes: some entry has lost it.
            out.find("AU-NEXT", format!("step {number}"), "no way takes it");
        }
        let joined = |set| context.engine_joined(set);
        let closes = step.action == t::Action::Close;
        // It may run where it is joined before a closing; it does where a target wants it on.
        let may_run = joined(from) || used.on;
        let engine_runs = context.own_starter()
            && if closes { joined(from) || used.on && joined(to) } else { joined(to) && may_run };
        let subject = Subject { step, number, from, to, used, engine_runs };
        for set in [from, to].into_iter().filter(|&s| context.is_forbidden(s)) {
            let names = context.d.lock_names(set).join(" + ");
            out.find("AU-STEP", subject.place("lock"), format!("{names} is forbidden"));
        }
        discrete(context, &subject, out);
        if let Some(error) = &error {
            let truth = true_window(context, to, engine_runs);
            let implies = "at the true road speed every shaft can keep its limits after the step";
            within(&subject.place("window"), implies, step.window, truth.as_ref(), error, out);
        }
        if closes {
            closings::examine(context, &subject, out);
        } else {
            openings::examine(context, &subject, out);
        }
    }
}

/// Lock sets before and after a step; `None` when it moves nothing.
pub(super) fn ends(context: &Context, step: &t::Step) -> Option<(u8, u8)> {
    let locks = context.d.locks.len();
    let exists = usize::from(step.lock) < locks && usize::from(step.from.0) < 1 << locks;
    let moves = exists && step.from.has(step.lock) != (step.action == t::Action::Close);
    moves.then(|| (step.from.0, step.from.0 ^ 1 << step.lock))
}

fn uses(context: &Context) -> Vec<Used> {
    let mut uses = vec![Used::default(); context.table.steps.len()];
    let targets = context.d.arrangements.len();
    for (i, &entry) in context.table.next.iter().enumerate() {
        let Some(used) = uses.get_mut(usize::from(entry)) else { continue };
        match context.d.arrangements[i % targets].engine {
            EngineUse::On => used.on = true,
            EngineUse::Off | EngineUse::Either => used.other = true,
        }
    }
    uses
}

fn discrete(context: &Context, subject: &Subject, out: &mut Audited) {
    let Subject { step, from, to, used, .. } = *subject;
    let closes = step.action == t::Action::Close;
    // Machines that must stand before they are held.
    let before = context.held_machines(from);
    let newly = context.held_machines(to).into_iter().filter(|m| !before.contains(m));
    let newly = newly.fold(Bits::EMPTY, |bits, m| bits.with(m as u8, true));
    if step.rest != newly {
        let sentence = "it does not want at rest exactly the machines that it newly holds";
        out.find("AU-REST", subject.place("rest"), sentence);
    }
    if closes && context.engine_joined(to) && !context.held_machines(to).is_empty() {
        let sentence = "it holds a machine with the engine joined";
        out.find("AU-REST", subject.place("lock"), sentence);
    }
    let joins = closes && context.engine_joined(to) && !context.engine_joined(from);
    let running = step.engine == t::EngineNeed::Running;
    if (used.on && running != (joins && context.own_starter())) || (used.other && running) {
        let sentence = if running {
            "it waits for an engine that need not run"
        } else {
            "it joins an engine that need not run yet"
        };
        out.find("AU-ENGINE-NEED", subject.place("engine"), sentence);
    }
    let lock = &context.table.locks[usize::from(step.lock)];
    let limits = context.table.table();
    let limits = limits.limits_of(step);
    let wanted = limits
        .iter()
        .fold(support(&step.target_row), |bits, limit| bits.or(support(&limit.row)))
        .or(if closes { support(&lock.slip_row) } else { Bits::EMPTY });
    if step.sensors != wanted {
        let sentence = "it does not rely on exactly the sensors that its rows read";
        out.find("AU-SENSORS", subject.place("sensors"), sentence);
    }
    if limits.len() != usize::from(step.limits_count) {
        out.find("AU-LIMITS", subject.place("limits"), "the table has lost its limits");
    }
}
