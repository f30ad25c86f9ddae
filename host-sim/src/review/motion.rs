//! One drive again, looked at closely from shortly before its request to its end: the picture,
//! and the values that a reader can step through.

use std::sync::Arc;

use supervisor::table::Action;

use crate::checkers::Finding;
use crate::drive::closed_loop::{Prepared, Run, Setup};
use crate::drive::record::{TickRecord, phase_word};
use crate::driveline::Driveline;
use crate::picture::{Timeline, TimelineText};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Most moments that are kept; a longer drive keeps every second, fourth and so on.
const MOST: usize = 400;

/// Words of the three states of each lane, in the order of their numbers.
pub(super) const ORDERS: [&str; 3] = ["open", "filled", "closed"];
/// What a switch says.
pub(super) const REPORTS: [&str; 3] = ["open", "no word", "closed"];
/// What is true.
pub(super) const ACTUALS: [&str; 3] = ["open", "locked", "slipping"];

/// All values at one moment.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Moment {
    /// From the beginning of what is shown, s.
    pub(super) t_s: f64,
    /// Road speed, km/h.
    pub(super) road_kmh: f64,
    /// Speed of each shaft, rpm.
    pub(super) shafts_rpm: Vec<f64>,
    /// Slip and torque of each lock, and what was ordered, reported and true.
    pub(super) locks: Vec<(f64, f64, [u8; 3])>,
    /// Torque of each machine, Nm.
    pub(super) machines_nm: Vec<f64>,
    /// Torque at the output and what is asked of it, Nm.
    pub(super) output_nm: (f64, f64),
    /// Force at the wheels, N.
    pub(super) wheel_n: f64,
    /// The supervisor's phase.
    pub(super) phase: &'static str,
}

/// A drive, looked at closely.
#[derive(Clone, Debug)]
pub(super) struct Motion {
    /// The picture.
    pub(super) picture: String,
    /// Where its panels end, from its top.
    pub(super) bottom: f64,
    /// Length of what is shown, s.
    pub(super) duration_s: f64,
    /// The moments, evenly spaced.
    pub(super) moments: Vec<Moment>,
    /// Where steps begin, s from the beginning of what is shown: what, and the moment.
    pub(super) steps: Vec<(f64, String)>,
}

impl Motion {
    /// Lowest and highest speed of any shaft, rpm, zero included.
    pub(super) fn range_rpm(&self) -> (f64, f64) {
        let all = self.moments.iter().flat_map(|m| &m.shafts_rpm);
        all.fold((0.0, 0.0), |(low, high), &v| (f64::min(low, v), f64::max(high, v)))
    }

    /// The moment nearest to a time.
    pub(super) fn at(&self, t_s: f64) -> Option<&Moment> {
        let apart = |m: &&Moment| (m.t_s - t_s).abs();
        self.moments.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))
    }
}

/// Newtons at the wheels per newton metre at the output; 0 where the file does not say.
fn newton_per_nm(d: &Driveline) -> f64 {
    let output = &d.output;
    match (&output.final_drive, output.tyre_radius_m) {
        (Some(drive), Some(radius)) if radius > 0.0 => crate::exact::to_f64(drive) / radius,
        _ => 0.0,
    }
}

fn moment(d: &Driveline, record: &TickRecord, from_s: f64) -> Moment {
    let truth = &record.truth;
    let lock = |i: usize| {
        let lock = &truth.locks[i];
        (lock.slip_radps / RPM, lock.torque_nm, record.lanes(i))
    };
    Moment {
        t_s: truth.t_s - from_s,
        road_kmh: record.road_mps * 3.6,
        shafts_rpm: (0..d.shafts.len()).map(|s| truth.speed_radps[s] / RPM).collect(),
        locks: (0..d.locks.len()).map(lock).collect(),
        machines_nm: (0..d.machines.len()).map(|m| truth.machine_nm[m]).collect(),
        output_nm: (truth.output_nm, record.demand_nm),
        wheel_n: truth.output_nm * newton_per_nm(d),
        phase: phase_word(record.status.phase),
    }
}

/// Drive `setup` again and look from `from_s` to its end; `None` where it cannot start.
pub(super) fn motion(
    d: &Driveline,
    prepared: &Arc<Prepared>,
    (setup, seed): (&Setup, u64),
    from_s: f64,
    (text, findings): (&TimelineText, &[Finding]),
) -> Option<Motion> {
    let mut run = Run::of(prepared, setup, seed).ok()?;
    let tick_s = d.timing.tick_ms / 1e3;
    let duration_s = (setup.duration_s - from_s).max(tick_s);
    let mut timeline = Timeline::new(d, duration_s, (duration_s / tick_s).ceil() as u64);
    if newton_per_nm(d) != 0.0 {
        timeline = timeline.with_force(newton_per_nm(d));
    }
    let mut motion = Motion {
        picture: String::new(),
        bottom: 0.0,
        duration_s,
        moments: Vec::new(),
        steps: Vec::new(),
    };
    let (mut stride, mut tick, mut step) = (1, 0, None);
    while let Some(record) = run.next_tick() {
        if record.truth.t_s <= from_s {
            continue;
        }
        let mut shifted = *record;
        shifted.truth.t_s -= from_s;
        timeline.add(&shifted);
        let now = record.step.map(|s| s.number);
        if let (Some(begun), true) = (record.step, now != step) {
            let verb = if begun.action == Action::Close { "close" } else { "open" };
            let name = &d.locks[usize::from(begun.lock)].name;
            motion.steps.push(((shifted.truth.t_s - tick_s).max(0.0), format!("{verb} {name}")));
        }
        step = now;
        if tick % stride == 0 {
            motion.moments.push(moment(d, record, from_s));
        }
        tick += 1;
        if motion.moments.len() >= MOST {
            let mut number = 0;
            motion.moments.retain(|_| {
                number += 1;
                number % 2 == 1
            });
            stride *= 2;
        }
    }
    let shifted: Vec<Finding> = findings
        .iter()
        .filter(|f| f.t_s >= from_s)
        .map(|f| Finding { t_s: f.t_s - from_s, ..f.clone() })
        .collect();
    motion.picture = timeline.draw(text, &shifted);
    motion.bottom = timeline.bottom();
    (!motion.moments.is_empty()).then_some(motion)
}
