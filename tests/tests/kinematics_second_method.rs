//! The exact kinematics against a numeric second method, on random drivelines.
//!
//! Nothing here calls the code under test for its expectation: the equations are written again
//! (by basic ratios), null spaces and ranks come from nalgebra's singular values, the smallest
//! sets from brute force over all subsets, torques from the full multiplier equations with
//! random inertias.

use host_sim::driveline::{Driveline, MachineKind, Planet};
use host_sim::exact::to_f64;
use host_sim::kinematics::{Kinematics, LockSet, Verdict, analyse};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use slipwarden_tests::random::{Dice, driveline};

const DRIVELINES: u64 = 600;
const SMALL: f64 = 1e-7;

/// Equations of the gears and of the closed locks, each scaled to length one.
fn equations(d: &Driveline, closed: usize) -> DMatrix<f64> {
    let n = d.shafts.len();
    let mut rows: Vec<Vec<f64>> = Vec::new();
    for p in &d.planetaries {
        // Basic ratio: sun per ring with the carrier held.
        let size = f64::from(p.ring_teeth) / f64::from(p.sun_teeth);
        let basic = if p.planet == Planet::Single { -size } else { size };
        let mut row = vec![0.0; n];
        row[p.sun] += 1.0;
        row[p.ring] -= basic;
        row[p.carrier] -= 1.0 - basic;
        rows.push(row);
    }
    for g in &d.gear_pairs {
        let mut row = vec![0.0; n];
        row[g.a] += 1.0;
        row[g.b] -= to_f64(&g.ratio);
        rows.push(row);
    }
    for (i, lock) in d.locks.iter().enumerate() {
        if closed >> i & 1 == 1 {
            let mut row = vec![0.0; n];
            row[lock.a] += 1.0;
            if let Some(b) = lock.b {
                row[b] -= 1.0;
            }
            rows.push(row);
        }
    }
    for row in &mut rows {
        let length = row.iter().map(|x| x * x).sum::<f64>().sqrt();
        row.iter_mut().for_each(|x| *x /= length);
    }
    DMatrix::from_fn(rows.len(), n, |r, c| rows[r][c])
}

fn rank(matrix: &DMatrix<f64>) -> usize {
    if matrix.nrows() == 0 || matrix.ncols() == 0 {
        return 0;
    }
    matrix.singular_values().iter().filter(|s| **s > SMALL).count()
}

/// Orthonormal basis of the null space, one motion a column.
fn null_space(matrix: &DMatrix<f64>) -> DMatrix<f64> {
    let n = matrix.ncols();
    if n == 0 {
        return DMatrix::zeros(0, 0);
    }
    // Zero rows make it at least square: the thin decomposition then has all of V.
    let padded = matrix.clone().resize_vertically(matrix.nrows().max(n), 0.0);
    let svd = padded.svd(false, true);
    let v_t = svd.v_t.expect("asked for");
    let null: Vec<usize> = (0..n).filter(|&i| svd.singular_values[i] <= SMALL).collect();
    DMatrix::from_fn(n, null.len(), |r, c| v_t[(null[c], r)])
}

/// What the numeric method says of one lock set.
#[derive(Debug, PartialEq)]
struct Numeric {
    mobility: usize,
    held: Vec<usize>,
    held_machines: Vec<usize>,
    verdict: Verdict,
    neutral: bool,
}

fn is_engine(d: &Driveline, machine: usize) -> bool {
    matches!(d.machines[machine].kind, MachineKind::Engine(_))
}

fn numeric(d: &Driveline, motions: &DMatrix<f64>) -> Numeric {
    let is_held = |shaft: usize| motions.row(shaft).norm() < SMALL;
    let held_machine = |m: &usize| is_held(d.machines[*m].shaft);
    let speeds = DMatrix::from_fn(d.machines.len(), motions.ncols(), |m, c| {
        motions[(d.machines[m].shaft, c)]
    });
    // Neutral by its definition: a motion with every machine at rest that turns the output.
    let at_rest = null_space(&speeds);
    let neutral = (motions.row(d.output.shaft) * at_rest).norm() > SMALL;
    let held_machines: Vec<usize> =
        (0..d.machines.len()).filter(|m| !is_engine(d, *m)).filter(held_machine).collect();
    let verdict = if is_held(d.output.shaft) {
        Verdict::HoldsOutput
    } else if (0..d.machines.len()).filter(|m| is_engine(d, *m)).any(|m| held_machine(&m)) {
        Verdict::HoldsEngine
    } else if neutral {
        Verdict::Neutral
    } else if held_machines.is_empty() {
        Verdict::Drives
    } else {
        Verdict::HoldsMachine
    };
    let held = (0..d.shafts.len()).filter(|s| is_held(*s)).collect();
    Numeric { mobility: motions.ncols(), held, held_machines, verdict, neutral }
}

/// Exact ratios against least squares: a shaft is tied when its row is a multiple of the output's.
fn check_ratios(set: &LockSet, motions: &DMatrix<f64>, output: usize, what: &str) {
    let out = motions.row(output);
    for (shaft, exact) in set.per_output.iter().enumerate() {
        let row = motions.row(shaft);
        let ratio = row.dot(&out) / out.dot(&out);
        let tied = (row - out * ratio).norm() < SMALL;
        match exact {
            _ if set.holds_output => assert_eq!(*exact, None, "{what} shaft {shaft}"),
            Some(exact) => {
                assert!(tied, "{what} shaft {shaft}: said to be tied");
                let exact = to_f64(exact);
                assert!((exact - ratio).abs() < 1e-6 * (1.0 + exact.abs()), "{what} shaft {shaft}");
            }
            None => assert!(!tied, "{what} shaft {shaft}: said to be free"),
        }
    }
}

/// Smallest members of `wanted` among all lock sets, by trying every subset.
fn smallest(sets: usize, wanted: impl Fn(usize) -> bool) -> Vec<usize> {
    let proper = |set: usize| (0..set).filter(move |sub| sub & !set == 0);
    (0..sets).filter(|&set| wanted(set) && !proper(set).any(&wanted)).collect()
}

fn check_conflicts(d: &Driveline, k: &Kinematics, all: &[Numeric], what: &str) {
    let forbidden =
        |set: usize| matches!(all[set].verdict, Verdict::HoldsOutput | Verdict::HoldsEngine);
    let conflicts: Vec<usize> = k.conflicts.iter().map(|c| usize::from(c.locks)).collect();
    assert_eq!(conflicts, smallest(all.len(), forbidden), "{what}");
    for conflict in &k.conflicts {
        let n = &all[usize::from(conflict.locks)];
        assert_eq!(conflict.output, n.verdict == Verdict::HoldsOutput, "{what}");
        assert!(conflict.holds.iter().all(|shaft| n.held.contains(shaft)), "{what}");
        for name in d.lock_names(conflict.locks) {
            assert!(conflict.reason.contains(name), "{what}: {}", conflict.reason);
        }
    }
    // Upward closed: a lock set is forbidden exactly when it contains a conflict.
    for set in 0..all.len() {
        let contains = conflicts.iter().any(|c| set & c == *c);
        assert_eq!(forbidden(set), contains, "{what} set {set}");
    }
    let mut overlaps: Vec<(usize, usize)> = (0..d.machines.len())
        .flat_map(|m| {
            let holds = |set: usize| all[set].held_machines.contains(&m);
            smallest(all.len(), holds).into_iter().map(move |set| (set, m))
        })
        .filter(|(set, _)| !forbidden(*set))
        .collect();
    overlaps.sort_unstable();
    let ours: Vec<(usize, usize)> = k
        .overlaps
        .iter()
        .flat_map(|o| o.machines.iter().map(move |m| (usize::from(o.locks), *m)))
        .collect();
    assert_eq!(ours, overlaps, "{what}");
}

fn check(d: &Driveline) -> Option<[usize; 5]> {
    let what = &d.name;
    let open = null_space(&equations(d, 0));
    let gears_hold = open.row(d.output.shaft).norm() < SMALL;
    let k = match analyse(d) {
        Ok(k) => k,
        Err(_) => {
            assert!(gears_hold, "{what}: refused without need");
            return None;
        }
    };
    assert!(!gears_hold, "{what}: not refused");
    let mut counts = [0; 5];
    let mut all = Vec::new();
    for set in &k.sets {
        let closed = usize::from(set.closed);
        let what = &format!("{what} set {closed:b}");
        let rows = equations(d, closed);
        let motions = null_space(&rows);
        let numeric = numeric(d, &motions);
        let ours = Numeric {
            mobility: set.mobility,
            held: set.held.clone(),
            held_machines: set.held_machines.clone(),
            verdict: set.verdict,
            neutral: set.neutral,
        };
        assert_eq!(ours, numeric, "{what}");
        check_ratios(set, &motions, d.output.shaft, what);
        for lock in (0..d.locks.len()).filter(|l| closed >> l & 1 == 1) {
            let without = rank(&equations(d, closed ^ 1 << lock)) == rank(&rows);
            assert_eq!(set.redundant >> lock & 1 == 1, without, "{what} lock {lock}");
        }
        counts[set.verdict as usize] += 1;
        all.push(numeric);
    }
    check_conflicts(d, &k, &all, what);
    Some(counts)
}

#[test]
fn exact_and_numeric_agree_on_random_drivelines() {
    let mut refused = 0;
    let mut counts = [0; 5];
    for seed in 0..DRIVELINES {
        match check(&driveline(seed)) {
            Some(found) => counts.iter_mut().zip(found).for_each(|(sum, n)| *sum += n),
            None => refused += 1,
        }
    }
    println!("{DRIVELINES} drivelines, {refused} refused; verdicts {counts:?}");
    // Every verdict and the refusal must have been met often, or this test says little.
    assert!(refused > 10, "{refused}");
    assert!(counts.iter().all(|n| *n > 500), "{counts:?}");
}

#[test]
fn exact_and_numeric_agree_on_the_demos() {
    for d in [shuttle(), railcar(), axle()] {
        assert!(check(&d).is_some());
    }
}

/// Steady torques: machine torques and output torque in balance, found numerically.
/// One column a way to balance: machine torques, then the torque received at the output.
fn balanced(d: &Driveline, motions: &DMatrix<f64>) -> DMatrix<f64> {
    let k = d.machines.len();
    let work = DMatrix::from_fn(motions.ncols(), k + 1, |motion, m| match d.machines.get(m) {
        Some(machine) => motions[(machine.shaft, motion)],
        None => -motions[(d.output.shaft, motion)],
    });
    if work.nrows() == 0 { DMatrix::identity(k + 1, k + 1) } else { null_space(&work) }
}

/// Lagrange multipliers and accelerations of the constrained driveline with random inertias:
/// `inertia * a = torque + J^T * multipliers`, `J * a = 0`.
fn multipliers(
    d: &Driveline,
    rows: &DMatrix<f64>,
    torques: &[f64],
    dice: &mut Dice,
) -> (DVector<f64>, DVector<f64>) {
    let (n, c) = (d.shafts.len(), rows.nrows());
    let mut left = DMatrix::zeros(n + c, n + c);
    for shaft in 0..n {
        left[(shaft, shaft)] = 1.5 + dice.signed_unit();
    }
    left.view_mut((0, n), (n, c)).copy_from(&(-rows.transpose()));
    left.view_mut((n, 0), (c, n)).copy_from(rows);
    let mut right = DVector::zeros(n + c);
    for (machine, torque) in d.machines.iter().zip(torques) {
        right[machine.shaft] += torque;
    }
    right[d.output.shaft] -= torques[d.machines.len()];
    // Redundant rows make it singular; the least-squares solution still meets it exactly.
    let solution = left.clone().svd(true, true).solve(&right, 1e-10).expect("decomposed");
    let residual = (&left * &solution - &right).norm();
    assert!(residual < 1e-8 * (1.0 + right.norm()), "unsolved: {residual}");
    (solution.rows(0, n).into_owned(), solution.rows(n, c).into_owned())
}

/// Balanced torques of the machines and the output: three random ones, then the pushes, then
/// each machine alone.
fn torque_cases(
    d: &Driveline,
    set: &LockSet,
    ways: &DMatrix<f64>,
    dice: &mut Dice,
) -> Vec<Vec<f64>> {
    let mut cases: Vec<Vec<f64>> = (0..3)
        .map(|_| {
            let shares = DVector::from_fn(ways.ncols(), |_, _| 100.0 * dice.signed_unit());
            (ways * shares).iter().copied().collect()
        })
        .collect();
    for push in &set.torque.pushes {
        let mut case = vec![0.0; d.machines.len() + 1];
        for (&machine, share) in push.machines.iter().zip(&push.per_output) {
            case[machine] = to_f64(share);
        }
        case[d.machines.len()] = 1.0;
        cases.push(case);
    }
    for (machine, alone) in set.torque.alone.iter().enumerate() {
        if let Some(alone) = alone {
            let mut case = vec![0.0; d.machines.len() + 1];
            case[machine] = 1.0;
            case[d.machines.len()] = to_f64(alone);
            cases.push(case);
        }
    }
    cases
}

/// Lock torques and pushes of every lock set against the numeric multiplier equations.
fn check_torques(d: &Driveline, dice: &mut Dice) -> usize {
    let Ok(k) = analyse(d) else { return 0 };
    let mut compared = 0;
    for set in &k.sets {
        let closed = usize::from(set.closed);
        let what = &format!("{} set {closed:b}", d.name);
        let rows = equations(d, closed);
        let motions = null_space(&rows);
        let ways = balanced(d, &motions);
        let cases = torque_cases(d, set, &ways, dice);
        for (number, case) in cases.iter().enumerate() {
            let size = 1.0 + case.iter().map(|x| x.abs()).sum::<f64>();
            let (acceleration, forces) = multipliers(d, &rows, case, dice);
            assert!(acceleration.norm() < 1e-6 * size, "{what}: not in balance {case:?}");
            for lock in &set.torque.locks {
                // Told by machines alone wherever that is possible.
                let by_output = to_f64(&lock.per_output) != 0.0;
                assert!(!by_output || set.holds_output, "{what}");
                let gears = d.planetaries.len() + d.gear_pairs.len();
                let place = (closed & ((1 << lock.lock) - 1)).count_ones() as usize;
                // The rows were scaled to length one: a clutch's by the root of two.
                let scale = if d.locks[lock.lock].b.is_some() { 2f64.sqrt() } else { 1.0 };
                let expected = forces[gears + place] / scale;
                let shares = lock.per_machine.iter().chain([&lock.per_output]);
                let terms: Vec<f64> = shares.zip(case).map(|(s, t)| to_f64(s) * t).collect();
                let ours: f64 = terms.iter().sum();
                // Some random gears multiply torques a thousandfold: allow what rounding does.
                let scale: f64 = size + terms.iter().map(|term| term.abs()).sum::<f64>();
                assert!(
                    (ours - expected).abs() < 1e-6 * scale,
                    "{what} lock {}: {ours} {expected}",
                    lock.lock
                );
                if let Some(per_push) = number.checked_sub(3).and_then(|i| lock.per_push.get(i)) {
                    assert!((to_f64(per_push) - expected).abs() < 1e-6 * scale, "{what}");
                }
                compared += 1;
            }
        }
    }
    compared
}

#[test]
fn lock_torques_agree_with_the_multiplier_equations() {
    let mut dice = Dice::new(77);
    let mut compared = 0;
    for d in [shuttle(), railcar(), axle()] {
        compared += check_torques(&d, &mut dice);
    }
    assert!(compared > 300, "{compared}");
    for seed in 10_000..10_120 {
        compared += check_torques(&driveline(seed), &mut dice);
    }
    println!("{compared} lock torques compared");
    assert!(compared > 5_000, "{compared}");
}

/// The pushes are complete and smallest: a set of machines can hold a steady output torque,
/// numerically, exactly when it contains one of them.
#[test]
fn pushes_are_exactly_the_sets_that_can_push() {
    let (mut can, mut cannot) = (0, 0);
    for seed in 20_000..20_150 {
        let d = driveline(seed);
        let Ok(k) = analyse(&d) else { continue };
        for set in k.sets.iter().filter(|s| !s.holds_output) {
            let motions = null_space(&equations(&d, usize::from(set.closed)));
            for machines in 0u32..1 << d.machines.len() {
                let ids: Vec<usize> =
                    (0..d.machines.len()).filter(|m| machines >> m & 1 == 1).collect();
                let at = |with_output: bool| {
                    let count = ids.len() + usize::from(with_output);
                    DMatrix::from_fn(count, motions.ncols(), |r, c| {
                        let shaft = ids.get(r).map_or(d.output.shaft, |&m| d.machines[m].shaft);
                        motions[(shaft, c)]
                    })
                };
                let pushes = rank(&at(false)) == rank(&at(true));
                let listed = set
                    .torque
                    .pushes
                    .iter()
                    .any(|p| p.machines.iter().all(|m| machines >> m & 1 == 1));
                assert_eq!(pushes, listed, "{} set {:b} machines {machines:b}", d.name, set.closed);
                *(if pushes { &mut can } else { &mut cannot }) += 1;
            }
            for push in &set.torque.pushes {
                let inside = |p: &&host_sim::kinematics::Push| {
                    p.machines.iter().all(|m| push.machines.contains(m))
                };
                assert_eq!(set.torque.pushes.iter().filter(inside).count(), 1);
            }
        }
    }
    assert!(can > 1_000 && cannot > 1_000, "{can} {cannot}");
}

/// The motions really are motions: exact sums, for every lock set of many drivelines.
#[test]
fn every_motion_meets_every_equation_exactly() {
    use host_sim::exact::{dot, int};
    use host_sim::kinematics::{gear_rows, lock_row};
    for seed in 30_000..30_100 {
        let d = driveline(seed);
        let Ok(k) = analyse(&d) else { continue };
        for set in &k.sets {
            let closed = (0..d.locks.len()).filter(|l| set.closed >> l & 1 == 1);
            let mut rows = gear_rows(&d);
            closed.for_each(|lock| rows.push(lock_row(&d, lock)));
            for motion in &set.basis {
                assert!(rows.rows().iter().all(|row| dot(row, motion) == int(0)));
            }
            assert_eq!(set.mobility, d.shafts.len() - rows.rank());
            assert_eq!(set.basis.len(), set.mobility);
        }
    }
}
