//! Exact linear programmes: the simplex method over rationals, by Bland's rule.
//!
//! Exact numbers and Bland's rule together mean that it ends, always, with a certificate
//! that can be checked by a sum: multipliers at an optimum, a ray when there is none.

use num_traits::{One, Signed, Zero};

use crate::exact::{Q, Row, dot};

/// Outcome of `maximise`.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Outcome {
    /// The largest value, a point that reaches it, and for each constraint the multiplier
    /// (not negative) with which it limits the value.
    Best { value: Q, point: Row, multipliers: Row },
    /// The value grows without limit.
    Unbounded,
    /// No point satisfies the constraints: with these multipliers (not negative) their sum
    /// reads "zero is at most a negative number".
    Nowhere { multipliers: Row },
}

/// Maximise `goal . z` over the `z`, of any sign, with `rows[i] . z <= limits[i]` for all `i`.
///
/// Solved by its dual, "minimise `limits . y` over `y >= 0` with `sum(y_i * rows_i) = goal`",
/// which has few equations here (the free motions) and as many unknowns as there are limits.
pub(super) fn maximise(rows: &[Row], limits: &[Q], goal: &[Q]) -> Outcome {
    // Standing still meets every limit unless one of them is negative.
    if limits.iter().any(Signed::is_negative) {
        let nothing = vec![Q::zero(); goal.len()];
        if let Dual::Ray(multipliers) = dual(rows, limits, &nothing) {
            return Outcome::Nowhere { multipliers };
        }
    }
    match dual(rows, limits, goal) {
        Dual::Optimum { multipliers, basis } => {
            let value = dot(&multipliers, limits);
            Outcome::Best { value, point: corner(rows, limits, &basis, goal.len()), multipliers }
        }
        // The constraints can be met, so an unmeetable dual means that nothing limits the goal.
        Dual::Unmet | Dual::Ray(_) => Outcome::Unbounded,
    }
}

/// Whether some `z`, of any sign, has `rows[i] . z <= limits[i]` for all `i`.
pub fn is_feasible(rows: &[Row], limits: &[Q]) -> bool {
    if !limits.iter().any(Signed::is_negative) {
        return true;
    }
    let dimension = rows.first().map_or(0, Vec::len);
    !matches!(dual(rows, limits, &vec![Q::zero(); dimension]), Dual::Ray(_))
}

/// The point at which the constraints of a dual basis are all just met.
fn corner(rows: &[Row], limits: &[Q], basis: &[usize], dimension: usize) -> Row {
    let tight = basis.iter().map(|&i| rows[i].clone()).collect();
    let at: Row = basis.iter().map(|&i| limits[i].clone()).collect();
    let solution = crate::exact::Matrix::new(dimension, tight).solve(&at);
    solution.unwrap_or_else(|| vec![Q::zero(); dimension])
}

enum Dual {
    Optimum { multipliers: Row, basis: Vec<usize> },
    Ray(Row),
    Unmet,
}

/// Rows of `[A | rhs]` in the form solved for the basis, with the row of reduced costs.
struct Tableau {
    rows: Vec<Row>,
    basis: Vec<usize>,
    unknowns: usize,
}

fn dual(rows: &[Row], limits: &[Q], goal: &[Q]) -> Dual {
    let unknowns = rows.len();
    let Some(mut tableau) = Tableau::feasible(rows, goal) else { return Dual::Unmet };
    match tableau.minimise(limits) {
        Some(entering) => Dual::Ray(tableau.ray(entering)),
        None => {
            let mut multipliers = vec![Q::zero(); unknowns];
            for (row, &unknown) in tableau.rows.iter().zip(&tableau.basis) {
                multipliers[unknown] = row[unknowns].clone();
            }
            Dual::Optimum { multipliers, basis: tableau.basis }
        }
    }
}

impl Tableau {
    /// First phase: a basis that meets `sum(y_i * rows_i) = goal` with `y >= 0`.
    fn feasible(constraints: &[Row], goal: &[Q]) -> Option<Tableau> {
        let (n, m) = (constraints.len(), goal.len());
        let equation = |e: usize| -> Row {
            let sign = if goal[e].is_negative() { -Q::one() } else { Q::one() };
            let slack = (0..m).map(|s| if s == e { Q::one() } else { Q::zero() });
            let left = constraints.iter().map(|row| &row[e] * &sign);
            left.chain(slack).chain([&goal[e] * &sign]).collect()
        };
        let rows = (0..m).map(equation).collect();
        let mut first = Tableau { rows, basis: (n..n + m).collect(), unknowns: n + m };
        let cost: Row = (0..n + m).map(|i| if i < n { Q::zero() } else { Q::one() }).collect();
        // Cannot be unbounded: the cost is a sum of what is not negative.
        first.minimise(&cost);
        let left = first.rows.iter().zip(&first.basis).filter(|(_, b)| **b >= n);
        if left.map(|(row, _)| &row[n + m]).any(|value| !value.is_zero()) {
            return None;
        }
        Some(first.without_slack(n))
    }

    /// Take the slack unknowns (all zero now) out of the basis and out of the rows.
    fn without_slack(mut self, n: usize) -> Tableau {
        for r in 0..self.rows.len() {
            if self.basis[r] >= n
                && let Some(col) = (0..n).find(|&c| !self.rows[r][c].is_zero())
            {
                self.pivot(r, col);
            }
        }
        let end = self.unknowns;
        let kept = self.rows.into_iter().zip(self.basis).filter(|(_, b)| *b < n);
        let (rows, basis) = kept
            .map(|(mut row, b)| {
                row.drain(n..end);
                (row, b)
            })
            .unzip();
        Tableau { rows, basis, unknowns: n }
    }

    /// Minimise from a feasible basis; `Some(column)` when that column falls without limit.
    fn minimise(&mut self, cost: &[Q]) -> Option<usize> {
        let end = self.unknowns;
        // Reduced costs: zero in the basis, kept up to date by every pivot.
        let mut reduced: Row = cost[..end].to_vec();
        for (row, &b) in self.rows.iter().zip(&self.basis) {
            subtract(&mut reduced, &cost[b].clone(), &row[..end]);
        }
        loop {
            // Bland: the first column that helps, the first row among the tightest.
            let entering = reduced.iter().position(Signed::is_negative)?;
            let mut leaving: Option<(Q, usize)> = None;
            for (r, row) in self.rows.iter().enumerate() {
                if !row[entering].is_positive() {
                    continue;
                }
                let step = &row[end] / &row[entering];
                let better = leaving.as_ref().is_none_or(|(best, at)| {
                    step < *best || (step == *best && self.basis[r] < self.basis[*at])
                });
                if better {
                    leaving = Some((step, r));
                }
            }
            match leaving {
                Some((_, r)) => {
                    self.pivot(r, entering);
                    let factor = reduced[entering].clone();
                    subtract(&mut reduced, &factor, &self.rows[r][..end]);
                }
                None => return Some(entering),
            }
        }
    }

    /// Direction in which the cost falls without limit: `entering` grows, the basis follows.
    fn ray(&self, entering: usize) -> Row {
        let mut ray = vec![Q::zero(); self.unknowns];
        ray[entering] = Q::one();
        for (row, &b) in self.rows.iter().zip(&self.basis) {
            ray[b] = -row[entering].clone();
        }
        ray
    }

    fn pivot(&mut self, at: usize, col: usize) {
        let scale = self.rows[at][col].clone();
        for value in &mut self.rows[at] {
            *value /= &scale;
        }
        let lead = self.rows[at].clone();
        for (r, row) in self.rows.iter_mut().enumerate() {
            if r != at && !row[col].is_zero() {
                let factor = row[col].clone();
                subtract(row, &factor, &lead);
            }
        }
        self.basis[at] = col;
    }
}

/// `row -= factor * other`; zeros cost nothing.
fn subtract(row: &mut [Q], factor: &Q, other: &[Q]) {
    if factor.is_zero() {
        return;
    }
    for (value, o) in row.iter_mut().zip(other).filter(|(_, o)| !o.is_zero()) {
        *value -= factor * o;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exact::int;

    fn rows(data: &[&[i64]]) -> Vec<Row> {
        data.iter().map(|row| row.iter().map(|&x| int(x)).collect()).collect()
    }

    fn row(data: &[i64]) -> Row {
        data.iter().map(|&x| int(x)).collect()
    }

    /// Source: the example that cycles without an anti-cycling rule (after Beale 1955), from
    /// memory; its optimum 5/4 is proved here by the point and the multipliers themselves.
    #[test]
    fn beales_cycling_example_ends_at_its_optimum() {
        // Scaled to whole numbers: maximise 3/4 a - 20 b + 1/2 c - 6 d, value times 4.
        let a = rows(&[
            &[1, -32, -4, 36],
            &[1, -24, -1, 6],
            &[0, 0, 1, 0],
            &[-1, 0, 0, 0],
            &[0, -1, 0, 0],
            &[0, 0, -1, 0],
            &[0, 0, 0, -1],
        ]);
        let b = row(&[0, 0, 1, 0, 0, 0, 0]);
        let goal = row(&[3, -80, 2, -24]);
        let Outcome::Best { value, point, multipliers } = maximise(&a, &b, &goal) else {
            panic!("has an optimum");
        };
        assert_eq!(value, int(5));
        assert_eq!(dot(&goal, &point), value);
        assert!(a.iter().zip(&b).all(|(r, limit)| dot(r, &point) <= *limit));
        assert!(multipliers.iter().all(|y| !y.is_negative()));
        for (col, wanted) in goal.iter().enumerate() {
            let combined = a.iter().zip(&multipliers).fold(Q::zero(), |s, (r, y)| s + &r[col] * y);
            assert_eq!(combined, *wanted);
        }
        assert_eq!(dot(&multipliers, &b), value);
    }

    #[test]
    fn contradicting_limits_name_themselves() {
        let a = rows(&[&[1, 0], &[-1, 0], &[0, 1]]);
        let outcome = maximise(&a, &row(&[1, -2, 5]), &row(&[1, 1]));
        assert_eq!(outcome, Outcome::Nowhere { multipliers: row(&[1, 1, 0]) });
    }

    #[test]
    fn no_limit_in_the_goals_direction_is_unbounded() {
        let a = rows(&[&[1, 0]]);
        assert_eq!(maximise(&a, &row(&[1]), &row(&[0, 1])), Outcome::Unbounded);
        assert_eq!(maximise(&[], &[], &row(&[1])), Outcome::Unbounded);
    }

    #[test]
    fn no_unknowns_is_decided_by_the_limits_alone() {
        let empty = vec![Vec::new(); 2];
        let best = maximise(&empty, &row(&[1, 0]), &[]);
        assert!(matches!(best, Outcome::Best { value, .. } if value.is_zero()));
        let nowhere = maximise(&empty, &row(&[1, -1]), &[]);
        assert!(matches!(nowhere, Outcome::Nowhere { .. }));
    }

    /// A whole number from -2 to 2 (SplitMix64).
    fn number(seed: &mut u64) -> i64 {
        *seed = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = *seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % 5) as i64 - 2
    }

    /// Whether `target` is a sum of the vectors, none of them with a negative share. If it is one at all, it is
    /// one of at most as many of them as it has entries (Caratheodory's theorem): all choices are tried.
    fn is_in_cone(vectors: &[Row], target: &[Q]) -> bool {
        let choices =
            (0..1u32 << vectors.len()).filter(|c| c.count_ones() as usize <= target.len());
        choices.into_iter().any(|choice| {
            let chosen = (0..vectors.len()).filter(|i| choice >> i & 1 == 1);
            let chosen = chosen.map(|i| vectors[i].clone()).collect();
            let shares = crate::exact::Matrix::new(target.len(), chosen).combine_rows(target);
            shares.is_some_and(|shares| shares.iter().all(|share| !share.is_negative()))
        })
    }

    /// Small programmes of many kinds, degenerate ones too, and each outcome proved: an optimum by its point
    /// and multipliers, a contradiction by its multipliers (Farkas' lemma), and that there is neither by
    /// trying all combinations of constraints.
    #[test]
    fn every_outcome_is_proved() {
        let mut met = [0; 3];
        for case in 0..2000u64 {
            let (dimension, count) = (1 + case as usize % 4, 1 + case as usize / 4 % 6);
            let mut seed = case << 32;
            let mut draw =
                |length: usize| -> Row { (0..length).map(|_| int(number(&mut seed))).collect() };
            let a: Vec<Row> = (0..count).map(|_| draw(dimension)).collect();
            let (limits, goal) = (draw(count), draw(dimension));
            let sum = |multipliers: &Row| -> Row {
                let column = |c: usize| a.iter().map(|row| row[c].clone()).collect::<Row>();
                (0..dimension).map(|c| dot(&column(c), multipliers)).collect()
            };
            let positive = |multipliers: &Row| multipliers.iter().all(|y| !y.is_negative());
            let outcome = maximise(&a, &limits, &goal);
            match &outcome {
                Outcome::Best { value, point, multipliers } => {
                    assert!(a.iter().zip(&limits).all(|(row, limit)| dot(row, point) <= *limit));
                    assert!(positive(multipliers) && sum(multipliers) == goal, "{case}");
                    assert_eq!(dot(&goal, point), *value, "{case}");
                    assert_eq!(dot(multipliers, &limits), *value, "{case}");
                    met[0] += 1;
                }
                Outcome::Nowhere { multipliers } => {
                    assert!(positive(multipliers) && sum(multipliers).iter().all(Zero::is_zero));
                    assert!(dot(multipliers, &limits).is_negative(), "{case}");
                    met[1] += 1;
                }
                Outcome::Unbounded => {
                    assert!(!is_in_cone(&a, &goal), "{case}");
                    let with_limit =
                        |(row, limit): (&Row, &Q)| [&row[..], std::slice::from_ref(limit)].concat();
                    let rows: Vec<Row> = a.iter().zip(&limits).map(with_limit).collect();
                    let contradiction = [vec![Q::zero(); dimension], vec![-Q::one()]].concat();
                    assert!(!is_in_cone(&rows, &contradiction), "{case}");
                    met[2] += 1;
                }
            }
            let nowhere = matches!(outcome, Outcome::Nowhere { .. });
            assert_eq!(is_feasible(&a, &limits), !nowhere, "{case}");
        }
        assert!(met.iter().all(|n| *n > 200), "{met:?}");
    }
}
