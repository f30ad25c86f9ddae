//! A set of words in one array, sorted as far as gaps allow: full to nine tenths, no pointers,
//! and a search that misses ends as soon as a larger word is met.
//!
//! A word is a state's codes, mixed by a bijection so that they spread, above the level on which
//! the state was first reached. A word is never zero, for levels are kept from one on.

use std::fmt::Debug;
use std::ops::{BitAnd, BitOr, BitXor, Shl, Shr};

/// What a state is packed into.
pub trait Word:
    Copy
    + Ord
    + Default
    + Debug
    + Send
    + Sync
    + From<u32>
    + Shl<u32, Output = Self>
    + Shr<u32, Output = Self>
    + BitOr<Output = Self>
    + BitAnd<Output = Self>
    + BitXor<Output = Self>
    + 'static
{
    /// Bits of the codes.
    const KEY_BITS: u32;
    /// Bits of the level.
    const LEVEL_BITS: u32;
    /// Product with an odd constant; only the key's bits count.
    fn spread(self) -> Self;
    /// Product with its inverse.
    fn gather(self) -> Self;
    /// The lowest 32 bits.
    fn low(self) -> u32;
}

/// Odd constants and their inverses modulo a power of two.
const ODD: u128 = 0x9E37_79B9_7F4A_7C15_F39C_C060_5CED_C835;

const fn inverse(odd: u128) -> u128 {
    // Each round doubles the number of right bits, and an odd number is its own inverse in three.
    let mut x = odd;
    let mut round = 0;
    while round < 6 {
        x = x.wrapping_mul(2u128.wrapping_sub(odd.wrapping_mul(x)));
        round += 1;
    }
    x
}

const INVERSE: u128 = inverse(ODD);

impl Word for u64 {
    const KEY_BITS: u32 = 56;
    const LEVEL_BITS: u32 = 8;

    fn spread(self) -> u64 {
        self.wrapping_mul(ODD as u64)
    }

    fn gather(self) -> u64 {
        self.wrapping_mul(INVERSE as u64)
    }

    fn low(self) -> u32 {
        self as u32
    }
}

impl Word for u128 {
    const KEY_BITS: u32 = 112;
    const LEVEL_BITS: u32 = 16;

    fn spread(self) -> u128 {
        self.wrapping_mul(ODD)
    }

    fn gather(self) -> u128 {
        self.wrapping_mul(INVERSE)
    }

    fn low(self) -> u32 {
        self as u32
    }
}

/// All the bits of a key.
fn mask<W: Word>() -> W {
    let half = W::KEY_BITS / 2;
    let ones = (0..half).fold(W::default(), |ones, bit| ones | W::from(1) << bit);
    ones << half | ones
}

/// A key whose bits are spread over all of it.
pub fn mix<W: Word>(key: W) -> W {
    let half = W::KEY_BITS / 2;
    let x = key ^ (key >> half);
    let x = x.spread() & mask();
    x ^ (x >> half)
}

/// The key that `mix` made this of.
pub fn unmix<W: Word>(mixed: W) -> W {
    let half = W::KEY_BITS / 2;
    let x = mixed ^ (mixed >> half);
    let x = x.gather() & mask();
    x ^ (x >> half)
}

/// A word: mixed key and level.
pub fn word<W: Word>(mixed: W, level: u32) -> W {
    mixed << W::LEVEL_BITS | W::from(level + 1)
}

/// The mixed key of a word.
pub fn key_of<W: Word>(word: W) -> W {
    word >> W::LEVEL_BITS
}

/// The level of a word.
pub fn level_of<W: Word>(word: W) -> u32 {
    (word.low() & ((1 << W::LEVEL_BITS) - 1)) - 1
}

const SHARD_BITS: u32 = 6;
/// How many parts a set has, so that threads can fill it together.
pub const SHARDS: usize = 1 << SHARD_BITS;

/// The part that a mixed key belongs to.
pub fn shard_of<W: Word>(mixed: W) -> usize {
    (mixed >> (W::KEY_BITS - SHARD_BITS)).low() as usize
}

/// Room behind the last place that a word can belong to.
const TAIL: usize = 64;

/// One part of a set.
#[derive(Clone, Debug)]
pub struct Shard<W> {
    slots: Vec<W>,
    places: usize,
    len: usize,
}

impl<W: Word> Default for Shard<W> {
    fn default() -> Shard<W> {
        Shard::with_places(64)
    }
}

impl<W: Word> Shard<W> {
    fn with_places(places: usize) -> Shard<W> {
        Shard { slots: vec![W::default(); places + TAIL], places, len: 0 }
    }

    /// Of words whose keys rise; `None` when they do not. Put in one by one, such words would all crowd at the front
    /// of a part that is still small, and each would walk past all the others.
    pub fn of_rising(words: Vec<W>) -> Option<Shard<W>> {
        if !words.is_sorted_by(|a, b| key_of(*a) < key_of(*b)) {
            return None;
        }
        let mut shard = Shard { len: words.len(), places: words.len(), slots: words };
        shard.grow();
        Some(shard)
    }

    /// How many words there are.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Memory that it takes, bytes.
    pub fn bytes(&self) -> usize {
        self.slots.capacity() * size_of::<W>()
    }

    /// All slots; empty ones are zero.
    pub fn slots(&self) -> &[W] {
        &self.slots
    }

    /// Where a mixed key belongs: rising with the key.
    fn place(&self, mixed: W) -> usize {
        let below = (mixed >> (W::KEY_BITS - SHARD_BITS - 32)).low();
        ((u64::from(below) * self.places as u64) >> 32) as usize
    }

    /// What is in the slot where a mixed key belongs. To look at many of them before any is
    /// searched for lets the waits for memory overlap.
    pub fn peek(&self, mixed: W) -> W {
        self.slots.get(self.place(mixed)).copied().unwrap_or_default()
    }

    /// Slot of a mixed key, if it is there.
    pub fn find(&self, mixed: W) -> Option<usize> {
        let mut at = self.place(mixed);
        while at < self.slots.len() {
            let key = key_of(self.slots[at]);
            if self.slots[at] == W::default() || key > mixed {
                return None;
            }
            if key == mixed {
                return Some(at);
            }
            at += 1;
        }
        None
    }

    /// Take a word in; false when its key was there already, on whatever level.
    pub fn insert(&mut self, word: W) -> bool {
        // Nine tenths: beyond, runs get long; a tenth more each time, so that little is empty.
        if self.len * 10 >= self.places * 9 {
            self.grow();
        }
        let mixed = key_of(word);
        let mut at = self.place(mixed);
        loop {
            if at >= self.slots.len() {
                self.grow();
                return self.insert(word);
            }
            let there = self.slots[at];
            if there == W::default() {
                self.slots[at] = word;
                self.len += 1;
                return true;
            }
            let key = key_of(there);
            if key == mixed {
                return false;
            }
            if key > mixed {
                return self.squeeze(at, word);
            }
            at += 1;
        }
    }

    /// Put a word in at a slot and move what is there, and behind it, on by one.
    fn squeeze(&mut self, at: usize, word: W) -> bool {
        let mut end = at;
        while end < self.slots.len() && self.slots[end] != W::default() {
            end += 1;
        }
        if end == self.slots.len() {
            self.grow();
            return self.insert(word);
        }
        self.slots.copy_within(at..end, at + 1);
        self.slots[at] = word;
        self.len += 1;
        true
    }

    fn grow(&mut self) {
        let mut places = self.places + (self.places / 8).max(64);
        loop {
            match self.copy_to(places) {
                Some(larger) => break *self = larger,
                // A run that does not fit behind the last place.
                None => places += places / 8,
            }
        }
    }

    fn copy_to(&self, places: usize) -> Option<Shard<W>> {
        let mut larger = Shard::with_places(places);
        let mut free = 0;
        for &word in self.slots.iter().filter(|word| **word != W::default()) {
            let at = larger.place(key_of(word)).max(free);
            *larger.slots.get_mut(at)? = word;
            free = at + 1;
        }
        larger.len = self.len;
        Some(larger)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn agrees<W: Word>(keys: impl Iterator<Item = W>) {
        let mut shard = Shard::<W>::default();
        let mut all = BTreeSet::new();
        for (n, key) in keys.enumerate() {
            let mixed = mix(key);
            assert_eq!(unmix(mixed), key);
            // All in the first part.
            let (mixed, key) = (mixed >> SHARD_BITS, unmix(mixed >> SHARD_BITS));
            assert_eq!(shard_of(mixed), 0);
            let first = word(mixed, n as u32 % 200);
            assert_eq!(shard.find(mixed).is_some(), all.contains(&key));
            assert_eq!(shard.insert(first), all.insert(key), "{key:?}");
            assert_eq!(shard.len(), all.len());
        }
        let kept: BTreeSet<W> = shard
            .slots()
            .iter()
            .filter(|w| **w != W::default())
            .map(|&w| unmix(key_of(w)))
            .collect();
        assert_eq!(kept, all);
        assert!(shard.slots().iter().filter(|w| **w != W::default()).is_sorted());
    }

    /// Against the standard library's set, with keys that crowd and keys that do not.
    #[test]
    fn like_a_set() {
        let mut x = 7u64;
        let mut next = move || {
            x = x.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            x >> 8
        };
        agrees((0..20_000).map(|_| next() % 9_000));
        agrees((0..20_000).map(|n: u64| n.wrapping_mul(0x1_0000_0001) & mask::<u64>()));
        agrees((0..20_000).map(|_| u128::from(next()) << 50 | u128::from(next())));
        // All in one place: the longest run there can be.
        agrees((0..300u64).map(|place| unmix(place << SHARD_BITS)));
    }

    /// A part that is read from a file has the words of the one that was written, and goes on as it would.
    #[test]
    fn rising_words_are_taken_in_at_once() {
        let keys = (0..50_000u64).map(|n| mix(n * 0x1_0001) >> SHARD_BITS);
        let mut one_by_one = Shard::<u64>::default();
        keys.clone().for_each(|key| assert!(one_by_one.insert(word(key, 3))));
        let words: Vec<u64> = one_by_one.slots().iter().copied().filter(|w| *w != 0).collect();
        let mut shard = Shard::of_rising(words.clone()).expect("they rise");
        assert_eq!(shard.len(), 50_000);
        for key in keys.clone() {
            assert!(shard.find(key).is_some_and(|at| shard.slots()[at] == word(key, 3)));
            assert!(!shard.insert(word(key, 4)));
        }
        let others = (0..20_000u64).map(|n| mix(n * 0x1_0001 + 1) >> SHARD_BITS);
        for key in others {
            assert_eq!(shard.insert(word(key, 4)), one_by_one.insert(word(key, 4)));
        }
        let kept = |shard: &Shard<u64>| -> Vec<u64> {
            shard.slots().iter().copied().filter(|w| *w != 0).collect()
        };
        assert_eq!(kept(&shard), kept(&one_by_one));
        let twice = [words[0], words[1], words[1]];
        assert!(Shard::of_rising(twice.to_vec()).is_none());
        assert!(Shard::of_rising(vec![words[1], words[0]]).is_none());
        assert_eq!(Shard::<u64>::of_rising(Vec::new()).map(|shard| shard.len()), Some(0));
    }

    #[test]
    fn levels_are_kept() {
        for level in [0, 1, 17, 254] {
            let w = word(mix(123u64), level);
            assert_eq!((unmix(key_of(w)), level_of(w)), (123, level));
        }
        assert_eq!(level_of(word(mix(5u128), 60_000)), 60_000);
    }
}
