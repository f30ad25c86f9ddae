//! Small bit sets over locks, sensors and machines.

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

    /// The set that holds just `index`; empty when `index` is out of range.
    pub const fn one(index: u8) -> Bits {
        if index < 8 { Bits(1 << index) } else { Bits(0) }
    }

    /// The set `{0, 1, .., count - 1}`.
    pub const fn first(count: u8) -> Bits {
        match 0xffu8.checked_shl(count as u32) {
            Some(above) => Bits(!above),
            None => Bits(0xff),
        }
    }

    /// Whether `index` is a member.
    pub const fn has(self, index: u8) -> bool {
        self.0 & Bits::one(index).0 != 0
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
        if self.0 == 0 { None } else { Some(self.0.trailing_zeros() as u8) }
    }

    /// The members in rising order (at most eight, so loops over it are bounded).
    pub fn iter(self) -> impl Iterator<Item = u8> {
        (0u8..8).filter(move |&i| self.has(i))
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
        }
    }
}
