//! What the judges are told beside the plant's state: the faults that are present, and what
//! the table claims of the step under way.

use supervisor::status::{Refusal, Status};
use supervisor::table::{Action, Table};

use crate::checkers::{Claim, FaultTruth};
use crate::drive::record::phase_step;
use crate::plant::{
    ActuatorFault, Faults, LockFaults, MachineFaults, SensorFaults, SwitchFault, TorqueFault,
};

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
        misreported: bits(&faults.machines, misreports),
        machine_acts: false,
        supply_lost: faults.supply_lost,
        grip_lost: faults.grip.is_some(),
        regrips: false,
    }
}

/// Whether a machine tells another torque than it gives: one that is late, or gives none, tells the truth.
fn misreports(m: &MachineFaults) -> bool {
    let honest = MachineFaults { slow: m.slow, ..MachineFaults::default() };
    *m != honest && *m != MachineFaults { torque: TorqueFault::Lost, ..honest }
}

/// Torque below which a machine that is faulty does nothing to the rest of the plant, Nm.
const ACTS_NM: f64 = 1.0;

/// Whether one of these machines is asked for torque, or gives some.
pub(super) fn machine_acts(faulty: u8, asked_nm: &[f64], given_nm: &[f64]) -> bool {
    let mut torques = asked_nm.iter().zip(given_nm).zip(0..);
    let acts = |asked_nm: f64, given_nm: f64| asked_nm.abs().max(given_nm.abs()) > ACTS_NM;
    faulty != 0 && torques.any(|((asked, given), m)| faulty >> m & 1 == 1 && acts(*asked, *given))
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

/// Lock sets before and after the step that the supervisor refuses because of the road speed.
pub(super) fn refused_sets(table: &Table, status: &Status) -> Option<[u8; 2]> {
    let Some(Refusal::RoadSpeed { step }) = status.refusal else { return None };
    let step = table.step(step)?;
    Some([step.from.0, step.from.with(step.lock, step.action == Action::Close).0])
}

#[cfg(test)]
mod tests {
    use super::{machine_acts, misreports};
    use crate::plant::{MachineFaults, TorqueFault};

    #[test]
    fn a_machine_that_is_late_or_gives_nothing_tells_the_truth() {
        let sound = MachineFaults::default();
        let lost = MachineFaults { torque: TorqueFault::Lost, ..sound };
        let late = MachineFaults { slow: 9.0, ..sound };
        for honest in [sound, lost, late, MachineFaults { slow: 9.0, ..lost }] {
            assert!(!misreports(&honest), "{honest:?}");
        }
        for lies in [
            MachineFaults { torque: TorqueFault::WrongSign, ..sound },
            MachineFaults { scale: 1.1, ..sound },
            MachineFaults { offset_nm: 3.0, ..late },
            MachineFaults { report_lost: true, ..lost },
        ] {
            assert!(misreports(&lies), "{lies:?}");
        }
    }

    #[test]
    fn a_faulty_machine_acts_while_it_is_asked_for_torque_or_gives_some() {
        for (faulty, asked_nm, given_nm, acts) in [
            (0b10, [0.0, 0.0], [50.0, 0.0], false),
            (0b10, [0.0, 5.0], [0.0, 0.0], true),
            (0b10, [0.0, 0.0], [0.0, -5.0], true),
            (0b10, [9.0, 0.9], [9.0, -0.9], false),
            (0b01, [0.0, 0.0], [-5.0, 0.0], true),
            (0b00, [9.0, 9.0], [9.0, 9.0], false),
        ] {
            assert_eq!(
                machine_acts(faulty, &asked_nm, &given_nm),
                acts,
                "{asked_nm:?} {given_nm:?}"
            );
        }
    }
}
