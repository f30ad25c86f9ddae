//! Random drivelines completed with what the table needs.

use host_sim::driveline::{
    Arrangement, Costs, Dog, Driveline, EngineUse, LockKind, MachineKind, Role, Sensor, SensorKind,
    Timing, Vehicle,
};
use host_sim::exact::ratio;
use host_sim::kinematics::{Kinematics, Verdict, analyse};

use crate::random::{Dice, driveline};

/// A random driveline with sensors, limits and arrangements, and its kinematics; `None` where
/// the gears hold the output, or no lock set is fit to be an arrangement.
pub fn tabled(seed: u64) -> Option<(Driveline, Kinematics)> {
    let mut d = driveline(seed);
    let k = analyse(&d).ok()?;
    let dice = &mut Dice::new(seed ^ 0x7AB1E);
    for shaft in &mut d.shafts {
        shaft.inertia_kg_m2 = Some(0.02 + 0.01 * f64::from(dice.whole(0, 20)));
        shaft.max_rpm = Some(f64::from(dice.whole(30, 90)) * 100.0);
        shaft.min_rpm = shaft.max_rpm.map(|rpm| -rpm);
    }
    d.sensors = (0..d.shafts.len().min(8))
        .map(|shaft| Sensor {
            name: d.shafts[shaft].name.clone(),
            shaft,
            kind: SensorKind::Resolver,
            range_rpm: 12_000.0,
            error_rpm: 2.0,
            resolution_rpm: 1.0,
            latency_ms: f64::from(dice.whole(1, 3)),
        })
        .collect();
    d.timing.tick_ms = 1.0;
    for lock in &mut d.locks {
        lock.capacity_nm = Some(500.0);
        lock.engage_slip_max_rpm = Some(400.0);
        if let LockKind::Friction(friction) = &mut lock.kind {
            friction.ramp_ms = 50.0;
        }
    }
    limit_machines(&mut d, dice);
    d.output.final_drive = Some(ratio(4, 1));
    d.output.tyre_radius_m = Some(0.3);
    d.vehicle = Some(vehicle());
    let fit: Vec<u8> =
        k.sets.iter().filter(|s| s.verdict == Verdict::Drives).map(|s| s.closed).collect();
    for (i, &closed) in fit.iter().take(6).enumerate() {
        d.arrangements.push(Arrangement {
            name: format!("a{i}"),
            closed,
            engine: [EngineUse::On, EngineUse::Off, EngineUse::Either][dice.whole(0, 2) as usize],
            roles: vec![None; d.machines.len()],
            min_speed_kmh: None,
            max_speed_kmh: None,
        });
    }
    if d.engine().is_none() {
        for arrangement in &mut d.arrangements {
            arrangement.engine = EngineUse::Either;
        }
    }
    (!d.arrangements.is_empty()).then_some((d, k))
}

fn limit_machines(d: &mut Driveline, dice: &mut Dice) {
    for machine in &mut d.machines {
        match &mut machine.kind {
            MachineKind::Electric(electric) => {
                electric.max_torque_nm = Some(100.0 + f64::from(dice.whole(0, 20)) * 10.0);
                electric.max_power_kw = Some(80.0);
            }
            MachineKind::Engine(engine) => {
                engine.torque_curve_rpm_nm = vec![(800.0, 100.0), (4000.0, 150.0)];
                engine.drag_nm = 10.0;
            }
        }
    }
}

fn vehicle() -> Vehicle {
    Vehicle {
        mass_kg: 2000.0,
        rotating_mass_factor: 1.03,
        road_load_f0_n: 200.0,
        road_load_f1_n_per_mps: 1.0,
        road_load_f2_n_per_mps2: 0.6,
        max_speed_kmh: 120.0,
        max_acceleration_mps2: 4.0,
        driveline_decel_max_mps2: 3.0,
        auxiliary_w: 0.0,
    }
}

/// A random driveline with what [`tabled`] leaves alike: dogs, limits on one side or none, costs,
/// times and sensors of every size, an engine that others must start, roles, stated road speeds.
pub fn varied(seed: u64) -> Option<(Driveline, Kinematics)> {
    let (mut d, k) = tabled(seed)?;
    let dice = &mut Dice::new(seed ^ 0xA11);
    for shaft in &mut d.shafts {
        // Both limits or neither, as files have it.
        shaft.max_rpm = shaft.max_rpm.filter(|_| !dice.chance(1, 6));
        let share = [1.0, 0.7, 0.1, 0.0][dice.whole(0, 3) as usize];
        shaft.min_rpm = shaft.max_rpm.map(|max| -share * max);
    }
    for sensor in &mut d.sensors {
        sensor.error_rpm = f64::from(dice.whole(0, 40)) / 10.0;
        sensor.resolution_rpm = f64::from(dice.whole(0, 30)) / 10.0;
        sensor.range_rpm = f64::from(dice.whole(100, 140)) * 100.0;
    }
    if dice.chance(1, 3) {
        d.sensors.remove(dice.whole(0, d.sensors.len() as u32 - 1) as usize);
    }
    vary_locks(&mut d, dice);
    vary_machines(&mut d, dice);
    let part = |dice: &mut Dice| f64::from(dice.whole(1, 30)) / 7.0;
    d.costs = Costs {
        per_s: part(dice),
        per_gap_s: part(dice),
        per_kj: part(dice),
        per_action: part(dice),
    };
    d.timing = times(&d.timing, dice);
    d.output.final_drive = Some(ratio(i64::from(dice.whole(20, 60)), 10));
    Some((d, k))
}

fn vary_locks(d: &mut Driveline, dice: &mut Dice) {
    for lock in &mut d.locks {
        lock.close_ms = f64::from(dice.whole(20, 150));
        lock.release_ms = f64::from(dice.whole(20, 150));
        lock.capacity_nm = Some(f64::from(dice.whole(20, 200)) * 10.0);
        lock.has_switch = !dice.chance(1, 3);
        lock.engage_slip_max_rpm = Some(f64::from(dice.whole(20, 50)) * 10.0);
        match &mut lock.kind {
            LockKind::Friction(_) if dice.chance(1, 3) => {
                let offset_rpm = f64::from(dice.whole(0, 3)) * 15.0;
                lock.kind = LockKind::Dog(Dog { teeth: 24, backlash_deg: 2.0, offset_rpm });
            }
            LockKind::Friction(friction) => {
                friction.ramp_ms = f64::from(dice.whole(20, 150));
                friction.heat_capacity_kj_per_k = f64::from(dice.whole(5, 30)) / 10.0;
                friction.cooling_time_s = f64::from(dice.whole(10, 90));
                friction.max_rise_k = f64::from(dice.whole(40, 160));
            }
            LockKind::Dog(_) => {}
        }
    }
}

fn vary_machines(d: &mut Driveline, dice: &mut Dice) {
    for machine in &mut d.machines {
        match &mut machine.kind {
            MachineKind::Electric(electric) => electric.lag_ms = f64::from(dice.whole(2, 20)),
            MachineKind::Engine(engine) => {
                engine.own_starter = !dice.chance(1, 3);
                engine.start_ms = f64::from(dice.whole(200, 900));
                engine.stall_rpm = f64::from(dice.whole(300, 700));
            }
        }
    }
    for arrangement in &mut d.arrangements {
        arrangement.max_speed_kmh = dice.chance(1, 3).then(|| f64::from(dice.whole(20, 90)));
        arrangement.min_speed_kmh = dice.chance(1, 3).then(|| -f64::from(dice.whole(5, 60)));
        for (machine, role) in d.machines.iter().zip(&mut arrangement.roles) {
            let electric = matches!(machine.kind, MachineKind::Electric(_));
            *role = (electric && dice.chance(1, 3)).then(|| {
                [Role::Drives, Role::Generates, Role::HoldsSpeed][dice.whole(0, 2) as usize]
            });
        }
    }
}

fn times(timing: &Timing, dice: &mut Dice) -> Timing {
    let mut ms = |low: u32, high: u32| f64::from(dice.whole(low, high)) + 0.5;
    Timing {
        sync_dwell_ms: ms(10, 60),
        sync_timeout_ms: ms(1000, 4000),
        unload_timeout_ms: ms(500, 2000),
        confirm_timeout_ms: ms(100, 500),
        overlap_max_ms: ms(30, 900),
        min_stay_ms: ms(100, 900),
        request_dwell_ms: ms(20, 200),
        rest_rpm: ms(10, 40),
        sync_rate_max_rpm_per_s: ms(2000, 6000),
        unloaded_share: ms(20, 90) / 1000.0,
        retries: 2,
        ..timing.clone()
    }
}
