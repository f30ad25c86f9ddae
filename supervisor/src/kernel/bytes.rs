//! A canonical memory as bytes, eight for each lock and the rest: an exhaustive search keeps
//! millions of them, and few different ones of each part.

use super::Kernel;
use crate::bits::{Bits, MAX_LOCKS};
use crate::decide::State;
use crate::interlock::Watch;

/// A canonical memory in parts: what concerns one lock each, and the rest.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Hash)]
pub struct KernelBytes {
    /// Belief and watch of each lock.
    pub locks: [[u8; 8]; MAX_LOCKS],
    /// Everything else.
    pub rest: [u8; 32],
}

impl Kernel {
    /// The parts of this memory. Of one that is not [canonical](Kernel::canonical), what that
    /// drops is left out.
    pub fn to_bytes(&self) -> KernelBytes {
        let (granted, moving, open_ticks) = self.watch.kept();
        let mut locks = [[0; 8]; MAX_LOCKS];
        for ((lock, slot), ticks) in (0u8..).zip(&mut locks).zip(open_ticks) {
            let [belief, since_low, since_high, count, doubt] = self.state.locks.to_bytes(lock);
            let watch = u8::from(granted.has(lock)) | u8::from(moving.has(lock)) << 1;
            let [low, high] = ticks.to_le_bytes();
            *slot = [belief, since_low, since_high, count, doubt, watch, low, high];
        }
        KernelBytes { locks, rest: self.state.rest_to_bytes(self.watch.is_asleep()) }
    }

    /// The memory that has these parts.
    pub fn from_bytes(bytes: &KernelBytes) -> Kernel {
        let (mut state, asleep) = State::rest_from_bytes(bytes.rest);
        let (mut granted, mut moving) = (Bits::EMPTY, Bits::EMPTY);
        let mut open_ticks = [0; MAX_LOCKS];
        for ((lock, part), ticks) in (0u8..).zip(&bytes.locks).zip(&mut open_ticks) {
            let [belief, since_low, since_high, count, doubt, watch, low, high] = *part;
            state.locks.take_bytes(lock, [belief, since_low, since_high, count, doubt]);
            granted = granted.with(lock, watch & 1 != 0);
            moving = moving.with(lock, watch & 2 != 0);
            *ticks = u16::from_le_bytes([low, high]);
        }
        let watch = Watch::of_kept(granted, moving, open_ticks);
        Kernel { state, watch: if asleep { watch } else { watch.awake() } }
    }
}
