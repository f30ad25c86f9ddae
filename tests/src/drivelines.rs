//! Drivelines built in code, for tests of the kinematics alone: only what `survey` reads is real.

use host_sim::driveline::{
    Arrangement, Costs, Driveline, Electric, Engine, EngineUse, Friction, GearPair, Lock, LockKind,
    Loss, Machine, MachineKind, Output, Planet, Planetary, Shaft, ShaftId, Timing, Vehicle,
};
use host_sim::exact::{Q, ratio};

/// A driveline in work; shafts are named as they are first used.
pub struct Build {
    d: Driveline,
}

impl Build {
    /// Empty but for its output shaft.
    pub fn new(name: &str, shafts: &[&str], output: &str) -> Build {
        let mut build = Build { d: empty(name) };
        for shaft in shafts {
            let shaft = Shaft {
                name: shaft.to_string(),
                inertia_kg_m2: None,
                max_rpm: None,
                min_rpm: None,
            };
            build.d.shafts.push(shaft);
        }
        build.d.output.shaft = build.shaft(output);
        build
    }

    /// Index of a shaft by name.
    pub fn shaft(&self, name: &str) -> ShaftId {
        self.d.shafts.iter().position(|s| s.name == name).expect("the shaft exists")
    }

    /// Speed limit of a shaft, both ways.
    pub fn limit(mut self, shaft: &str, max_rpm: f64) -> Build {
        let shaft = self.shaft(shaft);
        self.d.shafts[shaft].max_rpm = Some(max_rpm);
        self.d.shafts[shaft].min_rpm = Some(-max_rpm);
        self
    }

    /// A planetary set: members `[sun, ring, carrier]`, teeth `[sun, ring]`.
    pub fn planetary(mut self, members: [&str; 3], teeth: [u32; 2], planet: Planet) -> Build {
        let [sun, ring, carrier] = members.map(|name| self.shaft(name));
        self.d.planetaries.push(Planetary {
            name: format!("set-{}", self.d.planetaries.len() + 1),
            sun,
            ring,
            carrier,
            sun_teeth: teeth[0],
            ring_teeth: teeth[1],
            planets: 3,
            planet,
            mesh_efficiency: 0.98,
        });
        self
    }

    /// A gear pair: speed of `a` = `ratio` x speed of `b`.
    pub fn pair(mut self, a: &str, b: &str, ratio: Q) -> Build {
        let (a, b) = (self.shaft(a), self.shaft(b));
        let name = format!("pair-{}", self.d.gear_pairs.len() + 1);
        self.d.gear_pairs.push(GearPair { name, a, b, ratio, mesh_efficiency: 0.98 });
        self
    }

    /// A friction lock; `b` "case" makes it a brake.
    pub fn lock(mut self, name: &str, a: &str, b: &str) -> Build {
        let a = self.shaft(a);
        let b = (b != "case").then(|| self.shaft(b));
        self.d.locks.push(Lock {
            name: name.to_string(),
            a,
            b,
            kind: LockKind::Friction(Friction {
                energy_budget_kj: 10.0,
                ramp_ms: 60.0,
                static_ratio: 1.1,
                heat_capacity_kj_per_k: 1.0,
                cooling_time_s: 60.0,
                max_rise_k: 80.0,
            }),
            capacity_nm: None,
            engage_slip_max_rpm: None,
            normally_open: true,
            has_switch: true,
            close_ms: 90.0,
            release_ms: 60.0,
            drag_nm: 0.0,
        });
        self
    }

    /// An electric machine.
    pub fn electric(mut self, name: &str, shaft: &str) -> Build {
        let kind = MachineKind::Electric(Electric {
            max_torque_nm: None,
            max_power_kw: None,
            lag_ms: 10.0,
            loss: Loss::default(),
        });
        self.d.machines.push(Machine { name: name.to_string(), shaft: self.shaft(shaft), kind });
        self
    }

    /// The engine.
    pub fn engine(mut self, name: &str, shaft: &str, idle_rpm: f64, max_rpm: f64) -> Build {
        let kind = MachineKind::Engine(Engine {
            idle_rpm,
            max_rpm,
            stall_rpm: idle_rpm / 2.0,
            own_starter: true,
            start_ms: 500.0,
            torque_curve_rpm_nm: Vec::new(),
            drag_nm: 0.0,
            lag_ms: 50.0,
            displacement_l: None,
            willans_efficiency: None,
            loss_pressure_bar: None,
            fuel_mj_per_kg: 42.7,
        });
        self.d.machines.push(Machine { name: name.to_string(), shaft: self.shaft(shaft), kind });
        self
    }

    /// Final drive, tyre and highest road speed.
    pub fn vehicle(mut self, final_drive: Q, tyre_radius_m: f64, max_speed_kmh: f64) -> Build {
        self.d.output.final_drive = Some(final_drive);
        self.d.output.tyre_radius_m = Some(tyre_radius_m);
        self.d.vehicle = Some(Vehicle {
            mass_kg: 1000.0,
            rotating_mass_factor: 1.0,
            road_load_f0_n: 0.0,
            road_load_f1_n_per_mps: 0.0,
            road_load_f2_n_per_mps2: 0.0,
            max_speed_kmh,
            max_acceleration_mps2: 4.0,
            auxiliary_w: 0.0,
        });
        self
    }

    /// A named arrangement.
    pub fn arrangement(mut self, name: &str, closed: u8, engine: EngineUse) -> Build {
        self.d.arrangements.push(Arrangement {
            name: name.to_string(),
            closed,
            engine,
            roles: vec![None; self.d.machines.len()],
            min_speed_kmh: None,
            max_speed_kmh: None,
        });
        self
    }

    /// The driveline.
    pub fn done(self) -> Driveline {
        self.d
    }
}

fn empty(name: &str) -> Driveline {
    Driveline {
        format: 1,
        name: name.to_string(),
        about: String::new(),
        shafts: Vec::new(),
        planetaries: Vec::new(),
        gear_pairs: Vec::new(),
        locks: Vec::new(),
        machines: Vec::new(),
        sensors: Vec::new(),
        output: Output {
            shaft: 0,
            final_drive: None,
            final_drive_efficiency: 1.0,
            tyre_radius_m: None,
        },
        vehicle: None,
        battery: None,
        arrangements: Vec::new(),
        costs: Costs { per_s: 1.0, per_gap_s: 1.0, per_kj: 1.0, per_action: 0.0 },
        timing: timing(),
    }
}

fn timing() -> Timing {
    Timing {
        tick_ms: 10.0,
        sync_dwell_ms: 30.0,
        sync_timeout_ms: 3000.0,
        unload_timeout_ms: 1000.0,
        confirm_timeout_ms: 300.0,
        overlap_max_ms: 500.0,
        min_stay_ms: 500.0,
        request_dwell_ms: 100.0,
        retries: 3,
        sync_rate_max_rpm_per_s: 5000.0,
        unloaded_share: 0.05,
        rest_rpm: 10.0,
        fault_tolerant_time_ms: None,
    }
}

/// The demo shuttle: one planetary set, two electric machines, an engine, three locks.
pub fn shuttle() -> Driveline {
    Build::new("shuttle", &["sun", "output", "ring", "generator", "crank"], "output")
        .limit("sun", 9000.0)
        .limit("output", 3000.0)
        .limit("ring", 4600.0)
        .limit("generator", 4600.0)
        .limit("crank", 4200.0)
        .planetary(["sun", "ring", "output"], [30, 66], Planet::Single)
        .lock("ring-brake", "ring", "case")
        .lock("ring-clutch", "ring", "generator")
        .lock("engine-clutch", "generator", "crank")
        .electric("traction", "sun")
        .electric("generator", "generator")
        .engine("engine", "crank", 950.0, 4200.0)
        .vehicle(ratio(41, 13), 0.355, 125.0)
        .arrangement("single-electric", 0b001, EngineUse::Off)
        .arrangement("dual-electric", 0b010, EngineUse::Off)
        .arrangement("series", 0b101, EngineUse::On)
        .arrangement("power-split", 0b110, EngineUse::On)
        .done()
}

/// The demo railcar: two planetary sets, two electric machines, an engine, five locks.
pub fn railcar() -> Driveline {
    let shafts = ["crank", "input", "first-sun", "second-sun", "second-ring", "output"];
    Build::new("railcar", &shafts, "output")
        .limit("crank", 2300.0)
        .limit("input", 3200.0)
        .limit("first-sun", 6500.0)
        .limit("second-sun", 6800.0)
        .limit("second-ring", 6500.0)
        .limit("output", 2300.0)
        .planetary(["first-sun", "input", "output"], [34, 62], Planet::Single)
        .planetary(["second-sun", "second-ring", "output"], [30, 78], Planet::Single)
        .lock("engine-clutch", "crank", "input")
        .lock("second-ring-brake", "second-ring", "case")
        .lock("cross-clutch", "second-ring", "first-sun")
        .lock("input-brake", "input", "case")
        .lock("second-lock-up", "second-sun", "output")
        .electric("first-machine", "first-sun")
        .electric("second-machine", "second-sun")
        .engine("engine", "crank", 800.0, 2200.0)
        .vehicle(ratio(41, 10), 0.42, 80.0)
        .arrangement("climb-electric", 0b01010, EngineUse::Off)
        .arrangement("cruise-electric", 0b11000, EngineUse::Off)
        .arrangement("input-split", 0b00011, EngineUse::On)
        .arrangement("compound-split", 0b00101, EngineUse::On)
        .arrangement("direct", 0b10101, EngineUse::On)
        .done()
}

/// The demo axle: one planetary set, one electric machine, three locks.
pub fn axle() -> Driveline {
    Build::new("axle", &["rotor", "ring", "carrier", "output"], "output")
        .limit("rotor", 12000.0)
        .limit("ring", 6000.0)
        .limit("carrier", 4500.0)
        .limit("output", 4500.0)
        .planetary(["rotor", "ring", "carrier"], [30, 72], Planet::Single)
        .lock("low-brake", "ring", "case")
        .lock("high-clutch", "ring", "carrier")
        .lock("disconnect", "carrier", "output")
        .electric("motor", "rotor")
        .vehicle(ratio(51, 10), 0.34, 100.0)
        .arrangement("low", 0b101, EngineUse::Either)
        .arrangement("high", 0b110, EngineUse::Either)
        .arrangement("disconnected", 0b001, EngineUse::Either)
        .done()
}
