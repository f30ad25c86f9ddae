//! Candidate steps that unload and open a lock.

use num_traits::Zero;
use supervisor::bits::{Bits, MAX_MACHINES, MAX_SENSORS};
use supervisor::table as t;

use crate::driveline::LockId;
use crate::exact::{Row, dot, to_f64};

use super::data::StepNote;
use super::limits::round_down;
use super::motion::{Push, electric_push, inertia, load_motion};
use super::steps::{
    Candidate, Context, TORQUE_SHARE, UNLOAD_NOMINAL_S, engine_joined, machine_torque_max,
    output_acceleration_max,
};

/// Accuracy of a machine's reported torque, as a share of its limit (common practice, no source).
const TORQUE_ERROR_SHARE: f64 = 0.01;

/// The product, or the number below it where f64 rounds it up: where nothing is taken off it, what is
/// left would else be above the stated limit.
fn product_at_most(a: f64, b: f64) -> f64 {
    let product = a * b;
    if a.mul_add(b, -product) < 0.0 { product.next_down() } else { product }
}

impl Context<'_> {
    pub(super) fn openings(&self, set: u8, lock: LockId, engine_on: bool) -> Vec<Candidate> {
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
        let (window, window_limit) = self.window(to, stays_joined);
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
            // f32 rounds the coefficient, the value, the product and at most eight sums.
            let rounding = 11.0 * f64::from(f32::EPSILON) / 2.0;
            torque_error +=
                share.abs() * (TORQUE_ERROR_SHARE + rounding) * machine_torque_max(d, m);
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
        let left = product_at_most(d.timing.unloaded_share, capacity) - torque_error - inertial;
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
}
