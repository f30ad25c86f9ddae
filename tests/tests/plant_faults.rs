//! Faults of sensors, switches, machines, engine and tyres: each has the effect that its words say,
//! held against an independent expectation.

use host_sim::driveline::Driveline;
use host_sim::plant::{
    ActuatorFault, EngineFault, Faults, MachineFaults, PlantInputs, PlantModel, PlantState,
    SensorFaults, Suspects, SwitchFault, TorqueFault, step,
};
use slipwarden_tests::plant_drivelines::shuttle_shafts::*;
use slipwarden_tests::plant_drivelines::{shuttle, two_discs};
use supervisor::io::{LockOrder, LockReport};

const RADPS: f64 = std::f64::consts::PI / 30.0;

/// Readings of a generator that is turned with `torque_nm`, with a fault of its sensor, and the
/// true speeds, step by step; in rpm. Every other sensor must read what it reads without the fault.
fn readings(torque_nm: f64, fault: SensorFaults, steps: usize) -> Vec<(f64, f64)> {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut sound = PlantState::rest(&model).with_seed(&model, 3);
    let mut faulty = sound;
    let mut inputs = PlantInputs::default();
    inputs.torque_nm[1] = torque_nm;
    let mut with_fault = inputs;
    with_fault.faults.sensors[GENERATOR] = fault;
    let mut told = Vec::new();
    for _ in 0..steps {
        step(&model, &mut sound, &inputs);
        step(&model, &mut faulty, &with_fault);
        let (a, b) = (sound.sensed_speeds(), faulty.sensed_speeds());
        assert!((0..5).all(|s| s == GENERATOR || a[s] == b[s]), "the others are left alone");
        assert_eq!(sound.speeds_radps(), faulty.speeds_radps());
        let truth = faulty.speeds_radps()[GENERATOR] / RADPS;
        told.push((f64::from(b[GENERATOR].radps) / RADPS, truth));
    }
    told
}

/// Uniform between -N and N: the mean is 0 and the variance N^2 / 3 (any textbook).
#[test]
fn sensor_noise_is_uniform_and_changes_nothing_else() {
    let fault = SensorFaults { noise_rpm: 40.0, ..SensorFaults::default() };
    let noisy = readings(0.0, fault, 4000);
    let n = noisy.len() as f64;
    let mean = noisy.iter().map(|r| r.0).sum::<f64>() / n;
    let variance = noisy.iter().map(|r| (r.0 - mean).powi(2)).sum::<f64>() / n;
    // Of the mean: its own constant error of 1.4 rpm at most, 5 standard deviations of 0.37 rpm.
    assert!(mean.abs() < 1.4 + 1.9, "{mean} rpm");
    assert!((variance / (40.0 * 40.0 / 3.0) - 1.0).abs() < 0.1, "{variance}");
    let most = noisy.iter().fold(0.0, |most: f64, r| most.max(r.0.abs()));
    assert!((39.0..=42.5).contains(&most), "{most} rpm: noise, own error and half a count");
}

#[test]
fn a_coarse_sensor_reads_in_its_steps() {
    let fault = SensorFaults { coarse_rpm: 50.0, ..SensorFaults::default() };
    let told = readings(20.0, fault, 1000);
    let mut seen = std::collections::BTreeSet::new();
    for (i, (rpm, _)) in told.iter().enumerate().skip(10) {
        assert!((rpm / 50.0 - (rpm / 50.0).round()).abs() < 1e-4, "{rpm} rpm");
        let then = told[i - 2].1;
        assert!((rpm - then).abs() <= 25.0 + 2.0 + 1e-3, "{rpm} rpm for {then} rpm");
        seen.insert((rpm / 50.0).round() as i64);
    }
    // 20 Nm on 0.075 kg m2 for a second: 2546 rpm, and so 51 steps.
    assert!((50..=53).contains(&seen.len()), "{} steps", seen.len());
}

/// The sensor's own latency is 2 ms, and 63 steps are kept at most.
#[test]
fn a_late_sensor_tells_what_was() {
    for (late_ms, steps) in [(20.0, 22), (61.0, 63), (1e9, 63), (f64::INFINITY, 63)] {
        let fault = SensorFaults { late_ms, ..SensorFaults::default() };
        let told = readings(20.0, fault, 500);
        for i in 100..told.len() {
            let then = told[i - steps].1;
            let rpm = told[i].0;
            assert!((rpm - then).abs() <= 2.5 + 1e-3, "{late_ms} ms: {rpm} rpm for {then} rpm");
        }
    }
}

/// A value is held for 0 to 30 ms: with the step in which it came 1 to 31 steps, 16 on average.
#[test]
fn a_jittering_sensor_holds_its_values_for_a_bounded_time() {
    let fault = SensorFaults { hold_ms: 30.0, ..SensorFaults::default() };
    // 5 rpm a step, more than noise and counts could hide.
    let told = readings(40.0, fault, 2200);
    let mut lengths = vec![0usize];
    for i in 1..told.len() {
        if told[i].0 != told[i - 1].0 {
            let then = told[i.saturating_sub(2)].1;
            assert!((told[i].0 - then).abs() <= 2.5 + 1e-3, "a fresh value is a true one");
            lengths.push(0);
        }
        *lengths.last_mut().expect("never empty") += 1;
    }
    let whole = &lengths[1..lengths.len() - 1];
    let mean = whole.iter().sum::<usize>() as f64 / whole.len() as f64;
    assert!(whole.iter().all(|&n| n <= 31), "{whole:?}");
    assert!(whole.iter().any(|&n| n >= 28) && whole.iter().any(|&n| n <= 3), "{whole:?}");
    // 5 standard deviations of 8.9 / sqrt(137).
    assert!((mean - 16.0).abs() < 3.9, "{mean}");
}

#[test]
fn a_chattering_switch_says_this_and_that_and_is_sound_again() {
    let model = PlantModel::new(&two_discs(0.5, 0.5, 100.0)).expect("complete");
    let mut state = PlantState::at(&model, 10.0, 1, &[]).expect("closed");
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    inputs.faults.locks[0].switch = SwitchFault::Chatter;
    let mut said = Vec::new();
    for _ in 0..1000 {
        step(&model, &mut state, &inputs);
        said.push(state.lock_reports()[0]);
    }
    // A fair coin: 5 standard deviations of 16 (for the changes of 999 pairs as well).
    let closed = said.iter().filter(|r| **r == LockReport::Closed).count();
    let changes = said.windows(2).filter(|w| w[0] != w[1]).count();
    assert!(closed.abs_diff(500) < 80 && changes.abs_diff(500) < 80, "{closed}, {changes}");
    assert!(said.iter().all(|r| *r != LockReport::Missing));
    inputs.faults.locks[0].switch = SwitchFault::None;
    step(&model, &mut state, &inputs);
    assert_eq!(state.lock_reports()[0], LockReport::Closed);
}

/// Newton: torque over inertia; what the controller reports is what it believes.
#[test]
fn a_machine_with_a_wrong_torque_believes_in_the_asked_one() {
    let mut d = two_discs(0.5, 1e9, 100.0);
    if let host_sim::driveline::MachineKind::Electric(e) = &mut d.machines[0].kind {
        e.max_torque_nm = Some(100.0);
    }
    let model = PlantModel::new(&d).expect("complete");
    let run = |asked: f64, scale: f64, offset_nm: f64| {
        let mut state = PlantState::rest(&model);
        let mut inputs = PlantInputs::default();
        inputs.torque_nm[0] = asked;
        inputs.faults.machines[0] = MachineFaults { scale, offset_nm, ..MachineFaults::default() };
        for _ in 0..100 {
            step(&model, &mut state, &inputs);
        }
        let given = state.speeds_radps()[0] * 0.5 / 0.1;
        (given, f64::from(state.torque_reports()[0].nm))
    };
    for (asked, scale, offset_nm, given, believed) in [
        (50.0, 1.0, 15.0, 65.0, 50.0),
        (50.0, 0.8, 0.0, 40.0, 50.0),
        (50.0, -1.0, -10.0, -60.0, 50.0),
        (0.0, 1.0, -7.0, -7.0, 0.0),
        (95.0, 1.0, 15.0, 100.0, 95.0),
        (50.0, f64::NAN, 0.0, 0.0, 50.0),
    ] {
        let (g, b) = run(asked, scale, offset_nm);
        assert!((g - given).abs() < 1e-9 && (b - believed).abs() < 1e-5, "{g} Nm, {b} Nm");
    }
}

/// The demo engine's crankshaft turning at `rpm` by itself, firing.
fn running(model: &PlantModel, rpm: f64) -> PlantState {
    let mut state = PlantState::at(model, 0.0, 0, &[(CRANK, rpm * RADPS)]).expect("free");
    state.set_engine_running(true);
    state
}

#[test]
fn an_engine_with_half_its_torque_reports_the_whole() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut state = running(&model, 1700.0);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    inputs.torque_nm[2] = 60.0;
    inputs.faults.machines[2].scale = 0.5;
    for _ in 0..100 {
        step(&model, &mut state, &inputs);
    }
    let given = (state.speeds_radps()[CRANK] - 1700.0 * RADPS) * 0.19 / 0.1;
    assert!((given - 30.0).abs() < 1e-6, "{given} Nm");
    assert!((f64::from(state.torque_reports()[2].nm) - 60.0).abs() < 1e-4);
}

/// The file's curve: 160 Nm at 1700 rpm, 168 Nm at 3200 rpm, 150 Nm at 4200 rpm, where it ends.
#[test]
fn an_overrunning_engine_gives_its_full_load_whatever_is_asked() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut state = running(&model, 1700.0);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    inputs.torque_nm[2] = -10.0;
    inputs.faults.engine = EngineFault::Overrun;
    while state.speeds_radps()[CRANK] < 3200.0 * RADPS {
        let rpm = state.speeds_radps()[CRANK] / RADPS;
        step(&model, &mut state, &inputs);
        let full = 160.0 + 8.0 * (rpm - 1700.0) / 1500.0;
        assert!((state.machine(2).torque_nm - full).abs() < 1e-6, "at {rpm} rpm");
        assert!(state.steps() < 2000);
    }
    for _ in 0..2000 {
        step(&model, &mut state, &inputs);
    }
    let rpm = state.speeds_radps()[CRANK] / RADPS;
    // One step of 150 Nm on 0.19 kg m2 is 7.5 rpm.
    assert!((4200.0..4208.0).contains(&rpm), "{rpm} rpm");
    inputs.engine_run = false;
    step(&model, &mut state, &inputs);
    assert!(!state.engine_running(), "it can still be switched off");
}

/// A starter turns a crankshaft no faster than an engine idles, however long it does not fire.
#[test]
fn a_starter_is_bounded() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    for fault in [EngineFault::Stall, EngineFault::NoStart] {
        let mut state = PlantState::rest(&model);
        let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
        inputs.faults.engine = fault;
        let mut most: f64 = 0.0;
        for _ in 0..5000 {
            step(&model, &mut state, &inputs);
            most = most.max(state.speeds_radps()[CRANK] / RADPS);
            assert!(!state.engine_running());
        }
        assert!((0.9 * 950.0..951.0).contains(&most), "{fault:?}: {most} rpm");
    }
}

/// The second method is to look at every part.
#[test]
fn a_look_at_the_faulty_parts_alone_comes_to_the_same() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let changes: [fn(&mut Faults); 8] = [
        |_| {},
        |f| f.locks[0].actuator = ActuatorFault::ClosesByItself,
        |f| f.locks[1].switch = SwitchFault::Chatter,
        |f| f.locks[2].extra_drag_nm = 20.0,
        |f| f.sensors[1].scale = -1.0,
        |f| f.sensors[3].hold_ms = 9.0,
        |f| f.machines[0].torque = TorqueFault::WrongSign,
        |f| f.supply_lost = true,
    ];
    for (i, change) in changes.iter().enumerate() {
        let mut all = running(&model, 1500.0).with_seed(&model, 5);
        let mut some = all;
        let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
        inputs.torque_nm = [40.0, -20.0, 30.0, 0.0];
        for tick in 0..1500 {
            inputs.locks[tick / 500] = LockOrder::Close;
            // Sound at the beginning and at the end.
            inputs.faults = Faults::default();
            if (200..1200).contains(&tick) {
                change(&mut inputs.faults);
            }
            inputs.suspects = Suspects::default();
            step(&model, &mut all, &inputs);
            inputs.suspects = Suspects::of(&inputs.faults);
            step(&model, &mut some, &inputs);
            assert_eq!(all, some, "change {i} in tick {tick}");
        }
    }
}

/// The demo without air, so that its motion has a closed form, rolling at `mps` with the ring
/// brake closed: the traction machine drives the output.
fn rolling(d: &Driveline, mps: f64) -> (PlantModel, PlantState) {
    let model = PlantModel::new(d).and_then(|m| m.with_loose_wheels(d)).expect("complete");
    let state = PlantState::at(&model, mps / model.metres_per_radian(), 1, &[]).expect("rolls");
    (model, state)
}

fn airless() -> Driveline {
    let mut d = shuttle();
    let v = d.vehicle.as_mut().expect("given");
    (v.road_load_f1_n_per_mps, v.road_load_f2_n_per_mps2) = (0.0, 0.0);
    d
}

fn residual(state: &PlantState) -> f64 {
    state.energy().mechanical_residual_j().abs() / state.energy().scale_j()
}

/// Newton: tyres that carry a share of the weight pull the mass with that share of gravity,
/// 9.80665 m/s2, and no more, while the machine spins the wheels.
#[test]
fn spinning_wheels_pull_with_the_grip_that_is_there() {
    let (model, mut state) = rolling(&airless(), 5.0);
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    inputs.torque_nm[0] = 300.0;
    inputs.faults.grip = Some(0.1);
    for _ in 0..500 {
        step(&model, &mut state, &inputs);
    }
    let (v, distance) = (state.road_speed_mps(&model), state.distance_m(&model));
    let a = 0.980665;
    assert!((v - (5.0 + 0.5 * a)).abs() < 0.01, "{v} m/s");
    assert!((distance - (2.5 + 0.5 * a * 0.25)).abs() < 0.01, "{distance} m");
    let wheels = state.speeds_radps()[OUTPUT] * model.metres_per_radian();
    assert!(wheels > 2.0 * v && state.wheels_slide(), "they spin: {wheels} m/s");
    assert!(residual(&state) < 1e-9 && state.energy().tyre_j > 1000.0);
    // With grip again and no torque the wheels come back to the road, and the two are one.
    inputs.faults.grip = None;
    inputs.torque_nm[0] = 0.0;
    step(&model, &mut state, &inputs);
    assert!(state.wheels_slide(), "not in a millisecond");
    for _ in 0..1000 {
        step(&model, &mut state, &inputs);
    }
    assert!(!state.wheels_slide());
    let v = state.road_speed_mps(&model);
    assert_eq!(v, state.speeds_radps()[OUTPUT] * model.metres_per_radian());
    assert!(residual(&state) < 1e-9, "{:e}", residual(&state));
    assert_eq!(state.locked_set(&model), 1);
}

#[test]
fn blocked_wheels_brake_with_the_grip_that_is_there() {
    let (model, mut state) = rolling(&airless(), 10.0);
    let mut inputs = PlantInputs { brake_nm: 5000.0, ..PlantInputs::default() };
    inputs.faults.grip = Some(0.2);
    for _ in 0..2000 {
        step(&model, &mut state, &inputs);
    }
    assert_eq!(state.speeds_radps()[OUTPUT], 0.0, "they are blocked");
    let (v, distance) = (state.road_speed_mps(&model), state.distance_m(&model));
    let a = 0.2 * 9.80665;
    assert!((v - (10.0 - 2.0 * a)).abs() < 0.05, "{v} m/s");
    assert!((distance - (20.0 - 2.0 * a)).abs() < 0.1, "{distance} m");
    assert!(residual(&state) < 1e-9);
}

/// With more grip than is used the vehicle goes as one without the fault: the tyres' slip is
/// below 0.05 m/s, and then nothing is left of it.
#[test]
fn grip_that_suffices_changes_next_to_nothing() {
    let (model, state) = rolling(&shuttle(), 5.0);
    let run = |grip: Option<f64>| {
        let mut state = state;
        let mut inputs = PlantInputs { grade: 0.03, ..PlantInputs::default() };
        inputs.locks[0] = LockOrder::Close;
        inputs.torque_nm[0] = 200.0;
        inputs.faults.grip = grip;
        for _ in 0..2000 {
            step(&model, &mut state, &inputs);
        }
        state
    };
    let (with, without) = (run(Some(1.0)), run(None));
    let apart = with.road_speed_mps(&model) - without.road_speed_mps(&model);
    assert!(apart.abs() < 0.05 && apart != 0.0, "{apart} m/s");
    assert!(without.road_speed_mps(&model) > 6.0, "it does move");
    assert!(residual(&with) < 1e-9);
}
