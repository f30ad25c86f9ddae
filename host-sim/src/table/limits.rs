//! Limits as the board compares them: tightened so that "measured within" implies "truly within".

use supervisor::table as t;

use crate::driveline::{Driveline, EngineUse, LockId, LockKind, MachineKind};
use crate::exact::{Q, Row, to_f64};
use crate::kinematics::{Kinematics, lock_row, window_within};

use super::data::Margin;
use super::rows::{RPM, RowError, SensorRow, measure, parity_rows, shaft_form};

/// Ticks for a time in ms, rounded up, at most what a u16 holds.
pub(super) fn ticks(d: &Driveline, ms: f64) -> u16 {
    (ms / d.timing.tick_ms).ceil().clamp(0.0, f64::from(u16::MAX)) as u16
}

/// Distance between the samples of a rate, ticks: long enough that quantisation does not
/// hide the rate, short enough to notice a change.
pub(super) fn rate_ticks(d: &Driveline) -> u16 {
    ticks(d, 10.0).max(2)
}

/// Everything measured of one lock.
pub(super) struct MeasuredLock {
    /// For the board.
    pub data: t::Lock,
    /// For a person.
    pub margin: Margin,
}

/// The fastest change of a lock's slip, rad/s2, at which it may still be closed: what the
/// machines are asked for, but no more than lets the age of the measurement eat a quarter of
/// the limit.
fn slip_rate_max(d: &Driveline, limit: f64, error: &RowError) -> f64 {
    let asked = d.timing.sync_rate_max_rpm_per_s * RPM;
    asked.min(0.25 * limit / error.age_s)
}

/// Measure one lock; `fastest` is the fastest change of each shaft, rad/s2.
///
/// # Errors
/// One sentence: what is missing, or that the sensors are too poor for the limit.
pub(super) fn measure_lock(
    d: &Driveline,
    k: &Kinematics,
    id: LockId,
    fastest: &[f64],
) -> Result<MeasuredLock, String> {
    let lock = &d.locks[id];
    let name = &lock.name;
    let limit_rpm = lock
        .engage_slip_max_rpm
        .ok_or_else(|| format!("lock {name:?} has no engage_slip_max_rpm: add it"))?;
    let row = slip_form(d, k, id)?;
    let limit = limit_rpm * RPM;
    let error = row.error(d, fastest);
    let rate = slip_rate_max(d, limit, &error);
    let latency = rate * error.age_s;
    let left = limit - error.fixed() - latency;
    let margin = Margin {
        what: format!("slip of {name}"),
        unit: "rpm",
        limit: limit_rpm,
        sensor: error.sensor / RPM,
        latency: (latency + error.skew) / RPM,
        rounding: error.rounding / RPM,
        other: 0.0,
        left: left / RPM,
    };
    let span_s = f64::from(rate_ticks(d)) * d.timing.tick_ms / 1000.0;
    let rate_left = rate * span_s - row.change_noise(d, fastest);
    if left <= 0.0 || rate_left <= 0.0 {
        return Err(too_poor(name, &margin));
    }
    let (close_ms, heat) = match &lock.kind {
        LockKind::Friction(f) => (lock.close_ms + f.ramp_ms, heat_data(d, lock, f)),
        LockKind::Dog(_) => (lock.close_ms, HeatData::default()),
    };
    let confirm = d.timing.confirm_timeout_ms;
    let search = tooth_search_ms(lock);
    let data = t::Lock {
        slip_row: row.coefficients(),
        sensors: row.sensors(),
        slip_max: round_down(left),
        begin_max: round_down(begin_limit(lock, left)),
        // A fifth more than healthy sensors can show while the sides are locked together.
        moving_min: (1.2 * error.fixed() + RPM) as f32,
        rate_max: round_down(rate_left),
        dog: matches!(lock.kind, LockKind::Dog(_)),
        has_switch: lock.has_switch,
        close_ticks: ticks(d, close_ms),
        close_timeout: ticks(d, close_ms + confirm + search),
        release_ticks: ticks(d, lock.release_ms),
        release_timeout: ticks(d, lock.release_ms + confirm),
        heat_k_per_radps_tick: heat.per_tick_k as f32,
        drag_k_per_radps_tick: heat.drag_k as f32,
        cooling_ticks: heat.cooling_ticks as f32,
        rise_max_k: heat.rise_max_k as f32,
    };
    Ok(MeasuredLock { data, margin })
}

fn too_poor(name: &str, margin: &Margin) -> String {
    format!(
        "the sensors are too poor for the slip limit of {name:?}: of {:.1} rpm, sensor error takes \
         {:.1} and the age of the measurement {:.1}: use better sensors, a shorter latency_ms or \
         tick_ms, or a larger engage_slip_max_rpm",
        margin.limit, margin.sensor, margin.latency
    )
}

/// The slip of a lock over the sensors; a sentence when they do not determine it.
fn slip_form(d: &Driveline, k: &Kinematics, id: LockId) -> Result<SensorRow, String> {
    let name = &d.locks[id].name;
    let found = measure(d, &k.set(0).basis, &lock_row(d, id));
    if found.as_ref().is_some_and(|row| row.sensors().is_empty()) {
        return Err(format!(
            "lock {name:?} can never slip: the gears alone keep its two sides together; remove it, \
             or check which shafts they join"
        ));
    }
    found.ok_or_else(|| {
        format!(
            "the slip of {:?} cannot be measured: add a [[sensor]] on {:?} or {:?}",
            d.locks[id].name,
            d.shafts[d.locks[id].a].name,
            d.lock_side_b_name(id)
        )
    })
}

/// Largest slip at which a closing may begin, rad/s: for plates half of the tightened limit; for a dog, whose
/// machine is asked for an offset and whose way in is short, two thirds of the way from there to the limit. With half of it
/// sound sensors could keep a dog that was where it should be from ever being ready.
fn begin_limit(lock: &crate::driveline::Lock, left: f64) -> f64 {
    match &lock.kind {
        LockKind::Friction(_) => 0.5 * left,
        LockKind::Dog(dog) => {
            let offset = (dog.offset_rpm * RPM).min(left);
            offset + (left - offset) * 2.0 / 3.0
        }
    }
}

/// Longest time until a gap comes by for a dog that stands tooth on tooth: a pitch at half the
/// offset speed, ms.
fn tooth_search_ms(lock: &crate::driveline::Lock) -> f64 {
    match &lock.kind {
        LockKind::Dog(dog) if dog.offset_rpm > 0.0 => {
            let pitch_deg = 360.0 / f64::from(dog.teeth);
            1000.0 * pitch_deg / (6.0 * 0.5 * dog.offset_rpm)
        }
        _ => 0.0,
    }
}

/// What the board's estimate of a lock's heat is made of.
#[derive(Default)]
struct HeatData {
    /// Per rad/s of slip and tick at full capacity (the safe side), K.
    per_tick_k: f64,
    /// The same at the drag of open plates, K.
    drag_k: f64,
    cooling_ticks: f64,
    rise_max_k: f64,
}

fn heat_data(
    d: &Driveline,
    lock: &crate::driveline::Lock,
    f: &crate::driveline::Friction,
) -> HeatData {
    let capacity = lock.capacity_nm.unwrap_or(0.0);
    let per_tick = |nm: f64| nm * d.timing.tick_ms / 1000.0 / (f.heat_capacity_kj_per_k * 1000.0);
    HeatData {
        per_tick_k: per_tick(capacity),
        drag_k: per_tick(lock.drag_nm),
        cooling_ticks: f.cooling_time_s * 1000.0 / d.timing.tick_ms,
        rise_max_k: f.max_rise_k,
    }
}

/// The largest f32 that is not above `x`.
pub(super) fn round_down(x: f64) -> f32 {
    let nearest = x as f32;
    if f64::from(nearest) > x { nearest.next_down() } else { nearest }
}

/// The smallest f32 that is not below `x`.
pub(super) fn round_up(x: f64) -> f32 {
    -round_down(-x)
}

/// Rest test of each machine's shaft; a shaft that cannot be measured is never at rest.
pub(super) fn rests(d: &Driveline, k: &Kinematics, fastest: &[f64]) -> (Vec<t::Rest>, Vec<Margin>) {
    let mut margins = Vec::new();
    let rests = d
        .machines
        .iter()
        .map(|machine| {
            let Some(row) = measure(d, &k.set(0).basis, &shaft_form(d, machine.shaft)) else {
                let row = [0.0; supervisor::bits::MAX_SENSORS];
                return t::Rest { row, sensors: supervisor::bits::Bits::EMPTY, max: 0.0 };
            };
            let error = row.error(d, fastest);
            let limit = d.timing.rest_rpm * RPM;
            let latency = slip_rate_max(d, limit, &error) * error.age_s;
            let left = (limit - error.fixed() - latency).max(0.0);
            margins.push(Margin {
                what: format!("rest of {}", d.shafts[machine.shaft].name),
                unit: "rpm",
                limit: d.timing.rest_rpm,
                sensor: error.sensor / RPM,
                latency: (latency + error.skew) / RPM,
                rounding: error.rounding / RPM,
                other: 0.0,
                left: left / RPM,
            });
            t::Rest { row: row.coefficients(), sensors: row.sensors(), max: round_down(left) }
        })
        .collect();
    (rests, margins)
}

/// Lowest speed at which a running engine can be measured, rad/s: its stall speed less what the
/// sensors and its own slowing down can make of it. Zero: it cannot be measured, or there is none.
pub(super) fn engine_min(d: &Driveline, k: &Kinematics, fastest: &[f64]) -> f32 {
    let Some((machine, engine)) = d.engine() else { return 0.0 };
    let form = shaft_form(d, d.machines[machine].shaft);
    let Some(row) = measure(d, &k.set(0).basis, &form) else { return 0.0 };
    let error = row.error(d, fastest);
    let slowing = d.timing.sync_rate_max_rpm_per_s * RPM * error.age_s;
    round_down((engine.stall_rpm * RPM - error.fixed() - slowing).max(0.0))
}

/// Parity relations between the sensors with the largest residual of healthy ones.
pub(super) fn parities(
    d: &Driveline,
    k: &Kinematics,
    fastest: &[f64],
) -> (Vec<t::Parity>, Vec<Margin>) {
    let rows = parity_rows(d, &k.set(0).basis);
    let residual = |row: &SensorRow| row.error(d, fastest).fixed();
    let margins = rows
        .iter()
        .map(|row| {
            let error = row.error(d, fastest);
            let names: Vec<&str> =
                row.sensors().iter().map(|s| d.sensors[s as usize].name.as_str()).collect();
            Margin {
                what: format!("parity of {}", names.join(", ")),
                unit: "rpm",
                limit: residual(row) / RPM,
                sensor: error.sensor / RPM,
                latency: error.skew / RPM,
                rounding: error.rounding / RPM,
                other: 0.0,
                left: residual(row) / RPM,
            }
        })
        .collect();
    let parities = rows
        .iter()
        .map(|row| t::Parity {
            row: row.coefficients(),
            sensors: row.sensors(),
            max: round_up(residual(row)),
        })
        .collect();
    (parities, margins)
}

/// Share of a shaft's largest speeds to which a step may bring it, and at which an arrangement may stay.
/// Nearer to them the torque would be cut (SW-M1), and the shaft be left where it may drift over them;
/// and what a fault adds before the torque that drove it has gone needs room.
pub(super) fn speed_share() -> Q {
    crate::exact::ratio(97, 100)
}

/// Speeds in rad/s to which a step may bring a shaft, infinite where no limit is stated. The
/// engine's shaft never turns in reverse and, where the engine runs, not below idle.
pub(super) fn shaft_limits_radps(d: &Driveline, shaft: usize, engine_runs: bool) -> (f64, f64) {
    let data = &d.shafts[shaft];
    let mut max = data.max_rpm.unwrap_or(f64::INFINITY);
    let mut min = data.min_rpm.unwrap_or(-max);
    let share = to_f64(&speed_share());
    max *= if max > 0.0 { share } else { 1.0 };
    min *= if min < 0.0 { share } else { 1.0 };
    for machine in d.machines.iter().filter(|m| m.shaft == shaft) {
        if let MachineKind::Engine(engine) = &machine.kind {
            max = max.min(engine.max_rpm);
            min = min.max(if engine_runs { engine.idle_rpm } else { 0.0 });
        }
    }
    (min * RPM, max * RPM)
}

/// Road-speed window of a lock set as output speed, tightened by what measuring the output
/// can miss, and the shaft that ends it at the top; every shaft keeps within `share` of its largest
/// speeds. Empty when no speed keeps every limit.
pub(super) fn road_window(
    d: &Driveline,
    k: &Kinematics,
    set: u8,
    engine: EngineUse,
    output_error: f64,
    share: &Q,
) -> (t::Window, Option<String>) {
    let Ok(window) = window_within(d, k, set, engine, share) else {
        return (t::Window { min: 1.0, max: -1.0 }, None);
    };
    let end = |q: &Option<Q>, infinite: f64| q.as_ref().map_or(infinite, |q| to_f64(q) * RPM);
    let low = end(&window.low.output_rpm, -1e9) + output_error;
    let high = end(&window.high.output_rpm, 1e9) - output_error;
    let by = window.high.ended_by.first().map(|e| d.shafts[e.limit.shaft].name.clone());
    (t::Window { min: round_up(low), max: round_down(high) }, by)
}

/// The predicted speed of `shaft` once `motion` has brought the slip to zero, as a form over shafts.
pub(super) fn predicted_form(
    d: &Driveline,
    shaft: usize,
    motion: &[Q],
    slip: &[Q],
    per: &Q,
) -> Row {
    let mut form = shaft_form(d, shaft);
    for (f, s) in form.iter_mut().zip(slip) {
        *f -= s * &motion[shaft] / per;
    }
    form
}
