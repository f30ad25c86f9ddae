//! `SW-MOTION`: a vehicle that stands and is asked for nothing stays where it is, and one that
//! is asked one way is not pushed the other way.

use std::sync::Arc;

use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst, reaction_s};
use crate::driveline::Driveline;
use crate::exact::to_f64;

const RULE: &str = "SW-MOTION";
/// Way that a vehicle may move from standstill unasked, m (an invented round value).
const WAY_M: f64 = 0.1;
/// Change of speed that may be pushed against what is asked, m/s (an invented round value).
const AGAINST_MPS: f64 = 0.3;
/// Slower than this is standing, m/s.
const STANDS_MPS: f64 = 0.02;
/// For this long it must have stood, s.
const STOOD_S: f64 = 0.2;
/// A demand below this asks for nothing, Nm at the output.
const NOTHING_NM: f64 = 1.0;
/// A demand above this asks for a direction, Nm at the output,
const ASKS_NM: f64 = 20.0;
/// once it has stood for this long, s: torque takes its time to turn round.
const ASKED_S: f64 = 1.0;
/// Share of brake and rolling resistance that is relied on to hold a slope.
const HOLDS_SHARE: f64 = 0.9;
/// Earth's pull, m/s2 (ISO 80000-3: standard acceleration of free fall).
const GRAVITY_MPS2: f64 = 9.806_65;

/// What of the vehicle is needed.
#[derive(Clone, Copy, Debug)]
struct Vehicle {
    metres_per_radian: f64,
    /// Torque at the output that the whole weight would give on a wall, Nm.
    weight_nm: f64,
    rolling_nm: f64,
    /// Acceleration per torque at the output, m/s2 per Nm.
    mps2_per_nm: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    stood_s: f64,
    stands: bool,
    moved_m: f64,
    moves_s: f64,
    pushed_by_fault: bool,
    reported: bool,
    /// Sign of the demand and for how long it has stood, s.
    asked_way: f64,
    asked_s: f64,
    against_mps: f64,
    against_s: f64,
    against_reported: bool,
    worst_way: Worst,
    worst_against: Worst,
}

/// Watches the way and the torque at the output against what the driver asks for.
#[derive(Clone, Debug)]
pub struct MotionChecker {
    vehicle: Option<Vehicle>,
    output: usize,
    reaction_s: f64,
    seen: Seen,
    findings: Findings,
}

impl MotionChecker {
    /// For the vehicle of a driveline; without one it finds nothing.
    pub fn new(driveline: &Arc<Driveline>) -> MotionChecker {
        MotionChecker {
            vehicle: vehicle(driveline),
            output: driveline.output.shaft,
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
    Some(Vehicle {
        metres_per_radian,
        weight_nm: v.mass_kg * GRAVITY_MPS2 * metres_per_radian,
        rolling_nm: v.road_load_f0_n * metres_per_radian,
        mps2_per_nm: 1.0 / (v.mass_kg * v.rotating_mass_factor * metres_per_radian),
    })
}

impl Vehicle {
    /// Whether brake and rolling resistance hold the slope by themselves.
    fn is_held(&self, truth: &TickTruth) -> bool {
        let slope = truth.grade.abs() / (1.0 + truth.grade * truth.grade).sqrt();
        self.weight_nm * slope <= HOLDS_SHARE * (truth.brake_nm + self.rolling_nm)
    }
}

impl MotionChecker {
    /// Nothing is asked for and the road does not move the vehicle.
    fn stand(&mut self, truth: &TickTruth, mps: f64) {
        let s = &mut self.seen;
        let still = mps.abs() < STANDS_MPS;
        if !s.stands {
            s.stood_s = if still { s.stood_s + truth.dt_s } else { 0.0 };
            s.stands = s.stood_s >= STOOD_S;
            return;
        }
        s.moved_m += mps * truth.dt_s;
        s.moves_s = if still { 0.0 } else { s.moves_s + truth.dt_s };
        s.pushed_by_fault |= truth.is_pushed_by_fault();
        s.worst_way.see(s.moved_m.abs(), truth.t_s);
        if s.moved_m.abs() <= WAY_M || s.reported {
            return;
        }
        // What a fault pushes cannot be kept out; that it still pushes must end in time.
        let pushes = truth.output_nm * mps > 0.0 && truth.output_nm.abs() > ASKS_NM;
        if s.pushed_by_fault && !(pushes && s.moves_s > self.reaction_s) {
            return;
        }
        s.reported = true;
        let text = format!(
            "the vehicle stood and nothing was asked for; it moved by {:.2} m and rolls at {:.2} m/s",
            s.moved_m, mps
        );
        self.findings.add(RULE, truth.t_s, text);
    }

    /// A direction is asked for: is the vehicle pushed the other way?
    fn judge_way(&mut self, truth: &TickTruth, mps: f64, mps2_per_nm: f64) {
        let s = &mut self.seen;
        let way = truth.demand_nm.signum();
        if truth.demand_nm.abs() < ASKS_NM || way != s.asked_way {
            s.asked_way = way;
            s.asked_s = 0.0;
        }
        s.asked_s += truth.dt_s;
        let wrong_nm = -truth.output_nm * way;
        // Against the demand and with the motion, or out of standstill; drag is not that.
        let with_motion = truth.output_nm * mps > 0.0 || mps.abs() < STANDS_MPS;
        // Wheels that slide push the vehicle only towards where they are faster than the road; what turns them
        // meanwhile is spent on themselves.
        let slip_radps = truth.wheel_slip_radps;
        let reaches = slip_radps == 0.0 || slip_radps * truth.output_nm > 0.0;
        let pushes = wrong_nm > 0.0 && with_motion && reaches;
        // A machine that turns its torque round against its order is not ours to answer for.
        if s.asked_s < ASKED_S || !pushes || truth.faults.machines != 0 {
            (s.against_mps, s.against_s, s.against_reported) = (0.0, 0.0, false);
            return;
        }
        s.against_mps += wrong_nm * mps2_per_nm * truth.dt_s;
        s.against_s += truth.dt_s;
        s.worst_against.see(s.against_mps, truth.t_s);
        let allowed_s = if truth.is_pushed_by_fault() { self.reaction_s } else { 0.0 };
        if s.against_mps > AGAINST_MPS && s.against_s > allowed_s && !s.against_reported {
            s.against_reported = true;
            let text = format!(
                "{:.0} Nm were asked for at the output and {:.0} Nm given for {:.2} s: the vehicle \
                 was pushed the wrong way",
                truth.demand_nm, truth.output_nm, s.against_s
            );
            self.findings.add(RULE, truth.t_s, text);
        }
    }
}

impl Checker for MotionChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        let Some(v) = self.vehicle else { return };
        let mps = truth.speed_radps[self.output] * v.metres_per_radian;
        // Wheels that block on ice stand, the vehicle does not.
        let grips = !truth.faults.grip_lost;
        if truth.demand_nm.abs() <= NOTHING_NM && v.is_held(truth) && grips {
            self.stand(truth, mps);
        } else if self.seen.stood_s > 0.0 {
            let s = &mut self.seen;
            (s.stood_s, s.stands, s.moved_m, s.moves_s) = (0.0, false, 0.0, 0.0);
            (s.pushed_by_fault, s.reported) = (false, false);
        }
        self.judge_way(truth, mps, v.mps2_per_nm);
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let way = self.seen.worst_way.margin(RULE, "way from standstill", WAY_M, "m");
        let subject = "change of speed against what is asked";
        let against = self.seen.worst_against.margin(RULE, subject, AGAINST_MPS, "m/s");
        way.into_iter().chain(against).collect()
    }

    fn reset(&mut self) {
        self.seen = Seen::default();
        self.findings.clear();
    }
}
