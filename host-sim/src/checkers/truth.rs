//! What the judges see of one tick: the plant's true state, and what was asked and stated.

use supervisor::bits::{MAX_LOCKS, MAX_MACHINES};
use supervisor::io::LockOrder;
use supervisor::status::{Faults, Phase, Refusal, Status};

use crate::driveline::{Driveline, LockId};

/// Most shafts a driveline may have.
pub const MAX_SHAFTS: usize = 16;

/// The true state of one lock at the end of a tick.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct LockTruth {
    /// Speed of the first side minus that of the second, rad/s.
    pub slip_radps: f64,
    /// Whether it can carry torque beyond its drag: plates pressed, or dog teeth in.
    pub engaged: bool,
    /// Whether its sides turn as one.
    pub sticking: bool,
    /// The largest true slip, rad/s, at an instant of this tick at which it began to
    /// carry torque; `None` when it did not begin in this tick.
    pub closed_at_radps: Option<f64>,
    /// Torque it carries, Nm.
    pub torque_nm: f64,
    /// Friction work since the start of the run, J (drag of the open lock included).
    pub work_j: f64,
    /// Rise of the plates over the oil, K (friction).
    pub rise_k: f64,
    /// Whether its position switch says closed, be that true or not.
    pub said_closed: bool,
    /// What its actuator is asked.
    pub order: LockOrder,
    /// Whether an injected fault drives its actuator against the order, or did and it still carries torque.
    pub forced: bool,
}

/// Which injected faults are present. Bits as in the driveline file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct FaultTruth {
    /// Whether any fault of any kind is present.
    pub any: bool,
    /// Locks whose actuator sticks, moves by itself, is slow or drags.
    pub actuators: u8,
    /// Locks whose position switch lies or says nothing.
    pub switches: u8,
    /// Sensors with any fault.
    pub sensors: u8,
    /// Sensors without a valid value.
    pub dropouts: u8,
    /// Machines whose torque is lost, wrong or late, or not reported.
    pub machines: u8,
    /// Machines whose torque is not what they report, or of which none is reported.
    pub misreported: u8,
    /// A machine with any fault is asked for torque, or gives some.
    pub machine_acts: bool,
    /// The supply of the lock actuators is lost.
    pub supply_lost: bool,
    /// The tyres carry less than the weight, or the wheels do not turn with the road yet.
    pub grip_lost: bool,
    /// The tyres grip again, and pull the wheels back to the speed of the road.
    pub regrips: bool,
}

/// What the table claims of the step under way.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Claim {
    /// Its number in the table.
    pub step: u16,
    /// The lock that it moves.
    pub lock: u8,
    /// Whether it closes the lock (else it opens it).
    pub closes: bool,
    /// Whether the push at the wheels is kept all through it.
    pub keeps_push: bool,
    /// Largest demand at the output up to which it may be taken, Nm.
    pub demand_max_nm: f64,
}

/// One tick.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct TickTruth {
    /// Time at the end of the tick, s.
    pub t_s: f64,
    /// Length of the tick, s.
    pub dt_s: f64,
    /// True speed of each shaft, rad/s.
    pub speed_radps: [f64; MAX_SHAFTS],
    /// True state of each lock.
    pub locks: [LockTruth; MAX_LOCKS],
    /// True torque of each machine, Nm.
    pub machine_nm: [f64; MAX_MACHINES],
    /// True torque at the output shaft towards the wheels, Nm.
    pub output_nm: f64,
    /// How much faster than the road the wheels turn, rad/s of the output shaft; 0 while they grip.
    pub wheel_slip_radps: f64,
    /// Torque that the driver asks of the machines at the output shaft, Nm.
    pub demand_nm: f64,
    /// Service brake torque at the output shaft, Nm, 0 or more.
    pub brake_nm: f64,
    /// Slope of the road: rise per horizontal distance, positive uphill.
    pub grade: f64,
    /// Whether the engine fires by itself.
    pub engine_running: bool,
    /// Whether the engine is asked to run.
    pub engine_run_order: bool,
    /// Whether an injected fault keeps the engine from running.
    pub engine_fault: bool,
    /// Arrangement that is asked for.
    pub request: Option<u8>,
    /// Arrangement that the supervisor states to have reached, with no step under way.
    pub stated_reached: Option<u8>,
    /// Whether the supervisor states that it refuses the present request, with a reason.
    pub stated_refusal: bool,
    /// Whether the supervisor states any refusal.
    pub stated_any_refusal: bool,
    /// Locks against which the supervisor states a fault.
    pub stated_locks: u8,
    /// Sensors against which the supervisor states a fault.
    pub stated_sensors: u8,
    /// All faults that the supervisor states.
    pub stated_faults: Faults,
    /// Why it refuses.
    pub stated_reason: Option<Refusal>,
    /// Lock sets before and after the step that is refused because of the road speed.
    pub refused_sets: Option<[u8; 2]>,
    /// What the table claims of the step under way; `None` between steps.
    pub claim: Option<Claim>,
    /// Whether the supervisor was reset in this tick.
    pub reset: bool,
    /// The injected faults that are present.
    pub faults: FaultTruth,
}

impl TickTruth {
    /// Note what was asked and what the supervisor stated in this tick.
    pub fn state_by(&mut self, status: &Status, request: Option<u8>, reset: bool) {
        self.request = request;
        self.stated_reached = status.arrangement.filter(|_| status.phase == Phase::Rest);
        self.stated_refusal = status.refusal.is_some() && status.goal == request;
        self.stated_any_refusal = status.refusal.is_some();
        self.stated_locks = status.faults.locks().0;
        self.stated_sensors = status.faults.sensors.or(status.faults.racing).0;
        self.stated_faults = status.faults;
        self.stated_reason = status.refusal;
        self.reset = reset;
    }

    /// Whether a fault that moves something is present: of a lock's actuator or its supply, of
    /// a machine, of the engine.
    pub fn is_pushed_by_fault(&self) -> bool {
        self.faults.supply_lost || self.is_pushed_by_fault_beside(0)
    }

    /// The same, without the actuators of these locks and their supply.
    pub fn is_pushed_by_fault_beside(&self, locks: u8) -> bool {
        let f = &self.faults;
        f.actuators & !locks != 0 || f.machines != 0 || f.grip_lost || self.engine_fault
    }

    /// Whether a fault of this lock's actuator or of its supply is present.
    pub fn has_actuator_fault(&self, lock: LockId) -> bool {
        self.faults.supply_lost || self.faults.actuators >> lock & 1 == 1
    }

    /// The locks that can carry torque, as a lock set.
    pub fn engaged_set(&self) -> u8 {
        self.lock_sets().engaged
    }

    /// Whether a fault of an actuator or of its supply is present for any lock of a set, which is not
    /// empty.
    pub fn has_actuator_fault_of(&self, locks: u8) -> bool {
        self.faults.supply_lost || self.faults.actuators & locks != 0
    }

    /// The locks of which something is so.
    pub fn lock_sets(&self) -> LockSets {
        self.lock_sets_of(MAX_LOCKS)
    }

    /// The same where there are no more than so many locks.
    pub fn lock_sets_of(&self, count: usize) -> LockSets {
        let mut sets = LockSets::default();
        for (i, lock) in self.locks.iter().enumerate().take(count) {
            sets.engaged |= u8::from(lock.engaged) << i;
            sets.sticking |= u8::from(lock.sticking) << i;
            sets.pressed |= u8::from(lock.engaged & lock.forced) << i;
            sets.ordered_closed |= u8::from(lock.order == LockOrder::Close) << i;
            sets.began |= u8::from(lock.closed_at_radps.is_some()) << i;
        }
        sets
    }
}

/// Lock sets of one tick, worked out once for all judges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct LockSets {
    /// Locks that can carry torque.
    pub engaged: u8,
    /// Those of them that a fault presses against the order.
    pub pressed: u8,
    /// Locks whose sides turn as one.
    pub sticking: u8,
    /// Locks that are ordered closed.
    pub ordered_closed: u8,
    /// Locks that began to carry torque in this tick.
    pub began: u8,
}

/// "ring-brake + engine-clutch", or "no lock".
pub(crate) fn set_text(driveline: &Driveline, set: u8) -> String {
    let names = driveline.lock_names(set);
    if names.is_empty() { "no lock".to_owned() } else { names.join(" + ") }
}

/// Name of a lock.
pub(crate) fn lock_name(driveline: &Driveline, lock: LockId) -> &str {
    &driveline.locks[lock].name
}
