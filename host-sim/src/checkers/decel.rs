//! `SW-DECEL`: the driveline does not slow the vehicle down harder than it may unless that is
//! asked for.

use std::sync::Arc;

use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, reaction_s};
use crate::driveline::{Driveline, LockKind};
use crate::exact::to_f64;

const RULE: &str = "SW-DECEL";
/// Time constant over which the deceleration is averaged, s: what lasts less is a jolt, and not
/// judged (an invented round value).
const AVERAGE_S: f64 = 0.1;
/// Braking that was asked for may go on for about this long, s: torque takes its time.
const LINGER_S: f64 = 0.3;
/// Below this road speed nothing is judged, m/s: friction of the brake changes its sign there.
const SLOWEST_MPS: f64 = 0.5;

/// What of the vehicle and the file is needed.
#[derive(Clone, Copy, Debug)]
struct Vehicle {
    /// Road speed per speed of the output, m.
    metres_per_radian: f64,
    /// Deceleration per torque at the output, m/s2 per Nm.
    mps2_per_nm: f64,
    limit_mps2: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    before_radps: f64,
    asked_nm: f64,
    average_mps2: f64,
    over_s: f64,
    by_fault: bool,
    reported: bool,
    worst: Worst,
}

/// Watches the torque with which the driveline brakes the output.
#[derive(Clone, Debug)]
pub struct DecelChecker {
    vehicle: Option<Vehicle>,
    output: usize,
    dogs: u8,
    reaction_s: f64,
    seen: Seen,
    findings: Findings,
}

impl DecelChecker {
    /// For the vehicle of a driveline; without one it finds nothing.
    pub fn new(driveline: &Arc<Driveline>) -> DecelChecker {
        let is_dog = |kind: &LockKind| matches!(kind, LockKind::Dog(_));
        let locks = driveline.locks.iter().enumerate();
        DecelChecker {
            vehicle: vehicle(driveline),
            output: driveline.output.shaft,
            dogs: locks.filter(|(_, l)| is_dog(&l.kind)).fold(0, |set, (i, _)| set | 1 << i),
            reaction_s: reaction_s(driveline),
            seen: Seen::default(),
            findings: Findings::default(),
        }
    }
}

fn vehicle(driveline: &Driveline) -> Option<Vehicle> {
    let v = driveline.vehicle.as_ref()?;
    let drive = to_f64(driveline.output.final_drive.as_ref()?);
    let metres_per_radian = driveline.output.tyre_radius_m? / drive;
    let mass = v.mass_kg * v.rotating_mass_factor;
    Some(Vehicle {
        metres_per_radian,
        mps2_per_nm: 1.0 / (mass * metres_per_radian),
        limit_mps2: v.driveline_decel_max_mps2,
    })
}

/// Dogs stop or drag along what they join within a step: that shows in the speed alone.
fn dog_closed(truth: &TickTruth, dogs: u8) -> bool {
    dogs != 0
        && truth
            .locks
            .iter()
            .enumerate()
            .any(|(i, l)| dogs >> i & 1 == 1 && l.closed_at_radps.is_some())
}

impl Checker for DecelChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        let Some(v) = self.vehicle else { return };
        let s = &mut self.seen;
        let radps = truth.speed_radps[self.output];
        let before = std::mem::replace(&mut s.before_radps, radps);
        if (radps * v.metres_per_radian).abs() < SLOWEST_MPS {
            (s.average_mps2, s.asked_nm, s.over_s, s.reported) = (0.0, 0.0, 0.0, false);
            return;
        }
        let way = radps.signum();
        let lingers = s.asked_nm * (1.0 - truth.dt_s / LINGER_S).max(0.0);
        s.asked_nm = (-truth.demand_nm * way).max(lingers).max(0.0);
        let unasked_nm = (-truth.output_nm * way - s.asked_nm).max(0.0);
        let mut now_mps2 = unasked_nm * v.mps2_per_nm;
        if dog_closed(truth, self.dogs) {
            let lost = (before.abs() - radps.abs()) * v.metres_per_radian / truth.dt_s;
            now_mps2 = now_mps2.max(lost);
        }
        s.average_mps2 += (now_mps2 - s.average_mps2) * truth.dt_s / (AVERAGE_S + truth.dt_s);
        s.worst.see(s.average_mps2, truth.t_s);
        if s.average_mps2 <= v.limit_mps2 {
            (s.over_s, s.by_fault, s.reported) = (0.0, false, false);
            return;
        }
        s.over_s += truth.dt_s;
        s.by_fault |= truth.is_pushed_by_fault();
        // What a fault closes or pushes cannot be kept out; it must be ended in time.
        let allowed_s = if s.by_fault { self.reaction_s } else { 0.0 };
        if s.over_s > allowed_s && !s.reported {
            s.reported = true;
            let text = format!(
                "the driveline slowed the vehicle down by {:.1} m/s2 without being asked to; its \
                 limit is {} m/s2",
                s.average_mps2, v.limit_mps2
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let Some(v) = self.vehicle else { return Vec::new() };
        let worst = &self.seen.worst;
        let subject = "unasked deceleration by the driveline";
        worst.margin_if_positive(RULE, subject, v.limit_mps2, "m/s2").into_iter().collect()
    }

    fn reset(&mut self) {
        self.seen = Seen::default();
        self.findings.clear();
    }
}
