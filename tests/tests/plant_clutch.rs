//! Two discs and a clutch against closed forms and published worked examples.
//!
//! Formulas: Shigley's Mechanical Engineering Design, ch. 16 (constant clutch torque):
//! time = I1 I2 dw / (T (I1 + I2)), heat = I1 I2 dw^2 / (2 (I1 + I2)).

use host_sim::plant::{LockActual, PlantInputs, PlantModel, PlantState, step};
use slipwarden_tests::plant_drivelines::{bare, friction, friction_of, shaft, two_discs};
use supervisor::io::LockOrder;

const RADPS: f64 = std::f64::consts::PI / 30.0;

fn close_first() -> PlantInputs {
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    inputs
}

/// Time at which lock 0 sticks, in s. The cut lies inside a step; with free discs the clutch
/// carries `torque` before it and nothing after, so the step's mean torque tells where it lies.
fn engage(model: &PlantModel, state: &mut PlantState, torque: f64) -> f64 {
    for _ in 0..200_000 {
        step(model, state, &close_first());
        if state.lock(0).actual == LockActual::Locked {
            let share = state.lock(0).torque_nm.abs() / torque;
            return (state.steps() as f64 - 1.0 + share) * model.dt_s();
        }
    }
    panic!("the clutch never stuck: {:?}", state.lock(0));
}

fn near(value: f64, expected: f64, relative: f64) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{value} is not {expected}");
}

/// 10 kW at 2000 rpm; 20 kg with radius of gyration 75 mm, 35 kg with 125 mm.
/// Source: worked example of a textbook companion (t = 0.409285 s, E = 2046.422713 J).
#[test]
fn worked_example_of_two_discs() {
    let (i1, i2) = (20.0 * 0.075 * 0.075, 35.0 * 0.125 * 0.125);
    let speed = 2000.0 * RADPS;
    let torque = 10_000.0 / speed;
    let model = PlantModel::new(&two_discs(i1, i2, torque)).expect("complete");
    let mut state = PlantState::at(&model, 0.0, 0, &[(0, speed)]).expect("free");
    let time = engage(&model, &mut state, torque);
    near(time, 0.409285, 1.3e-6); // their figure has six digits
    near(state.lock(0).heat_j, 2046.422713, 1e-8);
    near(time, i1 * i2 * speed / (torque * (i1 + i2)), 1e-8);
    near(state.lock(0).slip_at_touch_radps, speed, 1e-15);
    assert_eq!(state.lock(0).closings, 1);
}

/// I = 54.08 and 68.34 kg m2 at 1250 and 600 rpm: common speed 92.9004 rad/s, heat 69 947.66 J.
/// Source: worked homework with a stated rounding of 2e-4; the exact closed form to 1e-9.
#[test]
fn worked_homework_of_two_flywheels() {
    let (i1, i2) = (54.08, 68.34);
    let (w1, w2) = (1250.0 * RADPS, 600.0 * RADPS);
    let model = PlantModel::new(&two_discs(i1, i2, 500.0)).expect("complete");
    let mut state = PlantState::at(&model, w2, 0, &[(0, w1)]).expect("free");
    engage(&model, &mut state, 500.0);
    let common = state.speeds_radps()[0];
    near(common, 92.9004, 2e-4);
    near(state.lock(0).heat_j, 69_947.66, 2e-4);
    near(common, (i1 * w1 + i2 * w2) / (i1 + i2), 1e-9);
    near(state.lock(0).heat_j, i1 * i2 * (w1 - w2).powi(2) / (2.0 * (i1 + i2)), 1e-9);
    assert!(state.slip_radps(&model, 0).abs() < 1e-12);
}

/// 150 kg with radius of gyration 250 mm at 1440 rpm holds 106.591728 kJ (textbook companion):
/// the energy book's kinetic energy, and all of it ends as heat in a brake.
#[test]
fn a_brake_takes_all_the_kinetic_energy() {
    let inertia = 150.0 * 0.25 * 0.25;
    let mut d = bare(vec![shaft("wheel", inertia), shaft("output", 1.0)], 1);
    d.locks = vec![friction("brake", 0, None, 300.0, 0.0)];
    let model = PlantModel::new(&d).expect("complete");
    let speed = 1440.0 * RADPS;
    let mut state = PlantState::at(&model, 0.0, 0, &[(0, speed)]).expect("free");
    near(state.energy().kinetic_j, 106_591.728, 1e-8);
    let time = engage(&model, &mut state, 300.0);
    near(time, inertia * speed / 300.0, 1e-9);
    near(state.lock(0).heat_j, 106_591.728, 1e-8);
    assert!(state.speeds_radps()[0].abs() < 1e-12);
}

/// With machine torque on both sides the slip still falls linearly: closed form of the slip's
/// differential equation dw' = T1/I1 - T2/I2 - Tc (1/I1 + 1/I2).
#[test]
fn engagement_under_load_on_both_sides() {
    let (i1, i2, tc) = (0.3, 0.8, 120.0);
    let model = PlantModel::new(&two_discs(i1, i2, tc)).expect("complete");
    let mut state = PlantState::at(&model, 20.0, 0, &[(0, 190.0)]).expect("free");
    let mut inputs = close_first();
    inputs.torque_nm = [40.0, -25.0, 0.0, 0.0];
    let rate = 40.0 / i1 + 25.0 / i2 - tc * (1.0 / i1 + 1.0 / i2);
    let time: f64 = -170.0 / rate;
    let steps = (time / model.dt_s()).floor() as u64 + 1;
    for _ in 0..steps - 1 {
        step(&model, &mut state, &inputs);
        assert_eq!(state.lock(0).actual, LockActual::Slipping);
    }
    step(&model, &mut state, &inputs);
    assert_eq!(state.lock(0).actual, LockActual::Locked);
    near(state.lock(0).heat_j, tc * 170.0 * time / 2.0, 1e-9);
    step(&model, &mut state, &inputs);
    // Locked: the clutch carries what moves disc 2 with the common acceleration.
    let common = 15.0 / (i1 + i2);
    near(state.lock(0).torque_nm, -(i2 * common + 25.0), 1e-9);
}

/// A locked clutch breaks away at exactly its (static) capacity, and then slides at the
/// sliding capacity: Coulomb's law.
#[test]
fn break_away_at_exactly_the_static_capacity() {
    let (i1, i2) = (0.3, 0.3);
    let mut d = two_discs(i1, i2, 100.0);
    friction_of(&mut d.locks[0]).static_ratio = 1.25;
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, 50.0, 1, &[]).expect("closed");
    // Equal discs: the clutch carries half the torque difference, so 250 Nm ask for 125 Nm.
    for (torque, locked) in [(249.9, true), (250.0, true), (250.1, false)] {
        let mut inputs = close_first();
        inputs.torque_nm = [torque, 0.0, 0.0, 0.0];
        let mut trial = state;
        step(&model, &mut trial, &inputs);
        assert_eq!(trial.lock(0).actual == LockActual::Locked, locked, "at {torque} Nm");
        let carried = if locked { torque / 2.0 } else { 100.0 };
        near(-trial.lock(0).torque_nm, carried, 1e-12);
    }
    // And the other way round.
    let mut inputs = close_first();
    inputs.torque_nm = [0.0, 250.1, 0.0, 0.0];
    step(&model, &mut state, &inputs);
    assert_eq!(state.lock(0).actual, LockActual::Slipping);
    near(state.lock(0).torque_nm, 100.0, 1e-12);
}

/// Fill, ramp and release take the stated times; a prefilled lock carries nothing; one that is
/// closed from the kiss point carries torque at once.
#[test]
fn actuator_times_are_those_of_the_file() {
    let mut d = two_discs(0.5, 50.0, 200.0);
    d.locks[0].close_ms = 90.0;
    d.locks[0].release_ms = 60.0;
    friction_of(&mut d.locks[0]).ramp_ms = 40.0;
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, 0.0, 0, &[(0, 900.0)]).expect("free");
    let run = |state: &mut PlantState, order: LockOrder, steps: u32| {
        let mut inputs = PlantInputs::default();
        inputs.locks[0] = order;
        for _ in 0..steps {
            step(&model, state, &inputs);
        }
    };
    run(&mut state, LockOrder::Close, 90);
    assert_eq!((state.lock(0).actual, state.lock(0).torque_nm), (LockActual::Filling, 0.0));
    run(&mut state, LockOrder::Close, 20);
    near(state.lock(0).pressure, 0.5, 1e-9);
    run(&mut state, LockOrder::Close, 20);
    near(state.lock(0).pressure, 1.0, 1e-9);
    run(&mut state, LockOrder::Close, 1);
    near(state.lock(0).torque_nm, -200.0, 1e-9);
    run(&mut state, LockOrder::Open, 30);
    near(state.lock(0).pressure, 0.5, 1e-9);
    run(&mut state, LockOrder::Open, 30);
    assert_eq!(state.lock(0).pressure, 0.0);
    assert_eq!(state.lock(0).actual, LockActual::Filling, "it still has to drain");
    run(&mut state, LockOrder::Prefill, 200);
    assert_eq!((state.lock(0).actual, state.lock(0).fill), (LockActual::Filling, 1.0));
    run(&mut state, LockOrder::Prefill, 1);
    assert_eq!(state.lock(0).torque_nm, 0.0);
    run(&mut state, LockOrder::Close, 1);
    assert_eq!(state.lock(0).actual, LockActual::Slipping);
}

/// The ramp itself: slip after it against the exact integral of a linearly rising torque.
#[test]
fn slip_after_a_ramp_is_the_integral_of_the_ramp() {
    let (i1, i2, tc) = (0.5, 0.5, 100.0);
    let mut d = two_discs(i1, i2, tc);
    d.locks[0].close_ms = 7.0;
    friction_of(&mut d.locks[0]).ramp_ms = 33.0;
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, 0.0, 0, &[(0, 300.0)]).expect("free");
    for _ in 0..40 {
        step(&model, &mut state, &close_first());
    }
    let expected = 300.0 - 0.5 * tc * 0.033 * (1.0 / i1 + 1.0 / i2);
    near(state.slip_radps(&model, 0), expected, 1e-12);
    // Temperature: all heat into the plates, cooling over 60 s is below 1 in 1000 here.
    let f = friction_of(&mut d.locks[0]);
    let rise = state.lock(0).heat_j / (1e3 * f.heat_capacity_kj_per_k);
    near(state.lock(0).rise_k, rise, 1e-3);
}
