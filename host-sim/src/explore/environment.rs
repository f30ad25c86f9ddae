//! The world around the kernel, as hostile as physics allows: locks that move in their own time,
//! get stuck or open by themselves, switches that lie.

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::io::LockOrder;
use supervisor::table::Table;

use super::chooser::Chooser;

/// What a lock really does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Actual {
    /// Carries nothing.
    #[default]
    Open,
    /// Pressed, may slip or hold.
    Closing,
    /// Holds.
    Closed,
    /// Let go, may still hold.
    Opening,
}

impl Actual {
    /// All, in the order of their codes.
    pub const ALL: [Actual; 4] = [Actual::Open, Actual::Closing, Actual::Closed, Actual::Opening];
}

/// A fault that stays.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum LockFault {
    /// None.
    #[default]
    None,
    /// Cannot close.
    StuckOpen,
    /// Cannot open.
    StuckClosed,
    /// The switch always says open.
    SwitchOpen,
    /// The switch always says closed.
    SwitchClosed,
}

impl LockFault {
    /// All, in the order of their codes, filled up to a power of two.
    pub const ALL: [LockFault; 8] = [
        LockFault::None,
        LockFault::StuckOpen,
        LockFault::StuckClosed,
        LockFault::SwitchOpen,
        LockFault::SwitchClosed,
        LockFault::None,
        LockFault::None,
        LockFault::None,
    ];
}

/// What a switch may say in one tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum SwitchWord {
    /// Open.
    #[default]
    Open,
    /// Closed.
    Closed,
    /// Closed, or nothing: between the two positions a switch may have no word.
    ClosedOrNothing,
    /// There is no switch.
    NoSwitch,
}

/// All that the kernel's answers depend on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct View {
    /// Locks that truly hold.
    pub closed: Bits,
    /// What each switch may say.
    pub words: [SwitchWord; MAX_LOCKS],
    /// Whether the speed sensors lie: then no combination of guard bits is impossible.
    pub lying: bool,
}

/// The world's state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Environment {
    /// What each lock does.
    pub actual: [Actual; MAX_LOCKS],
    /// Ticks since it was let go.
    pub opening: [u8; MAX_LOCKS],
    /// Its fault.
    pub fault: [LockFault; MAX_LOCKS],
    /// How many faults there have been.
    pub faults: u8,
    /// Whether speed sensors lie; only where guard bits are tied to the kinematics is that a fault.
    pub lying: bool,
}

/// What the world did in one tick, for a path in words.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Happened {
    /// A new fault of this lock, or its opening by itself.
    pub fault: Option<(u8, LockFault)>,
    /// This lock opened by itself.
    pub opened: Option<u8>,
}

impl Environment {
    /// Locks that are not surely open in truth.
    pub fn pressed(&self) -> Bits {
        self.locks(|actual| actual != Actual::Open)
    }

    /// Locks that hold.
    pub fn closed(&self) -> Bits {
        self.locks(|actual| actual == Actual::Closed)
    }

    fn locks(&self, keep: impl Fn(Actual) -> bool) -> Bits {
        let with = |bits: Bits, (i, &actual): (usize, &Actual)| bits.with(i as u8, keep(actual));
        self.actual.iter().enumerate().fold(Bits::EMPTY, with)
    }

    /// What can be seen of the world.
    pub fn view(&self, table: &Table) -> View {
        let mut view = View { closed: self.closed(), lying: self.lying, ..View::default() };
        for lock in 0..table.locks.len().min(MAX_LOCKS) {
            view.words[lock] = match (self.fault[lock], self.actual[lock]) {
                _ if !table.locks[lock].has_switch => SwitchWord::NoSwitch,
                (LockFault::SwitchOpen, _) => SwitchWord::Open,
                (LockFault::SwitchClosed, _) => SwitchWord::Closed,
                // The switch's own threshold lies somewhere on the way.
                (_, Actual::Open | Actual::Closing) => SwitchWord::Open,
                (_, Actual::Closed) => SwitchWord::Closed,
                (_, Actual::Opening) => SwitchWord::ClosedOrNothing,
            };
        }
        view
    }

    /// One tick under these orders, with every delay and, within the budget, every fault. The
    /// first answer to every question is the helpful one: no fault, no delay, no silence.
    pub fn advance(
        &mut self,
        table: &Table,
        orders: &[LockOrder; MAX_LOCKS],
        budget: u8,
        chooser: &mut Chooser,
    ) -> Happened {
        let count = usize::from(table.lock_count());
        let happened = self.break_something(count, budget, chooser);
        for (lock, order) in orders.iter().enumerate().take(count) {
            let bound = table.locks[lock].release_ticks;
            self.move_lock(lock, *order, bound, chooser);
        }
        happened
    }

    /// Speed sensors may begin to lie, within the budget.
    pub fn may_lie(&mut self, budget: u8, chooser: &mut Chooser) {
        if !self.lying && self.faults < budget && chooser.either() {
            self.lying = true;
            self.faults += 1;
        }
    }

    /// How many faults there have been and whether sensors lie, as one number.
    pub fn faults_code(&self) -> u8 {
        self.faults | u8::from(self.lying) << 7
    }

    /// Take over what [`Environment::faults_code`] gave.
    pub fn set_faults(&mut self, code: u8) {
        self.faults = code & 0x7F;
        self.lying = code >> 7 == 1;
    }

    /// At most one new fault of a lock a tick.
    fn break_something(&mut self, count: usize, budget: u8, chooser: &mut Chooser) -> Happened {
        let mut happened = Happened::default();
        if self.faults >= budget {
            return happened;
        }
        let kinds = 5;
        let choice = chooser.choose(1 + (count * kinds) as u8);
        if choice == 0 {
            return happened;
        }
        let (lock, kind) = ((usize::from(choice) - 1) / kinds, (usize::from(choice) - 1) % kinds);
        if self.fault[lock] != LockFault::None {
            return happened;
        }
        self.faults += 1;
        if kind == 4 {
            self.actual[lock] = Actual::Open;
            happened.opened = Some(lock as u8);
            return happened;
        }
        self.fault[lock] = [
            LockFault::StuckOpen,
            LockFault::StuckClosed,
            LockFault::SwitchOpen,
            LockFault::SwitchClosed,
        ][kind];
        if self.fault[lock] == LockFault::StuckOpen {
            self.actual[lock] = Actual::Open;
        }
        happened.fault = Some((lock as u8, self.fault[lock]));
        happened
    }

    fn move_lock(&mut self, lock: usize, order: LockOrder, bound: u16, chooser: &mut Chooser) {
        let stuck_open = self.fault[lock] == LockFault::StuckOpen;
        let stuck_closed = self.fault[lock] == LockFault::StuckClosed;
        let pressed = order != LockOrder::Open;
        self.actual[lock] = match (self.actual[lock], pressed) {
            (Actual::Open, true) if stuck_open => Actual::Open,
            (Actual::Open, true) => Actual::Closing,
            // A lock that is only filled does not hold.
            (Actual::Closing, true) if order == LockOrder::Prefill => Actual::Closing,
            (Actual::Closing, true) => {
                if chooser.either() {
                    Actual::Closing
                } else {
                    Actual::Closed
                }
            }
            (Actual::Closed, true) | (Actual::Closed, false) if pressed || stuck_closed => {
                Actual::Closed
            }
            (Actual::Opening, true) => Actual::Closing,
            (Actual::Open, false) => Actual::Open,
            (Actual::Closing | Actual::Closed, _) => {
                self.opening[lock] = 0;
                self.release(lock, bound, chooser)
            }
            (Actual::Opening, false) => self.release(lock, bound, chooser),
        };
        if self.actual[lock] != Actual::Opening {
            self.opening[lock] = 0;
        }
    }

    /// Letting go takes any time up to the bound.
    fn release(&mut self, lock: usize, bound: u16, chooser: &mut Chooser) -> Actual {
        if self.fault[lock] == LockFault::StuckClosed {
            return Actual::Closed;
        }
        self.opening[lock] = self.opening[lock].saturating_add(1);
        if u16::from(self.opening[lock]) >= bound || !chooser.either() {
            Actual::Open
        } else {
            Actual::Opening
        }
    }
}
