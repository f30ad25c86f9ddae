//! Long traces in few numbers: one column a pixel, with first, lowest, highest and last
//! value of each series, and the most telling state of each lane.

/// First, lowest, highest and last value of a series within one column.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Span {
    first: f32,
    low: f32,
    high: f32,
    last: f32,
}

/// Series and lanes over a fixed number of columns; memory does not grow with the run.
#[derive(Clone, Debug)]
pub(super) struct Columns {
    duration_s: f64,
    count: usize,
    series: Vec<Vec<Option<Span>>>,
    lanes: Vec<Vec<Option<u8>>>,
}

impl Columns {
    pub(super) fn new(duration_s: f64, count: usize, series: usize, lanes: usize) -> Columns {
        let count = count.max(1);
        Columns {
            duration_s: duration_s.max(1e-9),
            count,
            series: vec![vec![None; count]; series],
            lanes: vec![vec![None; count]; lanes],
        }
    }

    fn column(&self, t_s: f64) -> usize {
        let share = (t_s / self.duration_s).clamp(0.0, 1.0);
        ((share * self.count as f64) as usize).min(self.count - 1)
    }

    /// Values that are not finite leave a hole.
    pub(super) fn add(&mut self, series: usize, t_s: f64, value: f64) {
        if !value.is_finite() {
            return;
        }
        let (column, v) = (self.column(t_s), value as f32);
        let slot = &mut self.series[series][column];
        *slot = Some(match *slot {
            None => Span { first: v, low: v, high: v, last: v },
            Some(s) => Span { first: s.first, low: s.low.min(v), high: s.high.max(v), last: v },
        });
    }

    /// A higher state number hides a lower one within the same column.
    pub(super) fn mark(&mut self, lane: usize, t_s: f64, state: u8) {
        let column = self.column(t_s);
        let slot = &mut self.lanes[lane][column];
        *slot = Some(slot.map_or(state, |s| s.max(state)));
    }

    /// Lowest and highest value of a series.
    pub(super) fn range(&self, series: usize) -> Option<(f64, f64)> {
        let spans = self.series[series].iter().flatten();
        spans.fold(None, |range, s| {
            let (low, high) = range.unwrap_or((f64::INFINITY, f64::NEG_INFINITY));
            Some((f64::min(low, s.low.into()), f64::max(high, s.high.into())))
        })
    }

    /// Points (share of the width, value) that draw the series with every peak.
    pub(super) fn points(&self, series: usize) -> Vec<(f64, f64)> {
        let mut points: Vec<(f64, f64)> = Vec::new();
        for (i, span) in self.series[series].iter().enumerate() {
            let Some(s) = span else { continue };
            let at = |part: f64| (i as f64 + part) / self.count as f64;
            let flat = s.high - s.low <= 1e-6 * (s.high.abs() + s.low.abs());
            let values: &[(f64, f32)] = if flat {
                &[(0.5, s.last)]
            } else if s.last >= s.first {
                &[(0.1, s.first), (0.35, s.low), (0.65, s.high), (0.9, s.last)]
            } else {
                &[(0.1, s.first), (0.35, s.high), (0.65, s.low), (0.9, s.last)]
            };
            points.extend(values.iter().map(|&(part, v)| (at(part), f64::from(v))));
        }
        points
    }

    /// Runs of equal states: (from share, to share, state); columns without a sample go
    /// with the one before.
    pub(super) fn runs(&self, lane: usize) -> Vec<(f64, f64, u8)> {
        let mut runs: Vec<(f64, f64, u8)> = Vec::new();
        let mut state = None;
        for (i, slot) in self.lanes[lane].iter().enumerate() {
            state = slot.or(state);
            let Some(now) = state else { continue };
            let (from, to) = (i as f64 / self.count as f64, (i + 1) as f64 / self.count as f64);
            match runs.last_mut() {
                Some(last) if last.2 == now => last.1 = to,
                _ => runs.push((from, to, now)),
            }
        }
        runs
    }

    /// Whether the lane was ever above state 0.
    pub(super) fn is_used(&self, lane: usize) -> bool {
        self.lanes[lane].iter().flatten().any(|&s| s > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_single_peak_survives_a_thousandfold_decimation() {
        let mut c = Columns::new(100.0, 50, 1, 0);
        for k in 0..100_000 {
            let value = if k == 54_321 { 900.0 } else { 1.0 };
            c.add(0, f64::from(k) * 1e-3, value);
        }
        assert_eq!(c.range(0), Some((1.0, 900.0)));
        assert!(c.points(0).iter().any(|p| p.1 == 900.0 && (p.0 - 0.543).abs() < 0.02));
        assert!(c.points(0).len() <= 200);
    }

    #[test]
    fn the_most_telling_state_of_a_column_wins_and_gaps_are_filled() {
        let mut c = Columns::new(10.0, 5, 0, 1);
        c.mark(0, 0.1, 0);
        c.mark(0, 0.2, 2);
        c.mark(0, 0.3, 1);
        c.mark(0, 7.0, 1);
        assert_eq!(c.runs(0), [(0.0, 0.6, 2), (0.6, 1.0, 1)]);
        assert!(c.is_used(0));
    }

    #[test]
    fn values_that_are_no_numbers_leave_a_hole() {
        let mut c = Columns::new(1.0, 4, 1, 0);
        c.add(0, 0.1, f64::NAN);
        c.add(0, 0.2, f64::INFINITY);
        assert_eq!(c.range(0), None);
        assert!(c.points(0).is_empty());
    }
}
