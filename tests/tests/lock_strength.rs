//! What the machines can make a lock carry, against a second method: every corner of what they can give, the rest
//! of them solved from the balance, in floating point.

use host_sim::driveline::{Driveline, MachineKind};
use host_sim::exact::to_f64;
use host_sim::kinematics::{Kinematics, LockSet, LockTorque, Overload, analyse, overloads};
use host_sim::survey;
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use slipwarden_tests::random::{Dice, driveline};

/// Least and most torque of each machine in a lock set; nothing from one that is held.
fn ranges(d: &Driveline, set: &LockSet) -> Vec<(f64, f64)> {
    let one = |(m, machine): (usize, &host_sim::driveline::Machine)| match &machine.kind {
        _ if set.held_machines.contains(&m) => (0.0, 0.0),
        MachineKind::Electric(e) => {
            let most = e.max_torque_nm.expect("stated");
            (-most, most)
        }
        MachineKind::Engine(e) => {
            let most = e.torque_curve_rpm_nm.iter().fold(0.0, |most: f64, point| most.max(point.1));
            (-e.drag_nm, most)
        }
    };
    d.machines.iter().enumerate().map(one).collect()
}

/// The largest magnitude of a lock's torque over every corner: some machines at an end of what they give, the others as
/// the balance of all motions in which the output stands wants them.
fn most_nm(d: &Driveline, set: &LockSet, lock: &LockTorque) -> f64 {
    let (n, ranges) = (d.machines.len(), ranges(d, set));
    let still: Vec<_> =
        set.basis.iter().filter(|motion| to_f64(&motion[d.output.shaft]) == 0.0).collect();
    let balance =
        DMatrix::from_fn(still.len(), n, |row, m| to_f64(&still[row][d.machines[m].shaft]));
    let mut most = 0.0f64;
    for corner in 0..3usize.pow(n as u32) {
        let choice: Vec<usize> = (0..n).map(|m| corner / 3usize.pow(m as u32) % 3).collect();
        let at_end = |m: usize| match choice[m] {
            0 => ranges[m].0,
            1 => ranges[m].1,
            _ => 0.0,
        };
        let free: Vec<usize> = (0..n).filter(|&m| choice[m] == 2).collect();
        let mut torques = DVector::from_fn(n, |m, _| at_end(m));
        if !free.is_empty() && !still.is_empty() {
            let left = DMatrix::from_fn(still.len(), free.len(), |r, c| balance[(r, free[c])]);
            let right = -(&balance * &torques);
            let solved = left.svd(true, true).solve(&right, 1e-10).expect("decomposed");
            free.iter().zip(solved.iter()).for_each(|(&m, nm)| torques[m] = *nm);
        }
        let size = 1.0 + torques.norm();
        let inside = |m: usize| {
            ranges[m].0 - 1e-9 * size <= torques[m] && torques[m] <= ranges[m].1 + 1e-9 * size
        };
        if (&balance * &torques).norm() < 1e-9 * size && (0..n).all(inside) {
            let terms = lock.per_machine.iter().zip(torques.iter());
            let carried: f64 = terms.map(|(share, nm)| to_f64(share) * nm).sum();
            most = most.max(carried.abs());
        }
    }
    most
}

/// All that is told and nothing else, of every lock that machines alone load.
fn check(d: &Driveline, k: &Kinematics) -> (usize, usize) {
    let told = overloads(d, k);
    let (mut over, mut under) = (0, 0);
    for set in &k.sets {
        for lock in &set.torque.locks {
            let found: Vec<&Overload> =
                told.iter().filter(|o| o.closed == set.closed && o.lock == lock.lock).collect();
            let output = to_f64(&lock.per_output) != 0.0;
            if set.verdict.is_forbidden() || output {
                assert!(found.is_empty(), "{}", d.name);
                continue;
            }
            let (most, capacity) = (most_nm(d, set, lock), d.locks[lock.lock].capacity_nm.unwrap());
            let what = format!("{} set {:b} lock {}: {most}", d.name, set.closed, lock.lock);
            if (most - capacity).abs() < 1e-6 * most {
                continue;
            }
            assert_eq!(found.len(), usize::from(most > capacity), "{what} of {capacity}");
            if let Some(found) = found.first() {
                assert!((to_f64(&found.torque_nm) - most).abs() < 1e-6 * most, "{what}");
                let terms = lock.per_machine.iter().zip(&found.machines_nm);
                let carried: f64 = terms.map(|(share, nm)| to_f64(share) * to_f64(nm)).sum();
                assert!((carried.abs() - most).abs() < 1e-6 * most, "{what}: by its own torques");
                over += 1;
            } else {
                under += 1;
            }
        }
    }
    (over, under)
}

#[test]
fn every_lock_that_can_be_overloaded_is_told() {
    let mut dice = Dice::new(4711);
    let (mut over, mut under) = (0, 0);
    let mut add = |(o, u): (usize, usize)| {
        over += o;
        under += u;
    };
    for mut d in [shuttle(), railcar(), axle()] {
        let k = analyse(&d).expect("it moves");
        for _ in 0..4 {
            d.locks.iter_mut().for_each(|l| l.capacity_nm = Some(f64::from(dice.whole(10, 800))));
            add(check(&d, &k));
        }
    }
    for seed in 0..600 {
        let mut d = driveline(seed);
        for machine in &mut d.machines {
            match &mut machine.kind {
                MachineKind::Electric(e) => e.max_torque_nm = Some(f64::from(dice.whole(50, 400))),
                MachineKind::Engine(e) => {
                    e.torque_curve_rpm_nm = vec![(800.0, f64::from(dice.whole(100, 400)))];
                    e.drag_nm = f64::from(dice.whole(0, 40));
                }
            }
        }
        d.locks.iter_mut().for_each(|l| l.capacity_nm = Some(f64::from(dice.whole(10, 800))));
        let Ok(k) = analyse(&d) else { continue };
        add(check(&d, &k));
    }
    println!("{over} overloads, {under} locks that hold");
    assert!(over > 1000 && under > 1000, "{over} {under}");
}

/// What a campaign found of the railcar when its input brake held 1200 Nm: it slipped while the cross clutch was closed. By
/// hand: both suns give 330 + 400 * 78/30 Nm on the first sun, 62/34 of that is the ring's.
#[test]
fn a_brake_that_two_machines_overload_is_told_and_the_demos_have_none() {
    for d in [shuttle(), railcar(), axle()] {
        let k = analyse(&d).expect("it moves");
        assert_eq!(overloads(&d, &k), [], "{}", d.name);
        assert!(!survey::text(&d, &k, 100).contains("can overload"), "{}", d.name);
        assert_eq!(survey::json(&d, &k)["overloads"], serde_json::json!([]));
    }
    let mut d = railcar();
    let brake = d.locks.iter_mut().find(|lock| lock.name == "input-brake").expect("a lock");
    brake.capacity_nm = Some(1200.0);
    let k = analyse(&d).expect("it moves");
    let told = survey::json(&d, &k)["overloads"].clone();
    assert_eq!(told.as_array().expect("a list").len(), 1);
    assert_eq!(told[0]["lock"], "input-brake");
    assert_eq!(told[0]["closed"], serde_json::json!(["cross-clutch", "input-brake"]));
    let by_hand = (330.0 + 400.0 * 78.0 / 30.0) * 62.0 / 34.0;
    assert!((told[0]["torque_nm"].as_f64().expect("a number") - by_hand).abs() < 1e-9);
    let text = survey::text(&d, &k, 120);
    assert!(text.contains("input-brake (plates for 1200 Nm): 2498.2 Nm"), "{text}");
    assert!(text.contains("330 Nm of first-machine and -400 Nm of second-machine"), "{text}");
}
