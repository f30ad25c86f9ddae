//! All states that were reached, packed into words, each with the level on which it was reached.

use supervisor::bits::MAX_LOCKS;

use super::codes::{Codes, CodesView, Parts, node_of};
use super::expand::{StateCodes, codes_of};
use super::model::Node;
use super::table::{SHARDS, Shard, Word, key_of, level_of, mix, shard_of, unmix, word};

/// How many bits of a word each code gets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// How many locks there are.
    pub locks: usize,
    /// Bits of each lock's code.
    pub lock_bits: u32,
    /// Bits of the rest's code.
    pub rest_bits: u32,
}

impl Layout {
    /// For this many locks in words of this kind.
    pub fn new<W: Word>(locks: usize) -> Layout {
        // The rest of a kernel's memory has more different values than one lock's part of it.
        let locks = locks.max(1);
        let lock_bits = (W::KEY_BITS * 5 / 7 / locks as u32).min(16);
        Layout { locks, lock_bits, rest_bits: (W::KEY_BITS - lock_bits * locks as u32).min(32) }
    }

    /// A state's mixed key; `None` when a code needs more bits than it has.
    pub fn pack<W: Word>(&self, state: &StateCodes) -> Option<W> {
        let fits = |code: u32, bits: u32| bits >= 32 || code >> bits == 0;
        if !fits(state.rest, self.rest_bits) {
            return None;
        }
        let mut key = W::from(state.rest);
        for &code in &state.locks[..self.locks] {
            if !fits(code, self.lock_bits) {
                return None;
            }
            key = key << self.lock_bits | W::from(code);
        }
        Some(mix(key))
    }

    /// The codes in a mixed key.
    pub fn unpack<W: Word>(&self, mixed: W) -> StateCodes {
        let mut key = unmix(mixed);
        let mut state = StateCodes { locks: [0; MAX_LOCKS], rest: 0 };
        for slot in state.locks[..self.locks].iter_mut().rev() {
            *slot = key.low() & ((1 << self.lock_bits) - 1);
            key = key >> self.lock_bits;
        }
        state.rest = key.low();
        state
    }
}

/// The states, in words of one kind.
pub struct States<W> {
    /// How a word is laid out.
    pub layout: Layout,
    /// What the codes in it mean.
    pub codes: Codes,
    /// The words, by part.
    pub shards: Vec<Shard<W>>,
}

impl<W: Word> States<W> {
    /// None.
    pub fn new(locks: usize) -> States<W> {
        let shards = vec![Shard::default(); SHARDS];
        States { layout: Layout::new::<W>(locks), codes: Codes::default(), shards }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.shards.iter().map(Shard::len).sum()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Memory that they take, bytes.
    pub fn bytes(&self) -> usize {
        self.shards.iter().map(Shard::bytes).sum()
    }

    /// The state in a word.
    pub fn node(&self, word: W, codes: &mut CodesView) -> Node {
        node_of(&self.parts(word, codes), self.layout.locks)
    }

    /// The parts of the state in a word.
    pub fn parts(&self, word: W, codes: &mut CodesView) -> Parts {
        let state = self.layout.unpack(key_of(word));
        let mut parts = Parts { rest: codes.rest_part(state.rest), ..Parts::default() };
        for lock in 0..self.layout.locks {
            parts.locks[lock] = codes.lock_part(state.locks[lock]);
        }
        parts
    }

    /// Where a canonical state is, if it was reached: part and slot.
    pub fn find(&self, node: &Node, codes: &mut CodesView) -> Option<(usize, usize)> {
        let mixed = self.layout.pack::<W>(&codes_of(node, self.layout.locks, codes))?;
        let shard = shard_of(mixed);
        Some((shard, self.shards[shard].find(mixed)?))
    }

    /// Put the first state in. `None` when it does not fit.
    pub fn begin(&mut self, node: &Node) -> Option<W> {
        let state = codes_of(node, self.layout.locks, &mut self.codes.view());
        let mixed = self.layout.pack::<W>(&state)?;
        let first = word(mixed, 0);
        self.shards[shard_of(mixed)].insert(first);
        Some(first)
    }

    /// Every word, part after part, with its place.
    pub fn words(&self) -> impl Iterator<Item = (usize, usize, W)> {
        self.shards.iter().enumerate().flat_map(|(shard, words)| {
            let there = words.slots().iter().enumerate().filter(|(_, w)| **w != W::default());
            there.map(move |(slot, &word)| (shard, slot, word))
        })
    }

    /// The level of the deepest state.
    pub fn depth(&self) -> u32 {
        self.words().map(|(_, _, word)| level_of(word)).max().unwrap_or(0)
    }
}

/// States in words as small as they fit.
pub enum Store {
    /// In eight bytes.
    Small(States<u64>),
    /// In sixteen.
    Large(States<u128>),
}

/// The same for either kind of word.
#[macro_export]
macro_rules! with_states {
    ($store:expr, $states:ident => $body:expr) => {
        match $store {
            $crate::explore::store::Store::Small($states) => $body,
            $crate::explore::store::Store::Large($states) => $body,
        }
    };
}

impl Store {
    /// How many states there are.
    pub fn len(&self) -> usize {
        with_states!(self, states => states.len())
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Memory that they take, bytes.
    pub fn bytes(&self) -> usize {
        with_states!(self, states => states.bytes())
    }

    /// Every state.
    pub fn for_each(&self, mut take: impl FnMut(&Node)) {
        with_states!(self, states => {
            let mut codes = states.codes.view();
            for (_, _, word) in states.words() {
                take(&states.node(word, &mut codes));
            }
        });
    }

    /// Whether a canonical state was reached.
    pub fn has(&self, node: &Node) -> bool {
        with_states!(self, states => states.find(node, &mut states.codes.view()).is_some())
    }

    /// How many different values of one lock's part, and of the rest, there are.
    pub fn code_counts(&self) -> (usize, usize) {
        with_states!(self, states => states.codes.counts())
    }

    /// Bytes of a word.
    pub fn word_bytes(&self) -> usize {
        match self {
            Store::Small(_) => size_of::<u64>(),
            Store::Large(_) => size_of::<u128>(),
        }
    }
}
