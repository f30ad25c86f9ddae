//! Speed sensors: bounded error, range, quantisation, latency, faults.

use super::inputs::{PlantInputs, SensorFaults};
use super::model::PlantModel;
use super::parts::{RADPS_PER_RPM, SensorModel};
use super::state::PlantState;
use super::step::finite;
use super::{MAX_SHAFTS, SENSOR_HISTORY};
use supervisor::bits::MAX_SENSORS;
use supervisor::io::Speed;

/// Share of the stated error that is a constant offset; the rest changes from sample to sample.
pub(super) const CONSTANT_SHARE: f64 = 0.7;

/// Take a sample of every sensor and put out the one whose time has come.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, inputs: &PlantInputs) {
    let head = (state.head + 1) % SENSOR_HISTORY;
    state.head = head;
    for i in 0..model.sensors.min(MAX_SENSORS) {
        let part = &model.sensor[i];
        let noise = part.noise_radps * state.random.signed_unit();
        if inputs.suspects.sensors >> i & 1 == 1 {
            sample(model, state, i, noise, &inputs.faults.sensors[i]);
        } else {
            sample_sound(part, state, (i, head), noise);
        }
    }
}

/// Take a sample of a sensor that may have a fault.
#[inline(never)]
fn sample(
    model: &PlantModel,
    state: &mut PlantState,
    i: usize,
    mut noise: f64,
    faults: &SensorFaults,
) {
    let part = &model.sensor[i];
    if faults.noise_rpm > 0.0 {
        noise += finite(faults.noise_rpm) * RADPS_PER_RPM * state.fault_chance().signed_unit();
    }
    let held = is_held(model, state, i, faults);
    let truth = state.speed[part.shaft];
    let value = measure(part, truth, state.sensor[i].bias_radps + noise, faults);
    state.history[state.head][i] = value as f32;
    let then = before(state.head, latency_steps(model, part, faults));
    let output = &mut state.sensed[i];
    if !(faults.stuck || held) {
        output.radps = state.history[then][i];
    }
    output.valid = !faults.dropout;
}

/// The same of one that has none.
#[inline]
fn sample_sound(part: &SensorModel, state: &mut PlantState, (i, head): (usize, usize), noise: f64) {
    let bias_radps = state.sensor[i].bias_radps;
    // Adding the bias of a sound sensor, nothing, is not nothing to the sign of a zero.
    let seen = state.speed[part.shaft % MAX_SHAFTS] + 0.0 + (bias_radps + noise);
    state.history[head][i] = part.shown(seen, part.resolution_radps) as f32;
    let then = before(head, part.latency_steps);
    state.sensed[i] = Speed { radps: state.history[then][i], valid: true };
}

/// Where in the history the samples are that were taken so many steps before those at `head`.
fn before(head: usize, steps: usize) -> usize {
    // The history is a power of two long: what wraps round counts as well.
    head.wrapping_sub(steps) % SENSOR_HISTORY
}

/// Steps in `ms`; a cast cannot fail: what is not a number counts as none.
fn steps_of(model: &PlantModel, ms: f64) -> u64 {
    (ms * 1e-3 / model.dt_s + 0.5) as u64
}

/// How late its values are, no later than the oldest one that is kept.
fn latency_steps(model: &PlantModel, part: &SensorModel, faults: &SensorFaults) -> usize {
    if faults.late_ms > 0.0 {
        let more = steps_of(model, faults.late_ms).min(SENSOR_HISTORY as u64) as usize;
        (part.latency_steps + more).min(SENSOR_HISTORY - 1)
    } else {
        part.latency_steps
    }
}

/// Whether a jittering sensor still holds its last value. A fresh one is drawn its time.
fn is_held(model: &PlantModel, state: &mut PlantState, i: usize, faults: &SensorFaults) -> bool {
    if faults.hold_ms > 0.0 {
        if state.sensor[i].held_steps > 0 {
            state.sensor[i].held_steps -= 1;
            return true;
        }
        let most = steps_of(model, finite(faults.hold_ms)).min(u64::from(u32::MAX) - 1);
        state.sensor[i].held_steps = state.fault_chance().below(most + 1) as u32;
    }
    false
}

/// One sample: fault, error, range, quantisation.
pub(super) fn measure(part: &SensorModel, truth: f64, error: f64, faults: &SensorFaults) -> f64 {
    let seen = truth * finite(faults.scale) + finite(faults.bias_rpm) * RADPS_PER_RPM + error;
    let resolution_radps = if faults.coarse_rpm > 0.0 {
        part.resolution_radps.max(finite(faults.coarse_rpm) * RADPS_PER_RPM)
    } else {
        part.resolution_radps
    };
    part.shown(seen, resolution_radps)
}

impl SensorModel {
    /// What is shown of a value: cut to the range, in whole counts.
    #[inline]
    fn shown(&self, seen: f64, resolution_radps: f64) -> f64 {
        let seen = if seen > self.range_radps {
            self.range_radps
        } else if seen < -self.range_radps {
            -self.range_radps
        } else {
            seen
        };
        if resolution_radps > 0.0 {
            // To the nearest count; the cast cuts towards zero and saturates, it cannot fail.
            let counts = seen / resolution_radps;
            let half = if counts >= 0.0 { 0.5 } else { -0.5 };
            (counts + half) as i64 as f64 * resolution_radps
        } else {
            seen
        }
    }
}
