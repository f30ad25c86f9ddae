//! The search: breadth first, level by level, so that the first way found to anything is a
//! shortest one. The same states on the same levels, whatever the number of threads.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::always::{Always, of_mask};
use super::codes::{Parts, parts_of};
use super::expand::{Expander, Next};
use super::model::{Model, Node};
use super::sometimes::Sometimes;
use super::store::{States, Store};
use super::table::{SHARDS, Shard, Word, shard_of, word};

/// Where the search stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Most states.
    pub states: usize,
    /// Most memory for states, bytes.
    pub bytes: usize,
    /// Threads.
    pub threads: usize,
}

/// How far a search is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reached {
    /// States reached.
    pub states: usize,
    /// Different pairs of what the world and what the kernel did, over all states.
    pub transitions: u64,
    /// Ticks of the real kernel that were run.
    pub kernel_ticks: u64,
    /// Number of levels.
    pub depth: u32,
    /// States of this and the next level that wait.
    pub waiting: usize,
    /// Memory, bytes.
    pub bytes: usize,
    /// How many properties are broken so far.
    pub broken: usize,
}

/// A step into a state in which something is broken. The first of all is the one on the lowest
/// level, and of those the first in the order of the states, whatever threads did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Breach {
    /// Level of the state before.
    pub level: u32,
    /// The state before.
    pub before: Parts,
    /// The state after, which was not explored.
    pub after: Parts,
}

/// By property, the first step that broke it.
pub type FirstBroken = BTreeMap<Always, Breach>;

/// What came of a search.
pub struct Found {
    /// Every state that was reached.
    pub store: Store,
    /// How far it came.
    pub reached: Reached,
    /// Whether every reachable state was reached.
    pub complete: bool,
    /// Whether it ended because no word is wide enough for what came next.
    pub too_wide: bool,
    /// By property, where it was broken first.
    pub broken: FirstBroken,
    /// What was seen.
    pub sometimes: Sometimes,
    /// Where to go on; empty when complete.
    pub(crate) waiting: Waiting,
}

/// States that wait, in words wide enough for either kind.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Waiting {
    /// Of the present level.
    pub(crate) now: Vec<u128>,
    /// Of the next.
    pub(crate) next: Vec<u128>,
}

/// Where a search begins: afresh, or from what an earlier one left.
pub(crate) struct Progressed<W> {
    pub(crate) states: States<W>,
    pub(crate) reached: Reached,
    pub(crate) broken: FirstBroken,
    pub(crate) sometimes: Sometimes,
    pub(crate) now: Vec<W>,
    pub(crate) next: Vec<W>,
}

/// A word is too small for a code or a level.
#[derive(Debug)]
pub(crate) struct Overflow;

/// How many states are expanded between two looks at the bounds.
const PIECE: usize = 32 * 1024;
/// How many of them a thread takes at once.
const CHUNK: usize = 256;

/// Search from the state after a reset. `progress` is called again and again and may stop it.
pub fn search(model: &Model, bounds: &Bounds, mut progress: impl FnMut(&Reached) -> bool) -> Found {
    if let Some(mut at) = fresh::<u64>(model)
        && go_on(&mut at, model, bounds, &mut progress).is_ok()
    {
        return at.into_found(Store::Small);
    }
    search_wide(model, bounds, &mut progress)
}

/// Go on with a search that was stopped.
pub fn resume(
    found: Found,
    model: &Model,
    bounds: &Bounds,
    mut progress: impl FnMut(&Reached) -> bool,
) -> Found {
    let Found { store, reached, broken, sometimes, waiting, .. } = found;
    match store {
        Store::Small(states) => {
            // Words of a small store are small.
            let narrow = |words: Vec<u128>| words.into_iter().map(|word| word as u64).collect();
            let (now, next) = (narrow(waiting.now), narrow(waiting.next));
            let mut at = Progressed { states, reached, broken, sometimes, now, next };
            match go_on(&mut at, model, bounds, &mut progress) {
                Ok(()) => at.into_found(Store::Small),
                Err(Overflow) => search_wide(model, bounds, &mut progress),
            }
        }
        Store::Large(states) => {
            let (now, next) = (waiting.now, waiting.next);
            let at = Progressed { states, reached, broken, sometimes, now, next };
            finish_wide(at, model, bounds, &mut progress)
        }
    }
}

/// With words that hold any state, from the beginning.
fn search_wide(
    model: &Model,
    bounds: &Bounds,
    progress: &mut impl FnMut(&Reached) -> bool,
) -> Found {
    let begun = fresh::<u128>(model).expect("the first state has small codes");
    finish_wide(begun, model, bounds, progress)
}

/// There is no wider word: what does not fit ends the search before its end.
pub(crate) fn finish_wide(
    mut at: Progressed<u128>,
    model: &Model,
    bounds: &Bounds,
    progress: &mut impl FnMut(&Reached) -> bool,
) -> Found {
    let too_wide = go_on(&mut at, model, bounds, progress).is_err();
    Found { too_wide, ..at.into_found(Store::Large) }
}

/// A search that has only the first state.
pub(crate) fn fresh<W: Word>(model: &Model) -> Option<Progressed<W>> {
    let mut states = States::new(usize::from(model.table.lock_count()));
    let first = states.begin(&model.canonical(Node::default()))?;
    Some(Progressed {
        states,
        reached: Reached { states: 1, ..Reached::default() },
        broken: FirstBroken::new(),
        sometimes: Sometimes::default(),
        now: vec![first],
        next: Vec::new(),
    })
}

/// Go on until everything was reached, a bound is met, or `progress` says stop. What is left when
/// a word is too small is a search that was stopped before that word.
pub(crate) fn go_on<W: Word>(
    at: &mut Progressed<W>,
    model: &Model,
    bounds: &Bounds,
    progress: &mut impl FnMut(&Reached) -> bool,
) -> Result<(), Overflow> {
    loop {
        while !at.now.is_empty() {
            at.look();
            if !progress(&at.reached)
                || at.reached.states >= bounds.states
                || at.reached.bytes >= bounds.bytes
            {
                return Ok(());
            }
            let piece = at.now.split_off(at.now.len().saturating_sub(PIECE));
            if let Err(overflow) = at.expand(model, &piece, bounds.threads) {
                at.now.extend(piece);
                return Err(overflow);
            }
        }
        at.reached.depth += u32::from(!at.next.is_empty());
        at.now = std::mem::take(&mut at.next);
        if at.now.is_empty() {
            at.look();
            return Ok(());
        }
    }
}

/// What one thread brings back from its share.
struct Share<W> {
    new: Vec<Vec<W>>,
    expander: Expander,
    broken: FirstBroken,
    overflow: bool,
}

impl<W: Word> Progressed<W> {
    fn look(&mut self) {
        self.reached.states = self.states.len();
        self.reached.waiting = self.now.len() + self.next.len();
        self.reached.broken = self.broken.len();
        self.reached.bytes =
            self.states.bytes() + (self.now.capacity() + self.next.capacity()) * size_of::<W>();
    }

    fn expand(&mut self, model: &Model, piece: &[W], threads: usize) -> Result<(), Overflow> {
        let level = self.reached.depth + 1;
        if level + 1 >= 1 << W::LEVEL_BITS {
            return Err(Overflow);
        }
        let known = self.broken.iter().filter(|(_, breach)| breach.level + 1 < level);
        let known = known.fold(0, |mask, (always, _)| mask | always.bit());
        let shares = expand_piece(model, &self.states, piece, (level, known), threads);
        if shares.iter().any(|share| share.overflow) {
            return Err(Overflow);
        }
        for share in &shares {
            self.reached.transitions += share.expander.transitions;
            self.reached.kernel_ticks += share.expander.kernel_ticks;
            self.sometimes.take(&share.expander.sometimes);
            for (always, breach) in &share.broken {
                keep_first(&mut self.broken, *always, *breach);
            }
        }
        insert_all(&mut self.states.shards, &shares, threads, &mut self.next);
        Ok(())
    }

    pub(crate) fn into_found(self, store: impl FnOnce(States<W>) -> Store) -> Found
    where
        u128: From<W>,
    {
        let wide = |words: &[W]| words.iter().map(|&w| u128::from(w)).collect();
        Found {
            complete: self.now.is_empty() && self.next.is_empty(),
            too_wide: false,
            waiting: Waiting { now: wide(&self.now), next: wide(&self.next) },
            store: store(self.states),
            reached: self.reached,
            broken: self.broken,
            sometimes: self.sometimes,
        }
    }
}

fn expand_piece<W: Word>(
    model: &Model,
    states: &States<W>,
    piece: &[W],
    level: (u32, u8),
    threads: usize,
) -> Vec<Share<W>> {
    let taken = AtomicUsize::new(0);
    let work = || expand_share(model, states, piece, level, &taken);
    let threads = threads.clamp(1, piece.len().div_ceil(CHUNK));
    if threads == 1 {
        return vec![work()];
    }
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        // A worker that panicked has found a defect of the kernel: let it be seen.
        workers
            .into_iter()
            .map(|w| w.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    })
}

fn keep_first(broken: &mut FirstBroken, always: Always, breach: Breach) {
    let first = broken.entry(always).or_insert(breach);
    *first = breach.min(*first);
}

fn expand_share<W: Word>(
    model: &Model,
    states: &States<W>,
    piece: &[W],
    (level, known): (u32, u8),
    taken: &AtomicUsize,
) -> Share<W> {
    let mut share = Share {
        new: vec![Vec::new(); SHARDS],
        expander: Expander::default(),
        broken: FirstBroken::new(),
        overflow: false,
    };
    let mut codes = states.codes.view();
    let locks = states.layout.locks;
    let mut found = Vec::new();
    loop {
        let from = taken.fetch_add(CHUNK, Ordering::Relaxed);
        let Some(chunk) = piece.get(from..(from + CHUNK).min(piece.len())) else { break };
        for &before_word in chunk {
            let before = states.node(before_word, &mut codes);
            let Share { expander, broken, overflow, .. } = &mut share;
            expander.expand(model, &before, &mut codes, |next| match next {
                Next::State(state) => match states.layout.pack::<W>(state) {
                    None => *overflow = true,
                    Some(mixed) => found.push(mixed),
                },
                // What was broken on an earlier level already is not of interest.
                Next::Broken(mask, node) if mask & !known != 0 => {
                    let (before, after) = (parts_of(&before, locks), parts_of(&node(), locks));
                    let breach = Breach { level: level - 1, before, after };
                    of_mask(mask & !known).for_each(|always| keep_first(broken, always, breach));
                }
                Next::Broken(..) => {}
            });
            look_up(states, &mut found, level, &mut share.new);
        }
    }
    share
}

/// Keep those that were not met on an earlier level.
fn look_up<W: Word>(states: &States<W>, found: &mut Vec<W>, level: u32, new: &mut [Vec<W>]) {
    let peek = |all: W, mixed: &W| all ^ states.shards[shard_of(*mixed)].peek(*mixed);
    std::hint::black_box(found.iter().fold(W::default(), peek));
    for mixed in found.drain(..) {
        let shard = shard_of(mixed);
        if states.shards[shard].find(mixed).is_none() {
            new[shard].push(word(mixed, level));
        }
    }
}

fn insert_all<W: Word>(
    shards: &mut [Shard<W>],
    shares: &[Share<W>],
    threads: usize,
    next: &mut Vec<W>,
) {
    let fill = |first: usize, shards: &mut [Shard<W>]| {
        let mut fresh = Vec::new();
        for (i, shard) in shards.iter_mut().enumerate() {
            for share in shares {
                fresh.extend(share.new[first + i].iter().filter(|word| shard.insert(**word)));
            }
        }
        fresh
    };
    let waiting: usize = shares.iter().flat_map(|share| &share.new).map(Vec::len).sum();
    if threads <= 1 || waiting < CHUNK {
        next.extend(fill(0, shards));
        return;
    }
    let size = SHARDS.div_ceil(threads);
    let fresh: Vec<Vec<W>> = std::thread::scope(|scope| {
        let parts = shards.chunks_mut(size).enumerate();
        let fill = &fill;
        let workers: Vec<_> =
            parts.map(|(n, part)| scope.spawn(move || fill(n * size, part))).collect();
        workers
            .into_iter()
            .map(|w| w.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    fresh.into_iter().for_each(|words| next.extend(words));
}

#[cfg(test)]
mod tests {
    use super::super::model::Subject;
    use super::super::report::{Answer, Report};
    use super::super::senses::Forced;
    use super::super::shrink::shrunk;
    use super::*;

    /// Words of eight bytes hold fewer levels: the search is made anew with wider ones. Where these
    /// are too small it ends, with what it has, and says so.
    #[test]
    fn what_no_word_holds_ends_the_search_without_an_answer() {
        let (d, data) = crate::generated::demo_table("axle").expect("a table");
        let forced = Forced::new(&d, &crate::kinematics::analyse(&d).expect("it moves"));
        let small = shrunk(&data);
        let model = Model::new(small.table(), &forced, 0, Subject::Kernel);
        let bounds = Bounds { states: 1_000, bytes: 1 << 30, threads: 1 };
        let mut at = fresh::<u64>(&model).expect("the first state has small codes");
        at.reached.depth = (1 << u64::LEVEL_BITS) - 2;
        assert!(go_on(&mut at, &model, &bounds, &mut |_| true).is_err());
        assert_eq!(at.now.len(), 1, "it was stopped before that level");
        let mut at = fresh::<u128>(&model).expect("the first state has small codes");
        at.reached.depth = (1 << u128::LEVEL_BITS) - 2;
        let found = finish_wide(at, &model, &bounds, &mut |_| true);
        assert!(found.too_wide && !found.complete);
        assert_eq!((found.waiting.now.len(), found.store.len()), (1, 1));
        let report = Report {
            driveline: &d,
            table: &small,
            table_hash: small.hash,
            interlock_alone: false,
            feasible_guards: false,
            faults: 0,
            found: &found,
            live: None,
            dead: Vec::new(),
            idle: Vec::new(),
            ways: Vec::new(),
        };
        assert_eq!(report.answer(), Answer::Inconclusive);
        let text = report.text().replace('\n', " ");
        assert!(text.contains("a word of sixteen bytes"), "{text}");
        assert!(!search(&model, &bounds, |_| true).too_wide, "a bound is another end");
    }
}
