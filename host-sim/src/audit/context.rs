//! What all parts of the audit look at, and what they work out once.

use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;

use crate::driveline::{Driveline, MachineId, MachineKind};
use crate::exact::{Matrix, Q, Row, int};
use crate::kinematics::{Kinematics, gear_rows, lock_row};
use crate::table::TableData;

use super::Scope;
use super::accelerations::{alone_radps2, bounds, grip_radps2};
use super::numbers::exact;
use super::windows::TrueWindow;

/// One audit.
pub(super) struct Context<'a> {
    pub d: &'a Driveline,
    pub k: &'a Kinematics,
    pub table: &'a TableData,
    pub scope: Scope,
    /// Bit `s` of entry `set`: shaft `s` is held there.
    held: Vec<u32>,
    joined: Vec<bool>,
    accelerations: OnceCell<Row>,
    pub(super) windows: RefCell<BTreeMap<(u8, bool), Option<TrueWindow>>>,
}

impl<'a> Context<'a> {
    pub(super) fn new(
        d: &'a Driveline,
        k: &'a Kinematics,
        table: &'a TableData,
        scope: Scope,
    ) -> Context<'a> {
        let held = (0..1usize << d.locks.len()).map(|set| held_by_rank(d, set)).collect();
        let joined = (0..k.sets.len()).map(|set| joins_engine(d, k, set as u8)).collect();
        let windows = RefCell::default();
        Context { d, k, table, scope, held, joined, accelerations: OnceCell::new(), windows }
    }

    pub(super) fn holds(&self, set: u8, shaft: usize) -> bool {
        self.held[usize::from(set)] >> shaft & 1 == 1
    }

    /// Whether a lock set holds the output or an engine, by this audit's own reckoning.
    pub(super) fn is_forbidden(&self, set: u8) -> bool {
        let engines = (0..self.d.machines.len()).filter(|&m| !self.is_electric(m));
        self.holds(set, self.d.output.shaft)
            || engines.into_iter().any(|m| self.holds(set, self.d.machines[m].shaft))
    }

    /// Electric machines that a lock set holds.
    pub(super) fn held_machines(&self, set: u8) -> Vec<MachineId> {
        let machines = 0..self.d.machines.len();
        machines
            .filter(|&m| self.is_electric(m) && self.holds(set, self.d.machines[m].shaft))
            .collect()
    }

    pub(super) fn is_electric(&self, machine: MachineId) -> bool {
        matches!(self.d.machines[machine].kind, MachineKind::Electric(_))
    }

    /// Whether the engine's shaft is joined to anything that matters in a lock set.
    pub(super) fn engine_joined(&self, set: u8) -> bool {
        self.joined[usize::from(set)]
    }

    pub(super) fn own_starter(&self) -> bool {
        self.d.engine().is_some_and(|(_, e)| e.own_starter)
    }

    /// Largest change of a shaft's speed, rad/s2.
    pub(super) fn acceleration_radps2(&self, shaft: usize) -> Q {
        self.accelerations.get_or_init(|| bounds(self))[shaft].clone()
    }

    /// The fastest that any shaft can do, or a machine's rotor by itself, rad/s2.
    pub(super) fn fastest_radps2(&self) -> Q {
        let shafts = (0..self.d.shafts.len()).map(|s| self.acceleration_radps2(s));
        let rotors = self.d.machines.iter().filter_map(|m| alone_radps2(self.d, m));
        shafts.chain(rotors).max().unwrap_or_else(|| int(0))
    }

    pub(super) fn output_acceleration_radps2(&self) -> Q {
        grip_radps2(self.d)
    }

    /// Distance between the samples of a rate, s.
    pub(super) fn rate_span_s(&self) -> Q {
        let tick = exact(self.d.timing.tick_ms) / int(1000);
        let ticks = if self.scope.timing {
            i64::from(self.table.timing.rate_ticks.max(1))
        } else {
            i64::from(super::timing::rate_ticks(self.d))
        };
        tick * int(ticks)
    }

    pub(super) fn lock_name(&self, lock: usize) -> &str {
        &self.d.locks[lock].name
    }
}

/// Shafts at zero in every motion: those whose unit row is a combination of the rows of gears and
/// closed locks. (The kinematics look at the motions instead.)
fn held_by_rank(d: &Driveline, set: usize) -> u32 {
    let mut rows = gear_rows(d);
    (0..d.locks.len()).filter(|l| set >> l & 1 == 1).for_each(|l| rows.push(lock_row(d, l)));
    let (reduced, _) = rows.reduced();
    // In reduced echelon form a unit row in the row space stands there by itself.
    let alone = |row: &Row| {
        let mut used = row.iter().enumerate().filter(|(_, q)| !num_traits::Zero::is_zero(*q));
        match (used.next(), used.next()) {
            (Some((shaft, _)), None) => Some(shaft),
            _ => None,
        }
    };
    reduced.rows().iter().filter_map(alone).fold(0, |mask, shaft| mask | 1 << shaft)
}

/// Whether the engine's speed is a combination of the output's and the other machines': then it
/// cannot turn by itself.
fn joins_engine(d: &Driveline, k: &Kinematics, set: u8) -> bool {
    let Some((engine, _)) = d.engine() else { return false };
    let basis = &k.set(set).basis;
    let speeds =
        |shaft: usize| -> Row { basis.iter().map(|motion| motion[shaft].clone()).collect() };
    let mut others = vec![speeds(d.output.shaft)];
    let machines = d.machines.iter().enumerate().filter(|(m, _)| *m != engine);
    others.extend(machines.map(|(_, m)| speeds(m.shaft)));
    let engine = speeds(d.machines[engine].shaft);
    Matrix::new(basis.len(), others).combine_rows(&engine).is_some()
}
