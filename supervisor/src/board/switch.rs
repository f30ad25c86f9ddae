//! Position switches, debounced.

use embedded_hal::digital::InputPin;

use super::PinFailed;
use super::valve::Active;
use crate::io::LockReport;

/// Something that says where a lock stands.
pub trait Switch {
    /// What it says; to be called every tick.
    ///
    /// # Errors
    /// The pin failed.
    fn report(&mut self) -> Result<LockReport, PinFailed>;
}

/// A reading that counts only when it came so many times in a row.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Debounce {
    needed: u8,
    seen: LockReport,
    times: u8,
    stands: LockReport,
}

impl Debounce {
    fn new(needed: u8) -> Debounce {
        let missing = LockReport::Missing;
        Debounce { needed: needed.max(1), seen: missing, times: 0, stands: missing }
    }

    fn take(&mut self, reading: LockReport) -> LockReport {
        self.times = if reading == self.seen { self.times.saturating_add(1) } else { 1 };
        self.seen = reading;
        if self.times >= self.needed {
            self.stands = reading;
        }
        self.stands
    }

    /// Nothing is known any more.
    fn forget(&mut self) {
        *self = Debounce::new(self.needed);
    }
}

/// One contact that acts while the lock is closed.
#[derive(Clone, Debug)]
pub struct Contact<P> {
    pin: P,
    active: Active,
    debounce: Debounce,
}

impl<P: InputPin> Contact<P> {
    /// A contact whose word counts after `needed` equal readings; until then the report is
    /// missing.
    pub fn new(pin: P, active: Active, needed: u8) -> Contact<P> {
        Contact { pin, active, debounce: Debounce::new(needed) }
    }

    /// The pin again.
    pub fn free(self) -> P {
        self.pin
    }
}

fn acts<P: InputPin>(pin: &mut P, active: Active) -> Result<bool, PinFailed> {
    let read = match active {
        Active::High => pin.is_high(),
        Active::Low => pin.is_low(),
    };
    read.map_err(|_| PinFailed)
}

impl<P: InputPin> Switch for Contact<P> {
    fn report(&mut self) -> Result<LockReport, PinFailed> {
        match acts(&mut self.pin, self.active) {
            Ok(true) => Ok(self.debounce.take(LockReport::Closed)),
            Ok(false) => Ok(self.debounce.take(LockReport::Open)),
            Err(failed) => {
                self.debounce.forget();
                Err(failed)
            }
        }
    }
}

/// Two contacts, one that acts while the lock is closed and one that acts while it is open. Both
/// or neither for long enough is no word at all: a broken wire is seen.
#[derive(Clone, Debug)]
pub struct Pair<C, O> {
    closed: C,
    open: O,
    active: Active,
    debounce: Debounce,
}

impl<C: InputPin, O: InputPin> Pair<C, O> {
    /// Two contacts whose word counts after `needed` equal readings.
    pub fn new(closed: C, open: O, active: Active, needed: u8) -> Pair<C, O> {
        Pair { closed, open, active, debounce: Debounce::new(needed) }
    }

    /// The pins again.
    pub fn free(self) -> (C, O) {
        (self.closed, self.open)
    }
}

impl<C: InputPin, O: InputPin> Switch for Pair<C, O> {
    fn report(&mut self) -> Result<LockReport, PinFailed> {
        let closed = acts(&mut self.closed, self.active);
        let open = acts(&mut self.open, self.active);
        match (closed, open) {
            (Ok(true), Ok(false)) => Ok(self.debounce.take(LockReport::Closed)),
            (Ok(false), Ok(true)) => Ok(self.debounce.take(LockReport::Open)),
            (Ok(_), Ok(_)) => Ok(self.debounce.take(LockReport::Missing)),
            _ => {
                self.debounce.forget();
                Err(PinFailed)
            }
        }
    }
}
