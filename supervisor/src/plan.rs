//! From the plan to one order per machine: the numbers that the machines are given.

use crate::bits::MAX_MACHINES;
use crate::decide::Plan;
use crate::io::{Inputs, MachineOrder};
use crate::observe::{Reading, magnitude};
use crate::status::Phase;
use crate::table::{Action, Arrangement, Duty, Step, StepDuty, Table};

#[cfg(test)]
mod tests;

/// One order per machine; without any, no torque. Every second of the `tries` a dog is brought in from the other side:
/// what the sensors are wrong by may take away all of the slip that is aimed at, and teeth then stand on teeth.
#[inline(never)]
pub(crate) fn machine_orders(
    table: &Table,
    reading: &Reading,
    inputs: &Inputs,
    (plan, tries): (Plan, u8),
    orders: &mut [MachineOrder; MAX_MACHINES],
) {
    // Not one choice among all plans: a jump through a table has no bound that can be shown.
    let all = if matches!(plan, Plan::Off) { MachineOrder::Off } else { MachineOrder::Unload };
    *orders = [if matches!(plan, Plan::Coast) { MachineOrder::Free } else { all }; MAX_MACHINES];
    if let Plan::Arrangement(number) = plan {
        if let Some(arrangement) = table.arrangements.get(number as usize) {
            arrangement_orders(arrangement, reading, orders);
        }
    } else if let Plan::Step(number) = plan
        && let Some(step) = table.step(number)
    {
        let turn = if tries & 1 == 1 { 2.0 * step.target_offset } else { 0.0 };
        step_orders(step, reading, inputs, turn, orders);
    }
}

/// Share of its allowed speeds beyond which a shaft that nothing ties to the wheels is slowed down.
const CALM_SHARE: f32 = 0.5;

/// To what share of its allowed speeds a machine that nothing ties to the wheels is slowed down; `None` where that is not for
/// here to say. Where no machine synchronises what a step closes, all shafts come to one speed only at rest.
pub(crate) fn calm_share(table: &Table, plan: Plan, phase: Phase) -> Option<f32> {
    match (plan, phase) {
        (Plan::Cut, Phase::Rest) => Some(CALM_SHARE),
        (Plan::Step(number), Phase::Prepare { .. }) => {
            table.step(number).filter(|step| closes_alone(step)).map(|_| 0.0)
        }
        _ => None,
    }
}

/// Whether no machine synchronises what a step closes. Not a loop: its bound would have to be shown.
fn closes_alone(step: &Step) -> bool {
    let syncs = |duty: &StepDuty| matches!(duty, StepDuty::Sync);
    let [a, b, c, d] = &step.duties;
    step.action == Action::Close && !(syncs(a) || syncs(b) || syncs(c) || syncs(d))
}

/// Where no lock ties a machine to the wheels, oil between open plates may drag its shaft over its
/// limits without any torque, and a fault that closes a lock brings shafts to one speed that may be too much for one
/// of them: a machine that turns faster than a share of its allowed speeds is slowed down to it.
pub(crate) fn calm_orders(
    table: &Table,
    reading: &Reading,
    share: f32,
    orders: &mut [MachineOrder; MAX_MACHINES],
) {
    for (i, (rest, order)) in table.rests.iter().zip(orders).enumerate() {
        // The limits are those of a sensor that sits on the machine's own shaft.
        let sensor = rest.sensors.lowest().filter(|_| rest.sensors.count() == 1);
        let data = sensor.and_then(|sensor| table.sensors.get(sensor as usize));
        let (Some(data), Some(radps)) = (data, reading.machine_radps(i as u8)) else { continue };
        let target = between(radps, share * data.allowed.min, share * data.allowed.max);
        if target != radps && table.engine != Some(i as u8) {
            *order = hold(target);
        }
    }
}

fn arrangement_orders(
    data: &Arrangement,
    reading: &Reading,
    orders: &mut [MachineOrder; MAX_MACHINES],
) {
    let output = match reading.output_radps() {
        Some(output) => output,
        None if !data.duties.iter().any(|duty| needs_output(data, duty)) => 0.0,
        // A machine that is to hold a speed has no target, and the engine would run away from
        // one that gives no torque: no torque from anything is the safe order.
        None => return,
    };
    let pace = between(data.pace.per_output * output, data.pace.min, data.pace.max);
    for (order, duty) in orders.iter_mut().zip(&data.duties) {
        match *duty {
            Duty::Free => *order = MachineOrder::Free,
            Duty::Unload => {}
            Duty::Hold { per_output, per_pace } => {
                *order = hold(per_output * output + per_pace * pace);
            }
        }
    }
}

/// Whether the road speed has a say in what the machine holds.
fn needs_output(data: &Arrangement, duty: &Duty) -> bool {
    match duty {
        Duty::Hold { per_output, per_pace } => {
            *per_output != 0.0 || (*per_pace != 0.0 && data.pace.per_output != 0.0)
        }
        Duty::Free | Duty::Unload => false,
    }
}

fn step_orders(
    step: &Step,
    reading: &Reading,
    inputs: &Inputs,
    turn: f32,
    orders: &mut [MachineOrder; MAX_MACHINES],
) {
    for (order, duty) in orders.iter_mut().zip(&step.duties) {
        match *duty {
            StepDuty::Free => *order = MachineOrder::Free,
            StepDuty::Take { share } => *order = take(share * usable_demand(step, inputs)),
            StepDuty::Sync => {
                if let Some(target) = reading.target_radps(step) {
                    *order = hold(between(target - turn, step.target_min, step.target_max));
                }
            }
            StepDuty::Unload => {}
        }
    }
}

/// Hold this speed; what is no number is no target, and no torque the safe order.
fn hold(target_radps: f32) -> MachineOrder {
    if is_finite(target_radps) {
        MachineOrder::HoldSpeed { target_radps }
    } else {
        MachineOrder::Unload
    }
}

fn take(nm: f32) -> MachineOrder {
    if is_finite(nm) { MachineOrder::TakeTorque { nm } } else { MachineOrder::Unload }
}

fn is_finite(x: f32) -> bool {
    magnitude(x) <= f32::MAX
}

/// The demand, no larger than the step can hand over; zero when it is not a number.
fn usable_demand(step: &Step, inputs: &Inputs) -> f32 {
    if is_finite(inputs.demand_nm) {
        between(inputs.demand_nm, -step.demand_max, step.demand_max)
    } else {
        0.0
    }
}

fn between(x: f32, min: f32, max: f32) -> f32 {
    if x < min {
        min
    } else if x > max {
        max
    } else {
        x
    }
}
