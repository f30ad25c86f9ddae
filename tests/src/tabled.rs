//! Random drivelines completed with what the table needs.

use host_sim::driveline::{
    Arrangement, Driveline, EngineUse, LockKind, MachineKind, Sensor, SensorKind, Vehicle,
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
