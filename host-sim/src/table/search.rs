//! Shortest paths over lock sets: from every lock set to every arrangement, for every stuck lock.
//!
//! Along one way every step brings the distance down, and a transition only ever changes
//! to a later way: so no sequence of refusals can make it go round in circles.

use supervisor::table::{NO_STEP, Stuck, WAYS, Why};

use super::steps::Candidate;

/// Cost in whole units, so that sums and comparisons are exact.
type Cost = u64;
const UNREACHED: Cost = u64::MAX;

/// Steps of one engine class, by the lock set they start from.
pub(super) struct Graph {
    /// All candidates; the index is the step's number among candidates.
    pub candidates: Vec<Candidate>,
}

/// Which steps a way may use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum WayRule {
    /// Every step.
    Any,
    /// Only steps that any demand may take.
    AnyDemand,
    /// Not the synchronisers that the way of every step prefers.
    OtherSynchronisers,
}

const RULES: [WayRule; WAYS] = [WayRule::Any, WayRule::AnyDemand, WayRule::OtherSynchronisers];

/// Search result for one target: per way and lock set, a candidate or why there is none.
pub(super) struct Ways {
    /// `[way][set]`.
    pub choice: Vec<Vec<Result<usize, Why>>>,
    /// `[set]`: cost of the first way, `None` when unreachable.
    pub distance: Vec<Option<f64>>,
}

fn cost_of(candidate: &Candidate) -> Cost {
    // Micro-units: no two sums differ by rounding only.
    (candidate.note.cost * 1e6).round().max(1.0) as Cost
}

fn usable(candidate: &Candidate, stuck: Stuck) -> bool {
    let lock = candidate.step.lock;
    let closes = candidate.to >> lock & 1 == 1;
    match stuck {
        Stuck::None => true,
        Stuck::Open(l) => l != lock || !closes,
        Stuck::Closed(l) => l != lock || closes,
    }
}

/// Whether the lock set can stand with this stuck lock.
pub(super) fn possible(set: u8, stuck: Stuck) -> bool {
    match stuck {
        Stuck::None => true,
        Stuck::Open(l) => set >> l & 1 == 0,
        Stuck::Closed(l) => set >> l & 1 == 1,
    }
}

impl Graph {
    /// Ways to the lock set `target`.
    pub(super) fn ways_to(
        &self,
        target: u8,
        sets: usize,
        stuck: Stuck,
        forbidden: &[bool],
    ) -> Ways {
        let mut choice: Vec<Vec<Result<usize, Why>>> = Vec::new();
        let mut first_distance = Vec::new();
        for rule in RULES {
            let allowed = |i: usize, c: &Candidate| {
                usable(c, stuck)
                    && match rule {
                        WayRule::Any => true,
                        WayRule::AnyDemand => !c.limited_demand,
                        WayRule::OtherSynchronisers => {
                            choice[0][usize::from(c.step.from.0)] != Ok(i)
                        }
                    }
            };
            let (distance, best) = self.dijkstra(target, sets, allowed);
            let found: Vec<Result<usize, Why>> = (0..sets)
                .map(|set| self.entry(set, target, stuck, &best, &choice, forbidden))
                .collect();
            if first_distance.is_empty() {
                first_distance =
                    distance.iter().map(|&c| (c != UNREACHED).then_some(c as f64 / 1e6)).collect();
            }
            choice.push(found);
        }
        Ways { choice, distance: first_distance }
    }

    fn entry(
        &self,
        set: usize,
        target: u8,
        stuck: Stuck,
        best: &[Option<usize>],
        before: &[Vec<Result<usize, Why>>],
        forbidden: &[bool],
    ) -> Result<usize, Why> {
        if !possible(set as u8, stuck) {
            return Err(Why::Impossible);
        }
        if set == usize::from(target) {
            return Err(Why::Arrived);
        }
        match best[set] {
            Some(step) => Ok(step),
            None if !before.is_empty() => Err(Why::NoOtherWay),
            None if stuck != Stuck::None => Err(Why::Stuck),
            None if forbidden[usize::from(target)] => Err(Why::Conflict),
            None => Err(Why::NothingSynchronises),
        }
    }

    /// Distances to `target` and the best step out of each set.
    fn dijkstra(
        &self,
        target: u8,
        sets: usize,
        allowed: impl Fn(usize, &Candidate) -> bool,
    ) -> (Vec<Cost>, Vec<Option<usize>>) {
        let mut distance = vec![UNREACHED; sets];
        let mut best: Vec<Option<usize>> = vec![None; sets];
        let mut done = vec![false; sets];
        distance[usize::from(target)] = 0;
        let mut into: Vec<Vec<usize>> = vec![Vec::new(); sets];
        for (i, c) in self.candidates.iter().enumerate().filter(|(i, c)| allowed(*i, c)) {
            into[usize::from(c.to)].push(i);
        }
        // At most 256 lock sets: picking the nearest by scanning is fast enough.
        while let Some(near) =
            (0..sets).filter(|&s| !done[s] && distance[s] != UNREACHED).min_by_key(|&s| distance[s])
        {
            done[near] = true;
            for &i in &into[near] {
                let candidate = &self.candidates[i];
                let from = usize::from(candidate.step.from.0);
                let through = distance[near] + cost_of(candidate);
                if through < distance[from] {
                    distance[from] = through;
                    best[from] = Some(i);
                }
            }
        }
        (distance, best)
    }
}

/// An entry of the table from a step number or a reason.
pub(super) fn encode(entry: Result<u16, Why>) -> u16 {
    match entry {
        Ok(step) => step,
        Err(why) => NO_STEP | why as u16,
    }
}
