//! The search: breadth first, level by level, so that the first way found to anything is a
//! shortest one. The same states in the same order, whatever the number of threads.

use std::collections::{BTreeMap, BTreeSet};

use supervisor::status::{Phase, Refusal};

use super::chooser::Chooser;
use super::model::{Always, Model, Node};
use super::senses::Mood;
use super::store::{Store, hash_of};

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

/// What was seen at least once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sometimes {
    /// Steps whose lock was ordered.
    pub steps: BTreeSet<u16>,
    /// Arrangements that stood.
    pub arrangements: BTreeSet<u8>,
    /// Kinds of refusal that were stated.
    pub refusals: BTreeSet<&'static str>,
    /// The interlock let a lock go.
    pub let_go: bool,
}

impl Sometimes {
    fn take(&mut self, other: Sometimes) {
        self.steps.extend(other.steps);
        self.arrangements.extend(other.arrangements);
        self.refusals.extend(other.refusals);
        self.let_go |= other.let_go;
    }
}

/// What came of a search.
pub struct Found {
    /// Every state that was reached.
    pub store: Store,
    /// Transitions that were tried.
    pub transitions: u64,
    /// Number of levels.
    pub depth: u32,
    /// Whether every reachable state was reached.
    pub complete: bool,
    /// The first state after each broken property: its parent, and the state.
    pub broken: BTreeMap<Always, (u32, Node)>,
    /// What was seen.
    pub sometimes: Sometimes,
}

/// What one thread brings back from its share of a level.
#[derive(Default)]
struct Share {
    new: Vec<(u64, Node, u32)>,
    transitions: u64,
    broken: Vec<(Always, u32, Node)>,
    sometimes: Sometimes,
}

/// Search from the state after a reset. `progress` is called once a level and may stop it.
pub fn search(
    model: &Model,
    bounds: &Bounds,
    mut progress: impl FnMut(&Store, u64, u32, usize) -> bool,
) -> Found {
    let mut found = Found {
        store: Store::default(),
        transitions: 0,
        depth: 0,
        complete: false,
        broken: BTreeMap::new(),
        sometimes: Sometimes::default(),
    };
    let start = Node::default();
    let first = found.store.insert(&start, hash_of(&start), None);
    let mut frontier: Vec<u32> = first.into_iter().collect();
    while !frontier.is_empty() {
        if !progress(&found.store, found.transitions, found.depth, frontier.len())
            || found.store.len() >= bounds.states
            || found.store.bytes() >= bounds.bytes
        {
            return found;
        }
        let mut next = Vec::new();
        // Pieces keep what waits to be merged small.
        for piece in frontier.chunks(64 * 1024) {
            for share in expand(model, &found.store, piece, bounds.threads) {
                found.transitions += share.transitions;
                found.sometimes.take(share.sometimes);
                for (always, parent, node) in share.broken {
                    found.broken.entry(always).or_insert((parent, node));
                }
                for (hash, node, parent) in share.new {
                    next.extend(found.store.insert(&node, hash, Some(parent)));
                }
            }
        }
        frontier = next;
        found.depth += 1;
    }
    found.complete = true;
    found
}

fn expand(model: &Model, store: &Store, piece: &[u32], threads: usize) -> Vec<Share> {
    let size = piece.len().div_ceil(threads.max(1)).max(1);
    if piece.len() < 256 {
        return vec![expand_share(model, store, piece)];
    }
    std::thread::scope(|scope| {
        let workers: Vec<_> = piece
            .chunks(size)
            .map(|part| scope.spawn(move || expand_share(model, store, part)))
            .collect();
        // A worker that panicked has found a defect of the kernel: let it be seen.
        workers
            .into_iter()
            .map(|w| w.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    })
}

fn expand_share(model: &Model, store: &Store, part: &[u32]) -> Share {
    let mut share = Share::default();
    let mut chooser = Chooser::default();
    let mut last: Option<Node> = None;
    for &number in part {
        let before = *store.node(number);
        let mut take = |node: Node, share: &mut Share| {
            if last != Some(node) {
                let hash = hash_of(&node);
                if store.find(&node, hash).is_none() {
                    share.new.push((hash, node, number));
                }
                last = Some(node);
            }
        };
        take(canonical(model.reset(&before)), &mut share);
        chooser.restart();
        loop {
            chooser.begin();
            let tick = model.tick(&before, Mood::Hostile, &mut chooser);
            share.transitions += 1;
            note(&mut share.sometimes, &tick.after, !tick.ruling.let_go.is_empty());
            match tick.broken {
                // Nothing is explored beyond a broken property.
                Some(always) => {
                    if !share.broken.iter().any(|(known, ..)| *known == always) {
                        share.broken.push((always, number, tick.after));
                    }
                }
                None => take(canonical(tick.after), &mut share),
            }
            if !chooser.advance() {
                break;
            }
        }
    }
    // The same new state often comes from many states of a level.
    share.new.sort_by_key(|(hash, _, parent)| (*hash, *parent));
    share.new.dedup_by(|a, b| a.0 == b.0 && a.1 == b.1);
    share.new.sort_by_key(|(hash, _, parent)| (*parent, *hash));
    share
}

/// What is stated is never read again by the kernel: states that differ in it only are one.
fn canonical(node: Node) -> Node {
    Node { kernel: node.kernel.without_statement(), ..node }
}

fn note(sometimes: &mut Sometimes, node: &Node, let_go: bool) {
    let state = node.kernel.state();
    if let Phase::Closing { step } | Phase::Opening { step } = state.phase() {
        sometimes.steps.insert(step);
    }
    if let Some(arrangement) = state.stands() {
        sometimes.arrangements.insert(arrangement);
    }
    if let Some(refusal) = state.refusal() {
        sometimes.refusals.insert(refusal_word(refusal));
    }
    sometimes.let_go |= let_go;
}

/// One word for a kind of refusal.
pub fn refusal_word(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::NoWay(_) => "no-way",
        Refusal::ArrangementSpeed { .. } => "arrangement-speed",
        Refusal::RoadSpeed { .. } => "road-speed",
        Refusal::TargetSpeed { .. } => "target-speed",
        Refusal::Torque { .. } => "torque",
        Refusal::Hot { .. } => "hot",
        Refusal::EngineNotRunning => "engine-not-running",
        Refusal::Sensors { .. } => "sensors",
        Refusal::NotCalm => "not-calm",
        Refusal::Switch { .. } => "switch",
        Refusal::SyncTimeout { .. } => "sync-timeout",
        Refusal::UnloadTimeout { .. } => "unload-timeout",
        Refusal::NotClosed { .. } => "not-closed",
        Refusal::NotOpened { .. } => "not-opened",
        Refusal::Interlock { .. } => "interlock",
        Refusal::OverlapTooLong => "overlap-too-long",
        Refusal::Table(_) => "table",
    }
}
