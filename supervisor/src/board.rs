//! Real outputs and inputs through the traits of embedded-hal 1.0.
//!
//! Between a [`Supervisor`](crate::Supervisor) and the pins of a board stand small parts: valves
//! that carry out lock orders, switches, speed pick-ups and resolvers that make a tick's
//! [`Inputs`], and a watchdog. None of them knows the board; all of them are
//! told their numbers as constants.
//!
//! A pin that fails is never passed over. What failed is a [`BoardFaults`], which takes away what
//! the board can no longer vouch for ([`BoardFaults::mark`]): the supervisor then has a lock whose
//! state nobody reports, or a speed that is not valid, and does what it does about those.

mod faults;
#[allow(clippy::float_arithmetic, reason = "it measures")]
pub mod pickup;
pub mod pressure;
pub mod quadrature;
#[allow(clippy::float_arithmetic, reason = "it measures")]
pub mod resolver;
pub mod switch;
pub mod valve;
pub mod watchdog;

pub use faults::BoardFaults;

use crate::bits::Bits;
use crate::io::{Inputs, MachineOrder, Orders};
use switch::Switch;
use valve::{Line, Valve};

/// A pin or a timer did not do as told.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use = "a failed pin is a fault"]
pub struct PinFailed;

/// Let every valve carry out its lock's order; to be called every tick. Returns the locks whose
/// valve failed, and those that have an order and no valve.
pub fn carry_out(orders: &Orders, valves: &mut [&mut dyn Valve]) -> Bits {
    let mut failed = Bits::EMPTY;
    let mut valves = valves.iter_mut();
    for (lock, order) in (0u8..).zip(orders.locks) {
        let done = match valves.next() {
            Some(valve) => valve.order(order).is_ok(),
            None => order == crate::io::LockOrder::Open,
        };
        failed = failed.with(lock, !done);
    }
    failed
}

/// Every valve to what it does without supply, whatever the pins say: for a fault handler.
/// Returns the locks whose valve failed.
pub fn release_all(valves: &mut [&mut dyn Valve]) -> Bits {
    let each = (0u8..8).zip(valves.iter_mut());
    each.fold(Bits::EMPTY, |failed, (lock, valve)| failed.with(lock, valve.release().is_err()))
}

/// Hold the enable line of each machine while its order is anything but
/// [`Off`](MachineOrder::Off). Returns the machines whose line failed.
pub fn enable_machines(orders: &Orders, lines: &mut [&mut dyn Line]) -> Bits {
    let mut failed = Bits::EMPTY;
    for ((machine, order), line) in (0u8..).zip(orders.machines).zip(lines.iter_mut()) {
        failed = failed.with(machine, line.set(order != MachineOrder::Off).is_err());
    }
    failed
}

/// Read every switch into the reports; to be called every tick. Returns the locks whose switch
/// failed. A lock without a switch is not in the list's range, or is `None`.
pub fn read_switches(switches: &mut [Option<&mut dyn Switch>], inputs: &mut Inputs) -> Bits {
    let mut failed = Bits::EMPTY;
    for ((lock, report), switch) in (0u8..).zip(&mut inputs.reports).zip(switches.iter_mut()) {
        let Some(switch) = switch else { continue };
        match switch.report() {
            Ok(said) => *report = said,
            Err(PinFailed) => failed = failed.with(lock, true),
        }
    }
    failed
}
