//! What the judges are told beside the plant's state: the faults that are present, and what
//! the table claims of the step under way.

use supervisor::status::Status;
use supervisor::table::{Action, Table};

use crate::checkers::{Claim, FaultTruth};
use crate::drive::record::phase_step;
use crate::plant::{ActuatorFault, Faults, LockFaults, MachineFaults, SensorFaults, SwitchFault};

/// The faults of one tick as the judges see them; `any` tells of faults that act on something
/// other than the plant's inputs as well.
pub(super) fn fault_truth(faults: &Faults, any: bool) -> FaultTruth {
    if !any {
        return FaultTruth::default();
    }
    FaultTruth {
        any,
        actuators: bits(&faults.locks, |l| {
            let sound = LockFaults { switch: l.switch, ..LockFaults::default() };
            *l != sound || l.actuator != ActuatorFault::None
        }),
        switches: bits(&faults.locks, |l| l.switch != SwitchFault::None),
        sensors: bits(&faults.sensors, |s| *s != SensorFaults::default()),
        dropouts: bits(&faults.sensors, |s| s.dropout),
        machines: bits(&faults.machines, |m| *m != MachineFaults::default()),
        supply_lost: faults.supply_lost,
        grip_lost: faults.grip.is_some(),
        regrips: false,
    }
}

fn bits<T>(list: &[T], test: impl Fn(&T) -> bool) -> u8 {
    list.iter().enumerate().fold(0, |set, (i, x)| if test(x) { set | 1 << i } else { set })
}

/// What the table claims of the step that the supervisor is at.
pub(super) fn claim(table: &Table, status: &Status) -> Option<Claim> {
    let number = phase_step(status.phase)?;
    let step = table.step(number)?;
    Some(Claim {
        step: number,
        lock: step.lock,
        closes: step.action == Action::Close,
        keeps_push: step.keeps_push,
        demand_max_nm: f64::from(step.demand_max),
    })
}
