//! Drivelines for tests: the demos from their files, and others built in code, in which only
//! what `survey` reads is real.

use host_sim::driveline::{
    Arrangement, Costs, Driveline, Electric, Engine, EngineUse, Friction, GearPair, Lock, LockKind,
    Loss, Machine, MachineKind, Output, Planet, Planetary, Shaft, ShaftId, SpinDrag, Timing,
};
use host_sim::exact::Q;

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
                tested_rpm: None,
                tested_s: 120.0,
                spin_drag: SpinDrag::default(),
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
            loss_map: None,
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
            fuel_map: None,
        });
        self.d.machines.push(Machine { name: name.to_string(), shaft: self.shaft(shaft), kind });
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

/// A demo driveline from its file.
fn demo(name: &str) -> Driveline {
    let text = host_sim::driveline::demo(name).expect("an embedded demo");
    host_sim::driveline::parse(name, text).expect("a valid file").driveline
}

/// The demo shuttle: one planetary set, two electric machines, an engine, three locks.
pub fn shuttle() -> Driveline {
    demo("shuttle")
}

/// The demo railcar: two planetary sets, two electric machines, an engine, five locks.
pub fn railcar() -> Driveline {
    demo("railcar")
}

/// The demo axle: one planetary set, one electric machine, three locks.
pub fn axle() -> Driveline {
    demo("axle")
}
