//! How long things took: percentiles of very many delays in little memory.

use std::time::Duration;

/// Microseconds that are counted one by one; longer ones only by the longest.
const BINS: usize = 200_000;

/// Delays.
#[derive(Clone, Debug)]
pub struct Delays {
    bins: Vec<u32>,
    count: u64,
    most: Duration,
}

impl Default for Delays {
    fn default() -> Delays {
        Delays { bins: vec![0; BINS], count: 0, most: Duration::ZERO }
    }
}

impl Delays {
    /// One more.
    pub fn add(&mut self, delay: Duration) {
        let bin = usize::try_from(delay.as_micros()).unwrap_or(BINS).min(BINS - 1);
        self.bins[bin] = self.bins[bin].saturating_add(1);
        self.count += 1;
        self.most = self.most.max(delay);
    }

    /// How many.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The delay, us, that this share of all does not exceed.
    pub fn within_us(&self, share: f64) -> u64 {
        let needed = (self.count as f64 * share).ceil().max(1.0) as u64;
        let mut sum = 0;
        for (us, n) in (0..).zip(&self.bins) {
            sum += u64::from(*n);
            if sum >= needed {
                return us;
            }
        }
        0
    }

    /// "p50 12 us, p99 30 us, max 4000 us".
    pub fn text(&self) -> String {
        let (half, most) = (self.within_us(0.5), self.within_us(0.99));
        format!("p50 {half} us, p99 {most} us, max {} us", self.most.as_micros())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_told() {
        let mut delays = Delays::default();
        (1..=100).for_each(|us| delays.add(Duration::from_micros(us)));
        assert_eq!((delays.within_us(0.5), delays.within_us(0.99)), (50, 99));
        delays.add(Duration::from_secs(5));
        assert_eq!(delays.text(), "p50 51 us, p99 100 us, max 5000000 us");
        assert_eq!(delays.count(), 101);
    }
}
