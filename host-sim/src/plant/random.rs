//! The one seeded generator of the plant: SplitMix64, whose algorithm never changes.
//!
//! SplitMix64 is the published generator of Steele, Lea and Flood, "Fast splittable
//! pseudorandom number generators" (OOPSLA 2014); its first outputs are frozen in a test, so a
//! seed means the same run for ever.

/// State of the generator: plain data, copied with the plant's state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Random {
    state: u64,
}

impl Random {
    /// A generator for this seed; every seed is allowed.
    pub const fn new(seed: u64) -> Random {
        Random { state: seed }
    }

    /// The next 64 bits.
    pub fn next_u64(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in `[0, 1)`, 53 bits, exact.
    pub fn unit(&mut self) -> f64 {
        // Of 53 bits: as a signed number it is the same and takes one instruction.
        (self.next_u64() >> 11) as i64 as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Uniform in `[-1, 1)`.
    pub fn signed_unit(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }

    /// Uniform integer in `0..count`; 0 when `count` is 0. The bias is below `count / 2^64`.
    pub fn below(&mut self, count: u64) -> u64 {
        ((u128::from(self.next_u64()) * u128::from(count)) >> 64) as u64
    }

    /// The state, for digests.
    pub const fn raw(&self) -> u64 {
        self.state
    }
}
