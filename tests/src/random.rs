//! Random drivelines from a seed, by a small generator whose algorithm never changes.

use host_sim::driveline::{Driveline, Planet};
use host_sim::exact::ratio;

use crate::drivelines::Build;

/// SplitMix64 (Steele, Lea, Flood 2014; constants from memory): one seed, one sequence, for good.
pub struct Dice(u64);

impl Dice {
    /// A sequence of its own for every seed.
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A whole number from `low` up to and including `high` (tiny ranges: the bias is nothing).
    pub fn whole(&mut self, low: u32, high: u32) -> u32 {
        low + (self.bits() % u64::from(high - low + 1)) as u32
    }

    /// A number from -1 to 1.
    pub fn signed_unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// True `n` times in `of`.
    pub fn chance(&mut self, n: u32, of: u32) -> bool {
        self.whole(1, of) <= n
    }

    /// `n` different numbers below `below`.
    fn different(&mut self, n: usize, below: usize) -> Vec<usize> {
        let mut left: Vec<usize> = (0..below).collect();
        (0..n).map(|_| left.remove(self.whole(0, left.len() as u32 - 1) as usize)).collect()
    }
}

/// A driveline with 1 to 3 planetary sets (single and double planets), 0 to 2 gear pairs, 2 to
/// 7 locks, 1 to 4 machines (an engine among them or not) and 3 to 9 shafts. Its gears may hold
/// the output, its locks may be redundant, its shafts may hang in the air.
pub fn driveline(seed: u64) -> Driveline {
    let dice = &mut Dice::new(seed);
    let sets = dice.whole(1, 3) as usize;
    let count = dice.whole(2 + sets as u32, 3 + 2 * sets as u32) as usize;
    let names: Vec<String> = (0..count).map(|n| format!("s{n}")).collect();
    let shafts: Vec<&str> = names.iter().map(String::as_str).collect();
    let output = shafts[dice.whole(0, count as u32 - 1) as usize];
    let mut build = Build::new(&format!("random-{seed}"), &shafts, output);
    let limited = dice.whole(5, 14);
    for shaft in &shafts {
        if dice.chance(limited, 10) {
            build = build.limit(shaft, f64::from(dice.whole(10, 90)) * 100.0);
        }
    }
    for _ in 0..sets {
        let members = dice.different(3, count);
        let planet = if dice.chance(1, 3) { Planet::Double } else { Planet::Single };
        let sun = dice.whole(18, 50);
        let teeth = [sun, sun + dice.whole(10, 60)];
        build = build.planetary([0, 1, 2].map(|i| shafts[members[i]]), teeth, planet);
    }
    for _ in 0..dice.whole(0, 2) {
        let ends = dice.different(2, count);
        let (p, q) = (i64::from(dice.whole(1, 40)), i64::from(dice.whole(1, 40)));
        let sign = if dice.chance(1, 2) { -1 } else { 1 };
        build = build.pair(shafts[ends[0]], shafts[ends[1]], ratio(sign * p, q));
    }
    for lock in 0..dice.whole(2, 7) {
        let ends = dice.different(2, count);
        let b = if dice.chance(2, 5) { "case" } else { shafts[ends[1]] };
        build = build.lock(&format!("lock-{lock}"), shafts[ends[0]], b);
    }
    let machines = dice.whole(1, 4);
    let engine = dice.whole(0, 4);
    for machine in 0..machines {
        let shaft = shafts[dice.whole(0, count as u32 - 1) as usize];
        build = match machine == engine {
            true => build.engine("engine", shaft, 800.0, 4000.0),
            false => build.electric(&format!("machine-{machine}"), shaft),
        };
    }
    build.done()
}
