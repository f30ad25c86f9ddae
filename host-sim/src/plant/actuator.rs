//! Actuators of the locks: fill, ramp and release, what each can carry, and the switches.

use super::contact::Contacts;
use super::dog::{self, DogDrive};
use super::inputs::{ActuatorFault, LockFaults, PlantInputs, SwitchFault};
use super::model::PlantModel;
use super::parts::{Carried, LockModel};
use super::state::{LockActual, LockState, PlantState};
use super::step::finite;
use super::{DOG_RATCHET_SHARE, SWITCH_DEBOUNCE_S};
use supervisor::bits::MAX_LOCKS;
use supervisor::io::{LockOrder, LockReport};

/// Move every actuator by one step and set the capacities of the lock contacts.
pub(super) fn advance(
    model: &PlantModel,
    state: &mut PlantState,
    inputs: &PlantInputs,
    contacts: &mut Contacts,
) {
    for i in 0..model.locks.min(MAX_LOCKS) {
        let part = &model.lock[i];
        let may_fail = inputs.suspects.locks >> i & 1 == 1;
        let carried = match (may_fail, part.dog) {
            (false, false) => friction_lock(model, state, i, inputs.locks[i], &LockFaults::SOUND),
            _ => odd_lock(model, state, i, inputs, may_fail),
        };
        contacts.slide[i] = carried.slide_nm;
        contacts.stick[i] = carried.stick_nm;
        contacts.stuck |= usize::from(state.lock[i].stuck) << i;
    }
}

/// One that is a dog or may have a fault.
#[inline(never)]
fn odd_lock(
    model: &PlantModel,
    state: &mut PlantState,
    i: usize,
    inputs: &PlantInputs,
    may_fail: bool,
) -> Carried {
    let part = &model.lock[i];
    let (order, faults) = match may_fail {
        true => (effective_order(part, inputs, i), &inputs.faults.locks[i]),
        false => (inputs.locks[i], &LockFaults::SOUND),
    };
    if !part.dog {
        return friction_lock(model, state, i, order, faults);
    }
    let drag = part.drag_nm + finite(faults.extra_drag_nm).max(0.0);
    dog::advance(model, state, i, dog_drive(order, faults));
    let lock = &state.lock[i];
    let ratchet = if lock.at_teeth { DOG_RATCHET_SHARE * part.capacity_nm } else { 0.0 };
    let slide_nm = drag.max(ratchet);
    let stick_nm = if lock.engaged { f64::INFINITY } else { slide_nm };
    Carried { slide_nm, stick_nm }
}

/// One with plates.
#[inline]
fn friction_lock(
    model: &PlantModel,
    state: &mut PlantState,
    i: usize,
    order: LockOrder,
    faults: &LockFaults,
) -> Carried {
    let part = &model.lock[i];
    let lock = &mut state.lock[i];
    // Most of the time it is where it is ordered to be.
    if faults.extra_drag_nm == 0.0 {
        match order {
            LockOrder::Close
                if faults.actuator != ActuatorFault::StuckOpen
                    && lock.fill == 1.0
                    && lock.pressure == 1.0 =>
            {
                return part.pressed;
            }
            LockOrder::Open
                if faults.actuator != ActuatorFault::StuckClosed
                    && lock.fill == 0.0
                    && lock.pressure == 0.0 =>
            {
                return part.open;
            }
            _ => {}
        }
    }
    move_plates(model, state, i, order, faults)
}

#[inline(never)]
fn move_plates(
    model: &PlantModel,
    state: &mut PlantState,
    i: usize,
    order: LockOrder,
    faults: &LockFaults,
) -> Carried {
    let part = &model.lock[i];
    let slip = model.slip(i, &state.speed);
    let lock = &mut state.lock[i];
    let before = lock.pressure;
    let mean = friction(part, lock, order, faults);
    if before <= 0.0 && lock.pressure > 0.0 {
        lock.closings += 1;
        state.touched |= 1 << i;
        lock.slip_at_touch_radps = slip;
        lock.closing_j = 0.0;
    }
    part.carried(mean, finite(faults.extra_drag_nm).max(0.0))
}

/// The order after supply loss and actuator faults.
fn effective_order(part: &LockModel, inputs: &PlantInputs, i: usize) -> LockOrder {
    match inputs.faults.locks[i].actuator {
        ActuatorFault::OpensByItself => LockOrder::Open,
        ActuatorFault::ClosesByItself => LockOrder::Close,
        _ if inputs.faults.supply_lost && part.normally_open => LockOrder::Open,
        _ if inputs.faults.supply_lost => LockOrder::Close,
        _ => inputs.locks[i],
    }
}

fn dog_drive(order: LockOrder, faults: &LockFaults) -> DogDrive {
    DogDrive {
        close: order == LockOrder::Close,
        may_rise: faults.actuator != ActuatorFault::StuckOpen,
        may_fall: faults.actuator != ActuatorFault::StuckClosed,
        forced_out: faults.actuator == ActuatorFault::OpensByItself,
        slow_close: slowness(faults.slow_close),
        slow_release: slowness(faults.slow_release),
    }
}

fn slowness(factor: f64) -> f64 {
    if factor.is_finite() && factor > 1.0 { factor } else { 1.0 }
}

/// Fill first, then pressure; on the way back pressure first, then fill. Returns the mean
/// pressure over the step.
fn friction(part: &LockModel, lock: &mut LockState, order: LockOrder, faults: &LockFaults) -> f64 {
    let may_rise = faults.actuator != ActuatorFault::StuckOpen;
    let may_fall = faults.actuator != ActuatorFault::StuckClosed;
    let fill_rate = part.fill_per_step / slowness(faults.slow_close);
    let ramp_rate = part.ramp_per_step / slowness(faults.slow_close);
    let release_rate = part.release_per_step / slowness(faults.slow_release);
    let before = lock.pressure;
    match order {
        LockOrder::Close if may_rise => {
            let left = raise(&mut lock.fill, fill_rate, 1.0);
            let rest = raise(&mut lock.pressure, ramp_rate, left);
            let ramp = left - rest;
            before * (1.0 - left) + 0.5 * (before + lock.pressure) * ramp + lock.pressure * rest
        }
        LockOrder::Open | LockOrder::Prefill if may_fall => {
            let left = lower(&mut lock.pressure, release_rate, 1.0);
            if order == LockOrder::Open {
                lower(&mut lock.fill, release_rate, left);
            } else if may_rise {
                raise(&mut lock.fill, fill_rate, 1.0);
            }
            0.5 * (before + lock.pressure) * (1.0 - left) + lock.pressure * left
        }
        LockOrder::Prefill if may_rise => {
            raise(&mut lock.fill, fill_rate, 1.0);
            before
        }
        _ => before,
    }
}

/// Raise towards 1 for a share of a step; returns the share that was not needed.
fn raise(value: &mut f64, rate: f64, share: f64) -> f64 {
    if share <= 0.0 {
        return 0.0;
    }
    let need = (1.0 - *value) / rate;
    // A step too many from rounding alone would show as a lost millisecond.
    if need > share * (1.0 + 1e-9) {
        *value += rate * share;
        0.0
    } else {
        *value = 1.0;
        (share - need).max(0.0)
    }
}

/// Lower towards 0 for a share of a step; returns the share that was not needed.
fn lower(value: &mut f64, rate: f64, share: f64) -> f64 {
    if share <= 0.0 {
        return 0.0;
    }
    let need = *value / rate;
    if need > share * (1.0 + 1e-9) {
        *value -= rate * share;
        0.0
    } else {
        *value = 0.0;
        (share - need).max(0.0)
    }
}

/// After the motion: what a lock now really does, and what its switch says.
#[inline]
pub(super) fn settle(model: &PlantModel, state: &mut PlantState, inputs: &PlantInputs, i: usize) {
    let part = &model.lock[i];
    state.lock[i].actual = actual(part, &state.lock[i]);
    let may_lie = inputs.suspects.locks >> i & 1 == 1;
    match may_lie.then(|| inputs.faults.locks[i].switch) {
        None | Some(SwitchFault::None) => {
            look_at_switch(model, state, i);
            state.report[i] = match (part.has_switch, state.lock[i].switch_closed) {
                (false, _) => LockReport::Missing,
                (true, true) => LockReport::Closed,
                (true, false) => LockReport::Open,
            };
        }
        Some(fault) => lie(model, state, i, fault),
    }
}

/// What a lock really does, from its actuator and contact.
pub(super) fn actual(part: &LockModel, lock: &LockState) -> LockActual {
    if part.dog {
        return match (lock.engaged, lock.at_teeth, lock.fill > 0.0) {
            (true, _, _) => LockActual::Locked,
            (_, true, _) => LockActual::Slipping,
            (_, _, true) => LockActual::Filling,
            _ => LockActual::Open,
        };
    }
    if lock.pressure > 0.0 {
        return if lock.stuck { LockActual::Locked } else { LockActual::Slipping };
    }
    if lock.fill > 0.0 { LockActual::Filling } else { LockActual::Open }
}

/// A single contact with hysteresis: closed once fully applied, open once it carries nothing.
#[inline]
fn look_at_switch(model: &PlantModel, state: &mut PlantState, i: usize) {
    let part = &model.lock[i];
    let lock = &mut state.lock[i];
    let raw = match (lock.switch_closed, part.dog) {
        // Not yet fully out.
        (true, true) => lock.engaged,
        (true, false) => lock.pressure > 0.0,
        // Fully in.
        (false, true) => lock.engaged && lock.fill >= 0.99,
        (false, false) => lock.pressure >= 0.95,
    };
    if raw == lock.switch_closed {
        lock.switch_steps = 0;
    } else {
        lock.switch_steps += 1;
        if f64::from(lock.switch_steps) * model.dt_s >= SWITCH_DEBOUNCE_S {
            lock.switch_closed = raw;
            lock.switch_steps = 0;
        }
    }
}

/// The word of a switch with a fault.
#[inline(never)]
fn lie(model: &PlantModel, state: &mut PlantState, i: usize, fault: SwitchFault) {
    let chattered = fault == SwitchFault::Chatter && state.fault_chance().below(2) == 1;
    look_at_switch(model, state, i);
    state.report[i] = match fault {
        _ if !model.lock[i].has_switch => LockReport::Missing,
        SwitchFault::Missing => LockReport::Missing,
        SwitchFault::StuckOpen => LockReport::Open,
        SwitchFault::StuckClosed => LockReport::Closed,
        SwitchFault::Chatter if chattered => LockReport::Closed,
        SwitchFault::Chatter => LockReport::Open,
        SwitchFault::None if state.lock[i].switch_closed => LockReport::Closed,
        SwitchFault::None => LockReport::Open,
    };
}
