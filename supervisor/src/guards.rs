//! The questions that `decide` may ask, answered by measurement or by exploration.
//!
//! `decide` sees no number: it asks for one bit at a time through [`Guards`]. On the
//! board and in simulation the answers come from [`crate::observe::Reading`]; an
//! exhaustive search answers by trying both.

use crate::bits::Bits;
use crate::io::{LockReport, Reports};
use crate::table::Table;

/// What the speeds say of one lock's slip.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SlipBits {
    /// Every sensor it reads is valid and plausible. When false, all other bits are false.
    pub known: bool,
    /// Within the tightened limit for closing.
    pub within: bool,
    /// Within the smaller limit for beginning to close; implies `within`.
    pub near: bool,
    /// Changing no faster than the margin allows for.
    pub steady: bool,
    /// Too large for the sides to be locked together.
    pub moving: bool,
}

impl SlipBits {
    /// Whether the lock may begin to close.
    pub const fn ready(self) -> bool {
        self.known && self.near && self.steady
    }
}

/// Answers to the questions that `decide` asks in one tick.
///
/// Within one tick the same question must get the same answer.
pub trait Guards {
    /// The slip of a lock.
    fn slip(&mut self, lock: u8) -> SlipBits;
    /// Whether the slip is known. The code asks for one bit of a slip at a time, so that a
    /// search need not try the bits that nobody looks at.
    fn slip_known(&mut self, lock: u8) -> bool {
        self.slip(lock).known
    }
    /// Whether the sides move apart for sure.
    fn slip_moving(&mut self, lock: u8) -> bool {
        self.slip(lock).moving
    }
    /// Whether the slip is within the limit for going on with a closing.
    fn slip_within(&mut self, lock: u8) -> bool {
        self.slip(lock).within
    }
    /// Whether the lock may begin to close.
    fn slip_ready(&mut self, lock: u8) -> bool {
        self.slip(lock).ready()
    }
    /// Those of `locks` whose sides move apart for sure.
    fn moving(&mut self, locks: Bits) -> Bits {
        locks.filter(|lock| self.slip_moving(lock))
    }
    /// Those of `locks` whose slip is known and small enough for them to be locked.
    fn still(&mut self, locks: Bits) -> Bits {
        locks.filter(|lock| !self.slip_moving(lock) && self.slip_known(lock))
    }
    /// What the lock's switch says.
    fn report(&mut self, lock: u8) -> LockReport;
    /// What the switches of all locks say.
    fn reports(&mut self, table: &Table) -> Reports {
        let mut reports = Reports::default();
        for (lock, data) in (0..table.lock_count()).zip(table.locks) {
            reports.put(Bits::one(lock), data.has_switch, self.report(lock));
        }
        reports
    }
    /// Whether these sensors are all valid and no parity relation speaks against them.
    fn plausible(&mut self, sensors: Bits) -> bool;
    /// Whether the shafts of these machines are all at rest.
    fn at_rest(&mut self, machines: Bits) -> bool;
    /// Whether the lock that this step opens carries almost no torque.
    fn unloaded(&mut self, step: u16) -> bool;
    /// Whether the road speed is inside the arrangement's window for being asked for.
    fn arrangement_in_window(&mut self, arrangement: u8) -> bool;
    /// Whether the road speed is inside the arrangement's window for staying in it.
    fn arrangement_may_stay(&mut self, arrangement: u8) -> bool;
    /// Whether the road speed is inside the step's window.
    fn in_window(&mut self, step: u16) -> bool;
    /// Whether the speed that the step brings its machine to is allowed.
    fn target_allowed(&mut self, step: u16) -> bool;
    /// Whether the demand is small enough for the step's hand-over.
    fn demand_within(&mut self, step: u16) -> bool;
    /// Whether the lock is cool enough to be closed.
    fn cool(&mut self, lock: u8) -> bool;
    /// Whether the output accelerates no faster than wheels in grip can.
    fn calm(&mut self) -> bool;
    /// Whether the engine runs by itself.
    fn engine_running(&mut self) -> bool;
    /// Whether the engine runs and will be dragged below its stall speed, or driven beyond its
    /// highest, before a lock that is let go now is open; or whether it is turned backwards.
    fn engine_endangered(&mut self) -> bool;
    /// The arrangement asked for.
    fn request(&mut self) -> Option<u8>;
}
