//! Serial ports: ARM's CMSDK UART, polled or by interrupt.

use core::ptr::{read_volatile, write_volatile};

/// One port, by the address of its registers.
#[derive(Clone, Copy)]
pub struct Uart(usize);

/// The rig link.
pub const LINK: Uart = Uart(0x4000_4000);
/// Events.
pub const EVENTS: Uart = Uart(0x4000_5000);

const DATA: usize = 0;
const STATE: usize = 4;
const CTRL: usize = 8;
const INT: usize = 12;
const BAUDDIV: usize = 16;

const TX_FULL: u32 = 1;
const RX_FULL: u32 = 2;
const RX_INT: u32 = 2;

impl Uart {
    fn read(self, register: usize) -> u32 {
        // SAFETY: a register of this port.
        unsafe { read_volatile((self.0 + register) as *const u32) }
    }

    fn write(self, register: usize, value: u32) {
        // SAFETY: a register of this port.
        unsafe { write_volatile((self.0 + register) as *mut u32, value) }
    }

    /// Switch on; with interrupts for received bytes when asked.
    pub fn enable(self, interrupts: bool) {
        self.write(BAUDDIV, 16);
        self.write(CTRL, 3 | if interrupts { 8 } else { 0 });
        // What came before it was on would stall the line.
        let _ = self.read(DATA);
    }

    /// A byte, if one is there.
    pub fn take(self) -> Option<u8> {
        (self.read(STATE) & RX_FULL != 0).then(|| self.read(DATA) as u8)
    }

    /// The interrupt has been seen.
    pub fn clear(self) {
        self.write(INT, RX_INT);
    }

    /// Send; waits for room.
    pub fn send(self, bytes: &[u8]) {
        for byte in bytes {
            while self.read(STATE) & TX_FULL != 0 {}
            self.write(DATA, u32::from(*byte));
        }
    }
}
