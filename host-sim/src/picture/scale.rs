//! Axes: round ticks, linear scales, and the slip scale that is linear within a limit and
//! logarithmic beyond.

/// About `want` round tick values (1, 2 or 5 times a power of ten) within `low..=high`.
pub fn ticks(low: f64, high: f64, want: usize) -> Vec<f64> {
    let span = high - low;
    if !span.is_finite() || span <= 0.0 || want == 0 {
        return Vec::new();
    }
    multiples(low, high, round_step(span / want as f64))
}

/// The multiples of `step` within `low..=high`.
pub fn multiples(low: f64, high: f64, step: f64) -> Vec<f64> {
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last).map(|k| k as f64 * step).collect()
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `raw`.
fn round_step(raw: f64) -> f64 {
    let power = 10f64.powf(raw.log10().floor());
    let lead = raw / power;
    let factor = match lead {
        l if l <= 1.0 + 1e-9 => 1.0,
        l if l <= 2.0 + 1e-9 => 2.0,
        l if l <= 5.0 + 1e-9 => 5.0,
        _ => 10.0,
    };
    factor * power
}

/// A tick's text: no more decimals than its step needs.
pub fn tick_text(value: f64, step: f64) -> String {
    let decimals = (-step.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
        format!("{:.decimals$}", 0.0)
    } else {
        text.replace('-', "\u{2212}")
    }
}

/// A range that holds `low..=high` and zero, widened to multiples of a round step, and the step.
pub fn round_range(low: f64, high: f64, want: usize) -> (f64, f64, f64) {
    let (low, high) = (low.min(0.0), high.max(0.0));
    if !(high - low).is_finite() || high - low < 1e-9 {
        return (-1.0, 1.0, 1.0);
    }
    // A sliver on the other side of zero widens the range by no whole step.
    let (low, high) = match high - low {
        span if -low < 0.02 * span => (0.0, high),
        span if high < 0.02 * span => (low, 0.0),
        _ => (low, high),
    };
    let step = round_step((high - low) / want.max(1) as f64);
    ((low / step + 1e-9).floor() * step, (high / step - 1e-9).ceil() * step, step)
}

/// A slip as a share of `limit`: itself within, and 1 + log10 of it beyond, signed.
pub fn slip_scale(slip: f64, limit: f64) -> f64 {
    let share = slip / limit.max(1e-9);
    if share.abs() <= 1.0 { share } else { share.signum() * (1.0 + share.abs().log10()) }
}

/// The points that matter: a piece that stays within `within` px of a straight line becomes
/// that line (Ramer 1972, Douglas and Peucker 1973; from memory).
pub fn thinned(points: &[(f64, f64)], within: f64) -> Vec<(f64, f64)> {
    if points.len() < 3 {
        return points.to_vec();
    }
    let mut keep = vec![false; points.len()];
    keep[0] = true;
    keep[points.len() - 1] = true;
    let mut pieces = vec![(0, points.len() - 1)];
    while let Some((first, last)) = pieces.pop() {
        let (a, b) = (points[first], points[last]);
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let size = (dx * dx + dy * dy).sqrt().max(1e-12);
        let away = |i: usize| ((points[i].0 - a.0) * dy - (points[i].1 - a.1) * dx).abs() / size;
        let far = (first + 1..last).map(|i| (i, away(i))).max_by(|x, y| x.1.total_cmp(&y.1));
        if let Some((i, distance)) = far
            && distance > within
        {
            keep[i] = true;
            pieces.push((first, i));
            pieces.push((i, last));
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(p, _)| *p).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks(0.0, 10.0, 5), [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]);
        assert_eq!(ticks(-30.0, 95.0, 4), [0.0, 50.0]);
        assert_eq!(ticks(0.0, 0.0, 4), Vec::<f64>::new());
        assert_eq!(ticks(f64::NAN, 1.0, 4), Vec::<f64>::new());
    }

    #[test]
    fn tick_texts_carry_no_needless_digits() {
        assert_eq!(tick_text(-0.0, 0.5), "0.0");
        assert_eq!(tick_text(1500.0, 500.0), "1500");
        assert_eq!(tick_text(-2.5, 0.5), "\u{2212}2.5");
    }

    #[test]
    fn ranges_hold_zero_and_end_at_round_values() {
        assert_eq!(round_range(120.0, 3400.0, 4), (0.0, 4000.0, 1000.0));
        assert_eq!(round_range(-80.0, 90.0, 4), (-100.0, 100.0, 50.0));
        assert_eq!(round_range(-1.0, 90.0, 4), (0.0, 100.0, 50.0));
        assert_eq!(round_range(0.0, 0.0, 4), (-1.0, 1.0, 1.0));
    }

    #[test]
    fn the_slip_scale_joins_smoothly_at_the_limit() {
        assert_eq!(slip_scale(30.0, 60.0), 0.5);
        assert_eq!(slip_scale(-60.0, 60.0), -1.0);
        assert!((slip_scale(600.0, 60.0) - 2.0).abs() < 1e-12);
        assert!((slip_scale(60.001, 60.0) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn thinning_keeps_peaks_and_drops_straight_pieces() {
        let mut points: Vec<(f64, f64)> = (0..1000).map(|i| (f64::from(i), 5.0)).collect();
        points[400].1 = 60.0;
        let thin = thinned(&points, 0.2);
        assert!(thin.contains(&(400.0, 60.0)));
        assert!(thin.len() <= 6, "{thin:?}");
        assert_eq!((thin[0], thin[thin.len() - 1]), (points[0], points[999]));
    }
}
