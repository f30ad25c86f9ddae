//! Exploration as a judge of one planted defect: the kernel has the broken table, the world and
//! the properties have the good one. What the interlock reads is tried with the interlock alone
//! too, whatever is ordered.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::list::Defect;
use crate::driveline::Driveline;
use crate::explore::always::Always;
use crate::explore::excuses::dead;
use crate::explore::live::liveness;
use crate::explore::model::{Model, Subject};
use crate::explore::search::{Bounds, Found, search};
use crate::explore::senses::Forced;
use crate::explore::shrink::shrunk;
use crate::kinematics::Kinematics;
use crate::table::TableData;

/// How many times as many states as the good table's a broken one may have. Beyond that the
/// search is given up and says nothing.
const MOST_TIMES: usize = 20;

/// What an exploration says of a defect.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Explored {
    /// Nothing: it could not see the change. Why.
    Not(&'static str),
    /// These properties are broken by this subject.
    Broken(Vec<Always>, Subject, usize),
    /// From some state this arrangement is neither reached nor refused.
    Stuck(u8, usize),
    /// What the good table reaches and this one never does, by name.
    Dead(Vec<String>, usize),
    /// Everything was explored, and nothing is wrong.
    Holds(usize),
    /// Given up before everything was explored.
    Inconclusive(usize),
    /// The kernel panicked, which it must never do.
    Panicked,
}

impl Explored {
    /// Whether the defect was found.
    pub fn finds(&self) -> bool {
        matches!(self, Explored::Broken(..) | Explored::Stuck(..) | Explored::Dead(..))
    }
}

/// What is the same for every defect.
pub struct Explorer<'a> {
    d: &'a Driveline,
    small: TableData,
    forced: Forced,
    faults: u8,
    most_states: usize,
    bytes: usize,
    /// What the good table never reaches.
    dead: Vec<String>,
    /// States of the good table.
    pub states: usize,
}

/// Why the good table cannot serve as a measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// It was not explored to its end.
    Unfinished,
    /// Something is broken with it.
    Broken,
}

impl<'a> Explorer<'a> {
    /// Explores the good table. `progress` is told the number of states and may stop it.
    ///
    /// # Errors
    /// When the good table is not explored to its end, or does not hold.
    pub fn new(
        d: &'a Driveline,
        k: &Kinematics,
        good: &TableData,
        faults: u8,
        bounds: &Bounds,
        mut progress: impl FnMut(usize) -> bool,
    ) -> Result<Explorer<'a>, Unfit> {
        let (small, forced) = (shrunk(good), Forced::new(d, k));
        let model = Model::new(small.table(), &forced, faults, Subject::Kernel);
        let found = search(&model, bounds, |reached| progress(reached.states));
        if !found.broken.is_empty() {
            return Err(Unfit::Broken);
        }
        if !found.complete {
            return Err(Unfit::Unfinished);
        }
        if liveness(&model, &found, bounds.threads).stuck.is_some() {
            return Err(Unfit::Broken);
        }
        let dead = never(d, &small, &found, faults);
        Explorer::known((d, k, good), faults, bounds, (found.store.len(), dead), progress)
    }

    /// As [`Explorer::new`], where the good table was explored before, to its end and with nothing
    /// broken: its number of states, and by name what it never reaches. The interlock alone is
    /// explored here.
    ///
    /// # Errors
    /// When the interlock alone is not explored to its end, or does not hold.
    pub fn known(
        (d, k, good): (&'a Driveline, &Kinematics, &TableData),
        faults: u8,
        bounds: &Bounds,
        (states, dead): (usize, Vec<String>),
        mut progress: impl FnMut(usize) -> bool,
    ) -> Result<Explorer<'a>, Unfit> {
        let (small, forced) = (shrunk(good), Forced::new(d, k));
        let alone = Model::new(small.table(), &forced, faults, Subject::InterlockAlone);
        let of_gate = search(&alone, bounds, |reached| progress(reached.states));
        match (of_gate.broken.is_empty(), of_gate.complete) {
            (false, _) => return Err(Unfit::Broken),
            (true, false) => return Err(Unfit::Unfinished),
            (true, true) => {}
        }
        let most_states = states.saturating_mul(MOST_TIMES).min(bounds.states);
        Ok(Explorer { d, small, forced, faults, most_states, bytes: bounds.bytes, dead, states })
    }

    /// Give a broken table up beyond so many states.
    #[must_use]
    pub fn at_most(self, states: usize) -> Explorer<'a> {
        Explorer { most_states: self.most_states.min(states), ..self }
    }

    /// Explore with this defect, on one thread, until something is broken. `stop` may end it.
    pub fn judge(&self, defect: &Defect, stop: &dyn Fn() -> bool) -> Explored {
        if let Some(why) = defect.part.unexplored() {
            return Explored::Not(why);
        }
        // The change is made to the shrunk table: a time that is wrong by a factor stays wrong.
        let broken = defect.planted(&self.small);
        // A kernel that panics is a defect too, but not the one that was planted.
        let explored = catch_unwind(AssertUnwindSafe(|| self.explore(&broken, stop)));
        explored.unwrap_or(Explored::Panicked)
    }

    fn explore(&self, broken: &TableData, stop: &dyn Fn() -> bool) -> Explored {
        let model = Model {
            table: broken.table(),
            truth: self.small.table(),
            ..Model::new(broken.table(), &self.forced, self.faults, Subject::Kernel)
        };
        let bounds = Bounds { states: self.most_states, bytes: self.bytes, threads: 1 };
        let until_broken =
            |model: &Model| search(model, &bounds, |reached| reached.broken == 0 && !stop());
        // A decision that is whole never asks for what a gate of broken data would let pass.
        if gate_differs(&self.small, broken) {
            let subject = Subject::InterlockAlone;
            let found = until_broken(&Model { subject, ..model });
            if !found.broken.is_empty() {
                return broken_by(&found, subject);
            }
        }
        let found = until_broken(&model);
        let states = found.store.len();
        if !found.broken.is_empty() {
            return broken_by(&found, Subject::Kernel);
        }
        if !found.complete {
            return Explored::Inconclusive(states);
        }
        if let Some((_, arrangement)) = liveness(&model, &found, 1).stuck {
            return Explored::Stuck(arrangement, states);
        }
        let names = never(self.d, &self.small, &found, self.faults).into_iter();
        let dead: Vec<String> = names.filter(|name| !self.dead.contains(name)).collect();
        match dead.is_empty() {
            true => Explored::Holds(states),
            false => Explored::Dead(dead, states),
        }
    }
}

fn broken_by(found: &Found, subject: Subject) -> Explored {
    Explored::Broken(found.broken.keys().copied().collect(), subject, found.store.len())
}

/// Whether the interlock reads other data.
fn gate_differs(a: &TableData, b: &TableData) -> bool {
    let locks = |t: &TableData| -> Vec<_> {
        t.locks.iter().map(|lock| (lock.has_switch, lock.release_ticks)).collect()
    };
    let joined = |t: &TableData| -> Vec<bool> { t.sets.iter().map(|s| s.engine_joined).collect() };
    a.conflicts != b.conflicts
        || a.overlaps != b.overlaps
        || a.timing.debounce != b.timing.debounce
        || locks(a) != locks(b)
        || joined(a) != joined(b)
}

/// What a complete search never reached, by name.
fn never(d: &Driveline, table: &TableData, found: &Found, faults: u8) -> Vec<String> {
    let (dead, _) = dead(d, table, found, faults, &BTreeMap::new());
    dead.into_iter().map(|dead| dead.name).collect()
}
