//! Dog locks: geometry of going in, impact, ratcheting, standing tooth on tooth, coming out.

use super::MAX_SHAFTS;
use super::contact;
use super::model::PlantModel;
use super::state::PlantState;
use super::step::kinetic_j;

/// What a dog is driven to do in a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DogDrive {
    pub(super) close: bool,
    pub(super) may_rise: bool,
    pub(super) may_fall: bool,
    /// Comes out even under load.
    pub(super) forced_out: bool,
    pub(super) slow_close: f64,
    pub(super) slow_release: f64,
}

/// An angle brought into `[0, pitch)`. Angles move by far less than a pitch in a cut.
pub(super) fn wrap(angle: f64, pitch: f64) -> f64 {
    if pitch <= 0.0 || (angle >= 0.0 && angle < pitch) {
        return angle;
    }
    let turns = angle / pitch;
    let mut whole = turns as i64 as f64;
    if whole > turns {
        whole -= 1.0;
    }
    let rest = angle - whole * pitch;
    if rest >= 0.0 && rest < pitch { rest } else { 0.0 }
}

/// Move a dog's actuator by one step; it may go in (an impact) or come out.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, i: usize, drive: DogDrive) {
    let part = &model.lock[i];
    if drive.close {
        if drive.may_rise {
            let fill = state.lock[i].fill + part.fill_per_step / drive.slow_close;
            state.lock[i].fill = if fill > 1.0 - 1e-12 { 1.0 } else { fill };
        }
        if state.lock[i].fill >= 1.0 && !state.lock[i].engaged {
            meet_teeth(model, state, i);
        }
        return;
    }
    let lock = &mut state.lock[i];
    lock.at_teeth = false;
    let held = lock.engaged && lock.torque_nm.abs() > part.hold_in_nm && !drive.forced_out;
    if drive.may_fall && !held {
        let fill = lock.fill - part.release_per_step / drive.slow_release;
        lock.fill = if fill < 1e-12 { 0.0 } else { fill };
    }
    if lock.fill <= 0.0 {
        lock.engaged = false;
        lock.pressure = 0.0;
    }
}

/// At the teeth: in, refused (too fast), or waiting for a gap.
fn meet_teeth(model: &PlantModel, state: &mut PlantState, i: usize) {
    let part = &model.lock[i];
    let slip = model.slip(i, &state.speed);
    if slip.abs() > part.window_radps {
        let lock = &mut state.lock[i];
        if !lock.at_teeth {
            lock.rejections += 1;
        }
        lock.at_teeth = true;
        return;
    }
    state.lock[i].at_teeth = false;
    if state.lock[i].angle_rad < part.gap_rad {
        engage(model, state, i, slip);
    }
}

/// Go in: the speeds jump so that all dogs that are in hold; friction locks slip in the instant,
/// because their torque is finite. What the impact loses is booked.
fn engage(model: &PlantModel, state: &mut PlantState, i: usize, slip: f64) {
    let before = kinetic_j::<MAX_SHAFTS>(model, &state.speed);
    let set = (0..model.locks)
        .fold(1usize << i, |set, j| if state.lock[j].engaged { set | 1 << j } else { set });
    contact::project::<MAX_SHAFTS>(model, &mut state.speed, set);
    let lost = before - kinetic_j::<MAX_SHAFTS>(model, &state.speed);
    state.energy.impact_j += lost;
    state.touched |= 1 << i;
    let lock = &mut state.lock[i];
    lock.engaged = true;
    lock.pressure = 1.0;
    lock.closings += 1;
    lock.slip_at_touch_radps = slip;
    lock.closing_j = lost;
    lock.heat_j += lost;
}
