//! Which faults a case has: a swarm, in which each case does without some kinds and weighs the
//! rest wildly.

use super::seed::{Draw, rounded};
use super::world::World;
use crate::drive::faults::{Injected, TimedFault};
use crate::drive::scenario::words::named;
use crate::driveline::Driveline;
use crate::plant::random::Random;

/// A kind of fault at its place, with a value still to be drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    /// The word of scenario files.
    pub word: &'static str,
    /// Lock, sensor or machine, by its number in the file.
    pub target: usize,
    /// Largest and smallest value where it has one.
    pub values: Option<(f64, f64)>,
    /// Whether the value may have either sign.
    pub signed: bool,
}

impl Kind {
    const fn plain(word: &'static str, target: usize) -> Kind {
        Kind { word, target, values: None, signed: false }
    }

    const fn valued(word: &'static str, target: usize, values: (f64, f64)) -> Kind {
        Kind { word, target, values: Some(values), signed: false }
    }

    /// The fault with this value.
    fn injected(&self, value: f64) -> Option<Injected> {
        named(self.word, Some(self.target), Some(value))
    }
}

/// Longest latency that is added, ms.
const LATEST_MS: f64 = 30.0;

/// Every kind of fault that a driveline can have, in a fixed order.
pub fn kinds(d: &Driveline) -> Vec<Kind> {
    let mut list = Vec::new();
    for (i, lock) in d.locks.iter().enumerate() {
        for word in ["lock-stuck-open", "lock-stuck-closed", "lock-opens", "lock-closes"] {
            list.push(Kind::plain(word, i));
        }
        list.push(Kind::valued("lock-slow-close", i, (1.3, 20.0)));
        list.push(Kind::valued("lock-slow-release", i, (1.3, 20.0)));
        let capacity = lock.capacity_nm.unwrap_or(100.0);
        list.push(Kind::valued("lock-drag", i, (0.01 * capacity, 0.3 * capacity)));
        if lock.has_switch {
            for word in
                ["switch-stuck-open", "switch-stuck-closed", "switch-missing", "switch-chatter"]
            {
                list.push(Kind::plain(word, i));
            }
        }
    }
    for i in 0..d.sensors.len() {
        let bias = Kind { signed: true, ..Kind::valued("sensor-bias", i, (5.0, 3000.0)) };
        list.push(bias);
        list.push(Kind::valued("sensor-scale", i, (0.25, 1.75)));
        for word in ["sensor-sign", "sensor-dropout", "sensor-stuck"] {
            list.push(Kind::plain(word, i));
        }
        list.push(Kind::valued("sensor-noise", i, (2.0, 500.0)));
        list.push(Kind::valued("sensor-coarse", i, (5.0, 500.0)));
        list.push(Kind::valued("sensor-late", i, (1.0, LATEST_MS)));
        list.push(Kind::valued("sensor-jitter", i, (2.0, 60.0)));
    }
    for (i, _) in d.machines.iter().enumerate() {
        for word in ["machine-lost", "machine-sign", "machine-silent"] {
            list.push(Kind::plain(word, i));
        }
        list.push(Kind::valued("machine-lag", i, (2.0, 50.0)));
        let offset = Kind::valued("machine-offset", i, (2.0, 100.0));
        list.push(Kind { signed: true, ..offset });
        list.push(Kind::valued("machine-scale", i, (0.25, 1.75)));
    }
    if d.engine().is_some() {
        list.push(Kind::plain("engine-stall", 0));
        list.push(Kind::plain("engine-no-start", 0));
        list.push(Kind::plain("engine-overrun", 0));
    }
    for word in ["supply-lost", "supply-dip", "supply-cold-dip", "tick-missed"] {
        list.push(Kind::plain(word, 0));
    }
    list.push(Kind::valued("tick-jitter", 0, (1.0, 20.0)));
    list.push(Kind::valued("wheel-slip", 0, (0.02, 0.3)));
    list
}

/// How many halvings the weights of a swarm go down.
const WEIGHT_HALVINGS: u64 = 7;
/// Share of the kinds' words that a case does without.
const WITHOUT_SHARE: f64 = 0.4;

/// `count` faults of a case, by time.
pub(super) fn timed_faults(
    world: &World,
    random: &mut Random,
    count: u8,
    (requests, duration_s): (&[(f64, usize)], f64),
) -> Vec<TimedFault> {
    let weights = swarm(&world.kinds, random);
    let mut list: Vec<TimedFault> = (0..count)
        .filter_map(|_| {
            let kind = &world.kinds[random.weighted(&weights)];
            let (from_s, to_s) = time(random, requests, duration_s);
            let to_s = to_s.min(rounded(from_s + longest_s(kind), 1000.0));
            let fault = kind.injected(value(kind, random))?;
            Some(TimedFault { from_s, to_s, fault })
        })
        .collect();
    list.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    list
}

/// Longest time that a fault lasts, s. A supervisor without ticks, or with too few of them, is reset
/// by its watchdog (it counts time in ticks), and a supply that does not come back is another kind
/// of fault.
fn longest_s(kind: &Kind) -> f64 {
    match kind.word {
        "tick-missed" => 0.03,
        "tick-jitter" => 0.05,
        "supply-dip" | "supply-cold-dip" => 1.0,
        _ => f64::INFINITY,
    }
}

/// A weight for each kind; those of one word share it.
fn swarm(kinds: &[Kind], random: &mut Random) -> Vec<f64> {
    let mut words: Vec<(&str, f64)> = Vec::new();
    kinds
        .iter()
        .map(|kind| {
            let known = words.iter().find(|(word, _)| *word == kind.word).map(|w| w.1);
            known.unwrap_or_else(|| {
                let without = random.chance(WITHOUT_SHARE);
                let halvings = random.below(WEIGHT_HALVINGS + 1);
                let weight = if without { 0.0 } else { 1.0 / (1u64 << halvings) as f64 };
                words.push((kind.word, weight));
                weight
            })
        })
        .collect()
}

fn value(kind: &Kind, random: &mut Random) -> f64 {
    let Some((low, high)) = kind.values else { return 0.0 };
    let size = match kind.word {
        "sensor-scale" | "machine-scale" => random.between(low, high),
        _ => random.log_between(low, high),
    };
    let sign = if kind.signed && random.chance(0.5) { -1.0 } else { 1.0 };
    sign * rounded(size, 100.0)
}

/// From when to when. Often just after a request: then something moves.
fn time(random: &mut Random, requests: &[(f64, usize)], duration_s: f64) -> (f64, f64) {
    let asked = requests.iter().filter(|r| r.0 > 0.0).count() as u64;
    let from_s = if asked > 0 && random.chance(0.65) {
        let skip = requests.len() - asked as usize;
        requests[skip + random.below(asked) as usize].0 + random.between(-0.2, 1.4)
    } else {
        duration_s * random.unit()
    };
    let from_s = rounded(from_s.clamp(0.0, duration_s - 0.1), 1000.0);
    let lasts_s = match random.weighted(&[0.4, 0.35, 0.25]) {
        0 => return (from_s, f64::INFINITY),
        1 => random.between(0.3, 4.0),
        _ => random.log_between(0.004, 0.3),
    };
    (from_s, rounded(from_s + lasts_s.max(0.001), 1000.0))
}

/// Share of the cases in which the supervisor begins anew.
const RESET_SHARE: f64 = 0.2;
/// Share of the resets that leave nothing of the last one.
const COLD_SHARE: f64 = 0.35;

/// Resets do not count as faults: they may happen at any time, mostly in mid-transition here.
pub(super) fn resets(
    random: &mut Random,
    requests: &[(f64, usize)],
    duration_s: f64,
) -> Vec<TimedFault> {
    if !random.chance(RESET_SHARE) {
        return Vec::new();
    }
    let count = 1 + u64::from(random.chance(0.15));
    let mut list: Vec<TimedFault> = (0..count)
        .map(|_| {
            let fault = match random.chance(COLD_SHARE) {
                true => Injected::SupervisorColdReset,
                false => Injected::SupervisorReset,
            };
            let from_s = time(random, requests, duration_s).0;
            TimedFault { from_s, to_s: f64::INFINITY, fault }
        })
        .collect();
    list.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    list
}
