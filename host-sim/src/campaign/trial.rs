//! Campaigns against planted defects: case by case, each with the good table and with every broken
//! one that was not found yet. Cases of a block run on all threads; what comes of them does not
//! depend on how many there are.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use super::case::case;
use super::defects::{Ended, Tried};
use super::duel::{Arena, Came};
use super::examined::{Examined, examine_all};
use super::together::{Candidate, Grouping};
use super::world::World;
use crate::drive::closed_loop::{CannotRun, Prepared};
use crate::explore::defects::Defect;

/// Cases between two looks at what is left to be found: few at first, when much is found.
const BLOCK_CASES: (u64, u64) = (2, 16);

/// What is tried.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// Seeds, each a campaign of its own.
    pub seeds: &'a [u64],
    /// Most cases for each seed.
    pub cases: u64,
    /// Faults in each case.
    pub faults: u8,
}

/// Where a defect was found under a seed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hit {
    /// The rule.
    pub rule: String,
    /// Cases, this one included.
    pub cases: u64,
    /// Ticks of all of them.
    pub ticks: u64,
}

/// What is known of one seed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OfSeed {
    /// Cases that are done.
    pub cases: u64,
    /// Their ticks.
    pub ticks: u64,
    /// By number of the defect, where it was found.
    pub found: BTreeMap<usize, Hit>,
    /// By number of the defect, in how many cases something was another; none: 0.
    pub differed: BTreeMap<usize, u64>,
}

/// How far a trial is: all that is needed to go on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct State {
    /// In the order of the trial's seeds.
    pub seeds: Vec<OfSeed>,
}

impl State {
    /// Of a trial that begins.
    pub fn new(trial: &Trial) -> State {
        State { seeds: vec![OfSeed::default(); trial.seeds.len()] }
    }

    /// Cases done of all that there are at most.
    pub fn done(&self) -> u64 {
        self.seeds.iter().map(|of| of.cases).sum()
    }
}

/// The chosen defects of a world with their tables.
pub struct Trials<'a> {
    world: &'a World,
    list: &'a [Defect],
    chosen: &'a [usize],
    trial: Trial<'a>,
    candidates: Vec<Candidate<'a>>,
}

impl<'a> Trials<'a> {
    /// Plants the `chosen` of the defects.
    pub fn new(
        world: &'a World,
        list: &'a [Defect],
        chosen: &'a [usize],
        trial: Trial<'a>,
    ) -> Trials<'a> {
        let planted = |&number: &usize| Candidate::new(&world.table, number, &list[number]);
        let candidates = chosen.iter().filter_map(planted).collect();
        Trials { world, list, chosen, trial, candidates }
    }

    /// Go on from `state` on `threads` threads. `done` is told the state after each block, and
    /// `None` now and then; it says whether to go on.
    ///
    /// # Errors
    /// When the driveline lacks data for the plant.
    pub fn go_on(
        &self,
        state: &mut State,
        threads: usize,
        mut done: impl FnMut(Option<&State>) -> bool,
    ) -> Result<(), CannotRun> {
        let prepared = self.world.prepared()?;
        for (at, &seed) in self.trial.seeds.iter().enumerate() {
            while state.seeds[at].cases < self.trial.cases {
                let of = &state.seeds[at];
                let is_open = |c: &&Candidate| !of.found.contains_key(&c.number);
                let open: Vec<Candidate> =
                    self.candidates.iter().filter(is_open).copied().collect();
                if open.is_empty() {
                    break;
                }
                let length = of.cases.clamp(BLOCK_CASES.0, BLOCK_CASES.1);
                let range = (of.cases, (of.cases + length).min(self.trial.cases));
                let grouping = Grouping { good: &self.world.table, list: &open };
                let block = Block { trials: self, prepared: &prepared, grouping, seed, range };
                let Some(results) = block.run(threads, || done(None)) else { return Ok(()) };
                state.seeds[at].take(&open, results);
                if !done(Some(state)) {
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    /// Whether nothing is left to be tried.
    pub fn is_whole(&self, state: &State) -> bool {
        let all_found =
            |of: &OfSeed| self.candidates.iter().all(|c| of.found.contains_key(&c.number));
        state.seeds.iter().all(|of| of.cases >= self.trial.cases || all_found(of))
    }

    /// What came of every defect, in the order of the list, with what is seen of it without a case:
    /// that is worked out here on `threads` threads. `goes_on` is asked now and then.
    pub fn tried(
        &self,
        state: &State,
        threads: usize,
        goes_on: impl FnMut() -> bool,
    ) -> Vec<Tried> {
        let examined = examine_all(self.world, self.list, self.chosen, threads, goes_on);
        let one = |(&number, examined): (&usize, Option<Examined>)| {
            let refused = self.candidates.iter().all(|c| c.number != number);
            let defect = &self.list[number];
            let ended = state.seeds.iter().map(|of| match (refused, of.found.get(&number)) {
                (true, _) => Ended::Refused,
                (false, Some(hit)) => {
                    Ended::Found { rule: hit.rule.clone(), cases: hit.cases, ticks: hit.ticks }
                }
                (false, None) => {
                    Ended::Missed { differed: of.differed.get(&number).copied().unwrap_or(0) }
                }
            });
            Tried {
                number,
                what: [defect.kind.to_string(), defect.place.clone(), defect.name.clone()],
                ended: ended.collect(),
                examined,
            }
        };
        self.chosen.iter().zip(examined).map(one).collect()
    }
}

/// What came of a case; `None`: it cannot start.
type OfCase = Option<(u64, Vec<Came>)>;

/// Some cases in a row.
struct Block<'a> {
    trials: &'a Trials<'a>,
    prepared: &'a Arc<Prepared<'a>>,
    grouping: Grouping<'a>,
    seed: u64,
    range: (u64, u64),
}

impl Block<'_> {
    /// In the order of the cases; `None` when it was stopped.
    fn run(&self, threads: usize, mut goes_on: impl FnMut() -> bool) -> Option<Vec<OfCase>> {
        let (from, to) = self.range;
        let count = (to - from) as usize;
        let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
        let (sender, receiver) = mpsc::channel();
        let mut results: Vec<Option<OfCase>> = vec![None; count];
        let groups = self.grouping.all();
        std::thread::scope(|scope| {
            for _ in 0..threads.clamp(1, count.max(1)) {
                let (sender, next, stop, groups) = (sender.clone(), &next, &stop, &groups);
                let arena = Arena::new(self.trials.world, self.prepared);
                scope.spawn(move || {
                    loop {
                        let n = next.fetch_add(1, Ordering::Relaxed);
                        if n >= count || stop.load(Ordering::Relaxed) {
                            return;
                        }
                        let number = from + n as u64;
                        let case = case(arena.world(), self.seed, self.trials.trial.faults, number);
                        let of_case = match arena.duel(&case, (&self.grouping, groups), stop) {
                            Ok(None) => return,
                            Ok(of_case) => of_case,
                            Err(_) => None,
                        };
                        // Sending fails only when the receiver has gone after a panic.
                        if sender.send((n, of_case)).is_err() {
                            return;
                        }
                    }
                });
            }
            drop(sender);
            loop {
                match receiver.recv_timeout(Duration::from_millis(200)) {
                    Ok((n, of_case)) => results[n] = Some(of_case),
                    Err(mpsc::RecvTimeoutError::Timeout) => {}
                    Err(mpsc::RecvTimeoutError::Disconnected) => break,
                }
                if !goes_on() {
                    stop.store(true, Ordering::Relaxed);
                }
            }
        });
        results.into_iter().collect()
    }
}

impl OfSeed {
    fn take(&mut self, open: &[Candidate], results: Vec<OfCase>) {
        for of_case in results {
            self.cases += 1;
            let Some((ticks, came)) = of_case else { continue };
            self.ticks += ticks;
            for (candidate, came) in open.iter().zip(came) {
                let number = candidate.number;
                if self.found.contains_key(&number) {
                    continue;
                }
                match came {
                    Came::Alike => {}
                    Came::Differed => *self.differed.entry(number).or_default() += 1,
                    Came::Broke(rule) => {
                        let hit = Hit { rule: rule.into(), cases: self.cases, ticks: self.ticks };
                        self.found.insert(number, hit);
                    }
                }
            }
        }
    }
}
