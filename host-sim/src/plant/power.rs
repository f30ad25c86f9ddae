//! Electric side: machine losses, auxiliaries, battery.

use super::MAX_SHAFTS;
use super::model::{PlantModel, ShaftValues};
use super::parts::MachineModel;
use super::state::PlantState;
use supervisor::bits::MAX_MACHINES;

/// Loss of a machine and its inverter in W at this torque and speed.
pub(super) fn loss_w(part: &MachineModel, torque_nm: f64, speed: f64) -> f64 {
    let w = speed.abs();
    let loss = &part.loss;
    loss.constant
        + loss.copper * torque_nm * torque_nm
        + loss.linear * w
        + loss.square * w * w
        + loss.inverter * (torque_nm * w).abs()
}

/// Electric power of the machines and the battery's charge after this step. The mean speed of
/// the step is taken, so that electric and mechanical work agree to rounding.
pub(super) fn advance(model: &PlantModel, state: &mut PlantState, turned: &ShaftValues) {
    let mut total_w = model.road.auxiliary_w;
    for m in 0..model.machines.min(MAX_MACHINES) {
        let part = &model.machine[m];
        if part.engine {
            continue;
        }
        let machine = &mut state.machine[m];
        let speed = turned[part.shaft % MAX_SHAFTS] / model.dt_s;
        machine.loss_w = loss_w(part, machine.torque_nm, speed);
        machine.electric_w = machine.torque_nm * speed + machine.loss_w;
        total_w += machine.electric_w;
        state.energy.machine_loss_j += machine.loss_w * model.dt_s;
    }
    state.energy.auxiliary_j += model.road.auxiliary_w * model.dt_s;
    state.battery.terminal_w = total_w;
    let Some(b) = &model.battery else {
        state.energy.battery_j += total_w * model.dt_s;
        return;
    };
    // P = (U - R I) I, the smaller root; beyond the peak the current is that of the peak.
    let inside = b.voltage_v * b.voltage_v - 4.0 * b.resistance_ohm * total_w;
    let current = if b.resistance_ohm <= 0.0 {
        total_w / b.voltage_v
    } else if inside > 0.0 {
        (b.voltage_v - inside.sqrt()) / (2.0 * b.resistance_ohm)
    } else {
        b.voltage_v / (2.0 * b.resistance_ohm)
    };
    state.battery.current_a = current;
    state.battery.over_limit =
        total_w > b.discharge_max_w || -total_w > b.charge_max_w || inside < 0.0;
    state.battery.charge -= current * model.dt_s / b.charge_c;
    state.energy.battery_j += b.voltage_v * current * model.dt_s;
    state.energy.battery_loss_j += b.resistance_ohm * current * current * model.dt_s;
}
