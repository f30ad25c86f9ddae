//! Exact fractions of the numbers in files and tables, and the one number that is none: pi.

use num_traits::{Signed, Zero};

use crate::exact::{Q, from_f64, int, ratio, to_f64};

use super::Proof;

/// Rounding of one f32 operation, as a share of its result: half a unit in the last place.
pub(super) fn unit_roundoff() -> Q {
    ratio(1, 1 << 24)
}

/// Error of `operations` f32 roundings in a row, as a share (Higham's gamma: `n u / (1 - n u)`,
/// from memory).
pub(super) fn roundings(operations: usize) -> Q {
    let n = unit_roundoff() * int(operations as i64);
    &n / (int(1) - &n)
}

/// The exact value of a number; zero for what is none (the board's own check refuses those).
pub(super) fn exact(x: f64) -> Q {
    from_f64(x).unwrap_or_else(Q::zero)
}

/// The exact value of an f32; a number that is too large for any speed stands for the infinite.
pub(super) fn exact32(x: f32) -> Q {
    if x.is_infinite() {
        return int(10).pow(12) * int(if x > 0.0 { 1 } else { -1 });
    }
    exact(f64::from(x))
}

/// rad/s per rpm, a little less: pi from its decimals, cut off.
fn rpm_below() -> Q {
    ratio(3_141_592_653_589_793, 30_000_000_000_000_000)
}

/// rad/s per rpm, a little more.
fn rpm_above() -> Q {
    ratio(3_141_592_653_589_794, 30_000_000_000_000_000)
}

/// rpm as rad/s, not larger than it is.
pub(super) fn radps_below(rpm: &Q) -> Q {
    rpm * if rpm.is_negative() { rpm_above() } else { rpm_below() }
}

/// rpm as rad/s, not smaller than it is.
pub(super) fn radps_above(rpm: &Q) -> Q {
    rpm * if rpm.is_negative() { rpm_below() } else { rpm_above() }
}

/// One inequality `limit + margin <= true limit` (or, for a lower limit, the mirror image), but for
/// its numbers.
pub(super) struct Claim {
    pub id: &'static str,
    pub place: String,
    pub implies: String,
    pub unit: &'static str,
}

/// rad/s are shown as rpm.
fn shown(unit: &str, q: &Q) -> f64 {
    to_f64(&if unit.starts_with("rpm") { q / rpm_below() } else { q.clone() })
}

impl Claim {
    /// Measured at most the limit implies truly at most the true limit.
    pub(super) fn at_most(self, limit: &Q, margin: &Q, truth: &Q) -> Proof {
        let left = truth - limit - margin;
        self.proof(limit, margin, truth, &left)
    }

    /// Measured at least the limit implies truly at least the true limit.
    pub(super) fn at_least(self, limit: &Q, margin: &Q, truth: &Q) -> Proof {
        let left = limit - margin - truth;
        self.proof(limit, margin, truth, &left)
    }

    fn proof(self, limit: &Q, margin: &Q, truth: &Q, left: &Q) -> Proof {
        let shown = |q| shown(self.unit, q);
        Proof {
            id: self.id,
            holds: !left.is_negative(),
            limit: shown(limit),
            margin: shown(margin),
            true_limit: shown(truth),
            left: shown(left),
            place: self.place,
            implies: self.implies,
            unit: self.unit,
        }
    }
}

/// Whether `x` is `wanted` but for a rounding to f32 (twice, to be generous to f64 on the way).
pub(super) fn rounds_to(x: f32, wanted: &Q) -> bool {
    (exact32(x) - wanted).abs() <= wanted.abs() * unit_roundoff() * int(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: pi to 20 decimals, 3.14159265358979323846.
    #[test]
    fn rpm_is_between_its_bounds() {
        let pi = ratio(314_159_265_358_979_323, 100_000_000_000_000_000);
        let exact = pi / int(30);
        assert!(radps_below(&int(1)) < exact && exact < radps_above(&int(1)));
        assert!(radps_below(&int(-1)) < -exact.clone() && -exact < radps_above(&int(-1)));
    }

    /// Sums of products in f32 against exact fractions: the bound holds, and is not idle.
    #[test]
    fn f32_sums_stay_within_the_bound() {
        let mut state = 7u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 40) as f32 / 8_388_608.0 - 1.0
        };
        let mut worst = 0.0f64;
        for _ in 0..3000 {
            let row: [f32; 8] = std::array::from_fn(|i| if i < 4 { random() } else { 0.0 });
            let values: [f32; 8] = std::array::from_fn(|_| 900.0 * random());
            let sum = row.iter().zip(&values).fold(0.0f32, |sum, (c, v)| sum + c * v);
            let terms = || row.iter().zip(&values).map(|(c, v)| exact32(*c) * exact32(*v));
            let truth: Q = terms().fold(Q::zero(), |a, b| a + b);
            let size: Q = terms().fold(Q::zero(), |a, b| a + b.abs());
            // One product and three sums.
            let bound = size * roundings(4);
            let error = (exact32(sum) - truth).abs();
            assert!(error <= bound);
            worst = worst.max(to_f64(&(error / bound)));
        }
        assert!(worst > 0.1, "the bound is idle: {worst}");
    }
}
