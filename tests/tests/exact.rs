//! Exact matrices against their definitions, on random ones; ranks against nalgebra's singular values,
//! and what can be met at all against every corner of the region.

use host_sim::exact::{Matrix, Q, Row, dot, from_f64, int, ratio, text, to_f64};
use host_sim::kinematics::is_feasible;
use nalgebra::DMatrix;
use slipwarden_tests::random::Dice;

/// Small whole numbers, zeros often, so that ranks are of every size; rows repeat each other.
fn matrix(dice: &mut Dice) -> (Vec<Row>, usize) {
    let (rows, cols) = (dice.whole(0, 5) as usize, dice.whole(1, 5) as usize);
    let mut found: Vec<Row> = Vec::new();
    for r in 0..rows {
        let fresh = |dice: &mut Dice| -> Row { (0..cols).map(|_| entry(dice)).collect() };
        let row = match r >= 2 && dice.chance(1, 3) {
            true => {
                let factor = entry(dice);
                found[0].iter().zip(&found[1]).map(|(a, b)| a + &factor * b).collect()
            }
            false => fresh(dice),
        };
        found.push(row);
    }
    (found, cols)
}

fn entry(dice: &mut Dice) -> Q {
    ratio(i64::from(dice.whole(0, 6)) - 3, i64::from(dice.whole(1, 3)))
}

fn numeric_rank(rows: &[Row], cols: usize) -> usize {
    if rows.is_empty() {
        return 0;
    }
    let matrix = DMatrix::from_fn(rows.len(), cols, |r, c| to_f64(&rows[r][c]));
    matrix.singular_values().iter().filter(|s| **s > 1e-9).count()
}

#[test]
fn ranks_and_null_spaces_are_as_defined() {
    let dice = &mut Dice::new(61);
    let mut ranks = [0; 6];
    for _ in 0..2_000 {
        let (rows, cols) = matrix(dice);
        let a = Matrix::new(cols, rows.clone());
        assert_eq!((a.cols(), a.rows()), (cols, &rows[..]));
        let rank = numeric_rank(&rows, cols);
        assert_eq!(a.rank(), rank, "{rows:?}");
        let null = a.null_space();
        assert_eq!(null.len(), cols - rank);
        assert_eq!(numeric_rank(&null, cols), null.len(), "independent of each other");
        assert!(null.iter().all(|x| rows.iter().all(|row| dot(row, x) == int(0))), "{rows:?}");
        ranks[rank] += 1;
    }
    assert!(ranks.iter().all(|n| *n > 10), "{ranks:?}");
}

/// Each pivot column is that of one row alone, with a one, further right than those above; and
/// the rows span what they spanned.
#[test]
fn a_reduced_matrix_is_in_echelon_form() {
    let dice = &mut Dice::new(62);
    for _ in 0..1_000 {
        let (rows, cols) = matrix(dice);
        let (reduced, pivots) = Matrix::new(cols, rows.clone()).reduced();
        assert_eq!((reduced.cols(), reduced.rows().len()), (cols, pivots.len()));
        assert!(pivots.windows(2).all(|two| two[0] < two[1]));
        for (r, row) in reduced.rows().iter().enumerate() {
            assert!(row[..pivots[r]].iter().all(|x| *x == int(0)));
            for (other, pivot) in pivots.iter().enumerate() {
                assert_eq!(row[*pivot], int(i64::from(other == r)));
            }
        }
        let both: Vec<Row> = rows.iter().chain(reduced.rows()).cloned().collect();
        assert_eq!(numeric_rank(&both, cols), pivots.len());
    }
}

/// A solution solves it, and there is none exactly when the right side raises the rank.
#[test]
fn solutions_solve() {
    let dice = &mut Dice::new(63);
    let mut counts = [0; 2];
    for _ in 0..2_000 {
        let (rows, cols) = matrix(dice);
        let a = Matrix::new(cols, rows.clone());
        let b: Row = match dice.chance(1, 2) {
            true => rows.iter().map(|_| entry(dice)).collect(),
            false => {
                let x: Row = (0..cols).map(|_| entry(dice)).collect();
                rows.iter().map(|row| dot(row, &x)).collect()
            }
        };
        let wider: Vec<Row> =
            rows.iter().zip(&b).map(|(r, b)| r.iter().chain([b]).cloned().collect()).collect();
        let solvable = numeric_rank(&wider, cols + 1) == numeric_rank(&rows, cols);
        let found = a.solve(&b);
        assert_eq!(found.is_some(), solvable, "{rows:?} {b:?}");
        if let Some(x) = found {
            assert_eq!(rows.iter().map(|row| dot(row, &x)).collect::<Row>(), b);
        }
        // The same of the columns: so many of each row.
        let flipped = a.transposed();
        assert_eq!((flipped.cols(), flipped.transposed()), (rows.len(), a));
        if let Some(y) = flipped.combine_rows(&b) {
            assert!(solvable);
            assert_eq!(rows.iter().map(|row| dot(row, &y)).collect::<Row>(), b);
        }
        counts[usize::from(solvable)] += 1;
    }
    assert!(counts.iter().all(|n| *n > 200), "{counts:?}");
}

/// In the plane: there is a point if a corner of two limits, or of a limit and a far box, keeps all.
#[test]
fn what_can_be_met_has_a_corner() {
    let dice = &mut Dice::new(64);
    let mut counts = [0; 2];
    for _ in 0..3_000 {
        let n = dice.whole(1, 5) as usize;
        let mut rows: Vec<Row> = (0..n).map(|_| vec![entry(dice), entry(dice)]).collect();
        let mut limits: Row = (0..n).map(|_| entry(dice)).collect();
        let told = is_feasible(&rows, &limits);
        for side in [[1, 0], [-1, 0], [0, 1], [0, -1]] {
            rows.push(side.map(int).to_vec());
            limits.push(int(1_000_000));
        }
        let all = 0..rows.len();
        let found = all.clone().flat_map(|i| all.clone().map(move |j| (i, j))).any(|(i, j)| {
            let pair = Matrix::new(2, vec![rows[i].clone(), rows[j].clone()]);
            let corner = pair.solve(&[limits[i].clone(), limits[j].clone()]);
            corner.is_some_and(|z| rows.iter().zip(&limits).all(|(row, l)| dot(row, &z) <= *l))
        });
        assert_eq!(told, found, "{rows:?} {limits:?}");
        counts[usize::from(found)] += 1;
    }
    assert!(counts.iter().all(|n| *n > 200), "{counts:?}");
}

#[test]
fn without_unknowns_no_limit_may_be_negative() {
    let nothing = |n: usize| vec![Row::new(); n];
    assert!(is_feasible(&[], &[]));
    assert!(is_feasible(&nothing(2), &[int(0), int(3)]));
    assert!(!is_feasible(&nothing(2), &[int(3), int(-1)]));
}

#[test]
fn fractions_are_told_in_lowest_terms() {
    for (q, told) in [(ratio(6, -4), "-3/2"), (ratio(8, 4), "2"), (int(0), "0"), (int(-7), "-7")] {
        assert_eq!(text(&q), told);
    }
    assert_eq!(from_f64(-0.375), Some(ratio(-3, 8)));
    assert_eq!(to_f64(&ratio(-3, 8)), -0.375);
    assert_eq!(from_f64(f64::NAN), None);
    assert_eq!(from_f64(f64::INFINITY), None);
}
