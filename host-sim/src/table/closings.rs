//! Candidate steps that synchronise and close a lock.

use num_traits::Zero;
use supervisor::bits::{Bits, MAX_MACHINES};
use supervisor::table as t;

use crate::driveline::{Driveline, LockId, LockKind};
use crate::exact::{Row, to_f64};
use crate::kinematics::{Kinematics, lock_row};

use super::data::StepNote;
use super::limits::{predicted_form, round_down, round_up, shaft_limits_radps};
use super::motion::{
    Push, Synchroniser, electric_push, is_electric, sync_keeps_push, synchronisers,
};
use super::rows::{RPM, measure};
use super::steps::{
    Candidate, Context, SYNC_NOMINAL_S, TORQUE_SHARE, engine_joined, machine_torque_max,
};

impl Context<'_> {
    pub(super) fn may_close_into(&self, set: u8, lock: LockId, engine_on: bool) -> bool {
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

    pub(super) fn closings(&self, set: u8, lock: LockId, engine_on: bool) -> Vec<Candidate> {
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
        let newly_joined = engine_joined(d, k, to) && !engine_joined(d, k, set);
        let own_starter = d.engine().is_some_and(|(_, e)| e.own_starter);
        let needs_engine = engine_on && newly_joined && own_starter;
        let (window, window_limit) = self.window(to, engine_runs);
        let (demand_max, demand_limit) = closing_demand(d, push.as_ref().filter(|_| keeps), sync);
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
            rest: newly_held(k, set, to),
            limits_from: 0,
            limits_count: limits.len() as u8,
        };
        let (time_s, work_kj) = (closing_time_s(d, lock, sync), close_work_kj(d, lock));
        let note = self.note(step.keeps_push, time_s, work_kj, sync.map(|s| s.machine));
        let note = StepNote { demand_limit, window_limit, limit_shafts, ..note };
        Some(Candidate { step, limits, note, to, limited_demand: demand_max < f32::MAX })
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
        let error = row.error(d, &self.fastest);
        let (min, max) = shaft_limits_radps(d, shaft, engine_runs);
        // A dog wants a small offset: a share of its window, in the machine's speed.
        let offset = match &d.locks[lock].kind {
            LockKind::Dog(dog) => dog.offset_rpm * RPM / to_f64(&sync.slip_per_speed),
            LockKind::Friction(_) => 0.0,
        };
        // The board adds the offset last; its rounding counts where no sensor's error hides it.
        let error = error.fixed() + offset.abs() * f64::from(f32::EPSILON);
        Some(Target {
            row: row.coefficients(),
            sensors: row.sensors(),
            offset: offset as f32,
            min: round_up(min.max(-1e9) + error),
            max: round_down(max.min(1e9) - error),
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
            let error = row.error(d, &self.fastest).fixed();
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

/// Machines whose shafts `to` holds and `set` does not.
fn newly_held(k: &Kinematics, set: u8, to: u8) -> Bits {
    let before = &k.set(set).held_machines;
    let new = k.set(to).held_machines.iter().filter(|m| !before.contains(m));
    new.fold(Bits::EMPTY, |bits, &m| bits.with(m as u8, true))
}

/// Time that synchronising and closing is reckoned with, s.
fn closing_time_s(d: &Driveline, lock: LockId, sync: Option<&Synchroniser>) -> f64 {
    let nominal = if sync.is_some() { SYNC_NOMINAL_S } else { 5.0 };
    // The engine is slow to be brought to a speed.
    let slow = sync.is_some_and(|s| !is_electric(d, s.machine));
    nominal * if slow { 4.0 } else { 1.0 }
        + (d.timing.sync_dwell_ms + lock_time_ms(d, lock)) / 1000.0
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
