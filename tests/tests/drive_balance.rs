//! The drive controller's torque balance against a second method (QR by a general
//! linear-algebra crate) on random drivelines, and against known static torques.

use host_sim::drive::balance::{Asked, Balance, Part};
use host_sim::drive::motion::{Motion, motion};
use host_sim::driveline::{self, Driveline};
use host_sim::plant::random::Random;
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::plant_drivelines;

/// What is left of the balance of virtual power over the free motions when accelerations
/// with the output at constant speed explain as much of it as they can, Nm.
fn residual_nm(d: &Driveline, m: &Motion, torque_nm: &[f64], output_nm: f64) -> f64 {
    let (shafts, free) = (d.shafts.len(), m.basis.cols());
    let n = DMatrix::from_fn(shafts, free, |r, c| m.basis.at(r, c));
    let inertia = DMatrix::from_diagonal(&DVector::from_iterator(
        shafts,
        d.shafts.iter().map(|s| s.inertia_kg_m2.unwrap_or(0.0)),
    ));
    let mut load = DVector::zeros(shafts);
    for (machine, nm) in d.machines.iter().zip(torque_nm) {
        load[machine.shaft] += nm;
    }
    load[d.output.shaft] -= output_nm;
    let left = n.transpose() * load;
    // Motions that keep the output's speed: a mirror that turns its row into the first axis
    // leaves them in the other columns.
    let out = n.row(d.output.shaft).transpose();
    let keep = if out.norm() > 1e-9 {
        let mut normal = out.clone();
        normal[0] += out[0].signum() * out.norm();
        let mirror = DMatrix::identity(free, free)
            - &normal * normal.transpose() * (2.0 / normal.norm_squared());
        mirror.columns(1, free - 1).into_owned()
    } else {
        DMatrix::identity(free, free)
    };
    if keep.ncols() == 0 {
        return left.norm();
    }
    let map = n.transpose() * inertia * &n * keep;
    let qr = map.clone().qr();
    let explained = qr
        .r()
        .solve_upper_triangular(&(qr.q().transpose() * &left))
        .expect("inertias are positive, so the motions are independent");
    (left - map * explained).norm()
}

/// A value for each machine, in order.
fn each(d: &Driveline, mut value: impl FnMut() -> f64) -> [f64; 4] {
    let mut values = [0.0; 4];
    values.iter_mut().take(d.machines.len()).for_each(|slot| *slot = value());
    values
}

#[test]
fn every_answer_is_in_balance_on_random_drivelines() {
    let parts = [Part::Shares, Part::HoldsSpeed, Part::Given];
    let mut checked = 0;
    for seed in 0..60 {
        let d = plant_drivelines::random(seed);
        let mut r = Random::new(seed + 1);
        for set in 0..(1u16 << d.locks.len()).min(32) {
            let m = motion(&d, set as u8);
            if m.basis.cols() == 0 {
                continue;
            }
            let pattern: Vec<Part> =
                d.machines.iter().map(|_| parts[r.below(3) as usize]).collect();
            let asked = Asked {
                output_nm: 500.0 * r.signed_unit(),
                torque_nm: each(&d, || 100.0 * r.signed_unit()),
                acceleration_radps2: each(&d, || 300.0 * r.signed_unit()),
            };
            let answer = Balance::new(&d, &m, &pattern).answer(&asked);
            let scale = 1.0
                + answer.torque_nm.iter().map(|t| t.abs()).sum::<f64>()
                + answer.output_nm.abs();
            assert!(scale.is_finite(), "seed {seed} set {set}");
            let residual = residual_nm(&d, &m, &answer.torque_nm, answer.output_nm);
            assert!(residual < 1e-7 * scale, "seed {seed} set {set}: {residual} of {scale} Nm");
            for ((part, nm), given) in pattern.iter().zip(&answer.torque_nm).zip(&asked.torque_nm) {
                let kept = *part != Part::Given || (nm - given).abs() < 1e-6 * scale;
                assert!(kept, "seed {seed} set {set}: {nm} is not the given {given}");
            }
            checked += 1;
        }
    }
    assert!(checked > 300, "only {checked} lock sets");
}

#[test]
fn the_second_method_sees_an_answer_out_of_balance() {
    let d = driveline::parse("shuttle", driveline::demo("shuttle").expect("a demo"))
        .expect("valid")
        .driveline;
    let m = motion(&d, 0b010);
    let off = residual_nm(&d, &m, &[300.0 / 3.2, 0.0, 0.0], 300.0);
    let on = residual_nm(&d, &m, &[300.0 / 3.2, 0.6875 * 300.0, 0.0], 300.0);
    // Without the generator's torque the ring runs away and takes torque from the output.
    assert!(on < 1e-9 && off > 1.0, "{on} and {off} Nm");
    // One freedom less (the ring held): only the right sun torque carries the output.
    let m = motion(&d, 0b001);
    assert!(residual_nm(&d, &m, &[300.0 / 3.2, 0.0, 0.0], 300.0) < 1e-9);
    assert!(residual_nm(&d, &m, &[80.0, 0.0, 0.0], 300.0) > 10.0);
}

#[test]
fn steady_torques_of_the_shuttle_are_the_known_ones() {
    // Recomputed independently: traction = output / 3.2, ring = 0.6875 x output.
    let d = driveline::parse("shuttle", driveline::demo("shuttle").expect("a demo"))
        .expect("valid")
        .driveline;
    let steady = Asked { output_nm: 300.0, ..Asked::default() };
    let parts = [Part::Shares, Part::Shares, Part::Given];
    let single = Balance::new(&d, &motion(&d, 0b001), &parts).answer(&steady);
    assert!((single.torque_nm[0] - 93.75).abs() < 1e-6, "{single:?}");
    assert!(single.torque_nm[1].abs() < 1e-6, "{single:?}");
    let dual = Balance::new(&d, &motion(&d, 0b010), &parts).answer(&steady);
    assert!((dual.torque_nm[0] - 93.75).abs() < 1e-6, "{dual:?}");
    assert!((dual.torque_nm[1] - 206.25).abs() < 1e-6, "{dual:?}");
    // Nothing can push the output with every lock open: the torque is given up, no shaft.
    let open = Balance::new(&d, &motion(&d, 0), &parts).answer(&steady);
    assert!(open.output_nm.abs() < 1e-6 && open.torque_nm[0].abs() < 1e-6, "{open:?}");
}
