//! From checked tables to the driveline; works out the values that were left out.
//!
//! Called only when no error was found, so that a missing value here can only
//! be an optional one; should one be missing nevertheless, the result is `None`.

use super::fields::Fields;
use super::model::*;
use super::model_parts::*;
use super::walk::Walked;
use super::{sensors, values::Got};
use crate::exact::{self, Q};

/// The driveline of a walked file without errors.
pub(super) fn driveline(walked: &Walked) -> Option<Driveline> {
    let root = &walked.root;
    let machines = each(walked, "machine", machine)?;
    let mut shafts = each(walked, "shaft", shaft)?;
    tighten(&mut shafts, &machines, walked.all("machine"));
    let locks = each(walked, "lock", lock)?;
    let output = output(walked.one("output")?)?;
    let sensors = match walked.all("sensor") {
        [] => sensors::by_default(&shafts, &machines, &locks, output.shaft),
        stated => {
            stated.iter().map(|f| sensors::stated(f, &shafts, &machines)).collect::<Option<_>>()?
        }
    };
    let empty = |table: &str| walked.one(table).cloned().or_else(|| absent(table));
    Some(Driveline {
        format: root.count("format")?,
        name: root.word("name")?.to_string(),
        about: root.word("about")?.to_string(),
        shafts,
        planetaries: each(walked, "planetary", planetary)?,
        gear_pairs: each(walked, "gear_pair", gear_pair)?,
        locks,
        sensors,
        output,
        vehicle: optional(walked, "vehicle", vehicle)?,
        battery: optional(walked, "battery", battery)?,
        arrangements: each(walked, "arrangement", |f| arrangement(f, machines.len()))?,
        machines,
        costs: costs(&empty("costs")?)?,
        timing: timing(&empty("timing")?)?,
    })
}

/// A table of the description with nothing given: all defaults.
fn absent(table: &str) -> Option<Fields> {
    super::keys::DRIVELINE.table(table).map(|spec| Fields::new(spec, 0..0))
}

fn each<T>(walked: &Walked, table: &str, read: impl Fn(&Fields) -> Option<T>) -> Option<Vec<T>> {
    walked.all(table).iter().map(read).collect()
}

/// `Some(None)` when the table is absent.
fn optional<T>(
    walked: &Walked,
    table: &str,
    read: impl Fn(&Fields) -> Option<T>,
) -> Option<Option<T>> {
    match walked.one(table) {
        None => Some(None),
        Some(fields) => read(fields).map(Some),
    }
}

fn name(f: &Fields) -> Option<String> {
    f.word("name").map(str::to_string)
}

fn shaft(f: &Fields) -> Option<Shaft> {
    let max_rpm = f.number("max_rpm");
    Some(Shaft {
        name: name(f)?,
        inertia_kg_m2: f.number("inertia_kg_m2"),
        max_rpm,
        min_rpm: f.number("min_rpm").or(max_rpm.map(|x| -x)),
        tested_rpm: f.number("tested_rpm"),
        tested_s: f.number("tested_s")?,
        spin_drag: SpinDrag {
            constant_nm: f.number("spin_drag_nm")?,
            per_krpm_nm: f.number("spin_drag_nm_per_krpm")?,
        },
    })
}

/// An electric machine's own speed limit tightens its shaft's.
fn tighten(shafts: &mut [Shaft], machines: &[Machine], fields: &[Fields]) {
    for (machine, fields) in machines.iter().zip(fields) {
        let MachineKind::Electric(_) = machine.kind else { continue };
        let (Some(limit), Some(shaft)) = (fields.number("max_rpm"), shafts.get_mut(machine.shaft))
        else {
            continue;
        };
        shaft.max_rpm = Some(shaft.max_rpm.map_or(limit, |x| x.min(limit)));
        shaft.min_rpm = Some(shaft.min_rpm.map_or(-limit, |x| x.max(-limit)));
    }
}

fn planetary(f: &Fields) -> Option<Planetary> {
    Some(Planetary {
        name: name(f)?,
        sun: f.index("sun")?,
        ring: f.index("ring")?,
        carrier: f.index("carrier")?,
        sun_teeth: f.count("sun_teeth")?,
        ring_teeth: f.count("ring_teeth")?,
        planets: f.count("planets")?,
        planet: if f.word("planet")? == "double" { Planet::Double } else { Planet::Single },
        mesh_efficiency: f.number("mesh_efficiency")?,
    })
}

fn gear_pair(f: &Fields) -> Option<GearPair> {
    Some(GearPair {
        name: name(f)?,
        a: f.index("a")?,
        b: f.index("b")?,
        ratio: pair_ratio(f)?,
        mesh_efficiency: f.number("mesh_efficiency")?,
    })
}

/// Speed of `a` per speed of `b`: as given, or from the tooth counts.
fn pair_ratio(f: &Fields) -> Option<Q> {
    if let Some(ratio) = f.exact("ratio") {
        return Some(ratio.clone());
    }
    let size = exact::ratio(i64::from(f.count("b_teeth")?), i64::from(f.count("a_teeth")?));
    Some(if f.word("mesh")? == "internal" { size } else { -size })
}

fn lock(f: &Fields) -> Option<Lock> {
    // The reader puts the case second.
    let (a, b) = match f.given("joins").map(|g| &g.value)? {
        Got::Joins([Some(a), b]) => (*a, *b),
        Got::Joins([None, Some(a)]) => (*a, None),
        _ => return None,
    };
    let is_dog = f.word("kind")? == "dog";
    let capacity_nm = f.number("capacity_nm");
    let engage_slip_max_rpm = f.number("engage_slip_max_rpm");
    let drag_share = if is_dog { 0.001 } else { 0.003 };
    Some(Lock {
        name: name(f)?,
        a,
        b,
        kind: if is_dog { LockKind::Dog(dog(f)?) } else { LockKind::Friction(friction(f)?) },
        capacity_nm,
        engage_slip_max_rpm,
        normally_open: f.word("normally")? == "open",
        has_switch: f.flag("switch")?,
        close_ms: f.number(if is_dog { "insertion_ms" } else { "fill_ms" })?,
        release_ms: f.number("release_ms")?,
        drag_nm: f.number("drag_nm").unwrap_or(drag_share * capacity_nm.unwrap_or(0.0)),
    })
}

fn friction(f: &Fields) -> Option<Friction> {
    let energy_budget_kj = f.number("energy_budget_kj")?;
    Some(Friction {
        energy_budget_kj,
        ramp_ms: f.number("ramp_ms")?,
        static_ratio: f.number("static_ratio")?,
        heat_capacity_kj_per_k: f
            .number("heat_capacity_kj_per_k")
            .unwrap_or(energy_budget_kj / 20.0),
        cooling_time_s: f.number("cooling_time_s")?,
        max_rise_k: f.number("max_rise_k")?,
    })
}

fn dog(f: &Fields) -> Option<Dog> {
    Some(Dog {
        teeth: f.count("teeth")?,
        backlash_deg: f.number("backlash_deg")?,
        offset_rpm: f
            .number("offset_rpm")
            .unwrap_or(f.number("engage_slip_max_rpm").map_or(5.0, |slip| 0.2 * slip)),
    })
}

fn machine(f: &Fields) -> Option<Machine> {
    let kind = match f.word("kind")? {
        "engine" => MachineKind::Engine(engine(f)?),
        _ => MachineKind::Electric(electric(f)?),
    };
    Some(Machine { name: name(f)?, shaft: f.index("shaft")?, kind })
}

fn electric(f: &Fields) -> Option<Electric> {
    let loss = match f.table("loss") {
        None => Loss::default(),
        Some(l) => Loss {
            constant: l.number("constant")?,
            copper: l.number("copper")?,
            linear: l.number("linear")?,
            square: l.number("square")?,
            inverter: l.number("inverter")?,
        },
    };
    Some(Electric {
        max_torque_nm: f.number("max_torque_nm"),
        max_power_kw: f.number("max_power_kw"),
        lag_ms: f.number("lag_ms")?,
        loss,
        loss_map: f.word("loss_map").filter(|p| !p.is_empty()).map(str::to_string),
    })
}

fn engine(f: &Fields) -> Option<Engine> {
    let idle_rpm = f.number("idle_rpm")?;
    let torque_curve_rpm_nm = match f.given("torque_curve_rpm_nm").map(|g| &g.value) {
        Some(Got::Curve(points)) => points.clone(),
        _ => Vec::new(),
    };
    let displacement_l = f.number("displacement_l");
    let loss_pressure_bar =
        f.numbers("loss_pressure_bar").and_then(|p| <[f64; 3]>::try_from(p).ok());
    let drag_nm = f.number("drag_nm").unwrap_or_else(|| {
        unfired_drag_nm(displacement_l, loss_pressure_bar, idle_rpm, &torque_curve_rpm_nm)
    });
    Some(Engine {
        idle_rpm,
        max_rpm: f.number("max_rpm")?,
        stall_rpm: f.number("stall_rpm").unwrap_or(0.6 * idle_rpm),
        own_starter: f.flag("own_starter")?,
        start_ms: f.number("start_ms")?,
        torque_curve_rpm_nm,
        drag_nm,
        lag_ms: f.number("lag_ms")?,
        displacement_l,
        willans_efficiency: f.number("willans_efficiency"),
        loss_pressure_bar,
        fuel_mj_per_kg: f.number("fuel_mj_per_kg")?,
        fuel_map: f.word("fuel_map").filter(|p| !p.is_empty()).map(str::to_string),
    })
}

/// Drag of an engine that is turned unfired. A four-stroke engine does the work
/// p x V once in two turns, so its mean torque is p V / (4 pi).
fn unfired_drag_nm(
    displacement_l: Option<f64>,
    loss_pressure_bar: Option<[f64; 3]>,
    idle_rpm: f64,
    curve: &[(f64, f64)],
) -> f64 {
    if let (Some(litres), Some([constant, linear, square])) = (displacement_l, loss_pressure_bar) {
        let krpm = idle_rpm / 1000.0;
        let pressure_pa = (constant + linear * krpm + square * krpm * krpm) * 1e5;
        return pressure_pa * litres * 1e-3 / (4.0 * std::f64::consts::PI);
    }
    let highest = curve.iter().map(|p| p.1).fold(0.0, f64::max);
    if highest > 0.0 { 0.08 * highest } else { 10.0 }
}

fn output(f: &Fields) -> Option<Output> {
    Some(Output {
        shaft: f.index("shaft")?,
        final_drive: f.exact("final_drive").cloned(),
        final_drive_efficiency: f.number("final_drive_efficiency")?,
        tyre_radius_m: f.number("tyre_radius_m"),
    })
}

fn vehicle(f: &Fields) -> Option<Vehicle> {
    Some(Vehicle {
        mass_kg: f.number("mass_kg")?,
        rotating_mass_factor: f.number("rotating_mass_factor")?,
        road_load_f0_n: f.number("road_load_f0_n")?,
        road_load_f1_n_per_mps: f.number("road_load_f1_n_per_mps")?,
        road_load_f2_n_per_mps2: f.number("road_load_f2_n_per_mps2")?,
        max_speed_kmh: f.number("max_speed_kmh")?,
        max_acceleration_mps2: f.number("max_acceleration_mps2")?,
        driveline_decel_max_mps2: f.number("driveline_decel_max_mps2")?,
        auxiliary_w: f.number("auxiliary_w")?,
    })
}

fn battery(f: &Fields) -> Option<Battery> {
    let nominal_v = f.number("nominal_v")?;
    let discharge_max_kw = f.number("discharge_max_kw")?;
    Some(Battery {
        energy_kwh: f.number("energy_kwh")?,
        nominal_v,
        resistance_ohm: f
            .number("resistance_ohm")
            .unwrap_or(0.05 * nominal_v * nominal_v / (discharge_max_kw * 1000.0)),
        discharge_max_kw,
        charge_max_kw: f.number("charge_max_kw")?,
        charge_window: <[f64; 2]>::try_from(f.numbers("charge_window")?).ok()?,
    })
}

fn arrangement(f: &Fields, machines: usize) -> Option<Arrangement> {
    let closed = match f.given("closed").map(|g| &g.value)? {
        Got::Indices(locks) => locks.iter().fold(0u8, |set, lock| set | 1 << lock),
        _ => return None,
    };
    let mut roles = vec![None; machines];
    if let Some(Got::Words(list)) = f.given("roles").map(|g| &g.value) {
        for (machine, word) in list {
            *roles.get_mut(*machine)? = Some(role(word)?);
        }
    }
    Some(Arrangement {
        name: name(f)?,
        closed,
        engine: match f.word("engine")? {
            "on" => EngineUse::On,
            "off" => EngineUse::Off,
            _ => EngineUse::Either,
        },
        roles,
        min_speed_kmh: f.number("min_speed_kmh"),
        max_speed_kmh: f.number("max_speed_kmh"),
    })
}

fn role(word: &str) -> Option<Role> {
    Some(match word {
        "drives" => Role::Drives,
        "generates" => Role::Generates,
        "holds-speed" => Role::HoldsSpeed,
        "idle" => Role::Idle,
        _ => return None,
    })
}

fn costs(f: &Fields) -> Option<Costs> {
    Some(Costs {
        per_s: f.number("per_s")?,
        per_gap_s: f.number("per_gap_s")?,
        per_kj: f.number("per_kj")?,
        per_action: f.number("per_action")?,
    })
}

fn timing(f: &Fields) -> Option<Timing> {
    Some(Timing {
        tick_ms: f.number("tick_ms")?,
        sync_dwell_ms: f.number("sync_dwell_ms")?,
        sync_timeout_ms: f.number("sync_timeout_ms")?,
        unload_timeout_ms: f.number("unload_timeout_ms")?,
        confirm_timeout_ms: f.number("confirm_timeout_ms")?,
        overlap_max_ms: f.number("overlap_max_ms")?,
        min_stay_ms: f.number("min_stay_ms")?,
        request_dwell_ms: f.number("request_dwell_ms")?,
        retries: f.count("retries")?,
        sync_rate_max_rpm_per_s: f.number("sync_rate_max_rpm_per_s")?,
        unloaded_share: f.number("unloaded_share")?,
        rest_rpm: f.number("rest_rpm")?,
        fault_tolerant_time_ms: f.number("fault_tolerant_time_ms"),
    })
}
