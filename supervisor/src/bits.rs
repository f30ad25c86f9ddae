//! Small bit sets over locks, sensors and machines.

use core::num::NonZeroU8;

/// Most locks a table may have.
pub const MAX_LOCKS: usize = 8;
/// Most speed sensors a table may have.
pub const MAX_SENSORS: usize = 8;
/// Most machines (electric and engine) a table may have.
pub const MAX_MACHINES: usize = 4;
/// Most named arrangements a table may have.
pub const MAX_ARRANGEMENTS: usize = 16;

/// A set of up to eight small indices, one bit each: lock sets, sensor sets.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bits(pub u8);

impl Bits {
    /// The empty set.
    pub const EMPTY: Bits = Bits(0);
    /// Every member.
    pub const ALL: Bits = Bits(u8::MAX);

    /// The set that holds just `index`; empty when `index` is out of range.
    pub const fn one(index: u8) -> Bits {
        if index < 8 { Bits(1 << index) } else { Bits(0) }
    }

    /// The set `{0, 1, .., count - 1}`.
    pub const fn first(count: u8) -> Bits {
        if count < 8 { Bits((1u8 << count).wrapping_sub(1)) } else { Bits(0xff) }
    }

    /// The members of `{0, 1, .., count - 1}` for which `holds`.
    pub fn those(count: u8, mut holds: impl FnMut(u8) -> bool) -> Bits {
        let mut found = 0;
        for index in 0..count.min(8) {
            found |= u8::from(holds(index)) << index;
        }
        Bits(found)
    }

    /// Whether `index` is a member.
    pub const fn has(self, index: u8) -> bool {
        index < 8 && self.0 >> index & 1 == 1
    }

    /// Members of either.
    #[must_use]
    pub const fn or(self, other: Bits) -> Bits {
        Bits(self.0 | other.0)
    }

    /// Members of both.
    #[must_use]
    pub const fn and(self, other: Bits) -> Bits {
        Bits(self.0 & other.0)
    }

    /// Members of `self` that are not in `other`.
    #[must_use]
    pub const fn without(self, other: Bits) -> Bits {
        Bits(self.0 & !other.0)
    }

    /// `self` with `index` put in or taken out.
    #[must_use]
    pub const fn with(self, index: u8, member: bool) -> Bits {
        if member { self.or(Bits::one(index)) } else { self.without(Bits::one(index)) }
    }

    /// Whether every member of `other` is in `self`.
    pub const fn contains(self, other: Bits) -> bool {
        other.0 & !self.0 == 0
    }

    /// Whether there is no member.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// How many members there are.
    pub const fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// The lowest member.
    pub const fn lowest(self) -> Option<u8> {
        match NonZeroU8::new(self.0) {
            Some(members) => Some(members.trailing_zeros() as u8),
            None => None,
        }
    }

    /// The members in rising order (at most eight, so loops over it are bounded).
    pub const fn iter(self) -> Members {
        Members(self)
    }

    /// The members for which `keep` holds.
    #[must_use]
    pub fn filter(self, mut keep: impl FnMut(u8) -> bool) -> Bits {
        let mut kept = Bits::EMPTY;
        for index in self.iter() {
            kept = kept.with(index, keep(index));
        }
        kept
    }
}

/// The members of a set in rising order; each one that is given leaves it.
#[derive(Clone, Debug)]
pub struct Members(Bits);

impl Iterator for Members {
    type Item = u8;

    fn next(&mut self) -> Option<u8> {
        let index = self.0.lowest()?;
        self.0 = Bits(self.0.0 & self.0.0.wrapping_sub(1));
        Some(index)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::STRIDE;
    use std::collections::BTreeSet;
    use std::vec::Vec;

    /// Every operation on every set, and pairs of sets, against the standard library's sets.
    #[test]
    fn like_sets() {
        let set_of = |bits: u8| (0..8u8).filter(|i| bits >> i & 1 == 1).collect::<BTreeSet<u8>>();
        for a in (0..=255u8).step_by(STRIDE) {
            let (x, sa) = (Bits(a), set_of(a));
            assert_eq!(x.iter().collect::<Vec<u8>>(), sa.iter().copied().collect::<Vec<u8>>());
            assert_eq!(x.lowest(), sa.first().copied());
            assert_eq!((x.count() as usize, x.is_empty()), (sa.len(), sa.is_empty()));
            for i in (0..=255u8).step_by(STRIDE.min(5)) {
                assert_eq!(x.has(i), sa.contains(&i));
                let put = x.with(i, true);
                assert_eq!(put.has(i), i < 8);
                assert!(!x.with(i, false).has(i));
            }
            assert_eq!(
                set_of(x.filter(|i| i % 3 == 1).0),
                sa.iter().filter(|&i| i % 3 == 1).copied().collect()
            );
            for b in (0..=255u8).step_by(STRIDE) {
                let (y, sb) = (Bits(b), set_of(b));
                assert_eq!(set_of(x.or(y).0), &sa | &sb);
                assert_eq!(set_of(x.and(y).0), &sa & &sb);
                assert_eq!(set_of(x.without(y).0), &sa - &sb);
                assert_eq!(x.contains(y), sa.is_superset(&sb));
            }
        }
        for n in (0..=255u8).step_by(STRIDE.min(5)) {
            assert_eq!(set_of(Bits::first(n).0), (0..n.min(8)).collect());
            let odd = Bits::those(n, |i| i % 2 == 1);
            assert_eq!(set_of(odd.0), (0..n.min(8)).filter(|i| i % 2 == 1).collect());
        }
    }
}
