//! Random drivelines under random orders, torques and faults: no panic, friction never gives
//! energy, held locks hold, gears hold, the energy book closes, and Coulomb's law is kept.

use host_sim::driveline::{Driveline, LockKind, Planet};
use host_sim::exact::to_f64;
use host_sim::plant::random::Random;
use host_sim::plant::{
    ActuatorFault, LockActual, PlantInputs, PlantModel, PlantState, SwitchFault, TorqueFault, step,
};
use slipwarden_tests::plant_drivelines::{random, shuttle_full};
use supervisor::io::LockOrder;

/// Changes some of the inputs now and then; `wild` also brings faults and values out of range.
fn stir(inputs: &mut PlantInputs, r: &mut Random, locks: usize, wild: bool) {
    let lock = r.below(locks as u64) as usize;
    inputs.locks[lock] = match r.below(5) {
        0 => LockOrder::Prefill,
        1 | 2 => LockOrder::Close,
        _ => LockOrder::Open,
    };
    let machine = r.below(4) as usize;
    inputs.torque_nm[machine] = 300.0 * r.signed_unit() * r.unit();
    inputs.engine_run = r.below(3) > 0;
    inputs.brake_nm = if r.below(3) == 0 { 2000.0 * r.unit() } else { 0.0 };
    inputs.grade = 0.1 * r.signed_unit();
    if !wild {
        return;
    }
    let f = &mut inputs.faults;
    f.locks[lock].actuator = match r.below(8) {
        0 => ActuatorFault::StuckOpen,
        1 => ActuatorFault::StuckClosed,
        2 => ActuatorFault::OpensByItself,
        3 => ActuatorFault::ClosesByItself,
        _ => ActuatorFault::None,
    };
    f.locks[lock].switch = if r.below(4) == 0 { SwitchFault::StuckOpen } else { SwitchFault::None };
    f.locks[lock].slow_close = 1.0 + 3.0 * r.unit();
    f.locks[lock].extra_drag_nm = 5.0 * r.unit();
    f.machines[machine].torque = match r.below(5) {
        0 => TorqueFault::Lost,
        1 => TorqueFault::WrongSign,
        _ => TorqueFault::None,
    };
    f.sensors[r.below(8) as usize].stuck = r.below(2) == 0;
    f.supply_lost = r.below(20) == 0;
    if r.below(10) == 0 {
        inputs.torque_nm[machine] = [f64::NAN, f64::INFINITY, -1e300][r.below(3) as usize];
        inputs.brake_nm = f64::NAN;
        inputs.grade = f64::NEG_INFINITY;
        f.locks[lock].slow_release = f64::NAN;
    }
}

/// Largest error of any gear row, in rad/s; computed from tooth counts, not from the plant.
fn gear_error(d: &Driveline, w: &[f64]) -> f64 {
    let sets = d.planetaries.iter().map(|p| {
        let (zs, zr) = (f64::from(p.sun_teeth), f64::from(p.ring_teeth));
        let zs = if p.planet == Planet::Single { zs } else { -zs };
        (zs * w[p.sun] + zr * w[p.ring] - (zs + zr) * w[p.carrier]) / zr
    });
    let pairs = d.gear_pairs.iter().map(|g| w[g.a] - to_f64(&g.ratio) * w[g.b]);
    sets.chain(pairs).fold(0.0, |most: f64, e| most.max(e.abs()))
}

fn check_locks(
    d: &Driveline,
    model: &PlantModel,
    before: &PlantState,
    now: &PlantState,
    slid: &mut u32,
) {
    for (i, lock) in d.locks.iter().enumerate() {
        let (old, new) = (before.lock(i), now.lock(i));
        let slip = now.slip_radps(model, i);
        let largest = now.speeds_radps().iter().fold(1.0, |m: f64, w| m.max(w.abs()));
        if new.actual == LockActual::Locked {
            assert!(slip.abs() < 1e-9 * largest, "lock {i} is held and slips {slip}");
        }
        let gained = old.heat_j - new.heat_j;
        assert!(gained <= 1e-9 * old.heat_j.max(1.0), "lock {i} gave {gained} J");
        if let LockKind::Friction(f) = &lock.kind {
            let most = lock.capacity_nm.unwrap_or(0.0) * f.static_ratio;
            let drag = lock.drag_nm + 5.0;
            let limit = (most * old.pressure.max(new.pressure)).max(drag) * (1.0 + 1e-9);
            assert!(new.torque_nm.abs() <= limit, "lock {i}: {} over {limit}", new.torque_nm);
            // Sliding one way throughout at constant pressure: all of the sliding torque.
            let was = before.slip_radps(model, i);
            let applied = new.pressure * lock.capacity_nm.unwrap_or(0.0);
            let sliding = was * slip > 1.0 && slip.abs() < 2.0 * was.abs();
            if sliding && old.pressure == new.pressure && applied > drag + 5.0 {
                *slid += 1;
                let expected = -slip.signum() * applied;
                let off = (new.torque_nm - expected).abs();
                assert!(off < 1e-9 * applied, "lock {i}: {} not {expected}", new.torque_nm);
            }
        }
    }
}

/// No loss ever gives energy back.
fn check_losses(before: &PlantState, now: &PlantState) {
    let losses = |s: &PlantState| {
        let e = *s.energy();
        [e.impact_j, e.engine_drag_j, e.brake_j, e.final_drive_j, e.road_j, e.battery_loss_j]
    };
    for (old, new) in losses(before).iter().zip(&losses(now)) {
        assert!(new - old >= -1e-9 * old.abs().max(1.0), "{:?}", now.energy());
    }
}

/// Runs `d` for `steps` and checks every step; returns the final state and how often a lock was
/// seen sliding throughout a step.
fn soak(d: &Driveline, seed: u64, steps: u32, wild: bool) -> (PlantModel, PlantState, u32) {
    let model = PlantModel::new(d).expect("complete");
    let mut r = Random::new(seed);
    let mut state = PlantState::rest(&model).with_seed(&model, seed);
    let mut inputs = PlantInputs::default();
    let mut slid = 0;
    for _ in 0..steps {
        if r.below(25) == 0 {
            stir(&mut inputs, &mut r, d.locks.len(), wild);
        }
        let before = state;
        step(&model, &mut state, &inputs);
        check_losses(&before, &state);
        check_locks(d, &model, &before, &state, &mut slid);
        let w = state.speeds_radps();
        assert!(w.iter().all(|x| x.is_finite() && x.abs() < 1e6), "seed {seed}: {w:?}");
    }
    let largest = state.speeds_radps().iter().fold(1.0, |m: f64, w| m.max(w.abs()));
    assert!(gear_error(d, state.speeds_radps()) < 1e-12 * largest * 16.0);
    let book = state.energy();
    // Within one step a mesh may turn round and give back what rounding is made of; in all, never.
    assert!(book.mesh_j >= 0.0, "{book:?}");
    let turnover = book.scale_j() + book.machine_j.iter().map(|x| x.abs()).sum::<f64>();
    let residual = book.mechanical_residual_j().abs() / turnover.max(1.0);
    assert!(residual < 1e-9, "seed {seed}: residual {residual} of {turnover} J: {book:?}");
    (model, state, slid)
}

/// 300 random drivelines, four seconds each, with faults and absurd inputs.
#[test]
fn random_drivelines_under_random_orders() {
    let (mut closings, mut impacts, mut unresolved) = (0, 0, 0);
    let (mut built, mut slid) = (0, 0);
    for seed in 0..300 {
        let d = random(seed);
        if PlantModel::new(&d).is_err() {
            continue; // gears that hold everything
        }
        built += 1;
        let (_, state, seen) = soak(&d, seed, 4000, seed % 2 == 0);
        slid += seen;
        for (i, lock) in d.locks.iter().enumerate() {
            closings += state.lock(i).closings;
            impacts += u32::from(matches!(lock.kind, LockKind::Dog(_))) * state.lock(i).closings;
        }
        unresolved += state.unresolved();
    }
    assert!(built > 250 && slid > 10_000 && closings > 2000 && impacts > 200);
    assert_eq!(unresolved, 0);
}

/// Ten minutes of the shuttle: the energy book closes to rounding.
#[test]
fn energy_book_of_a_long_run_closes() {
    let d = shuttle_full();
    let (_, state, _) = soak(&d, 42, 600_000, true);
    let book = state.energy();
    assert!(book.mechanical_residual_j().abs() < 1e-9 * book.scale_j());
    // The electric side: what leaves the cells is work, losses and auxiliaries.
    let electric = book.machine_j[0] + book.machine_j[1];
    let spent = electric + book.machine_loss_j + book.auxiliary_j + book.battery_loss_j;
    // Angles are differences of a long way (1e5 rad), so 1e-8 here.
    assert!((book.battery_j - spent).abs() < 1e-8 * book.battery_j.abs());
    assert_eq!(state.unresolved(), 0);
}
