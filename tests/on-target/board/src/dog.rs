//! The watchdog: ARM's CMSDK watchdog. It resets the board when it is not fed twice in a row.

use core::ptr::write_volatile;

use supervisor::board::watchdog::Watchdog;

const LOAD: *mut u32 = 0x4000_8000 as *mut u32;
const CONTROL: *mut u32 = 0x4000_8008 as *mut u32;
const CLEAR: *mut u32 = 0x4000_800C as *mut u32;

/// Clock of the watchdog, Hz.
const HZ: u32 = 25_000_000;

/// The watchdog, running.
pub struct Dog(());

impl Dog {
    /// Start it: it bites after twice this time.
    pub fn start(milliseconds: u32) -> Dog {
        // SAFETY: registers of the watchdog.
        unsafe {
            write_volatile(LOAD, HZ / 1000 * milliseconds);
            write_volatile(CONTROL, 3);
        }
        Dog(())
    }
}

impl Watchdog for Dog {
    fn feed(&mut self) {
        // SAFETY: a register of the watchdog; the counter begins anew.
        unsafe { write_volatile(CLEAR, 1) };
    }
}
