//! Where the chance of a case comes from. Frozen: a seed means the same case for ever.

use crate::plant::random::Random;

/// Seed of case `number` of the campaign with this `seed`. It does not depend on how the
/// campaign is divided. Below 2^53, so that JSON numbers hold it exactly.
pub fn case_seed(seed: u64, number: u64) -> u64 {
    let own = Random::new(seed).next_u64();
    Random::new(own ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15)).next_u64() >> 11
}

/// What a part of a case is drawn for. Each part has a generator of its own, so that a change of
/// one (a new kind of fault) leaves the others as they were.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stream {
    /// Where it begins, what is driven and on which road.
    Drive = 1,
    /// What is asked for and when.
    Requests = 2,
    /// Which faults there are.
    Faults = 3,
    /// The plant: sensor errors, noise, dog positions.
    Plant = 4,
    /// Whether it is aimed at something, and at what.
    Aim = 5,
}

impl Stream {
    /// The generator of this part of a case.
    pub fn of(self, case_seed: u64) -> Random {
        Random::new(Random::new(case_seed ^ (self as u64) << 56).next_u64())
    }
}

/// Draws that the parts of a case share.
pub(super) trait Draw {
    /// Uniform between two bounds.
    fn between(&mut self, low: f64, high: f64) -> f64;
    /// Between two positive bounds, uniform in the logarithm's stead by repeated halving: small
    /// and large values come equally often.
    fn log_between(&mut self, low: f64, high: f64) -> f64;
    /// True with this chance.
    fn chance(&mut self, share: f64) -> bool;
    /// One of a list, by weights that are not negative; the last where all are zero.
    fn weighted(&mut self, weights: &[f64]) -> usize;
    /// One of a list that is not empty.
    fn one_of<T: Copy>(&mut self, list: &[T]) -> T;
}

impl Draw for Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn log_between(&mut self, low: f64, high: f64) -> f64 {
        // Doublings from low; plain arithmetic, the same on every machine.
        let mut value = low;
        let mut doublings = 0;
        while value * 2.0 < high {
            value *= 2.0;
            doublings += 1;
        }
        let mut from = low;
        for _ in 0..self.below(doublings + 1) {
            from *= 2.0;
        }
        self.between(from, (2.0 * from).min(high))
    }

    fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = weights.iter().sum::<f64>() * self.unit();
        for (i, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return i;
            }
        }
        weights.len().saturating_sub(1)
    }

    fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u64) as usize]
    }
}

/// `value` as a multiple of `1 / per`, so that a scenario file says exactly what was driven.
pub(super) fn rounded(value: f64, per: f64) -> f64 {
    (value * per).round() / per + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seeds_of_cases_are_frozen() {
        let of = |seed, numbers: [u64; 3]| numbers.map(|n| case_seed(seed, n));
        assert_eq!(of(1, [0, 1, 2]), FROZEN_1);
        assert_eq!(of(u64::MAX, [0, 1, u64::MAX]), FROZEN_MAX);
        let mut faults = Stream::Faults.of(case_seed(1, 0));
        assert_eq!([faults.next_u64(), faults.next_u64()], FROZEN_STREAM);
    }

    // Worked out by another program from the published algorithm (SplitMix64, see
    // `plant/random.rs`), which gives the published values 6457827717110365317,
    // 3203168211198807973, 9817491932198370423 for the seed 1234567 (from memory).
    const FROZEN_1: [u64; 3] = [0xbc835610e872c, 0x53c93633210db, 0xbbe801c2b427a];
    const FROZEN_MAX: [u64; 3] = [0xbb84154f6544e, 0x19036b0e777803, 0xddc52c6217c3f];
    const FROZEN_STREAM: [u64; 2] = [0x1260dc19ea648dd6, 0x1722a9ce4c7665a];

    #[test]
    fn draws_stay_within_their_bounds_and_reach_both_ends() {
        let mut random = Random::new(7);
        let logs: Vec<f64> = (0..4000).map(|_| random.log_between(5.0, 3000.0)).collect();
        assert!(logs.iter().all(|x| (5.0..=3000.0).contains(x)));
        let below = |limit: f64| logs.iter().filter(|x| **x < limit).count();
        // Ten octaves, each as likely: half of all lies below the middle of the logarithms.
        assert!((1700..2300).contains(&below((5.0f64 * 3000.0).sqrt())), "{}", below(122.0));
        let mut counts = [0; 3];
        (0..3000).for_each(|_| counts[random.weighted(&[1.0, 0.0, 2.0])] += 1);
        assert!(counts[1] == 0 && (800..1200).contains(&counts[0]), "{counts:?}");
    }
}
