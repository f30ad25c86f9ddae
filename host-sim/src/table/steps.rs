//! Candidate steps out of each lock set: synchronise and close, unload and open.

use num_traits::Zero;
use supervisor::bits::{Bits, MAX_MACHINES, MAX_SENSORS};
use supervisor::table as t;

use crate::driveline::{Driveline, EngineUse, LockId, LockKind, MachineKind};
use crate::exact::{Row, dot, to_f64};
use crate::kinematics::{Kinematics, lock_row};

use super::data::StepNote;
use super::limits::{predicted_form, road_window, round_down, round_up, shaft_limits_radps};
use super::motion::{
    Push, Synchroniser, electric_push, inertia, is_electric, load_motion, sync_keeps_push,
    synchronisers,
};
use super::rows::{RPM, measure};

/// Share of a machine's torque limit that a hand-over or a synchronising machine that also
/// pushes may use: the rest is for control.
const TORQUE_SHARE: f64 = 0.9;
/// Accuracy of a machine's reported torque, as a share of its limit (common practice, no source).
const TORQUE_ERROR_SHARE: f64 = 0.01;
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

/// What all steps are built from.
pub(super) struct Context<'a> {
    /// The driveline.
    pub d: &'a Driveline,
    /// Its kinematics.
    pub k: &'a Kinematics,
    /// Error of the measured output speed, rad/s.
    pub output_error: f64,
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

    fn may_close_into(&self, set: u8, lock: LockId, engine_on: bool) -> bool {
        let to = set | 1 << lock;
        if self.k.is_forbidden(to) {
            return false;
        }
        let joined = engine_joined(self.d, self.k, to);
        let named = self.d.arrangements.iter().any(|a| a.closed == to);
        // An overlap is only for shafts at rest, never with the engine joined.
        if !self.k.set(to).held_machines.is_empty() && joined {
            return false;
        }
        engine_on || !joined || engine_joined(self.d, self.k, set) || named
    }

    fn closings(&self, set: u8, lock: LockId, engine_on: bool) -> Vec<Candidate> {
        let mut found = synchronisers(self.d, self.k, set, lock);
        // Machines that are tied together do the same: the one nearest to the slip serves.
        let per_speed = |s: &Synchroniser| to_f64(&s.slip_per_speed).abs();
        found.sort_by(|a, b| {
            let order = per_speed(b).partial_cmp(&per_speed(a));
            order.unwrap_or(std::cmp::Ordering::Equal).then(a.machine.cmp(&b.machine))
        });
        let mut kept: Vec<Synchroniser> = Vec::new();
        for s in found {
            if !kept.iter().any(|other| proportional(&s.motion, &other.motion)) {
                kept.push(s);
            }
        }
        let mut steps: Vec<Candidate> =
            kept.iter().filter_map(|s| self.closing(set, lock, Some(s), engine_on)).collect();
        if steps.is_empty() {
            // Nothing can bring the slip to zero: only when it is zero by itself.
            steps.extend(self.closing(set, lock, None, engine_on));
        }
        steps
    }

    fn closing(
        &self,
        set: u8,
        lock: LockId,
        sync: Option<&Synchroniser>,
        engine_on: bool,
    ) -> Option<Candidate> {
        let (d, k) = (self.d, self.k);
        let to = set | 1 << lock;
        let engine_runs = self.engine_runs(set, to, engine_on);
        let push = electric_push(d, k, set);
        let keeps = push.is_some() && sync.is_none_or(|s| sync_keeps_push(d, k, set, &s.motion));
        let duties = closing_duties(d, push.as_ref().filter(|_| keeps), sync);
        let mut sensors = Bits::EMPTY;
        let mut target = Target::default();
        let (mut limits, mut limit_shafts) = (Vec::new(), Vec::new());
        if let Some(sync) = sync {
            target = self.target(set, lock, sync, engine_runs)?;
            sensors = target.sensors;
            for after in self.limits_after(set, lock, sync, engine_runs)? {
                limits.push(after.limit);
                sensors = sensors.or(after.sensors);
                limit_shafts.push(after.shaft);
            }
        }
        let sensors = sensors.or(measure(d, &k.set(0).basis, &lock_row(d, lock))?.sensors());
        let joins = engine_joined(d, k, to);
        let newly_joined = joins && !engine_joined(d, k, set);
        let own_starter = d.engine().is_some_and(|(_, e)| e.own_starter);
        let needs_engine = engine_on && newly_joined && own_starter;
        let engine = if engine_runs { EngineUse::On } else { EngineUse::Either };
        let (window, window_limit) = road_window(d, k, to, engine, self.output_error);
        let (demand_max, demand_limit) = closing_demand(d, push.as_ref().filter(|_| keeps), sync);
        let held = |m: &usize| !k.set(set).held_machines.contains(m);
        let newly_held: Bits = k
            .set(to)
            .held_machines
            .iter()
            .filter(|m| held(m))
            .fold(Bits::EMPTY, |bits, &m| bits.with(m as u8, true));
        let step = t::Step {
            from: Bits(set),
            lock: lock as u8,
            action: t::Action::Close,
            keeps_push: keeps,
            engine: if needs_engine { t::EngineNeed::Running } else { t::EngineNeed::Any },
            duties,
            target_row: target.row,
            target_offset: target.offset,
            target_min: target.min,
            target_max: target.max,
            sensors,
            load_row: [0.0; MAX_MACHINES],
            load_max: 0.0,
            demand_max,
            window,
            rest: newly_held,
            limits_from: 0,
            limits_count: limits.len() as u8,
        };
        let work_kj = close_work_kj(d, lock);
        let nominal = if sync.is_some() { SYNC_NOMINAL_S } else { 5.0 };
        // The engine is slow to be brought to a speed.
        let slow = sync.is_some_and(|s| !is_electric(d, s.machine));
        let time_s = nominal * if slow { 4.0 } else { 1.0 }
            + (d.timing.sync_dwell_ms + lock_time_ms(d, lock)) / 1000.0;
        let note = self.note(step.keeps_push, time_s, work_kj, sync.map(|s| s.machine));
        let note = StepNote { demand_limit, window_limit, limit_shafts, ..note };
        Some(Candidate { step, limits, note, to, limited_demand: demand_max < f32::MAX })
    }

    /// Whether the engine must be reckoned with as running: it is joined already and may run,
    /// or it is joined by this step while it runs.
    fn engine_runs(&self, set: u8, to: u8, engine_on: bool) -> bool {
        let (d, k) = (self.d, self.k);
        let own_starter = d.engine().is_some_and(|(_, e)| e.own_starter);
        own_starter && (engine_on && engine_joined(d, k, to) || engine_joined(d, k, set))
    }

    fn target(
        &self,
        set: u8,
        lock: LockId,
        sync: &Synchroniser,
        engine_runs: bool,
    ) -> Option<Target> {
        let (d, k) = (self.d, self.k);
        let shaft = d.machines[sync.machine].shaft;
        let slip = lock_row(d, lock);
        let form = predicted_form(d, shaft, &sync.motion, &slip, &sync.slip_per_speed);
        let row = measure(d, &k.set(set).basis, &form)?;
        let error = row.error(d);
        let (min, max) = shaft_limits_radps(d, shaft, engine_runs);
        // A dog wants a small offset: a share of its window, in the machine's speed.
        let offset = match &d.locks[lock].kind {
            LockKind::Dog(dog) => dog.offset_rpm * RPM / to_f64(&sync.slip_per_speed),
            LockKind::Friction(_) => 0.0,
        };
        Some(Target {
            row: row.coefficients(),
            sensors: row.sensors(),
            offset: offset as f32,
            min: round_up(min.max(-1e9) + error.fixed()),
            max: round_down(max.min(1e9) - error.fixed()),
        })
    }

    /// Speed limits of the other shafts that synchronising moves and that are limited.
    fn limits_after(
        &self,
        set: u8,
        lock: LockId,
        sync: &Synchroniser,
        engine_runs: bool,
    ) -> Option<Vec<LimitAfter>> {
        let (d, k) = (self.d, self.k);
        let slip = lock_row(d, lock);
        let mut limits: Vec<LimitAfter> = Vec::new();
        for shaft in 0..d.shafts.len() {
            let (min, max) = shaft_limits_radps(d, shaft, engine_runs);
            let moved = !sync.motion[shaft].is_zero() && shaft != d.machines[sync.machine].shaft;
            if !moved || (min.is_infinite() && max.is_infinite()) {
                continue;
            }
            let form = predicted_form(d, shaft, &sync.motion, &slip, &sync.slip_per_speed);
            let row = measure(d, &k.set(set).basis, &form)?;
            let error = row.error(d).fixed();
            let limit = t::Limit {
                row: row.coefficients(),
                min: round_up(min.max(-1e9) + error),
                max: round_down(max.min(1e9) - error),
            };
            // Shafts that turn together would only say the same again.
            if !limits.iter().any(|known| known.limit == limit) {
                limits.push(LimitAfter { limit, sensors: row.sensors(), shaft });
            }
        }
        Some(limits)
    }

    fn openings(&self, set: u8, lock: LockId, engine_on: bool) -> Vec<Candidate> {
        let to = set & !(1 << lock);
        if self.k.is_forbidden(to) {
            return Vec::new();
        }
        let mut steps = Vec::new();
        if let Some(push) = electric_push(self.d, self.k, to) {
            steps.extend(self.opening(set, lock, Some(&push), engine_on));
        }
        steps.extend(self.opening(set, lock, None, engine_on));
        steps
    }

    fn opening(
        &self,
        set: u8,
        lock: LockId,
        push: Option<&Push>,
        engine_on: bool,
    ) -> Option<Candidate> {
        let (d, k) = (self.d, self.k);
        let to = set & !(1 << lock);
        let (load_row, load_max) = self.load(set, lock)?;
        let mut duties = [t::StepDuty::Unload; MAX_MACHINES];
        let (mut demand_max, mut demand_limit) = (f64::INFINITY, None);
        if let Some(push) = push {
            for (m, duty) in duties.iter_mut().enumerate().take(d.machines.len()) {
                let share = push.shares[m];
                if share != 0.0 {
                    *duty = t::StepDuty::Take { share: share as f32 };
                }
            }
            (demand_max, demand_limit) = self.hand_over_limit(to, push);
        }
        let stays_joined = engine_joined(d, k, to) && self.engine_runs(set, to, engine_on);
        let engine = if stays_joined { EngineUse::On } else { EngineUse::Either };
        let (window, window_limit) = road_window(d, k, to, engine, self.output_error);
        let step = t::Step {
            from: Bits(set),
            lock: lock as u8,
            action: t::Action::Open,
            keeps_push: push.is_some(),
            engine: t::EngineNeed::Any,
            duties,
            target_row: [0.0; MAX_SENSORS],
            target_offset: 0.0,
            target_min: 0.0,
            target_max: 0.0,
            sensors: Bits::EMPTY,
            load_row,
            load_max,
            demand_max: if demand_max.is_finite() { round_down(demand_max) } else { f32::MAX },
            window,
            rest: Bits::EMPTY,
            limits_from: 0,
            limits_count: 0,
        };
        let time_s =
            UNLOAD_NOMINAL_S + (d.timing.sync_dwell_ms + d.locks[lock].release_ms) / 1000.0;
        let note = self.note(step.keeps_push, time_s, 0.0, None);
        let note = StepNote { demand_limit, window_limit, ..note };
        Some(Candidate {
            step,
            limits: Vec::new(),
            note,
            to,
            limited_demand: demand_max.is_finite(),
        })
    }

    /// Load of a lock over the machine torques, and the largest at which it may open.
    fn load(&self, set: u8, lock: LockId) -> Option<(t::TorqueRow, f32)> {
        let (d, k) = (self.d, self.k);
        let motion = load_motion(d, k, set, lock)?;
        let mut row = [0.0; MAX_MACHINES];
        let mut torque_error = 0.0;
        for (m, machine) in d.machines.iter().enumerate() {
            let share = to_f64(&motion[machine.shaft]);
            row[m] = share as f32;
            torque_error += share.abs() * TORQUE_ERROR_SHARE * machine_torque_max(d, m);
        }
        // The output may accelerate while the lock is watched: what that adds to the balance.
        let with_output = k
            .set(set)
            .basis
            .iter()
            .find(|n| !n[d.output.shaft].is_zero())
            .map(|n| {
                let inertias: Row = d.shafts.iter().map(inertia).collect();
                let weighted: Row = n.iter().zip(&inertias).map(|(x, i)| x * i).collect();
                to_f64(&(dot(&motion, &weighted) / &n[d.output.shaft])).abs()
            })
            .unwrap_or(0.0);
        let inertial = with_output * output_acceleration_max(d);
        let capacity = d.locks[lock].capacity_nm.unwrap_or(0.0);
        let left = d.timing.unloaded_share * capacity - torque_error - inertial;
        // Where torque error and hard acceleration leave nothing, a tenth is kept: the lock then
        // opens unloaded in steady driving, and under hard acceleration with what they add.
        let left = left.max(0.1 * d.timing.unloaded_share * capacity);
        Some((row, round_down(left)))
    }

    /// Largest demand that the machines and locks of `to` can carry.
    fn hand_over_limit(&self, to: u8, push: &Push) -> (f64, Option<String>) {
        let (d, k) = (self.d, self.k);
        let mut limit = (f64::INFINITY, None);
        let mut take = |nm: f64, what: String| {
            if nm < limit.0 {
                limit = (nm, Some(what));
            }
        };
        for (m, share) in push.shares.iter().enumerate().filter(|(_, s)| **s != 0.0) {
            take(
                machine_torque_max(d, m) / share.abs(),
                format!("torque of {}", d.machines[m].name),
            );
        }
        for lock in &k.set(to).torque.locks {
            let per_machine = lock.per_machine.iter().zip(&push.shares);
            let load =
                per_machine.map(|(c, s)| to_f64(c) * s).sum::<f64>() + to_f64(&lock.per_output);
            if let (true, Some(capacity)) = (load.abs() > 1e-9, d.locks[lock.lock].capacity_nm) {
                let name = &d.locks[lock.lock].name;
                take(TORQUE_SHARE * capacity / load.abs(), format!("capacity of {name}"));
            }
        }
        limit
    }

    fn note(&self, keeps: bool, time_s: f64, work_kj: f64, sync: Option<usize>) -> StepNote {
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

struct LimitAfter {
    limit: t::Limit,
    sensors: Bits,
    shaft: usize,
}

#[derive(Default)]
struct Target {
    row: t::SpeedRow,
    sensors: Bits,
    offset: f32,
    min: f32,
    max: f32,
}

fn closing_duties(
    d: &Driveline,
    push: Option<&Push>,
    sync: Option<&Synchroniser>,
) -> [t::StepDuty; MAX_MACHINES] {
    let mut duties = [t::StepDuty::Unload; MAX_MACHINES];
    for (m, duty) in duties.iter_mut().enumerate().take(d.machines.len()) {
        if sync.is_some_and(|s| s.machine == m) {
            *duty = t::StepDuty::Sync;
        } else if push.is_some() || !is_electric(d, m) {
            *duty = t::StepDuty::Free;
        }
    }
    duties
}

/// Machines that synchronise and push at once need room for both.
fn closing_demand(
    d: &Driveline,
    push: Option<&Push>,
    sync: Option<&Synchroniser>,
) -> (f32, Option<String>) {
    let (Some(push), Some(sync)) = (push, sync) else { return (f32::MAX, None) };
    let moved = |m: &usize| !sync.motion[d.machines[*m].shaft].is_zero();
    let limits = (0..d.machines.len())
        .filter(moved)
        .filter(|&m| push.shares[m] != 0.0)
        .map(|m| (TORQUE_SHARE * machine_torque_max(d, m) / push.shares[m].abs(), m));
    match limits.min_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal)) {
        Some((nm, m)) => (round_down(nm), Some(format!("torque of {}", d.machines[m].name))),
        None => (f32::MAX, None),
    }
}

fn proportional(a: &Row, b: &Row) -> bool {
    crate::exact::Matrix::new(a.len(), vec![a.clone(), b.clone()]).rank() == 1
}

fn machine_torque_max(d: &Driveline, machine: usize) -> f64 {
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

fn lock_time_ms(d: &Driveline, lock: LockId) -> f64 {
    let data = &d.locks[lock];
    match &data.kind {
        LockKind::Friction(f) => data.close_ms + f.ramp_ms,
        LockKind::Dog(_) => data.close_ms,
    }
}

/// Friction work reckoned with in the step search: capacity at the slip limit over the ramp, kJ.
fn close_work_kj(d: &Driveline, lock: LockId) -> f64 {
    let data = &d.locks[lock];
    match (&data.kind, data.capacity_nm, data.engage_slip_max_rpm) {
        (LockKind::Friction(f), Some(nm), Some(rpm)) => {
            0.5 * nm * 0.25 * rpm * RPM * f.ramp_ms / 1000.0 / 1000.0
        }
        _ => 0.0,
    }
}
