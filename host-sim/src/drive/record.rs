//! One tick of a run as the trace, the summary, the picture and the judges see it.

use supervisor::bits::{MAX_LOCKS, MAX_SENSORS};
use supervisor::io::{LockOrder, LockReport, Orders, Speed};
use supervisor::status::{Phase, Status};
use supervisor::table::Action;

use crate::checkers::TickTruth;

/// The step that the supervisor is at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StepNow {
    /// Its number in the table.
    pub number: u16,
    /// The lock that moves.
    pub lock: u8,
    /// Whether it closes or opens.
    pub action: Action,
}

/// One tick.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct TickRecord {
    /// The plant's truth at the end of the tick, and what was asked and stated.
    pub truth: TickTruth,
    /// Road speed, m/s.
    pub road_mps: f64,
    /// Torque that the driver asks for at the output shaft, Nm.
    pub demand_nm: f64,
    /// Service brake torque at the output shaft, Nm.
    pub brake_nm: f64,
    /// State of charge, 0 to 1.
    pub charge: f64,
    /// What the supervisor saw of the speeds.
    pub sensed: [Speed; MAX_SENSORS],
    /// What the switches said.
    pub reports: [LockReport; MAX_LOCKS],
    /// What the supervisor ordered.
    pub orders: Orders,
    /// What the drive controller made of the machine orders, Nm a machine.
    pub command_nm: [f64; supervisor::bits::MAX_MACHINES],
    /// What the supervisor said of itself.
    pub status: Status,
    /// The step under way, if any.
    pub step: Option<StepNow>,
    /// Faults of the scenario that are present, bit `i` is the i-th fault of the file (up to 32).
    pub faults: u32,
}

impl TickRecord {
    /// What is drawn of a lock as three lanes, each with the numbers of its states: ordered (0 open,
    /// 1 filled, 2 closed), said by the switch (0 open, 1 no word, 2 closed), true (0 open, 1 locked,
    /// 2 slipping).
    pub(crate) fn lanes(&self, lock: usize) -> [u8; 3] {
        let order = match self.orders.locks[lock] {
            LockOrder::Open => 0,
            LockOrder::Prefill => 1,
            LockOrder::Close => 2,
        };
        let report = match self.reports[lock] {
            LockReport::Open => 0,
            LockReport::Missing => 1,
            LockReport::Closed => 2,
        };
        let truth = &self.truth.locks[lock];
        let actual = match (truth.engaged, truth.sticking) {
            (false, _) => 0,
            (true, true) => 1,
            (true, false) => 2,
        };
        [order, report, actual]
    }
}

/// One word for the phase.
pub fn phase_word(phase: Phase) -> &'static str {
    match phase {
        Phase::Wake => "wake",
        Phase::Rest => "rest",
        Phase::Prepare { .. } => "prepare",
        Phase::Closing { .. } => "closing",
        Phase::Opening { .. } => "opening",
        Phase::Settle => "settle",
    }
}

/// Number of the step that a phase is about.
pub fn phase_step(phase: Phase) -> Option<u16> {
    match phase {
        Phase::Prepare { step, .. } | Phase::Closing { step } | Phase::Opening { step } => {
            Some(step)
        }
        Phase::Wake | Phase::Rest | Phase::Settle => None,
    }
}
