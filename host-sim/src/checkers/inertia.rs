//! What shafts that speed up or slow down add to the torque in a lock: the machines' torques alone do
//! not tell it.

use super::{MAX_SHAFTS, TickTruth};
use crate::driveline::{Driveline, LockId};
use crate::exact::{Q, Row, to_f64};
use crate::kinematics::{Kinematics, lock_row};

/// Torque in a lock per acceleration of each shaft, Nm per rad/s2.
pub(super) type PerAcceleration = [f64; MAX_SHAFTS];

/// What the shafts add, at most: each by itself.
pub(super) fn added_nm(
    per: &PerAcceleration,
    before: &[f64; MAX_SHAFTS],
    truth: &TickTruth,
) -> f64 {
    let shafts = per.iter().zip(before).zip(&truth.speed_radps);
    shafts.map(|((per, before), now)| (per * (now - before) / truth.dt_s).abs()).sum()
}

/// Of a lock that is opened from a lock set; `None` where it frees no motion with the output at rest, or an
/// inertia is not stated.
///
/// By virtual power: along a motion in which only this lock slips, its torque does the work of all
/// others. Of these motions the one with the least energy is taken; what the others add to it leaves the balance as it is.
pub(super) fn per_acceleration(
    d: &Driveline,
    k: &Kinematics,
    set: u8,
    lock: LockId,
) -> Option<PerAcceleration> {
    let inertias: Option<Vec<f64>> = d.shafts.iter().map(|s| s.inertia_kg_m2).collect();
    let inertias = inertias?;
    let slip = lock_row(d, lock);
    let at_rest = |motion: &&Row| motion[d.output.shaft] == Q::default();
    let motions: Vec<Vec<f64>> = k
        .set(set & !(1 << lock))
        .basis
        .iter()
        .filter(at_rest)
        .map(|motion| motion.iter().map(to_f64).collect())
        .collect();
    let slips: Vec<f64> = motions
        .iter()
        .map(|motion| motion.iter().zip(&slip).map(|(speed, c)| speed * to_f64(c)).sum())
        .collect();
    let motion = least(&motions, &slips, &inertias)?;
    let mut per = [0.0; MAX_SHAFTS];
    for ((per, inertia), speed) in per.iter_mut().zip(inertias).zip(motion) {
        *per = inertia * speed;
    }
    Some(per)
}

/// The combination of motions with a slip of one and the least energy: with the energies `E` of the motions
/// among each other, it is `E` inverse times the slips, scaled.
fn least(motions: &[Vec<f64>], slips: &[f64], inertias: &[f64]) -> Option<Vec<f64>> {
    let energy = |a: &[f64], b: &[f64]| -> f64 {
        a.iter().zip(b).zip(inertias).map(|((a, b), inertia)| a * b * inertia).sum()
    };
    let rows = motions
        .iter()
        .zip(slips)
        .map(|(a, slip)| motions.iter().map(|b| energy(a, b)).chain([*slip]).collect());
    let shares = solved(rows.collect())?;
    let slip: f64 = shares.iter().zip(slips).map(|(share, slip)| share * slip).sum();
    if slip.abs() < 1e-12 {
        return None;
    }
    let shafts = 0..inertias.len();
    let speed = |shaft: usize| -> f64 {
        motions.iter().zip(&shares).map(|(motion, share)| motion[shaft] * share / slip).sum()
    };
    Some(shafts.map(speed).collect())
}

/// Gaussian elimination with the largest pivot; the last column is the right side.
fn solved(mut rows: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let count = rows.len();
    for at in 0..count {
        let largest =
            (at..count).max_by(|a, b| rows[*a][at].abs().total_cmp(&rows[*b][at].abs()))?;
        rows.swap(at, largest);
        let pivot = rows[at].clone();
        if pivot[at].abs() < 1e-15 {
            return None;
        }
        for (_, row) in rows.iter_mut().enumerate().filter(|(other, _)| *other != at) {
            let share = row[at] / pivot[at];
            row.iter_mut().zip(&pivot).for_each(|(x, p)| *x -= share * p);
        }
    }
    Some((0..count).map(|at| rows[at][count] / rows[at][at]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::driveline::{demo, parse};
    use crate::kinematics::analyse;

    /// Two shafts that only this lock joins turn against each other when it slips: written down by hand.
    #[test]
    fn a_lock_between_two_free_shafts_carries_what_they_need() {
        let d = parse("shuttle", demo("shuttle").expect("embedded")).expect("valid").driveline;
        let k = analyse(&d).expect("moves");
        // Ring-brake and engine-clutch closed; without the latter generator and crank turn each by itself.
        let per = per_acceleration(&d, &k, 0b101, 2).expect("it slips");
        let (generator, crank) = (3, 4);
        let [g, c] = [generator, crank].map(|s| d.shafts[s].inertia_kg_m2.expect("stated"));
        // A slip of one with the least energy: each turns the less, the more inertia it has.
        let share = c / (g + c);
        let expected = [(generator, g * share), (crank, c * (share - 1.0))];
        for (shaft, nm) in expected {
            assert!((per[shaft] - nm).abs() < 1e-9, "{shaft}: {} {nm}", per[shaft]);
        }
        for shaft in [0, 1, 2] {
            assert!(per[shaft].abs() < 1e-12, "{shaft}: {}", per[shaft]);
        }
        let mut truth = TickTruth { dt_s: 0.001, ..TickTruth::default() };
        truth.speed_radps[crank] = 0.2;
        let added = added_nm(&per, &[0.0; MAX_SHAFTS], &truth);
        assert!((added - 200.0 * c * g / (g + c)).abs() < 1e-9, "{added}");
        // Nothing is known without an inertia, or where no motion slips.
        let mut unknown = d.clone();
        unknown.shafts[crank].inertia_kg_m2 = None;
        assert_eq!(per_acceleration(&unknown, &k, 0b101, 2), None);
        assert_eq!(least(&[vec![1.0, 1.0]], &[0.0], &[0.1, 0.1]), None);
    }

    #[test]
    fn equations_are_solved_and_those_without_a_solution_are_not() {
        let rows = vec![vec![0.0, 2.0, 4.0], vec![1.0, 1.0, 5.0]];
        assert_eq!(solved(rows), Some(vec![3.0, 2.0]));
        assert_eq!(solved(vec![vec![1.0, 2.0, 3.0], vec![2.0, 4.0, 6.0]]), None);
        assert_eq!(solved(Vec::new()), Some(Vec::new()));
    }
}
