//! What may outlive a reset: which locks were being pressed, for how long the others have been let
//! go, and how hot plates were.
//!
//! Kept every tick in memory that a warm reset does not clear, it lets the next supervisor keep
//! pressing what the last one pressed, instead of opening it under load. Nothing depends on it:
//! without a trace, or with one whose checksum or table does not match, no lock is kept, and every
//! lock counts as possibly closed until it is shown open. A lock that was not granted by the last
//! supervisor is never kept, whatever its switch says: a switch that lies, no slip across the
//! lock and a closing that the reset cut short could otherwise together press a forbidden lock set.

use crate::bits::{Bits, MAX_LOCKS};
use crate::hash::Crc32c;
use crate::heat::stored;
use crate::interlock::Watch;

/// Length of a stored trace.
pub const TRACE_BYTES: usize = 42;
const CHECKED_BYTES: usize = TRACE_BYTES - 4;

/// What may outlive a reset; the interlock's memory, the plates' heat and nothing else.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Trace {
    pub(crate) watch: Watch,
    /// See [`crate::heat::Heat::kept`].
    pub(crate) rises: [u16; MAX_LOCKS],
}

impl Trace {
    /// Of a supervisor that pressed these locks until now, with cold plates: where a run begins with
    /// locks closed.
    pub fn pressing(locks: Bits) -> Trace {
        let watch = Watch::of_kept(locks, Bits::EMPTY, [0; MAX_LOCKS]);
        Trace { watch, rises: [0; MAX_LOCKS] }
    }

    /// The same with plates that are so much hotter than the oil, K.
    #[must_use]
    pub fn with_rises(self, rises_k: [f32; MAX_LOCKS]) -> Trace {
        Trace { rises: rises_k.map(stored), ..self }
    }

    /// As bytes, little end first: locks granted, locks seen to move, ticks since each lock was
    /// last pressed, rise of each lock's plates in K (the upper half of an `f32`, rounded up), hash of the
    /// table, CRC-32C of all that.
    pub fn to_bytes(&self, table_hash: u32) -> [u8; TRACE_BYTES] {
        let mut bytes = [0; TRACE_BYTES];
        let (granted, moving, ticks) = self.watch.kept();
        let numbers = ticks.into_iter().chain(self.rises).flat_map(u16::to_le_bytes);
        let content =
            [granted.0, moving.0].into_iter().chain(numbers).chain(table_hash.to_le_bytes());
        let mut crc = Crc32c::default();
        for (slot, byte) in bytes.iter_mut().zip(content) {
            *slot = byte;
            crc.bytes(&[byte]);
        }
        for (slot, byte) in bytes.iter_mut().skip(CHECKED_BYTES).zip(crc.finish().to_le_bytes()) {
            *slot = byte;
        }
        bytes
    }

    /// From bytes; `None` when the checksum is wrong or the trace is of another table.
    pub fn from_bytes(bytes: &[u8; TRACE_BYTES], table_hash: u32) -> Option<Trace> {
        let (mut ticks, mut rises) = ([0; MAX_LOCKS], [0; MAX_LOCKS]);
        let pairs = bytes.get(2..)?.chunks_exact(2);
        for (slot, pair) in ticks.iter_mut().chain(&mut rises).zip(pairs) {
            *slot = u16::from_le_bytes(pair.try_into().ok()?);
        }
        let (granted, moving) = (Bits(*bytes.first()?), Bits(*bytes.get(1)?));
        let trace = Trace { watch: Watch::of_kept(granted, moving, ticks), rises };
        (trace.to_bytes(table_hash) == *bytes).then_some(trace)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{Owned, inputs};
    use crate::io::{Inputs, LockReport::Open};
    use crate::status::Refusal;
    use crate::supervisor::Supervisor;

    fn full() -> Trace {
        let numbers = |from: u16| core::array::from_fn(|i| 0x0102 * i as u16 + from);
        Trace { watch: Watch::of_kept(Bits(5), Bits(2), numbers(0)), rises: numbers(0x4000) }
    }

    #[test]
    fn what_is_stored_comes_back() {
        let trace = full();
        let bytes = trace.to_bytes(0xDEAD_BEEF);
        assert_eq!(Trace::from_bytes(&bytes, 0xDEAD_BEEF), Some(trace));
        assert_eq!(Trace::from_bytes(&bytes, 0xDEAD_BEEE), None, "of another table");
        assert_eq!(bytes[..4], [5, 2, 0, 0]);
        assert_eq!(bytes[4..6], [0x02, 0x01], "little end first");
        assert_eq!(bytes[18..22], [0x00, 0x40, 0x02, 0x41], "heat behind the ticks");
    }

    /// Any bit that flips while nobody looks is noticed.
    #[test]
    fn a_flipped_bit_is_noticed() {
        let bytes = full().to_bytes(7);
        for bit in 0..TRACE_BYTES * 8 {
            let mut bad = bytes;
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Trace::from_bytes(&bad, 7), None, "bit {bit}");
        }
        assert_eq!(Trace::from_bytes(&[0; TRACE_BYTES], 7), None, "cleared memory is no trace");
        assert_eq!(Trace::from_bytes(&[0xff; TRACE_BYTES], 7), None);
    }

    /// Plates that are too hot to be closed still are after a warm reset, and no longer after a cold one.
    #[test]
    fn the_heat_of_plates_outlives_a_warm_reset() {
        let owned = Owned::new();
        let table = owned.table();
        let most = table.locks[0].rise_max_k;
        let begun = Trace::default().with_rises([1.6 * most; MAX_LOCKS]);
        let before = Supervisor::after_reset(begun);
        let bytes = before.trace().to_bytes(table.hash);
        let trace = Trace::from_bytes(&bytes, table.hash).expect("it was kept");
        let begins = [(Supervisor::after_reset(trace), true), (Supervisor::new(), false)];
        for (mut supervisor, hot) in begins {
            let asks = Inputs { request: Some(0), ..inputs([0.0, 0.0], 0.0, [Open, Open]) };
            let mut ticks = (0..60).map(|_| supervisor.tick(&table, &asks).status.refusal);
            assert_eq!(ticks.any(|refusal| refusal == Some(Refusal::Hot { lock: 0 })), hot);
            assert_eq!(supervisor.rise_k(&table, 0) > most, hot);
        }
    }
}
