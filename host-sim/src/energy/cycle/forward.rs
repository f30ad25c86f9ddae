//! Forward over a trace: driver, the real supervisor and the plant in closed loop, the schedule
//! asking.

use std::sync::Arc;

use supervisor::schedule::Schedule;

use super::trace::Trace;
use crate::drive::closed_loop::{CannotRun, Prepared, Run, Setup};
use crate::drive::driver::Wish;
use crate::driveline::{Driveline, LockKind};
use crate::energy::model::Model;

/// What a forward run adds up to.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Driven {
    /// Fuel, J: the engine's torque and speed through its fuel model.
    pub fuel_j: f64,
    /// Out of the battery's cells, J.
    pub battery_j: f64,
    /// Friction heat of the friction locks, the drag of open ones included, J.
    pub lock_j: f64,
    /// Changes of the standing arrangement.
    pub changes: usize,
    /// Seconds in each arrangement; the rest was under way.
    pub time_s: Vec<f64>,
    /// Seconds in which a request stood refused.
    pub refused_s: f64,
    /// Seconds.
    pub duration_s: f64,
    /// Distance, m.
    pub distance_m: f64,
    /// Largest shortfall of road speed against the trace, km/h.
    pub slowest_kmh: f64,
    /// Road speed (km/h) and arrangement (or none) each second.
    pub story: Vec<(f64, Option<u8>)>,
}

/// Drive the trace.
///
/// # Errors
/// Why the run cannot start.
pub fn drive(
    d: &Driveline,
    model: &Model,
    prepared: &Arc<Prepared>,
    schedule: Schedule,
    trace: &Trace,
    seed: u64,
    tell: &dyn Fn(usize, usize),
) -> Result<Driven, CannotRun> {
    let window = d.battery.as_ref().map_or([0.0, 1.0], |b| b.charge_window);
    let begun = trace.moments[0].t_s;
    let first = schedule.best_at(0.0, 0.0).map(usize::from);
    let setup = Setup {
        duration_s: trace.duration_s(),
        start_speed_kmh: trace.moments[0].kmh,
        start_arrangement: first,
        start_charge: 0.5 * (window[0] + window[1]),
        wish: Wish::Speed(trace.moments.iter().map(|m| (m.t_s - begun, m.kmh)).collect()),
        grade: trace.moments.iter().map(|m| (m.t_s - begun, m.slope / 100.0)).collect(),
        requests: Vec::new(),
        faults: Vec::new(),
    };
    let mut run = Run::of(prepared, &setup, seed)?.asked_by(schedule);
    let mut out = Driven { time_s: vec![0.0; d.arrangements.len()], ..Driven::default() };
    let mut stood = None;
    let (mut ticks, total) = (0u64, run.ticks());
    while let Some(record) = run.next_tick() {
        let truth = &record.truth;
        let dt_s = truth.dt_s;
        if let Some(e) = model.engine.as_ref().filter(|_| truth.engine_running) {
            let nm = truth.machine_nm[e.machine].max(-e.drag_nm);
            out.fuel_j += e.fuel.power_w(nm, truth.speed_radps[e.shaft].max(0.0)) * dt_s;
        }
        if let Some(a) = record.status.arrangement {
            if let Some(slot) = out.time_s.get_mut(usize::from(a)) {
                *slot += dt_s;
            }
            out.changes += usize::from(stood.is_some_and(|s| s != a));
            stood = Some(a);
        }
        out.refused_s += if record.status.refusal.is_some() { dt_s } else { 0.0 };
        out.duration_s += dt_s;
        out.distance_m += record.road_mps * dt_s;
        let kmh = record.road_mps * 3.6;
        out.slowest_kmh = out.slowest_kmh.max(trace.at(out.duration_s).kmh - kmh);
        if out.duration_s >= out.story.len() as f64 {
            out.story.push((kmh, record.status.arrangement));
        }
        ticks += 1;
        if ticks.is_multiple_of(50_000) {
            tell(ticks as usize / 1000, total as usize / 1000);
        }
    }
    tell(1, 1);
    let book = run.plant().energy();
    out.battery_j = book.battery_j;
    let friction = d.locks.iter().map(|l| matches!(l.kind, LockKind::Friction(_)));
    out.lock_j = book.lock_j.iter().zip(friction).filter(|l| l.1).map(|l| l.0).sum();
    Ok(out)
}
