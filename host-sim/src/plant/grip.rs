//! Loss of grip, a fault: for its time the vehicle is a mass of its own.
//!
//! With grip, wheels and vehicle are one inertia at the output. Without, the output turns only the
//! wheels (a second model, made beforehand) and the tyres pull the vehicle with a friction that is
//! limited to a share of its weight; below a small slip it grows with the slip, as a tyre's does.
//! Air and slope act on the vehicle, the service brake and rolling resistance on the wheels. When
//! the fault is over the tyres grip in full, and once the wheels turn with the road the two are one
//! again.

use super::MAX_SHAFTS;
use super::contact;
use super::inputs::PlantInputs;
use super::model::PlantModel;
use super::state::PlantState;
use super::step::{air_nm, finite, kinetic_j};
use crate::driveline::Driveline;

/// Slip at the tyre from which it carries all that it can, m/s (an invented, round value).
const CREEP_MPS: f64 = 0.05;
/// Share of the weight that tyres with full grip carry (an invented, round value).
const FULL_GRIP: f64 = 1.0;
/// The wheels' share of the vehicle's inertia, where the file states less (an invented, round value).
const WHEEL_SHARE_MIN: f64 = 0.01;

/// The tyres in one step, as torques at the output shaft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tyre {
    /// From the wheels to the vehicle; positive drives it forward.
    pub(super) nm: f64,
    /// On the vehicle, against forward motion when positive.
    air_nm: f64,
    grade_nm: f64,
}

/// The share of the vehicle's inertia that turns with its wheels: what the file adds to the mass.
pub(super) fn wheel_share(driveline: &Driveline) -> f64 {
    let factor = driveline.vehicle.as_ref().map_or(1.0, |v| v.rotating_mass_factor);
    (1.0 - 1.0 / factor).clamp(WHEEL_SHARE_MIN, 1.0 - WHEEL_SHARE_MIN)
}

/// The model of this step: the one with loose wheels from the beginning of the fault until the
/// wheels turn with the road again.
pub(super) fn model_of<'a>(
    model: &'a PlantModel,
    state: &mut PlantState,
    inputs: &PlantInputs,
) -> &'a PlantModel {
    let (Some(loose), true) =
        (&model.loose, inputs.faults.grip.is_some() || state.vehicle_radps.is_some())
    else {
        return model;
    };
    let output = state.speed[model.road.shaft];
    let vehicle = *state.vehicle_radps.get_or_insert(output);
    let slip = output - vehicle;
    if inputs.faults.grip.is_none() && slip.abs() <= band_radps(loose, FULL_GRIP) {
        join(model, loose, state, slip);
        return model;
    }
    loose
}

/// Slip at the output shaft from which the tyres carry all they can, rad/s: wide enough that
/// friction does not turn the slip round within a step.
fn band_radps(loose: &PlantModel, share: f64) -> f64 {
    let out = loose.road.shaft;
    let mobility = loose.response[out][out] + 1.0 / loose.apart_kg_m2;
    let creep = CREEP_MPS / loose.road.metres_per_radian;
    creep.max(share * loose.road.weight_nm * mobility * loose.dt_s)
}

/// What the tyres do in this step; `None` with grip.
pub(super) fn tyre(model: &PlantModel, state: &PlantState, inputs: &PlantInputs) -> Option<Tyre> {
    let vehicle = state.vehicle_radps?;
    let slope = finite(inputs.grade);
    let upright = 1.0 / (1.0 + slope * slope).sqrt();
    let share = inputs.faults.grip.map_or(FULL_GRIP, |share| finite(share).max(0.0));
    let slip = state.speed[model.road.shaft] - vehicle;
    let used = (slip / band_radps(model, share)).clamp(-1.0, 1.0);
    Some(Tyre {
        nm: share * model.road.weight_nm * upright * used,
        air_nm: air_nm(model, vehicle),
        grade_nm: model.road.weight_nm * slope * upright,
    })
}

/// Move the vehicle by one step in which the output turned by `turned` rad, and book its energy.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, tyre: &Tyre, turned: f64) {
    let Some(before) = state.vehicle_radps else { return };
    let sum = tyre.nm - tyre.air_nm - tyre.grade_nm;
    let after = before + sum / model.apart_kg_m2 * model.dt_s;
    let way = 0.5 * (before + after) * model.dt_s;
    state.vehicle_radps = Some(after);
    state.slid_rad += way - turned;
    state.energy.tyre_j += tyre.nm * (turned - way);
    state.energy.road_j += tyre.air_nm * way;
    state.energy.grade_j += tyre.grade_nm * way;
    state.energy.kinetic_j += 0.5 * model.apart_kg_m2 * after * after;
}

/// Wheels and vehicle become one again: an impulse between them takes the last of their slip, and
/// what stuck sticks on.
fn join(model: &PlantModel, loose: &PlantModel, state: &mut PlantState, slip: f64) {
    let out = model.road.shaft;
    let impulse = -slip / (loose.response[out][out] + 1.0 / loose.apart_kg_m2);
    for (speed, response) in state.speed.iter_mut().zip(&loose.response[out]) {
        *speed += response * impulse;
    }
    let stuck = (0..model.locks).filter(|&i| state.lock[i].stuck);
    let locks = stuck.fold(0usize, |set, i| set | 1 << i);
    contact::project::<MAX_SHAFTS>(model, &mut state.speed, locks);
    state.vehicle_radps = None;
    let kinetic_j = kinetic_j::<MAX_SHAFTS>(model, &state.speed);
    state.energy.impact_j += state.energy.kinetic_j - kinetic_j;
    state.energy.kinetic_j = kinetic_j;
}
