//! A watchdog that is fed only when everything that must run has run.

use crate::bits::Bits;

/// What resets the board when it is not fed in time. embedded-hal 1.0 has no trait for it.
pub trait Watchdog {
    /// Give it its time anew.
    fn feed(&mut self);
}

/// Feeds a watchdog only when each of several contexts (tick, link, ...) has reported since.
/// One that hangs starves it, however busy the others are.
#[derive(Clone, Debug)]
pub struct Alive<W> {
    dog: W,
    expected: Bits,
    seen: Bits,
}

impl<W: Watchdog> Alive<W> {
    /// A watchdog for the contexts `expected`.
    pub const fn new(dog: W, expected: Bits) -> Alive<W> {
        Alive { dog, expected, seen: Bits::EMPTY }
    }

    /// Context `number` has done its work. Returns whether that fed the watchdog.
    pub fn report(&mut self, number: u8) -> bool {
        self.seen = self.seen.or(Bits::one(number).and(self.expected));
        let all = self.seen == self.expected && !self.expected.is_empty();
        if all {
            self.seen = Bits::EMPTY;
            self.dog.feed();
        }
        all
    }

    /// Contexts that have not reported yet.
    pub const fn late(&self) -> Bits {
        self.expected.without(self.seen)
    }
}
