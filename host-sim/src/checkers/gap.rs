//! `SW-GAP`: on the way from one arrangement to another the push at the wheels is interrupted
//! only in the steps that are said to interrupt it, and there no longer than they may take.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::{
    Checker, Claim, Finding, Findings, LockSets, MAX_SHAFTS, Margin, TickTruth, Worst, ramp_ms,
};
use crate::driveline::{Driveline, MachineKind};

const RULE: &str = "SW-GAP";
const RPM: f64 = super::RPM;
/// The push counts as interrupted while less than this share of what is claimed arrives.
const PUSH_SHARE: f64 = 0.5;
/// Claims below this share of all electric machines' torque are too small to speak of a gap: drag
/// and losses take as much.
const CLAIM_MIN_SHARE: f64 = 0.1;
/// Time in one transition for which a push that is said to be kept may be missing, s: the
/// torque's way from one machine to another (an invented round value).
const KEPT_GAP_S: f64 = 0.2;
/// After an interruption the torque rises again for this long before it is asked for, s.
const RAISE_S: f64 = 0.6;
/// The demand is followed upwards no faster than all machines' torque together in this time, s.
const DEMAND_RISE_S: f64 = 0.5;
/// Share of the weakest electric machine's power that is relied on.
const POWER_SHARE: f64 = 0.8;
/// Nothing is claimed while a shaft is beyond this share of its limit: the drive controller
/// takes the torque away there.
const SPEED_SHARE: f64 = 0.9;

/// What was seen so far.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    /// A fault was present, or the engine stalled: from there on a gap is its price.
    tainted: bool,
    engine_ran: bool,
    /// The demand as far as it has stood for a while, Nm.
    asked_nm: f64,
    /// The demand itself, Nm, and how long it has had its sign, s.
    demand_nm: f64,
    turned_s: f64,
    /// What was given of it in the last arrangement, or just after an interruption, Nm, and the
    /// output's speed then.
    steady_nm: f64,
    steady_radps: f64,
    /// Largest demand that the steps since then can hand over, Nm.
    handed_nm: f64,
    /// The step under way interrupts the push, or the last one did.
    interrupts: bool,
    step: u16,
    /// Time since the last interruption ended, s.
    raised_s: f64,
    missing_s: f64,
    interrupted_s: f64,
    bound_s: f64,
    reported: bool,
    worst_kept: Worst,
    worst_interrupted: Worst,
}

/// Watches the torque at the output against the demand, the torque before and the claims.
#[derive(Clone, Debug)]
pub struct GapChecker {
    output: usize,
    rise_nm_per_s: f64,
    claim_min_nm: f64,
    power_w: f64,
    /// Speed of each shaft, rad/s, below which nothing is taken away.
    free_radps: [f64; MAX_SHAFTS],
    /// Longest time of a step that interrupts: opening, closing, a lock each, s.
    bounds_s: [[f64; 2]; MAX_LOCKS],
    seen: Seen,
    findings: Findings,
}

impl GapChecker {
    /// For the machines, limits and times of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> GapChecker {
        let electric = driveline.machines.iter().filter_map(|m| match &m.kind {
            MachineKind::Electric(e) => Some(e),
            MachineKind::Engine(_) => None,
        });
        let all_nm: f64 = electric.clone().filter_map(|e| e.max_torque_nm).sum();
        let mut power_w = f64::INFINITY;
        for kw in electric.filter_map(|e| e.max_power_kw) {
            power_w = power_w.min(1e3 * kw);
        }
        if let Some(b) = &driveline.battery {
            power_w = power_w.min(1e3 * b.discharge_max_kw).min(1e3 * b.charge_max_kw);
        }
        let mut free_radps = [f64::INFINITY; MAX_SHAFTS];
        for (free, shaft) in free_radps.iter_mut().zip(&driveline.shafts) {
            let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
            let low = shaft.min_rpm.map_or(high, f64::abs);
            // A shaft that may not turn backwards says nothing about its way forward.
            *free = SPEED_SHARE * RPM * if low > 0.0 { high.min(low) } else { high };
        }
        let mut bounds_s = [[0.0; 2]; MAX_LOCKS];
        for (i, bound) in bounds_s.iter_mut().enumerate().take(driveline.locks.len()) {
            *bound = interruption_bounds_s(driveline, i);
        }
        GapChecker {
            output: driveline.output.shaft,
            rise_nm_per_s: all_nm / DEMAND_RISE_S,
            claim_min_nm: CLAIM_MIN_SHARE * all_nm,
            power_w: POWER_SHARE * power_w,
            free_radps,
            bounds_s,
            seen: Seen::default(),
            findings: Findings::default(),
        }
    }

    /// Torque along the demand that may be relied on in this tick, Nm.
    fn claimed_nm(&self, truth: &TickTruth) -> f64 {
        let s = &self.seen;
        // A demand that has just turned round is not followed at once, as after an interruption.
        if s.asked_nm * s.steady_nm <= 0.0 || s.turned_s < RAISE_S {
            return 0.0;
        }
        let beyond = |(w, free): (&f64, &f64)| w.abs() > *free;
        if truth.speed_radps.iter().zip(&self.free_radps).any(beyond) {
            return 0.0;
        }
        let radps = truth.speed_radps[self.output].abs();
        let faster = if radps > s.steady_radps { s.steady_radps / radps } else { 1.0 };
        let steady = s.steady_nm.abs() * faster;
        let by_power = self.power_w / radps.max(1e-3);
        s.asked_nm.abs().min(steady).min(s.handed_nm).min(by_power)
    }

    #[cold]
    fn report(&mut self, t_s: f64, text: String) {
        self.seen.reported = true;
        self.findings.add(RULE, t_s, text);
    }

    /// One tick between two arrangements.
    fn judge(&mut self, truth: &TickTruth) {
        if let Some(claim) = &truth.claim {
            self.seen.follow(claim, &self.bounds_s);
        }
        self.seen.raised_s += truth.dt_s;
        if !self.seen.interrupts && self.seen.raised_s <= RAISE_S {
            // What this lock set gives is seen now.
            self.seen.settle(truth, self.output, self.rise_nm_per_s * truth.dt_s);
            return;
        }
        let claimed = self.claimed_nm(truth);
        let s = &mut self.seen;
        let given = truth.output_nm * s.asked_nm.signum();
        if claimed < self.claim_min_nm || given >= PUSH_SHARE * claimed {
            return;
        }
        if s.interrupts {
            s.interrupted_s += truth.dt_s;
            s.worst_interrupted.see(s.interrupted_s, truth.t_s);
        } else {
            s.missing_s += truth.dt_s;
            s.worst_kept.see(s.missing_s, truth.t_s);
        }
        if s.reported {
            return;
        }
        if s.missing_s > KEPT_GAP_S {
            let text = format!(
                "the push at the wheels was missing for {:.2} s in steps that are said to keep it: \
                 {given:.0} of {claimed:.0} Nm arrived",
                s.missing_s
            );
            self.report(truth.t_s, text);
        } else if s.interrupted_s > s.bound_s {
            let text = format!(
                "the push at the wheels was interrupted for {:.2} s in one step that may take \
                 {:.2} s",
                s.interrupted_s, s.bound_s
            );
            self.report(truth.t_s, text);
        }
    }
}

/// Longest time that opening and that closing a lock may take, all attempts together, s.
fn interruption_bounds_s(driveline: &Driveline, lock: usize) -> [f64; 2] {
    let (t, data) = (&driveline.timing, &driveline.locks[lock]);
    let tries = f64::from(t.retries);
    let attempt = t.sync_dwell_ms + 2.0 * t.confirm_timeout_ms;
    let open = t.unload_timeout_ms + data.release_ms + attempt;
    let close = t.sync_timeout_ms + data.close_ms + ramp_ms(driveline, lock) + attempt;
    [tries * open / 1e3, tries * close / 1e3]
}

/// `now`, but away from zero no faster than by `step` a tick.
fn rises_slowly(before: f64, now: f64, step: f64) -> f64 {
    let reached = if before * now > 0.0 { before.abs() } else { 0.0 };
    now.abs().min(reached + step).copysign(now)
}

impl Seen {
    /// Note the step under way.
    fn follow(&mut self, claim: &Claim, bounds_s: &[[f64; 2]; MAX_LOCKS]) {
        if claim.step != self.step {
            self.step = claim.step;
            self.interrupted_s = 0.0;
        }
        if self.interrupts && claim.keeps_push {
            self.raised_s = 0.0;
            self.steady_nm = 0.0;
            self.handed_nm = f64::INFINITY;
        }
        self.interrupts = !claim.keeps_push;
        if claim.keeps_push {
            self.handed_nm = self.handed_nm.min(claim.demand_max_nm);
        }
        let of_lock = bounds_s.get(usize::from(claim.lock)).copied().unwrap_or_default();
        self.bound_s = of_lock[usize::from(claim.closes)];
    }

    /// Note what is given of the demand in this lock set.
    fn settle(&mut self, truth: &TickTruth, output: usize, step: f64) {
        let given = (truth.output_nm * self.asked_nm.signum()).clamp(0.0, self.asked_nm.abs());
        self.steady_nm = rises_slowly(self.steady_nm, given.copysign(self.asked_nm), step);
        self.steady_radps = truth.speed_radps[output].abs();
    }

    /// An arrangement stands.
    fn stands(&mut self, truth: &TickTruth, output: usize, step: f64) {
        self.settle(truth, output, step);
        self.handed_nm = f64::INFINITY;
        self.interrupts = false;
        self.step = u16::MAX;
        self.raised_s = f64::INFINITY;
        (self.missing_s, self.interrupted_s) = (0.0, 0.0);
        self.reported = false;
    }
}

impl Checker for GapChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        let stalled = self.seen.engine_ran && truth.engine_run_order && !truth.engine_running;
        self.seen.engine_ran = truth.engine_running;
        if self.seen.tainted || truth.faults.any || truth.reset || stalled {
            self.seen.tainted = true;
            return;
        }
        let step = self.rise_nm_per_s * truth.dt_s;
        let turned = truth.demand_nm * self.seen.demand_nm <= 0.0;
        self.seen.demand_nm = truth.demand_nm;
        self.seen.turned_s = if turned { 0.0 } else { self.seen.turned_s + truth.dt_s };
        self.seen.asked_nm = rises_slowly(self.seen.asked_nm, truth.demand_nm, step);
        if truth.stated_reached.is_some() && truth.claim.is_none() {
            self.seen.stands(truth, self.output, step);
        } else {
            self.judge(truth);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let most = self.bounds_s.iter().flatten().fold(0.0, |most: f64, s| most.max(*s));
        let kept =
            self.seen.worst_kept.margin(RULE, "push that is said to be kept", KEPT_GAP_S, "s");
        let cut = self.seen.worst_interrupted.margin(RULE, "push interrupted in a step", most, "s");
        kept.into_iter().chain(cut).collect()
    }

    fn reset(&mut self) {
        self.seen = Seen::default();
        self.findings.clear();
    }
}
