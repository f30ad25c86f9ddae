//! Forward over a trace: driver, the real supervisor and the plant in closed loop, the schedule
//! asking.

use std::sync::Arc;

use supervisor::schedule::Schedule;

use super::book::Book;
use super::trace::Trace;
use crate::drive::closed_loop::{CannotRun, Prepared, Run, Setup};
use crate::drive::driver::Wish;
use crate::driveline::Driveline;
use crate::energy::model::Model;
use crate::energy::terms::Terms;

/// What a forward run adds up to.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Driven {
    /// Fuel, J: the engine's torque and speed through its fuel model.
    pub fuel_j: f64,
    /// Out of the battery's cells, J, by the loss model of the backward way.
    pub battery_j: f64,
    /// Where the energy goes, by the same model.
    pub terms: Terms,
    /// Friction heat of the friction locks, the drag of open ones included, J.
    pub lock_j: f64,
    /// The part of it that came while there was pressure: the changes, J.
    pub closing_j: f64,
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
    /// State of charge of the plant's battery at the beginning and at the end.
    pub charge: [f64; 2],
    /// How often the trace was driven until a charge was found that comes back.
    pub laps: usize,
}

/// Most laps of a trace.
const MOST_LAPS: usize = 8;
/// How near the charge must come back, as a share of its window.
pub const LAP_TOLERANCE: f64 = 5e-3;

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
    let window = window(d);
    lap(d, model, prepared, schedule, trace, (seed, 0.5 * (window[0] + window[1])), tell)
}

/// Drive the trace from one charge after the other, until one is found with which it also ends; the
/// last lap counts. The fuller the battery, the less the drive controller charges it: between a
/// charge that falls and one that rises the one that stays is searched by false position (Illinois
/// rule). Without an engine, or without a battery, one lap.
///
/// # Errors
/// Why the run cannot start.
pub fn laps(
    d: &Driveline,
    model: &Model,
    prepared: &Arc<Prepared>,
    schedule: Schedule,
    trace: &Trace,
    seed: u64,
    tell: &dyn Fn(usize, usize),
) -> Result<Driven, CannotRun> {
    let [low, high] = window(d);
    let mut count = 0;
    let mut from = |charge: f64| {
        count += 1;
        let own = lap(d, model, prepared, schedule, trace, (seed, charge), tell)?;
        Ok(Driven { laps: count, ..own })
    };
    let rise = |own: &Driven| own.charge[1] - own.charge[0];
    let good = |own: &Driven| rise(own).abs() <= LAP_TOLERANCE * (high - low);
    let first = from(0.5 * (low + high))?;
    if model.engine.is_none() || model.cells.is_none() || good(&first) {
        return Ok(first);
    }
    let (mut a, mut fa) = (first.charge[0], rise(&first));
    let mut last = from(if fa < 0.0 { low } else { high })?;
    let (mut b, mut fb) = (last.charge[0], rise(&last));
    // Neither end of the window brings it back: the nearer one counts.
    if fa * fb > 0.0 {
        return Ok(if fb.abs() < fa.abs() { last } else { Driven { laps: 2, ..first } });
    }
    let mut side = 0;
    while !good(&last) && last.laps < MOST_LAPS {
        last = from((a * fb - b * fa) / (fb - fa))?;
        let f = rise(&last);
        if f * fb > 0.0 {
            (b, fb) = (last.charge[0], f);
            fa = if side == 1 { 0.5 * fa } else { fa };
            side = 1;
        } else {
            (a, fa) = (last.charge[0], f);
            fb = if side == 2 { 0.5 * fb } else { fb };
            side = 2;
        }
    }
    Ok(last)
}

fn window(d: &Driveline) -> [f64; 2] {
    d.battery.as_ref().map_or([0.0, 1.0], |b| b.charge_window)
}

/// One lap with this seed from this charge.
fn lap(
    d: &Driveline,
    model: &Model,
    prepared: &Arc<Prepared>,
    schedule: Schedule,
    trace: &Trace,
    (seed, charge): (u64, f64),
    tell: &dyn Fn(usize, usize),
) -> Result<Driven, CannotRun> {
    let begun = trace.moments[0].t_s;
    let setup = Setup {
        duration_s: trace.duration_s(),
        start_speed_kmh: trace.moments[0].kmh,
        start_arrangement: schedule.best_at(0.0, 0.0).map(usize::from),
        start_charge: charge,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(trace.moments.iter().map(|m| (m.t_s - begun, m.kmh)).collect()),
        grade: trace.moments.iter().map(|m| (m.t_s - begun, m.slope / 100.0)).collect(),
        requests: Vec::new(),
        faults: Vec::new(),
    };
    let mut run = Run::of(prepared, &setup, seed)?.asked_by(schedule);
    let mut out = Driven { time_s: vec![0.0; d.arrangements.len()], laps: 1, ..Driven::default() };
    let mut book = Book::new(d, model, run.plant());
    let mut stood = None;
    let (mut ticks, total) = (0u64, run.ticks());
    while let Some(record) = run.next_tick() {
        let (dt_s, running) = (record.truth.dt_s, record.truth.engine_running);
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
        book.tick(run.plant(), dt_s, running);
    }
    tell(1, 1);
    out.terms = book.terms();
    (out.fuel_j, out.battery_j) = (out.terms.fuel, out.terms.battery);
    (out.lock_j, out.closing_j) = (book.lock_j, book.closing_j);
    out.charge = [charge, run.plant().battery().charge];
    Ok(out)
}
