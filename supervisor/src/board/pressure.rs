//! Proportional valves on a PWM output: fill pulse, hold at the kiss point, ramp, press.

use embedded_hal::pwm::SetDutyCycle;

use super::PinFailed;
use super::valve::{AtRest, Valve};
use crate::io::LockOrder;
use crate::table::Lock;

/// Full duty, in the unit of a [`Course`].
pub const FULL: u16 = 1000;

/// How a proportional valve is driven; constants of one lock, in thousandths of the duty at which
/// the lock presses hardest and in ticks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Course {
    /// Duty of the fill pulse.
    pub pulse: u16,
    /// Its length, ticks.
    pub pulse_ticks: u16,
    /// Duty that holds the lock at its kiss point, without torque.
    pub kiss: u16,
    /// Ticks from the kiss point to pressed.
    pub ramp_ticks: u16,
    /// Duty that holds the lock pressed.
    pub pressed: u16,
}

impl Course {
    /// Whether the numbers make sense, and the lock is pressed before the table looks for it:
    /// pulse and ramp together take no longer than the lock's closing.
    pub fn fits(&self, lock: &Lock) -> bool {
        let duties = [self.pulse, self.kiss, self.pressed];
        let ticks = self.pulse_ticks.saturating_add(self.ramp_ticks);
        duties.iter().all(|&d| d <= FULL) && self.kiss <= self.pressed && ticks <= lock.close_ticks
    }

    /// Duty so many ticks after the fill began, and after the ramp began.
    fn duty(&self, filled: u16, ramped: Option<u16>) -> u16 {
        if filled < self.pulse_ticks {
            return self.pulse.min(FULL);
        }
        let Some(ramped) = ramped else { return self.kiss.min(FULL) };
        let way = u32::from(self.pressed.saturating_sub(self.kiss));
        let gone = way.saturating_mul(u32::from(ramped.min(self.ramp_ticks)));
        let gone = gone.checked_div(u32::from(self.ramp_ticks)).unwrap_or(way);
        let duty = u32::from(self.kiss).saturating_add(gone).min(u32::from(FULL));
        u16::try_from(duty).unwrap_or(FULL)
    }
}

/// A proportional valve. [`LockOrder::Prefill`] gives the pulse and then holds the kiss point;
/// [`LockOrder::Close`] gives the pulse if it was not given, and then the ramp;
/// [`LockOrder::Open`] lets go at once and forgets both.
#[derive(Clone, Debug)]
pub struct Proportional<P> {
    pwm: P,
    course: Course,
    at_rest: AtRest,
    filled: u16,
    ramped: u16,
}

impl<P: SetDutyCycle> Proportional<P> {
    /// A valve; its current is cut at once.
    ///
    /// # Errors
    /// The output failed.
    pub fn new(pwm: P, course: Course, at_rest: AtRest) -> Result<Proportional<P>, PinFailed> {
        let mut valve = Proportional { pwm, course, at_rest, filled: 0, ramped: 0 };
        valve.release()?;
        Ok(valve)
    }

    /// The output again.
    pub fn free(self) -> P {
        self.pwm
    }

    /// A duty from 0 to [`FULL`] as the output counts it.
    fn set(&mut self, duty: u16) -> Result<(), PinFailed> {
        let max = u32::from(self.pwm.max_duty_cycle());
        let share = max.saturating_mul(u32::from(duty.min(FULL)));
        let counts = share.checked_div(u32::from(FULL)).unwrap_or(0).min(max);
        let counts = u16::try_from(counts).map_err(|_| PinFailed)?;
        self.pwm.set_duty_cycle(counts).map_err(|_| PinFailed)
    }
}

impl<P: SetDutyCycle> Valve for Proportional<P> {
    fn order(&mut self, order: LockOrder) -> Result<(), PinFailed> {
        let course = self.course;
        let press = match order {
            LockOrder::Open => {
                (self.filled, self.ramped) = (0, 0);
                0
            }
            LockOrder::Prefill => {
                self.ramped = 0;
                let duty = course.duty(self.filled, None);
                self.filled = self.filled.saturating_add(1);
                duty
            }
            LockOrder::Close => {
                // The ramp begins when the pulse is over.
                if self.filled >= course.pulse_ticks {
                    self.ramped = self.ramped.saturating_add(1);
                }
                let duty = course.duty(self.filled, Some(self.ramped));
                self.filled = self.filled.saturating_add(1);
                duty
            }
        };
        match self.at_rest {
            AtRest::Open => self.set(press),
            AtRest::Closed => self.set(FULL.saturating_sub(press)),
        }
    }

    fn release(&mut self) -> Result<(), PinFailed> {
        (self.filled, self.ramped) = (0, 0);
        self.set(0)
    }
}
