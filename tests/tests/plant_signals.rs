//! What leaves the plant and what goes wrong in it: sensors, switches, machine torque, engine and
//! actuator faults, battery; and that a run is a pure function of its seed.

use host_sim::driveline::MachineKind;
use host_sim::driveline::{DEMOS, demo, parse};
use host_sim::plant::random::Random;
use host_sim::plant::{
    ActuatorFault, EngineActual, EngineFault, LockActual, PlantInputs, PlantModel, PlantState,
    StartError, SwitchFault, TorqueFault, step,
};
use slipwarden_tests::plant_drivelines::shuttle_shafts::*;
use slipwarden_tests::plant_drivelines::{friction_of, shuttle, shuttle_full, two_discs};
use supervisor::io::{LockOrder, LockReport};

const RADPS: f64 = std::f64::consts::PI / 30.0;

/// First outputs of SplitMix64 as its authors' reference code gives them for seeds 0 and
/// 1234567 (published test values; from memory).
#[test]
fn generator_is_frozen() {
    let mut r = Random::new(0);
    assert_eq!(r.next_u64(), 0xe220_a839_7b1d_cdaf);
    assert_eq!(r.next_u64(), 0x6e78_9e6a_a1b9_65f4);
    assert_eq!(r.next_u64(), 0x06c4_5d18_8009_454f);
    let mut r = Random::new(1_234_567);
    let expected = [
        6_457_827_717_110_365_317,
        3_203_168_211_198_807_973,
        9_817_491_932_198_370_423,
        4_593_380_528_125_082_431,
        16_408_922_859_458_223_821,
    ];
    for value in expected {
        assert_eq!(r.next_u64(), value);
    }
    let mut low = 1.0_f64;
    let mut sum = 0.0;
    for _ in 0..10_000 {
        let u = r.unit();
        assert!((0.0..1.0).contains(&u));
        low = low.min(u);
        sum += u;
        assert!(r.below(7) < 7);
    }
    assert!(low < 1e-3 && (sum / 10_000.0 - 0.5).abs() < 0.012); // 4 standard deviations
}

/// A reading is the truth of `latency` ago, off by no more than the stated error and half a
/// count, and a whole number of counts.
#[test]
fn sensors_keep_their_stated_error_resolution_and_latency() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut worst = 0.0_f64;
    for seed in 0..20 {
        let mut state = PlantState::rest(&model).with_seed(&model, seed);
        let mut inputs = PlantInputs::default();
        inputs.torque_nm[1] = 20.0;
        let mut history = vec![];
        for _ in 0..1000 {
            step(&model, &mut state, &inputs);
            history.push(state.speeds_radps()[GENERATOR]);
        }
        let reading = state.sensed_speeds()[GENERATOR];
        assert!(reading.valid);
        let rpm = f64::from(reading.radps) / RADPS;
        assert!((rpm - rpm.round()).abs() < 1e-3, "{rpm} rpm is not a whole count of 1 rpm");
        let then = history[history.len() - 1 - 2] / RADPS; // 2 ms ago
        worst = worst.max((rpm - then).abs());
        assert!((rpm - then).abs() <= 2.0 + 0.5 + 1e-3, "{rpm} rpm for {then} rpm");
        let now = history[history.len() - 1] / RADPS;
        assert!((now - then).abs() > 5.0, "the latency must be visible: 267 rad/s2 for 2 ms");
    }
    assert!(worst > 1.0, "the error is used: {worst} rpm");
}

#[test]
fn sensor_faults_do_what_they_say() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let free = [(GENERATOR, 100.0)];
    let start = PlantState::at(&model, 0.0, 0, &free).expect("free");
    let read = |change: &dyn Fn(&mut PlantInputs), steps: u32| {
        let mut state = start;
        let mut inputs = PlantInputs::default();
        inputs.torque_nm[1] = 30.0;
        change(&mut inputs);
        for _ in 0..steps {
            step(&model, &mut state, &inputs);
        }
        let truth = state.speeds_radps()[GENERATOR] - 2e-3 * 30.0 / 0.075;
        (state.sensed_speeds()[GENERATOR], truth)
    };
    let close = |value: f32, expected: f64| (f64::from(value) - expected).abs() < 2.6 * RADPS;
    let (sound, truth) = read(&|_| {}, 100);
    assert!(sound.valid && close(sound.radps, truth));
    let (s, truth) = read(&|i| i.faults.sensors[GENERATOR].bias_rpm = 40.0, 100);
    assert!(s.valid && close(s.radps, truth + 40.0 * RADPS));
    let (s, truth) = read(&|i| i.faults.sensors[GENERATOR].scale = -1.0, 100);
    assert!(s.valid && close(s.radps, -truth));
    let (s, _) = read(&|i| i.faults.sensors[GENERATOR].dropout = true, 100);
    assert!(!s.valid);
    let (s, truth) = read(&|i| i.faults.sensors[GENERATOR].stuck = true, 100);
    assert!(s.valid && close(s.radps, 100.0) && truth > 130.0);
}

#[test]
fn switches_and_their_faults() {
    let mut d = two_discs(0.5, 0.5, 100.0);
    let model = PlantModel::new(&d).expect("complete");
    let state = PlantState::at(&model, 10.0, 1, &[]).expect("closed");
    let report = |model: &PlantModel, fault: SwitchFault, steps: u32| {
        let mut state = state;
        let mut inputs = PlantInputs::default();
        inputs.faults.locks[0].switch = fault;
        for _ in 0..steps {
            step(model, &mut state, &inputs);
        }
        state.lock_reports()[0]
    };
    // Ordered open: 60 ms to release, 5 ms of debounce; it never says open before it is.
    assert_eq!(report(&model, SwitchFault::None, 63), LockReport::Closed);
    assert_eq!(report(&model, SwitchFault::None, 66), LockReport::Open);
    assert_eq!(report(&model, SwitchFault::StuckClosed, 500), LockReport::Closed);
    assert_eq!(report(&model, SwitchFault::StuckOpen, 1), LockReport::Open);
    assert_eq!(report(&model, SwitchFault::Missing, 1), LockReport::Missing);
    d.locks[0].has_switch = false;
    let model = PlantModel::new(&d).expect("complete");
    assert_eq!(report(&model, SwitchFault::None, 1), LockReport::Missing);
}

/// Pressure of a lock after `steps` with an order and a fault, from closed or open.
fn pressure(closed: bool, order: LockOrder, fault: ActuatorFault, steps: u32) -> f64 {
    let mut d = two_discs(0.5, 0.5, 100.0);
    d.locks[0].close_ms = 50.0;
    friction_of(&mut d.locks[0]).ramp_ms = 50.0;
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, 0.0, u8::from(closed), &[]).expect("possible");
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = order;
    inputs.faults.locks[0].actuator = fault;
    for _ in 0..steps {
        step(&model, &mut state, &inputs);
    }
    state.lock(0).pressure
}

#[test]
fn actuator_faults() {
    use ActuatorFault::*;
    assert_eq!(pressure(false, LockOrder::Close, None, 100), 1.0);
    assert_eq!(pressure(false, LockOrder::Close, StuckOpen, 500), 0.0);
    assert_eq!(pressure(true, LockOrder::Open, StuckOpen, 60), 0.0);
    assert_eq!(pressure(true, LockOrder::Open, StuckClosed, 500), 1.0);
    assert_eq!(pressure(false, LockOrder::Open, StuckClosed, 500), 0.0);
    assert_eq!(pressure(false, LockOrder::Close, StuckClosed, 100), 1.0);
    assert_eq!(pressure(true, LockOrder::Close, OpensByItself, 60), 0.0);
    assert_eq!(pressure(false, LockOrder::Open, ClosesByItself, 100), 1.0);
}

/// Supply loss opens what is normally open and closes what is normally closed; twice as slow
/// takes twice the stated 60 ms (release) and 50 ms (fill).
#[test]
fn supply_loss_and_slow_actuators() {
    let mut d = two_discs(0.5, 0.5, 100.0);
    d.locks[0].close_ms = 50.0;
    for (normally_open, closed, steps) in [(true, 1, 120), (false, 0, 100)] {
        d.locks[0].normally_open = normally_open;
        let model = PlantModel::new(&d).expect("complete");
        let mut state = PlantState::at(&model, 0.0, closed, &[]).expect("possible");
        let mut inputs = PlantInputs::default();
        inputs.locks[0] = if normally_open { LockOrder::Close } else { LockOrder::Open };
        inputs.faults.supply_lost = true;
        inputs.faults.locks[0].slow_close = 2.0;
        inputs.faults.locks[0].slow_release = 2.0;
        for _ in 0..steps - 1 {
            step(&model, &mut state, &inputs);
            assert_eq!(state.lock(0).pressure > 0.0, normally_open);
        }
        for _ in 0..2 {
            step(&model, &mut state, &inputs);
        }
        assert_eq!(state.lock(0).pressure > 0.0, !normally_open);
    }
}

#[test]
fn machine_limits_lag_and_faults() {
    let mut d = two_discs(0.5, 1e9, 100.0);
    if let MachineKind::Electric(e) = &mut d.machines[0].kind {
        (e.max_torque_nm, e.max_power_kw, e.lag_ms) = (Some(100.0), Some(10.0), 20.0);
    }
    let model = PlantModel::new(&d).expect("complete");
    let run = |torque: f64, fault: TorqueFault, steps: u32| {
        let mut state = PlantState::rest(&model);
        let mut inputs = PlantInputs::default();
        inputs.torque_nm[0] = torque;
        inputs.faults.machines[0].torque = fault;
        for _ in 0..steps {
            step(&model, &mut state, &inputs);
        }
        state
    };
    // First-order lag: 1 - exp(-t/T) of the command after 20 ms (closed form).
    let after = run(50.0, TorqueFault::None, 20).machine(0).torque_nm;
    assert!((after - 50.0 * (1.0 - (-1.0_f64).exp())).abs() < 1e-10, "{after}");
    let state = run(1e9, TorqueFault::None, 3000);
    let power = state.machine(0).torque_nm * state.speeds_radps()[0];
    assert!((power - 10_000.0).abs() < 10.0, "{power} W");
    assert!(run(1e9, TorqueFault::None, 200).machine(0).torque_nm <= 100.0);
    assert_eq!(run(50.0, TorqueFault::Lost, 200).machine(0).torque_nm, 0.0);
    let wrong = run(50.0, TorqueFault::WrongSign, 400);
    assert!(wrong.machine(0).torque_nm < -49.0);
    assert!(wrong.torque_reports()[0].nm > 49.0, "its controller believes the asked sign");
}

#[test]
fn engine_faults_and_starting_by_being_turned() {
    let mut d = shuttle_full();
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::rest(&model);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    inputs.faults.engine = EngineFault::NoStart;
    for _ in 0..5000 {
        step(&model, &mut state, &inputs);
        assert!(!state.engine_running());
    }
    assert!(state.speeds_radps()[CRANK] > 0.0, "the starter did turn it");
    // Turned by the generator through the engine clutch, without a starter.
    if let MachineKind::Engine(e) = &mut d.machines[2].kind {
        e.own_starter = false;
    }
    let model = PlantModel::new(&d).expect("complete");
    let mut state = PlantState::at(&model, 0.0, 0b100, &[(CRANK, 0.0)]).expect("joined");
    inputs.faults.engine = EngineFault::None;
    inputs.locks[2] = LockOrder::Close;
    for _ in 0..500 {
        step(&model, &mut state, &inputs);
    }
    assert_eq!(state.engine().actual, EngineActual::Stopped, "nothing turns it");
    assert_eq!(state.speeds_radps()[CRANK], 0.0);
    inputs.torque_nm[1] = 60.0;
    while !state.engine_running() {
        step(&model, &mut state, &inputs);
        assert!(state.steps() < 2000);
    }
    inputs.torque_nm[1] = 0.0;
    for _ in 0..3000 {
        step(&model, &mut state, &inputs);
    }
    let idle = state.speeds_radps()[CRANK] / RADPS;
    assert!((idle - 950.0).abs() < 5.0, "{idle} rpm");
    inputs.faults.engine = EngineFault::Stall;
    step(&model, &mut state, &inputs);
    assert!(!state.engine_running());
    for _ in 0..20_000 {
        step(&model, &mut state, &inputs);
    }
    assert_eq!(state.speeds_radps()[CRANK], 0.0, "its own drag stops it");
}

/// Battery: terminal power P through U and R draws I with P = (U - R I) I; charge counts I.
#[test]
fn battery_current_solves_its_circuit() {
    let model = PlantModel::new(&shuttle()).expect("complete");
    let mut state = PlantState::at(&model, 100.0, 1, &[]).expect("closed");
    state.set_charge(0.8);
    let mut inputs = PlantInputs::default();
    inputs.locks[0] = LockOrder::Close;
    inputs.torque_nm[0] = 200.0;
    for _ in 0..100 {
        step(&model, &mut state, &inputs);
    }
    let b = *state.battery();
    assert!((b.terminal_w - (370.0 - 0.09 * b.current_a) * b.current_a).abs() < 1e-6);
    assert!(b.current_a > 0.0 && b.charge < 0.8 && !b.over_limit);
    let sum = state.machine(0).electric_w + state.machine(1).electric_w + 600.0;
    assert!((b.terminal_w - sum).abs() < 1e-9);
    inputs.torque_nm[0] = 310.0;
    for _ in 0..4000 {
        step(&model, &mut state, &inputs);
        let power = state.machine(0).torque_nm * state.speeds_radps()[SUN];
        assert!(power <= 135_000.0 + 200.0, "{power} W");
    }
}

/// The plant says by name what it lacks, and refuses starts that contradict the locks.
#[test]
fn missing_data_and_impossible_starts_are_named() {
    let mut d = shuttle();
    d.shafts[RING].inertia_kg_m2 = None;
    d.locks[1].capacity_nm = None;
    d.vehicle = None;
    let missing = PlantModel::new(&d).expect_err("incomplete");
    assert_eq!(missing.items.len(), 3, "{missing}");
    for word in ["\"ring\" has no inertia_kg_m2", "\"ring-clutch\" has no capacity_nm", "[vehicle]"]
    {
        assert!(missing.to_string().contains(word), "{missing}");
    }
    let model = PlantModel::new(&shuttle()).expect("complete");
    let refused = PlantState::at(&model, 100.0, 0b111, &[(CRANK, 5.0)]);
    assert_eq!(refused, Err(StartError::Contradiction));
    assert_eq!(PlantState::at(&model, f64::NAN, 0, &[]), Err(StartError::OutOfRange));
    assert_eq!(PlantState::at(&model, 0.0, 0b1000, &[]), Err(StartError::OutOfRange));
    assert_eq!(PlantState::at(&model, 0.0, 0, &[(5, 1.0)]), Err(StartError::OutOfRange));
}

/// Every demo drives off: its file has all that the plant needs.
#[test]
fn demo_files_make_plants() {
    for name in DEMOS {
        let checked = parse(name, demo(name).expect("embedded")).expect("reads");
        let d = &checked.driveline;
        let model = PlantModel::new(d).unwrap_or_else(|e| panic!("{name}: {e}"));
        let closed = d.arrangements[0].closed;
        let mut state = PlantState::at(&model, 0.0, closed, &[]).expect("at rest");
        let mut inputs = PlantInputs::default();
        for (i, order) in inputs.locks.iter_mut().enumerate().take(d.locks.len()) {
            *order = if closed >> i & 1 == 1 { LockOrder::Close } else { LockOrder::Open };
        }
        inputs.torque_nm[..d.machines.len()].fill(150.0);
        for _ in 0..2000 {
            step(&model, &mut state, &inputs);
        }
        assert!(state.road_speed_mps(&model).abs() > 0.5, "{name} stands");
        assert_eq!(state.locked_set(&model), closed, "{name}");
        assert!((0..d.locks.len()).all(|i| state.lock(i).actual != LockActual::Slipping));
    }
}

/// One long run of everything: same seed, same bits, on every machine and at every
/// optimisation level. A change of this number is a change of the plant's arithmetic: it must be
/// meant, and be named in the commit.
fn long_run(seed: u64) -> u64 {
    let model = PlantModel::new(&shuttle_full()).expect("complete");
    let mut state = PlantState::rest(&model).with_seed(&model, seed);
    let mut r = Random::new(seed);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    for n in 0..100_000 {
        if n % 40 == 0 {
            let close = r.below(2) == 0;
            inputs.locks[r.below(3) as usize] =
                if close { LockOrder::Close } else { LockOrder::Open };
            inputs.torque_nm[r.below(3) as usize] = 200.0 * r.signed_unit();
            inputs.grade = 0.05 * r.signed_unit();
            inputs.brake_nm = if r.below(5) == 0 { 800.0 } else { 0.0 };
        }
        step(&model, &mut state, &inputs);
    }
    assert_eq!(state.unresolved(), 0);
    state.digest()
}

#[test]
fn runs_are_bit_identical() {
    assert_eq!(long_run(1), long_run(1));
    assert_ne!(long_run(1), long_run(2));
    assert_eq!(format!("{:016x}", long_run(7)), "5c1b7e678b12fa03");
}
