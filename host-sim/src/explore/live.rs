//! Bounded liveness: from every state that was reached, once no more goes wrong and the world
//! helps, an arrangement that is asked for stands or its refusal is stated within a bound.
//!
//! With a helpful world there is one next state, and it is among the states that were reached
//! (a hostile world may help too). So every state lies on one path for each arrangement; a path
//! that comes back to itself before it ends never ends.

use super::chooser::Chooser;
use super::codes::CodesView;
use super::model::{Model, Node};
use super::search::Found;
use super::senses::Mood;
use super::store::States;
use super::table::Word;
use crate::with_states;

/// What came of following every state.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Liveness {
    /// Most ticks that it took.
    pub bound: u32,
    /// Of these, those that ended in the arrangement; the others ended in a refusal.
    pub arrived: u64,
    /// How many pairs of state and arrangement ended in a refusal.
    pub refused: u64,
    /// A state from which this arrangement is neither reached nor refused.
    pub stuck: Option<(Box<Node>, u8)>,
}

/// Ticks to the end: not yet known, on the present path, longer than can be counted.
const UNKNOWN: u8 = 0;
const ON_PATH: u8 = u8::MAX;
const TOO_LONG: u8 = u8::MAX - 1;

/// How a path goes on.
enum End {
    Arrived,
    Refused,
    Goes(Box<Node>),
}

fn next(model: &Model, node: &Node, arrangement: u8, chooser: &mut Chooser) -> End {
    chooser.restart();
    chooser.begin();
    let tick = model.tick(node, Mood::Helpful(Some(arrangement)), chooser);
    let state = tick.after.kernel.state();
    let ours = state.goal() == Some(arrangement);
    if ours && state.stands() == Some(arrangement) {
        return End::Arrived;
    }
    if ours && (state.refusal().is_some() || state.gave_up()) {
        return End::Refused;
    }
    End::Goes(Box::new(model.canonical(tick.after)))
}

/// Follow every state of a complete search. Faults that are there stay. `progress` is called
/// with the number of arrangements that are done.
pub fn liveness(model: &Model, found: &Found, threads: usize) -> Liveness {
    let count = model.table.arrangements.len() as u8;
    let next = std::sync::atomic::AtomicU8::new(0);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let arrangement = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            if arrangement >= count {
                break mine;
            }
            let live = with_states!(&found.store, states => follow_all(model, states, arrangement));
            mine.push((arrangement, live));
        }
    };
    let mut parts: Vec<(u8, Liveness)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        workers
            .into_iter()
            .flat_map(|w| w.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    parts.sort_by_key(|(arrangement, _)| *arrangement);
    parts.into_iter().fold(Liveness::default(), |mut all, (_, one)| {
        all.bound = all.bound.max(one.bound);
        all.arrived += one.arrived;
        all.refused += one.refused;
        all.stuck = all.stuck.or(one.stuck);
        all
    })
}

/// The paths of one arrangement.
struct Paths<'a, W> {
    model: &'a Model<'a>,
    states: &'a States<W>,
    arrangement: u8,
    /// By part and slot: ticks to the end.
    ticks: Vec<Vec<u8>>,
    /// By part and slot: whether it ends in the arrangement.
    arrives: Vec<Vec<bool>>,
    chooser: Chooser,
    live: Liveness,
}

fn follow_all<W: Word>(model: &Model, states: &States<W>, arrangement: u8) -> Liveness {
    let sized = |shard: &super::table::Shard<W>| shard.slots().len();
    let mut paths = Paths {
        model,
        states,
        arrangement,
        ticks: states.shards.iter().map(|s| vec![UNKNOWN; sized(s)]).collect(),
        arrives: states.shards.iter().map(|s| vec![false; sized(s)]).collect(),
        chooser: Chooser::default(),
        live: Liveness::default(),
    };
    let mut codes = states.codes.view();
    for (shard, slot, _) in states.words() {
        paths.follow((shard, slot), &mut codes);
    }
    paths.live
}

impl<W: Word> Paths<'_, W> {
    fn follow(&mut self, start: (usize, usize), codes: &mut CodesView) {
        let mut path = Vec::new();
        let mut at = start;
        let (mut length, arrived) = loop {
            match self.ticks[at.0][at.1] {
                ON_PATH => {
                    self.get_stuck(start, codes);
                    break (0, false);
                }
                UNKNOWN => {}
                known => break (u32::from(known), self.arrives[at.0][at.1]),
            }
            self.ticks[at.0][at.1] = ON_PATH;
            path.push(at);
            let node = self.states.node(self.states.shards[at.0].slots()[at.1], codes);
            match next(self.model, &node, self.arrangement, &mut self.chooser) {
                End::Arrived => break (0, true),
                End::Refused => break (0, false),
                End::Goes(node) => match self.states.find(&node, codes) {
                    Some(place) => at = place,
                    // A helpful world is one of the hostile ones, and nothing is broken: a state
                    // that was not reached would be an error of the search.
                    None => {
                        self.get_stuck(start, codes);
                        break (0, false);
                    }
                },
            }
        };
        for &(shard, slot) in path.iter().rev() {
            length += 1;
            if length >= u32::from(TOO_LONG) {
                self.get_stuck(start, codes);
            }
            self.ticks[shard][slot] = length.min(u32::from(TOO_LONG)) as u8;
            self.arrives[shard][slot] = arrived;
            self.live.bound = self.live.bound.max(length);
            *(if arrived { &mut self.live.arrived } else { &mut self.live.refused }) += 1;
        }
    }

    fn get_stuck(&mut self, start: (usize, usize), codes: &mut CodesView) {
        if self.live.stuck.is_none() {
            let node = self.states.node(self.states.shards[start.0].slots()[start.1], codes);
            self.live.stuck = Some((Box::new(node), self.arrangement));
        }
    }
}
