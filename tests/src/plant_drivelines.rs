//! Drivelines built in code for the plant's tests: two discs, the demo shuttle, random ones.

use host_sim::driveline::*;
use host_sim::exact::{Q, int, ratio};
use host_sim::plant::random::Random;

/// A shaft with this inertia and no speed limit.
pub fn shaft(name: &str, inertia_kg_m2: f64) -> Shaft {
    Shaft {
        name: name.into(),
        inertia_kg_m2: Some(inertia_kg_m2),
        max_rpm: None,
        min_rpm: None,
        tested_rpm: None,
        tested_s: 120.0,
        spin_drag: SpinDrag::default(),
    }
}

/// A friction lock that fills in `fill_ms`, has no ramp, no drag and no static bonus.
pub fn friction(name: &str, a: ShaftId, b: Option<ShaftId>, capacity: f64, fill_ms: f64) -> Lock {
    Lock {
        name: name.into(),
        a,
        b,
        kind: LockKind::Friction(Friction {
            energy_budget_kj: 12.0,
            ramp_ms: 0.0,
            static_ratio: 1.0,
            heat_capacity_kj_per_k: 1.5,
            cooling_time_s: 60.0,
            max_rise_k: 100.0,
        }),
        capacity_nm: Some(capacity),
        engage_slip_max_rpm: Some(60.0),
        normally_open: true,
        has_switch: true,
        close_ms: fill_ms,
        release_ms: 60.0,
        drag_nm: 0.0,
    }
}

/// The friction part of a lock that has one, to be changed by a test.
pub fn friction_of(lock: &mut Lock) -> &mut Friction {
    match &mut lock.kind {
        LockKind::Friction(f) => f,
        LockKind::Dog(_) => panic!("{} is a dog", lock.name),
    }
}

/// A dog lock with 36 teeth and 3 degrees of backlash.
pub fn dog(name: &str, a: ShaftId, b: Option<ShaftId>, capacity: f64, insertion_ms: f64) -> Lock {
    Lock {
        kind: LockKind::Dog(Dog { teeth: 36, backlash_deg: 3.0, offset_rpm: 5.0 }),
        engage_slip_max_rpm: Some(20.0),
        release_ms: 40.0,
        ..friction(name, a, b, capacity, insertion_ms)
    }
}

/// An electric machine without lag and loss.
pub fn electric(name: &str, shaft: ShaftId, torque: f64, power_kw: f64) -> Machine {
    Machine {
        name: name.into(),
        shaft,
        kind: MachineKind::Electric(Electric {
            max_torque_nm: Some(torque),
            max_power_kw: Some(power_kw),
            lag_ms: 0.0,
            loss: Loss::default(),
            loss_map: None,
        }),
    }
}

/// A planetary set with a single planet and no mesh loss.
pub fn planetary(sun: ShaftId, ring: ShaftId, carrier: ShaftId, zs: u32, zr: u32) -> Planetary {
    Planetary {
        name: "set".into(),
        sun,
        ring,
        carrier,
        sun_teeth: zs,
        ring_teeth: zr,
        planets: 3,
        planet: Planet::Single,
        mesh_efficiency: 1.0,
    }
}

/// Default timing of a test driveline.
pub fn timing() -> Timing {
    Timing {
        tick_ms: 10.0,
        sync_dwell_ms: 20.0,
        sync_timeout_ms: 2000.0,
        unload_timeout_ms: 500.0,
        confirm_timeout_ms: 200.0,
        overlap_max_ms: 1000.0,
        min_stay_ms: 500.0,
        request_dwell_ms: 50.0,
        retries: 2,
        sync_rate_max_rpm_per_s: 8000.0,
        unloaded_share: 0.05,
        rest_rpm: 5.0,
        fault_tolerant_time_ms: None,
    }
}

/// A vehicle so light and free of resistance that the output is a plain shaft.
pub fn no_vehicle() -> Vehicle {
    Vehicle {
        mass_kg: 1e-18,
        rotating_mass_factor: 1.0,
        road_load_f0_n: 0.0,
        road_load_f1_n_per_mps: 0.0,
        road_load_f2_n_per_mps2: 0.0,
        max_speed_kmh: 100.0,
        max_acceleration_mps2: 5.0,
        driveline_decel_max_mps2: 3.0,
        auxiliary_w: 0.0,
    }
}

/// A driveline of bare shafts with output `output`; parts are added by the caller.
pub fn bare(shafts: Vec<Shaft>, output: ShaftId) -> Driveline {
    Driveline {
        format: 1,
        name: "bare".into(),
        about: "A test driveline.".into(),
        shafts,
        planetaries: vec![],
        gear_pairs: vec![],
        locks: vec![],
        machines: vec![],
        sensors: vec![],
        output: Output {
            shaft: output,
            final_drive: Some(int(1)),
            final_drive_efficiency: 1.0,
            tyre_radius_m: Some(1.0),
        },
        vehicle: Some(no_vehicle()),
        battery: None,
        arrangements: vec![],
        costs: Costs { per_s: 1.0, per_gap_s: 1.0, per_kj: 1.0, per_action: 0.1 },
        timing: timing(),
    }
}

/// Two discs and a clutch between them; the second is the output. Machines on both.
pub fn two_discs(i1: f64, i2: f64, capacity_nm: f64) -> Driveline {
    let mut d = bare(vec![shaft("first", i1), shaft("second", i2)], 1);
    d.locks = vec![friction("clutch", 0, Some(1), capacity_nm, 0.0)];
    d.machines = vec![electric("left", 0, 1e6, 1e9), electric("right", 1, 1e6, 1e9)];
    d
}

/// Shafts of the demo shuttle.
pub mod shuttle_shafts {
    /// Traction machine.
    pub const SUN: usize = 0;
    /// Carrier and output.
    pub const OUTPUT: usize = 1;
    /// Ring.
    pub const RING: usize = 2;
    /// Generator.
    pub const GENERATOR: usize = 3;
    /// Engine.
    pub const CRANK: usize = 4;
}

/// The demo shuttle's data (invented), with locks that have no ramp and no drag, machines
/// without lag, a perfect final drive: what the independent figures assume.
pub fn shuttle() -> Driveline {
    use shuttle_shafts::*;
    let mut d = bare(
        vec![
            shaft("sun", 0.062),
            shaft("output", 0.045),
            shaft("ring", 0.028),
            shaft("generator", 0.075),
            shaft("crank", 0.19),
        ],
        OUTPUT,
    );
    d.name = "shuttle".into();
    d.planetaries = vec![planetary(SUN, RING, OUTPUT, 30, 66)];
    d.locks = vec![
        friction("ring-brake", RING, None, 900.0, 90.0),
        friction("ring-clutch", RING, Some(GENERATOR), 640.0, 90.0),
        friction("engine-clutch", GENERATOR, Some(CRANK), 420.0, 90.0),
    ];
    let mut traction = electric("traction", SUN, 310.0, 135.0);
    let mut generator = electric("generator", GENERATOR, 270.0, 90.0);
    set_loss(&mut traction, [150.0, 0.045, 0.9, 0.0026, 0.022]);
    set_loss(&mut generator, [150.0, 0.03, 2.4, 0.0132, 0.022]);
    d.machines = vec![traction, generator, shuttle_engine()];
    d.sensors = (0..5).map(|s| sensor(&d.shafts[s].name, s)).collect();
    d.output.final_drive = Some(ratio(41, 13));
    d.output.tyre_radius_m = Some(0.355);
    d.vehicle = Some(Vehicle {
        mass_kg: 4300.0,
        rotating_mass_factor: 1.03,
        road_load_f0_n: 400.0,
        road_load_f1_n_per_mps: 2.5,
        road_load_f2_n_per_mps2: 1.0,
        max_speed_kmh: 125.0,
        max_acceleration_mps2: 4.0,
        driveline_decel_max_mps2: 3.0,
        auxiliary_w: 600.0,
    });
    d.battery = Some(Battery {
        energy_kwh: 52.0,
        nominal_v: 370.0,
        resistance_ohm: 0.09,
        discharge_max_kw: 160.0,
        charge_max_kw: 90.0,
        charge_window: [0.2, 0.9],
    });
    d
}

/// The shuttle as it is driven: ramps, drag, static bonus, lags and losses.
pub fn shuttle_full() -> Driveline {
    let mut d = shuttle();
    for lock in &mut d.locks {
        lock.drag_nm = 1.5;
        let f = friction_of(lock);
        f.ramp_ms = 80.0;
        f.static_ratio = 1.1;
    }
    for machine in &mut d.machines {
        match &mut machine.kind {
            MachineKind::Electric(e) => e.lag_ms = 8.0,
            MachineKind::Engine(e) => e.lag_ms = 120.0,
        }
    }
    d.output.final_drive_efficiency = 0.97;
    d
}

fn set_loss(machine: &mut Machine, [constant, copper, linear, square, inverter]: [f64; 5]) {
    if let MachineKind::Electric(e) = &mut machine.kind {
        e.loss = Loss { constant, copper, linear, square, inverter };
    }
}

/// A pulse sensor with 2 ms latency.
pub fn sensor(name: &str, shaft: ShaftId) -> Sensor {
    Sensor {
        name: name.into(),
        shaft,
        kind: SensorKind::Pulses { per_turn: 60 },
        range_rpm: 12_000.0,
        error_rpm: 2.0,
        resolution_rpm: 1.0,
        latency_ms: 2.0,
    }
}

fn shuttle_engine() -> Machine {
    Machine {
        name: "engine".into(),
        shaft: shuttle_shafts::CRANK,
        kind: MachineKind::Engine(Engine {
            idle_rpm: 950.0,
            max_rpm: 4200.0,
            stall_rpm: 500.0,
            own_starter: true,
            start_ms: 600.0,
            torque_curve_rpm_nm: vec![
                (950.0, 105.0),
                (1300.0, 135.0),
                (1700.0, 160.0),
                (3200.0, 168.0),
                (4200.0, 150.0),
            ],
            drag_nm: 15.0,
            lag_ms: 0.0,
            displacement_l: Some(1.5),
            willans_efficiency: Some(0.42),
            loss_pressure_bar: Some([1.05, 0.0, 0.1]),
            fuel_mj_per_kg: 42.7,
            fuel_map: None,
        }),
    }
}

/// A random driveline: 1 to 3 planetary sets in a row, gear pairs, 2 to 8 locks (friction and
/// dog, some of them redundant), machines on the first shafts, an engine on some.
pub fn random(seed: u64) -> Driveline {
    let mut r = Random::new(seed);
    let sets = 1 + r.below(3) as usize;
    let count = 2 * sets + 2 + r.below(2) as usize;
    let shafts: Vec<Shaft> =
        (0..count).map(|i| shaft(&format!("s{i}"), 0.02 + 0.3 * r.unit() * r.unit())).collect();
    let output = r.below(3) as usize;
    let mut d = bare(shafts, output);
    for k in 0..sets {
        let (zs, zr) = (20 + r.below(20) as u32, 50 + r.below(60) as u32);
        let mut p = planetary(2 * k, 2 * k + 1, 2 * k + 2, zs, zr);
        if r.below(4) == 0 {
            p.planet = Planet::Double;
        }
        p.mesh_efficiency = 0.97 + 0.03 * r.unit();
        d.planetaries.push(p);
    }
    if r.below(2) == 0 {
        let ratio: Q = ratio(-23, 40);
        d.gear_pairs.push(GearPair {
            name: "pair".into(),
            a: count - 1,
            b: 1,
            ratio,
            mesh_efficiency: 0.98,
        });
    }
    for i in 0..2 + r.below(7) {
        d.locks.push(random_lock(&mut r, i, count as u64));
    }
    d.machines.push(electric("m0", 0, 250.0, 90.0));
    d.machines.push(electric("m1", count - 1, 200.0, 60.0));
    if r.below(2) == 0 {
        let mut engine = shuttle_engine();
        engine.shaft = r.below(count as u64) as usize;
        d.machines.push(engine);
    }
    d.output.final_drive_efficiency = 0.95 + 0.05 * r.unit();
    d.vehicle = Some(Vehicle {
        mass_kg: 50.0 + 2000.0 * r.unit(),
        rotating_mass_factor: 1.03,
        road_load_f0_n: 300.0 * r.unit(),
        road_load_f1_n_per_mps: 2.0,
        road_load_f2_n_per_mps2: 0.7,
        ..no_vehicle()
    });
    d.output.final_drive = Some(int(4));
    d.output.tyre_radius_m = Some(0.35);
    d.sensors = (0..count.min(8)).map(|s| sensor(&d.shafts[s].name, s)).collect();
    d
}

fn random_lock(r: &mut Random, index: u64, shafts: u64) -> Lock {
    let a = r.below(shafts) as usize;
    let b = r.below(shafts) as usize;
    let b = if r.below(3) == 0 || a == b { None } else { Some(b) };
    let capacity = 100.0 + 900.0 * r.unit();
    let name = format!("l{index}");
    let mut lock = if r.below(3) == 0 {
        dog(&name, a, b, capacity, 25.0)
    } else {
        let mut lock = friction(&name, a, b, capacity, 60.0);
        let f = friction_of(&mut lock);
        f.ramp_ms = 100.0 * r.unit();
        f.static_ratio = 1.0 + 0.3 * r.unit();
        lock
    };
    lock.drag_nm = if r.below(2) == 0 { 0.0 } else { 3.0 * r.unit() };
    lock
}
