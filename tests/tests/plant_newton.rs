//! Newton's second law and impact from outside: the torques that the plant reports against the
//! accelerations it makes, and dog impacts against a saddle-point solution by nalgebra.
//!
//! Motions that leave the output at rest need no road data: along each of them (an exact null
//! vector of the gear rows, written here from tooth counts) inertia times change of speed must
//! equal the impulse of machines and locks. This checks every reported lock torque.

use host_sim::driveline::{Driveline, LockKind, Planet};
use host_sim::exact::{Matrix, Q, int, to_f64};
use host_sim::plant::random::Random;
use host_sim::plant::{PlantInputs, PlantModel, PlantState, step};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::plant_drivelines::{bare, dog, planetary, random, shaft};
use supervisor::io::LockOrder;

fn gears(d: &Driveline) -> Vec<Vec<Q>> {
    let n = d.shafts.len();
    let mut rows = vec![];
    for p in &d.planetaries {
        let mut row = vec![int(0); n];
        let sun = if p.planet == Planet::Single { 1 } else { -1 } * i64::from(p.sun_teeth);
        let ring = i64::from(p.ring_teeth);
        row[p.sun] = int(sun);
        row[p.ring] = int(ring);
        row[p.carrier] = int(-sun - ring);
        rows.push(row);
    }
    for g in &d.gear_pairs {
        let mut row = vec![int(0); n];
        row[g.a] = int(1);
        row[g.b] = -g.ratio.clone();
        rows.push(row);
    }
    rows
}

/// Null vectors of the gears with the output at rest.
fn inner_motions(d: &Driveline) -> Vec<Vec<f64>> {
    let mut rows = gears(d);
    let mut output = vec![int(0); d.shafts.len()];
    output[d.output.shaft] = int(1);
    rows.push(output);
    let basis = Matrix::new(d.shafts.len(), rows).null_space();
    basis.iter().map(|v| v.iter().map(to_f64).collect()).collect()
}

/// Largest violation over a run, relative to the torques; and how many balances were looked at.
fn worst_balance(d: &Driveline, seed: u64) -> (f64, u32) {
    let Ok(model) = PlantModel::new(d) else { return (0.0, 0) };
    let motions = inner_motions(d);
    let mut r = Random::new(seed);
    let mut state = PlantState::rest(&model);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    let (mut worst, mut seen) = (0.0_f64, 0);
    for n in 0..3000 {
        if n % 30 == 0 {
            let lock = r.below(d.locks.len() as u64) as usize;
            let close = r.below(2) == 0;
            inputs.locks[lock] = if close { LockOrder::Close } else { LockOrder::Open };
            inputs.torque_nm[r.below(3) as usize] = 150.0 * r.signed_unit();
        }
        let before = state;
        step(&model, &mut state, &inputs);
        let impact = (0..d.locks.len()).any(|i| {
            matches!(d.locks[i].kind, LockKind::Dog(_))
                && before.lock(i).closings != state.lock(i).closings
        });
        if impact {
            continue; // impulses are no torques; tested below
        }
        let mut torque = vec![0.0; d.shafts.len()];
        for (m, machine) in d.machines.iter().enumerate() {
            torque[machine.shaft] += state.machine(m).torque_nm;
        }
        for (i, lock) in d.locks.iter().enumerate() {
            torque[lock.a] += state.lock(i).torque_nm;
            if let Some(b) = lock.b {
                torque[b] -= state.lock(i).torque_nm;
            }
        }
        for v in &motions {
            let (mut error, mut size) = (0.0, 1.0);
            for s in 0..d.shafts.len() {
                let change = state.speeds_radps()[s] - before.speeds_radps()[s];
                let inertia = d.shafts[s].inertia_kg_m2.unwrap_or(0.0) * change / model.dt_s();
                error += v[s] * (inertia - torque[s]);
                size += (v[s] * torque[s]).abs() + (v[s] * inertia).abs();
            }
            worst = worst.max(error.abs() / size);
            seen += 1;
        }
    }
    (worst, seen)
}

/// 1e-8: a change of speed in 1 ms is a small difference of large numbers (about 1e-13 of
/// 100 rad/s against 1e-3 rad/s).
#[test]
fn reported_torques_make_the_accelerations() {
    let mut seen = 0;
    for seed in 0..100 {
        let mut d = random(seed);
        d.planetaries.iter_mut().for_each(|p| p.mesh_efficiency = 1.0);
        d.gear_pairs.iter_mut().for_each(|g| g.mesh_efficiency = 1.0);
        let (error, count) = worst_balance(&d, seed);
        assert!(error < 1e-8, "seed {seed}: {error}");
        seen += count;
    }
    assert!(seen > 200_000);
}

/// A ring brake goes in while the whole set turns: speeds after the impact from the saddle point
/// of momentum, gears and the new constraint.
#[test]
fn impact_inside_a_planetary_set() {
    let inertia = [0.04, 0.015, 6.0];
    let mut d = bare(
        vec![shaft("sun", inertia[0]), shaft("ring", inertia[1]), shaft("carrier", inertia[2])],
        2,
    );
    d.planetaries = vec![planetary(0, 1, 2, 30, 72)];
    d.locks = vec![dog("brake", 1, None, 900.0, 20.0)];
    let model = PlantModel::new(&d).expect("complete");
    let start = PlantState::at(&model, 120.0, 0, &[(1, -1.8)]).expect("free");
    let w = start.speeds_radps();
    let mut k = DMatrix::zeros(5, 5);
    let mut rhs = DVector::zeros(5);
    for s in 0..3 {
        k[(s, s)] = inertia[s];
        rhs[s] = inertia[s] * w[s];
    }
    for (s, value) in [30.0, 72.0, -102.0].into_iter().enumerate() {
        k[(s, 3)] = value;
        k[(3, s)] = value;
    }
    k[(1, 4)] = 1.0;
    k[(4, 1)] = 1.0;
    let after = k.lu().solve(&rhs).expect("regular");
    let mut state = start;
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    while !state.lock(0).engaged {
        step(&model, &mut state, &inputs);
        assert!(state.steps() < 200);
    }
    for s in 0..3 {
        let error = (state.speeds_radps()[s] - after[s]).abs();
        assert!(error < 1e-10 * 300.0, "shaft {s}: {} not {}", state.speeds_radps()[s], after[s]);
    }
    let energy =
        |w: &dyn Fn(usize) -> f64| -> f64 { (0..3).map(|s| 0.5 * inertia[s] * w(s) * w(s)).sum() };
    let lost = energy(&|s| w[s]) - energy(&|s| after[s]);
    assert!(lost > 0.0 && (state.energy().impact_j - lost).abs() < 1e-9 * energy(&|s| w[s]));
}
