//! Speed sensors: bounded error, range, quantisation, latency, faults.

use super::SENSOR_HISTORY;
use super::inputs::{PlantInputs, SensorFaults};
use super::model::PlantModel;
use super::parts::{RADPS_PER_RPM, SensorModel};
use super::state::PlantState;
use super::step::finite;
use supervisor::io::Speed;

/// Share of the stated error that is a constant offset; the rest changes from sample to sample.
pub(super) const CONSTANT_SHARE: f64 = 0.7;

/// Take a sample of every sensor and put out the one whose time has come.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, inputs: &PlantInputs) {
    state.head = (state.head + 1) % SENSOR_HISTORY;
    for i in 0..model.sensors {
        let part = &model.sensor[i];
        let faults = &inputs.faults.sensors[i];
        let noise = (1.0 - CONSTANT_SHARE) * part.error_radps * state.random.signed_unit();
        let truth = state.speed[part.shaft];
        let value = measure(part, truth, state.sensor[i].bias_radps + noise, faults);
        let sensor = &mut state.sensor[i];
        sensor.history[state.head] = value as f32;
        let then = (state.head + SENSOR_HISTORY - part.latency_steps) % SENSOR_HISTORY;
        let radps = if faults.stuck { sensor.output.radps } else { sensor.history[then] };
        sensor.output = Speed { radps, valid: !faults.dropout };
    }
}

/// One sample: fault, error, range, quantisation.
pub(super) fn measure(part: &SensorModel, truth: f64, error: f64, faults: &SensorFaults) -> f64 {
    let seen = truth * finite(faults.scale) + finite(faults.bias_rpm) * RADPS_PER_RPM + error;
    let seen = if part.range_radps > 0.0 && seen > part.range_radps {
        part.range_radps
    } else if part.range_radps > 0.0 && seen < -part.range_radps {
        -part.range_radps
    } else {
        seen
    };
    if part.resolution_radps > 0.0 {
        // To the nearest count; the cast cuts towards zero and saturates, it cannot fail.
        let counts = seen / part.resolution_radps;
        let half = if counts >= 0.0 { 0.5 } else { -0.5 };
        (counts + half) as i64 as f64 * part.resolution_radps
    } else {
        seen
    }
}
