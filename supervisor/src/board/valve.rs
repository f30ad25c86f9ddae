//! On/off valves and single lines.

use embedded_hal::digital::OutputPin;

use super::PinFailed;
use crate::io::LockOrder;

/// Which level of a pin means "on" (of an output: current flows; of an input: the contact acts).
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Active {
    /// High.
    High,
    /// Low.
    Low,
}

/// What a lock does when its valve gets no current.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AtRest {
    /// The lock is open.
    Open,
    /// The lock is closed (by a spring); current opens it.
    Closed,
}

/// Something that carries out the orders of one lock.
pub trait Valve {
    /// Carry out an order; to be called every tick, also when the order stays the same.
    ///
    /// # Errors
    /// The pin failed. The order counts as not carried out; it is tried again at the next call.
    fn order(&mut self, order: LockOrder) -> Result<(), PinFailed>;

    /// No current, at once.
    ///
    /// # Errors
    /// The pin failed.
    fn release(&mut self) -> Result<(), PinFailed>;
}

/// A single line that is held or not.
pub trait Line {
    /// Hold the line or let it go.
    ///
    /// # Errors
    /// The pin failed.
    fn set(&mut self, on: bool) -> Result<(), PinFailed>;
}

/// An on/off valve or enable line on one output pin.
///
/// It cannot fill a lock without pressing it: [`LockOrder::Prefill`] leaves the lock open.
#[derive(Clone, Debug)]
pub struct OnOff<P> {
    pin: P,
    active: Active,
    at_rest: AtRest,
}

impl<P: OutputPin> OnOff<P> {
    /// A valve; the pin is set to "no current" at once.
    ///
    /// # Errors
    /// The pin failed.
    pub fn new(pin: P, active: Active, at_rest: AtRest) -> Result<OnOff<P>, PinFailed> {
        let mut valve = OnOff { pin, active, at_rest };
        valve.current(false)?;
        Ok(valve)
    }

    /// The pin again.
    pub fn free(self) -> P {
        self.pin
    }

    fn current(&mut self, on: bool) -> Result<(), PinFailed> {
        let done = match on == (self.active == Active::High) {
            true => self.pin.set_high(),
            false => self.pin.set_low(),
        };
        done.map_err(|_| PinFailed)
    }
}

impl<P: OutputPin> Valve for OnOff<P> {
    fn order(&mut self, order: LockOrder) -> Result<(), PinFailed> {
        let close = order == LockOrder::Close;
        self.current(close != (self.at_rest == AtRest::Closed))
    }

    fn release(&mut self) -> Result<(), PinFailed> {
        self.current(false)
    }
}

impl<P: OutputPin> Line for OnOff<P> {
    fn set(&mut self, on: bool) -> Result<(), PinFailed> {
        self.current(on)
    }
}
