//! Torque curves: where on one to look for a speed.

/// Bands of speed of a curve.
const CURVE_BANDS: usize = 64;

/// Where on a curve to begin to look for a speed: by bands of speed of the same width, so that the
/// points before it need no look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct CurveStarts {
    bands_per_speed: f64,
    first: [u8; CURVE_BANDS],
}

impl CurveStarts {
    /// For a curve's points; the pair that begins with point `k` ends with point `k + 1`.
    pub(crate) fn new(points: &[(f64, f64)]) -> CurveStarts {
        let end = points.last().map_or(0.0, |p| p.0);
        let bands_per_speed = if end > 0.0 { CURVE_BANDS as f64 / end } else { 0.0 };
        let mut first = [0; CURVE_BANDS];
        // Of the first band no pair is left out: what is below all of them counts to it as well.
        for (band, first) in first.iter_mut().enumerate().skip(1).filter(|_| end > 0.0) {
            // A little lower than where the band begins, whatever the rounding.
            let from = band as f64 / bands_per_speed * (1.0 - 1e-9);
            let pairs = points.iter().skip(1).take_while(|p| p.0 < from);
            *first = pairs.count() as u8;
        }
        CurveStarts { bands_per_speed, first }
    }

    /// A number of pairs that all end below this speed.
    #[inline]
    pub(crate) fn before(&self, speed: f64) -> usize {
        let band = (speed * self.bands_per_speed) as u32 as usize;
        usize::from(self.first[band.min(CURVE_BANDS - 1)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The first pair whose end is not below this speed: that of a look at every pair.
    fn first_pair(points: &[(f64, f64)], from: usize, speed: f64) -> usize {
        (from + 1..points.len()).find(|&k| speed <= points[k].0).unwrap_or(points.len())
    }

    proptest! {
        #[test]
        fn a_look_from_there_on_finds_the_same_pair(
            speeds in prop::collection::vec(-10.0..900.0f64, 1..12),
            sorted in any::<bool>(),
            (at, share) in (0usize..12, 0.0..1.5f64),
        ) {
            let mut speeds = speeds;
            if sorted {
                speeds.sort_by(f64::total_cmp);
            }
            let points: Vec<(f64, f64)> = speeds.iter().map(|&w| (w, 1.0)).collect();
            let starts = CurveStarts::new(&points);
            let known = points[at % points.len()].0;
            // At points, just beside them, anywhere, and what is no speed.
            for speed in [known, known.next_up(), known.next_down(), share * known, f64::NAN] {
                let from = starts.before(speed);
                prop_assert!(from < points.len());
                prop_assert_eq!(first_pair(&points, from, speed), first_pair(&points, 0, speed));
            }
        }
    }
}
