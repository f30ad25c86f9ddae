//! Candidate steps out of each lock set, and what closings and openings share.

use std::cell::RefCell;
use std::collections::BTreeMap;

use num_traits::Zero;
use supervisor::table as t;

use crate::driveline::{Driveline, EngineUse, MachineKind};
use crate::exact::Row;
use crate::kinematics::Kinematics;

use super::data::StepNote;
use super::limits::road_window;

/// Share of a machine's torque limit that a hand-over or a synchronising machine that also
/// pushes may use: the rest is for control.
pub(super) const TORQUE_SHARE: f64 = 0.9;
/// Time that synchronising is reckoned with in the step search, s.
pub(super) const SYNC_NOMINAL_S: f64 = 0.25;
/// Time that unloading is reckoned with in the step search, s.
pub(super) const UNLOAD_NOMINAL_S: f64 = 0.12;

/// A step before it has a number.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Candidate {
    /// For the board.
    pub step: t::Step,
    /// Speed limits after it.
    pub limits: Vec<t::Limit>,
    /// For a person.
    pub note: StepNote,
    /// Lock set after it.
    pub to: u8,
    /// Whether only small demands may take it.
    pub limited_demand: bool,
}

/// A road-speed window and the shaft that ends it at the top.
type EndedWindow = (t::Window, Option<String>);

/// What all steps are built from.
pub(super) struct Context<'a> {
    /// The driveline.
    pub d: &'a Driveline,
    /// Its kinematics.
    pub k: &'a Kinematics,
    /// Error of the measured output speed, rad/s.
    pub output_error: f64,
    /// Fastest change of each shaft, rad/s2.
    pub fastest: Vec<f64>,
    /// Windows that have been worked out, by lock set and whether the engine runs.
    windows: RefCell<BTreeMap<(u8, bool), EndedWindow>>,
}

/// Whether the engine's shaft is joined to another machine, the output or a held shaft.
pub(super) fn engine_joined(d: &Driveline, k: &Kinematics, set: u8) -> bool {
    let Some((engine, _)) = d.engine() else { return false };
    let shaft = d.machines[engine].shaft;
    let basis = &k.set(set).basis;
    // It is free when it can turn alone, with the output and every other machine standing.
    let mut rows: Vec<Row> = vec![basis.iter().map(|n| n[d.output.shaft].clone()).collect()];
    for (m, machine) in d.machines.iter().enumerate() {
        if m != engine {
            rows.push(basis.iter().map(|n| n[machine.shaft].clone()).collect());
        }
    }
    let alone = crate::exact::Matrix::new(basis.len(), rows).null_space();
    !alone.iter().any(|x| {
        let speed =
            x.iter().zip(basis).fold(crate::exact::int(0), |sum, (c, n)| sum + c * &n[shaft]);
        !speed.is_zero()
    })
}

/// Whether torque passes between the engine's shaft and the output, whatever stands between them.
pub(super) fn engine_geared(d: &Driveline, k: &Kinematics, set: u8) -> bool {
    let Some((engine, _)) = d.engine() else { return false };
    // In the reduced form of the motions shafts that have nothing to do with each other share no
    // motion, not even through others.
    let together =
        |a: usize, b: usize| k.set(set).basis.iter().any(|n| !n[a].is_zero() && !n[b].is_zero());
    let mut reached = vec![d.machines[engine].shaft];
    let mut next = 0;
    while let Some(&from) = reached.get(next) {
        let new = (0..d.shafts.len()).filter(|to| !reached.contains(to) && together(from, *to));
        reached.extend(new.collect::<Vec<_>>());
        next += 1;
    }
    reached.contains(&d.output.shaft) && !k.set(set).holds_output
}

impl<'a> Context<'a> {
    /// For one driveline.
    pub(super) fn new(
        d: &'a Driveline,
        k: &'a Kinematics,
        output_error: f64,
        fastest: Vec<f64>,
    ) -> Context<'a> {
        Context { d, k, output_error, fastest, windows: RefCell::default() }
    }

    /// Road-speed window of a lock set; worked out once, since many steps lead to the same set.
    pub(super) fn window(&self, set: u8, engine_runs: bool) -> EndedWindow {
        let known = self.windows.borrow().get(&(set, engine_runs)).cloned();
        known.unwrap_or_else(|| {
            let engine = if engine_runs { EngineUse::On } else { EngineUse::Either };
            let all = crate::exact::int(1);
            let found = road_window(self.d, self.k, set, engine, self.output_error, &all);
            self.windows.borrow_mut().insert((set, engine_runs), found.clone());
            found
        })
    }
}

impl Context<'_> {
    /// All steps out of `set` for targets that want the engine on, or not.
    pub(super) fn steps_from(&self, set: u8, engine_on: bool) -> Vec<Candidate> {
        let mut found = Vec::new();
        for lock in 0..self.d.locks.len() {
            if set >> lock & 1 == 1 {
                found.extend(self.openings(set, lock, engine_on));
            } else if self.may_close_into(set, lock, engine_on) {
                found.extend(self.closings(set, lock, engine_on));
            }
        }
        found
    }

    /// Whether the engine must be reckoned with as running: it is joined already and may run,
    /// or it is joined by this step while it runs.
    pub(super) fn engine_runs(&self, set: u8, to: u8, engine_on: bool) -> bool {
        let (d, k) = (self.d, self.k);
        let own_starter = d.engine().is_some_and(|(_, e)| e.own_starter);
        own_starter && (engine_on && engine_joined(d, k, to) || engine_joined(d, k, set))
    }

    pub(super) fn note(
        &self,
        keeps: bool,
        time_s: f64,
        work_kj: f64,
        sync: Option<usize>,
    ) -> StepNote {
        let costs = &self.d.costs;
        let gap_s = if keeps { 0.0 } else { time_s };
        StepNote {
            synchroniser: sync,
            time_s,
            gap_s,
            cost: costs.per_action
                + costs.per_s * time_s
                + costs.per_gap_s * gap_s
                + costs.per_kj * work_kj,
            demand_limit: None,
            window_limit: None,
            limit_shafts: Vec::new(),
        }
    }
}

pub(super) fn machine_torque_max(d: &Driveline, machine: usize) -> f64 {
    match &d.machines[machine].kind {
        MachineKind::Electric(e) => e.max_torque_nm.unwrap_or(0.0),
        MachineKind::Engine(e) => {
            e.torque_curve_rpm_nm.iter().map(|(_, nm)| *nm).fold(0.0, f64::max)
        }
    }
}

/// Largest acceleration of the output shaft with wheels in grip, rad/s2.
pub(super) fn output_acceleration_max(d: &Driveline) -> f64 {
    let per_mps2 = d.output_radps_per_kmh().map_or(0.0, |per_kmh| per_kmh * 3.6);
    d.vehicle.as_ref().map_or(0.0, |v| v.max_acceleration_mps2) * per_mps2
}
