//! Outputs: lines of one port. QEMU has no GPIO for this machine, so the ten free bits of the
//! board's MISC register stand in: they can be written and read back.

use core::convert::Infallible;
use core::ptr::{read_volatile, write_volatile};

use embedded_hal::digital::{ErrorType, OutputPin};

const PORT: *mut u32 = 0x4002_804C as *mut u32;

fn port() -> u32 {
    // SAFETY: a register that can be read at any time.
    unsafe { read_volatile(PORT) & 0x3ff }
}

/// Every line low; what the port says then (0 when all is well, at most 15).
pub fn all_off() -> u32 {
    // SAFETY: a register that can be written at any time.
    unsafe { write_volatile(PORT, 0) };
    port().min(15)
}

/// Lines that are high.
pub fn high() -> u32 {
    port()
}

/// One line of the port. Only one context may write lines: the port is read and written back.
pub struct Line(pub u32);

impl ErrorType for Line {
    type Error = Infallible;
}

impl OutputPin for Line {
    fn set_low(&mut self) -> Result<(), Infallible> {
        // SAFETY: as above; one context.
        unsafe { write_volatile(PORT, port() & !(1 << self.0)) };
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        // SAFETY: as above; one context.
        unsafe { write_volatile(PORT, port() | 1 << self.0) };
        Ok(())
    }
}
