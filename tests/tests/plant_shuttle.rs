//! The demo shuttle's plant against figures recomputed by an independent program, the road
//! against closed forms, and standstill on a slope.

use host_sim::driveline::MachineKind;
use host_sim::plant::STANDARD_GRAVITY;
use host_sim::plant::{EngineActual, LockActual, PlantInputs, PlantModel, PlantState, step};
use slipwarden_tests::plant_drivelines::shuttle_shafts::*;
use slipwarden_tests::plant_drivelines::{electric, shuttle, shuttle_full};
use supervisor::io::LockOrder;

const RADPS: f64 = std::f64::consts::PI / 30.0;
const KMH: f64 = 1.0 / 3.6;

fn output_at(model: &PlantModel, kmh: f64) -> f64 {
    kmh * KMH / model.metres_per_radian()
}

/// Time in ms until the sun passes 9000 rpm after the ring reaction was lost at 110 km/h.
fn overspeed_ms(model: &PlantModel, sun_torque: f64) -> f64 {
    let closed = PlantState::at(model, output_at(model, 110.0), 0b001, &[]).expect("closed");
    let (sun, output) = (closed.speeds_radps()[SUN], closed.speeds_radps()[OUTPUT]);
    assert!((sun / RADPS - 8295.0).abs() < 1.0, "sun at {} rpm", sun / RADPS);
    // The reaction is lost at once: a start with every lock open at the speeds of before.
    let mut state = PlantState::at(model, output, 0, &[(SUN, sun)]).expect("same speeds");
    let mut inputs = PlantInputs::default();
    inputs.torque_nm[0] = sun_torque;
    while state.speeds_radps()[SUN] < 9000.0 * RADPS {
        step(model, &mut state, &inputs);
        assert!(state.steps() < 10_000);
    }
    state.time_s(model) * 1e3
}

/// After a lost ring reaction at 110 km/h and full torque the traction machine passes 9000 rpm
/// in 32 ms, and in 97 ms at road-load torque (independent recomputation, to 1 ms, with the
/// torque kept at its value at the fault). Our steps are 0.1 ms: 0.6 ms covers both roundings.
#[test]
fn lost_reaction_overspeeds_within_tens_of_milliseconds() {
    let mut d = shuttle();
    let at_fault = {
        let model = PlantModel::new(&d).expect("complete");
        model.torque_limit_nm(0, 3.2 * output_at(&model, 110.0))
    };
    assert!((at_fault - 155.4).abs() < 0.1, "135 kW at 8295 rpm: {at_fault} Nm");
    let limited = PlantModel::with_step(&d, 1e-4).expect("complete");
    d.machines[0] = electric("traction", SUN, 310.0, 1e6);
    let constant = PlantModel::with_step(&d, 1e-4).expect("complete");
    let full = overspeed_ms(&constant, at_fault);
    assert!((full - 32.0).abs() < 0.6, "{full} ms at full torque");
    // With the power limit the torque falls as the speed rises: later by the ratio of mean
    // torques, about (9000/8295 + 1)/2 = 1.042.
    let power_limited = overspeed_ms(&limited, 310.0);
    assert!((power_limited / full - 1.042).abs() < 0.005, "{power_limited} ms at full power");
    // The sun torque that carries the road load at 110 km/h on the level, with the losses of the
    // final drive (0.97) and of the set (0.988).
    let v = 110.0 * KMH;
    let load = (400.0 + 2.5 * v + v * v) * limited.metres_per_radian();
    let light = overspeed_ms(&limited, load / (3.2 * 0.97 * 0.988));
    assert!((light - 97.0).abs() < 0.6, "{light} ms at road-load torque");
}

/// Closing ring-clutch on the braked ring while the engine is joined at 1600 rpm.
fn wrong_closing(engine_clutch_nm: f64) -> (PlantModel, PlantState) {
    let mut d = shuttle();
    d.locks[2].capacity_nm = Some(engine_clutch_nm);
    if let MachineKind::Engine(e) = &mut d.machines[2].kind {
        e.drag_nm = 0.0;
    }
    let model = PlantModel::new(&d).expect("complete");
    let free = [(CRANK, 1600.0 * RADPS)];
    let state = PlantState::at(&model, output_at(&model, 50.0), 0b101, &free).expect("series");
    (model, state)
}

fn step_all_closed(model: &PlantModel, state: &mut PlantState) {
    let mut inputs = PlantInputs::default();
    inputs.locks[..3].fill(LockOrder::Close);
    step(model, state, &inputs);
    assert!(state.steps() < 1000);
}

/// It stops the engine 159 ms after the fill starts, with 3.7 kJ into the clutch (independent
/// recomputation: 90 ms fill, no ramp, 640 Nm on generator and crank as one, engine without
/// torque). Generator and crank are as one only if the engine clutch can carry 459 Nm.
#[test]
fn wrong_closing_ties_up_and_stops_the_engine() {
    let (model, mut state) = wrong_closing(1000.0);
    while state.lock(1).actual != LockActual::Locked {
        step_all_closed(&model, &mut state);
    }
    let ms = state.time_s(&model) * 1e3;
    assert!((ms - 159.4).abs() <= 1.0, "{ms} ms (their figure to 1 ms, our step 1 ms)");
    let energy = 0.5 * (0.075 + 0.19) * (1600.0 * RADPS).powi(2);
    assert!((energy - 3700.0).abs() < 50.0);
    assert!((state.lock(1).closing_j - energy).abs() < 1e-6 * energy, "{state:?}");
    assert!(state.speeds_radps()[CRANK].abs() < 1e-9);
    assert_eq!(state.lock(0).actual, LockActual::Locked, "the ring brake (900 Nm) holds 640 Nm");
}

/// With the file's 420 Nm the engine clutch slips, because holding the crank to the generator
/// would take 0.19 / 0.265 of 640 Nm = 459 Nm. Closed form: the generator stops with
/// (640 - 420) / 0.075 rad/s2, the crank with 420 / 0.19.
#[test]
fn wrong_closing_also_tears_the_engine_clutch() {
    let (model, mut state) = wrong_closing(420.0);
    let w = 1600.0 * RADPS;
    let mut stopped_ms = [0.0; 2];
    while stopped_ms.contains(&0.0) {
        step_all_closed(&model, &mut state);
        for (ms, shaft) in stopped_ms.iter_mut().zip([GENERATOR, CRANK]) {
            if *ms == 0.0 && state.speeds_radps()[shaft].abs() < 1e-9 {
                *ms = state.time_s(&model) * 1e3;
            }
        }
    }
    for (ms, rate) in stopped_ms.iter().zip([220.0 / 0.075, 420.0 / 0.19]) {
        let expected = 90.0 + 1e3 * w / rate;
        assert!((ms - expected).abs() <= 1.0, "{ms} ms, closed form {expected} ms");
    }
    let heat = state.lock(1).heat_j + state.lock(2).heat_j;
    let energy = 0.5 * (0.075 + 0.19) * w * w;
    assert!((heat - energy).abs() < 1e-6 * energy);
}

/// All three locks: ring, generator and crank are held, the traction machine still drives
/// (verdict of the kinematics). With the ring brake and a brake on nothing else the wheels go on.
#[test]
fn the_engine_is_held_but_the_wheels_turn() {
    let model = PlantModel::new(&shuttle_full()).expect("complete");
    let mut state = PlantState::at(&model, output_at(&model, 30.0), 0b111, &[]).expect("closed");
    let mut inputs = PlantInputs::default();
    inputs.locks[..3].fill(LockOrder::Close);
    inputs.torque_nm[0] = 200.0;
    for _ in 0..1000 {
        step(&model, &mut state, &inputs);
    }
    for held in [RING, GENERATOR, CRANK] {
        assert!(state.speeds_radps()[held].abs() < 1e-9);
    }
    assert!(state.road_speed_mps(&model) > 31.0 * KMH);
    assert!((state.speeds_radps()[SUN] / state.speeds_radps()[OUTPUT] - 3.2).abs() < 1e-12);
    assert_eq!(state.locked_set(&model), 0b111);
}

/// Static torques by duality: ring = 0.6875 x output torque, traction = output / 3.2
/// (independent recomputation), here at constant speed on a slope.
#[test]
fn static_torques_follow_duality() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut state = PlantState::at(&model, output_at(&model, 20.0), 0b001, &[]).expect("closed");
    let mut inputs = PlantInputs { grade: 0.1, ..PlantInputs::default() };
    inputs.locks[0] = LockOrder::Close;
    let v = state.road_speed_mps(&model);
    let slope = 4300.0 * STANDARD_GRAVITY * 0.1 / (1.0_f64 + 0.01).sqrt();
    let load = (400.0 + 2.5 * v + v * v + slope) * model.metres_per_radian();
    inputs.torque_nm[0] = load / 3.2;
    step(&model, &mut state, &inputs);
    assert!(state.accelerations_radps2()[OUTPUT].abs() < 1e-9);
    assert!((state.output_torque_nm() - load).abs() < 1e-9 * load);
    assert!((state.lock(0).torque_nm.abs() - 0.6875 * load).abs() < 1e-9 * load);
}

/// Held by the brake on a 12 % slope nothing moves, to the last bit; the least brake that holds
/// is slope minus rolling resistance; below it the shuttle rolls back.
#[test]
fn standstill_on_a_slope_is_exact() {
    let model = PlantModel::new(&shuttle_full()).expect("complete");
    let pull = 4300.0 * STANDARD_GRAVITY * 0.12 / (1.0_f64 + 0.0144).sqrt();
    let needed = (pull - 400.0) * model.metres_per_radian();
    let mut inputs =
        PlantInputs { grade: 0.12, brake_nm: needed * (1.0 + 1e-9), ..PlantInputs::default() };
    let start = PlantState::rest(&model);
    let mut state = start;
    for _ in 0..10_000 {
        step(&model, &mut state, &inputs);
    }
    assert_eq!(state.distance_m(&model), 0.0);
    assert_eq!(state.speeds_radps(), start.speeds_radps());
    // The final drive's loss counts as friction too (3 % of what passes it), so go well below.
    inputs.brake_nm = 0.9 * needed;
    for _ in 0..1000 {
        step(&model, &mut state, &inputs);
    }
    assert!(state.distance_m(&model) < -0.01, "rolled {} m", state.distance_m(&model));
}

/// Coasting from 100 km/h: v' = -(f0 + f2 v^2) / m has the closed solution
/// v = sqrt(f0/f2) tan(atan(v0 sqrt(f2/f0)) - t sqrt(f0 f2)/m). First-order step: 1 ms over 60 s.
#[test]
fn coast_down_matches_the_closed_form() {
    let mut d = shuttle();
    if let Some(v) = &mut d.vehicle {
        v.road_load_f1_n_per_mps = 0.0;
    }
    let model = PlantModel::new(&d).expect("complete");
    let v0 = 100.0 * KMH;
    let output = output_at(&model, 100.0);
    // Starts as a block; without torque on the sun the set is then dragged along by inertia alone.
    let free = [(SUN, output), (GENERATOR, output), (CRANK, 0.0)];
    let mut state = PlantState::at(&model, output, 0b010, &free).expect("block");
    let mut inputs = PlantInputs::default();
    inputs.locks[1] = LockOrder::Close;
    for _ in 0..60_000 {
        step(&model, &mut state, &inputs);
    }
    let lever = model.metres_per_radian();
    let v = state.road_speed_mps(&model);
    let mass = effective_mass(lever);
    let (f0, f2) = (400.0_f64, 1.0_f64);
    let phase = (v0 * (f2 / f0).sqrt()).atan() - 60.0 * (f0 * f2).sqrt() / mass;
    let expected = (f0 / f2).sqrt() * phase.tan();
    assert!((v - expected).abs() < 2e-5 * v0);
}

/// Mass seen by the road with sun free and ring joined to the generator: Schur complement of the
/// two-by-two mass matrix over (output, sun), written down by hand with
/// ring = (96 output - 30 sun) / 66.
fn effective_mass(lever: f64) -> f64 {
    let (a, b) = (96.0 / 66.0, -30.0 / 66.0);
    let ring = 0.028 + 0.075;
    let m11 = 0.045 + ring * a * a;
    let (m12, m22) = (ring * a * b, 0.062 + ring * b * b);
    4300.0 * 1.03 + (m11 - m12 * m12 / m22) / (lever * lever)
}

/// At steady speed the wheels get the final drive's efficiency of what goes in when driving, and
/// the driveline gets it of what comes from the wheels when braking.
#[test]
fn final_drive_loses_its_share_both_ways() {
    let model = PlantModel::new(&shuttle_full()).expect("complete");
    for (torque, share) in [(150.0, 0.97), (-150.0, 1.0 / 0.97)] {
        let mut state =
            PlantState::at(&model, output_at(&model, 60.0), 0b001, &[]).expect("closed");
        let mut inputs = PlantInputs::default();
        inputs.locks[0] = LockOrder::Close;
        inputs.torque_nm[0] = torque;
        for _ in 0..300 {
            step(&model, &mut state, &inputs);
        }
        let ratio = state.wheel_torque_nm(&model) / (41.0 / 13.0) / state.output_torque_nm();
        assert!((ratio - share).abs() < 1e-4, "{ratio} for {torque} Nm");
    }
}

/// The engine starts by its own starter in the stated time, idles at its idle speed, pulls by
/// its curve, is cut at its highest speed, and stalls when it is dragged below.
#[test]
fn engine_starts_idles_pulls_and_stalls() {
    let model = PlantModel::new(&shuttle_full()).expect("complete");
    let mut state = PlantState::rest(&model);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    while !state.engine_running() {
        step(&model, &mut state, &inputs);
        assert!(state.steps() < 1000);
    }
    let started_ms = state.time_s(&model) * 1e3;
    assert!((started_ms - 600.0).abs() < 25.0, "started after {started_ms} ms");
    for _ in 0..3000 {
        step(&model, &mut state, &inputs);
    }
    let idle = state.speeds_radps()[CRANK] / RADPS;
    assert!((idle - 950.0).abs() < 2.0, "idles at {idle} rpm");
    inputs.torque_nm[2] = 1e9;
    let mut fastest = 0.0_f64;
    for _ in 0..4000 {
        step(&model, &mut state, &inputs);
        fastest = fastest.max(state.speeds_radps()[CRANK] / RADPS);
        assert!(state.machine(2).torque_nm <= 168.0 + 1e-9);
    }
    assert!(fastest > 4200.0 && fastest < 4400.0, "cut at {fastest} rpm");
    // Joined to the braked ring through both clutches it is stopped, and no start succeeds.
    inputs.torque_nm[2] = 0.0;
    inputs.locks[..3].fill(LockOrder::Close);
    let mut tried_again = false;
    for n in 0..6000 {
        step(&model, &mut state, &inputs);
        if n > 1000 {
            tried_again |= state.engine().actual == EngineActual::Cranking;
            assert!(!state.engine_running() && state.speeds_radps()[CRANK].abs() < 1e-9);
        }
    }
    assert!(tried_again);
    assert_eq!(state.engine().stalls, 1);
    // Released, it starts again.
    inputs.locks[..3].fill(LockOrder::Open);
    for _ in 0..6000 {
        step(&model, &mut state, &inputs);
    }
    assert!(state.engine_running());
}

/// Steady series driving with the ring held: the set's loss is (1 - 0.988) of the power that
/// rolls over the carrier, T_sun (w_sun - w_carrier), so the output gets
/// 1 - 0.012 (1 - 1/3.2) of the sun's power (fixed-carrier efficiency, VDI 2157; from memory).
/// Turning as a block costs nothing.
#[test]
fn mesh_loss_is_that_of_the_rolling_power() {
    let mut d = shuttle();
    d.planetaries[0].mesh_efficiency = 0.988;
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, output_at(&model, 60.0), 0b001, &[]).expect("closed");
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    inputs.torque_nm[0] = 120.0;
    for _ in 0..200 {
        step(&model, &mut state, &inputs);
    }
    let (before, accel) = (*state.energy(), state.accelerations_radps2()[OUTPUT]);
    step(&model, &mut state, &inputs);
    let spent = state.energy().machine_j[0] - before.machine_j[0];
    let lost = state.energy().mesh_j - before.mesh_j;
    // A little of the sun's torque speeds the sun up and does not pass the mesh.
    let through = 120.0 - 0.062 * 3.2 * accel;
    let expected = 0.012 * (through / 120.0) * (1.0 - 1.0 / 3.2);
    assert!((lost / spent / expected - 1.0).abs() < 2e-3, "{} not {expected}", lost / spent);

    let block = output_at(&model, 60.0);
    let mut state = PlantState::at(&model, block, 0b010, &[(SUN, block)]).expect("block");
    let all = inputs.locks;
    inputs.locks = [LockOrder::Open; 8];
    inputs.locks[1] = all[0];
    inputs.torque_nm[..2].copy_from_slice(&[0.0, 0.0]);
    step(&model, &mut state, &inputs);
    assert!(state.energy().mesh_j.abs() < 1e-6, "{} J", state.energy().mesh_j);
}
