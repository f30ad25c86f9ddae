//! What a board's tick gave, and the memory that it left: enough to compare board and host bit
//! for bit, and to say what differs.

use super::bytes::{Reader, Writer};
use super::receiver::Counters;
use crate::bits::MAX_LOCKS;
use crate::io::Orders;
use crate::kernel::{Kernel, KernelBytes};
use crate::status::Status;
use crate::table::Table;
use crate::{Output, Supervisor};

/// The supervisor's memory as far as it is compared: decision and interlock whole, and the heat
/// estimates. What measuring remembers (older samples) shows in these a tick later.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Memory {
    /// Decision and interlock, made canonical.
    pub kernel: KernelBytes,
    /// Estimated temperature rise of each lock, K, all bits of it.
    pub rise_k: [u32; MAX_LOCKS],
}

#[cfg(feature = "defmt")]
impl defmt::Format for Memory {
    fn format(&self, f: defmt::Formatter) {
        defmt::write!(f, "{=[u8]:02x} {}", self.kernel.rest, self.rise_k);
    }
}

impl Memory {
    /// Of this supervisor.
    pub fn of(supervisor: &Supervisor, table: &Table) -> Memory {
        Memory {
            kernel: supervisor.kernel().canonical(table).to_bytes(),
            rise_k: core::array::from_fn(|lock| supervisor.rise_k(table, lock as u8).to_bits()),
        }
    }

    /// Decision and interlock, to be looked at.
    pub fn kernel(&self) -> Kernel {
        Kernel::from_bytes(&self.kernel)
    }

    fn write(&self, out: &mut Writer) {
        self.kernel.locks.iter().for_each(|part| out.bytes(part));
        out.bytes(&self.kernel.rest);
        self.rise_k.iter().for_each(|bits| out.u32(*bits));
    }

    fn read(from: &mut Reader) -> Option<Memory> {
        let mut memory = Memory::default();
        for part in &mut memory.kernel.locks {
            *part = from.bytes()?;
        }
        memory.kernel.rest = from.bytes()?;
        for bits in &mut memory.rise_k {
            *bits = from.u32()?;
        }
        Some(memory)
    }
}

/// An answer.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Answer {
    /// What is ordered.
    pub orders: Orders,
    /// What the supervisor says of itself.
    pub status: Status,
    /// What it remembers.
    pub memory: Memory,
    /// Whether the board was in its safe state since its last answer.
    pub was_lost: bool,
    /// Frames that the board dropped as bad since it started, wrapping.
    pub bad_frames: u16,
    /// Calls that came again or too late and were dropped, wrapping.
    pub stale_frames: u16,
}

impl Answer {
    /// What this supervisor gave and remembers.
    pub fn of(output: &Output, supervisor: &Supervisor, table: &Table) -> Answer {
        Answer {
            orders: output.orders,
            status: output.status,
            memory: Memory::of(supervisor, table),
            ..Answer::default()
        }
    }

    /// The same with what the link counted.
    #[must_use]
    pub fn with_counts(mut self, was_lost: bool, counters: &Counters) -> Answer {
        self.was_lost = was_lost;
        self.bad_frames = counters.bad() as u16;
        self.stale_frames = counters.stale as u16;
        self
    }

    /// Orders and status together.
    pub fn output(&self) -> Output {
        Output { orders: self.orders, status: self.status }
    }

    pub(super) fn write(&self, out: &mut Writer) {
        self.orders.write(out);
        self.status.write(out);
        self.memory.write(out);
        out.u8(u8::from(self.was_lost));
        out.u16(self.bad_frames);
        out.u16(self.stale_frames);
    }

    pub(super) fn read(mut from: Reader) -> Option<Answer> {
        let answer = Answer {
            orders: Orders::read(&mut from)?,
            status: Status::read(&mut from)?,
            memory: Memory::read(&mut from)?,
            was_lost: match from.u8()? {
                0 => false,
                1 => true,
                _ => return None,
            },
            bad_frames: from.u16()?,
            stale_frames: from.u16()?,
        };
        from.end(answer)
    }
}
