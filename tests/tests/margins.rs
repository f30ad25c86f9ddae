//! "Measured within the limit" implies "truly within the limit", against an adversary.
//!
//! The adversary chooses speeds and rates of all shafts in every motion the gears allow, and the
//! error of every sample of every sensor; quantisation, latency and f32 are as they are. The
//! truth is judged when the order takes effect, a tick after the decision.

use host_sim::driveline::{self, Driveline, EngineUse, MachineKind};
use host_sim::exact::to_f64;
use host_sim::kinematics::{self, Kinematics, lock_row, window_of};
use host_sim::table::{self, TableData, synchronisers};
use slipwarden_tests::random::Dice;
use supervisor::guards::Guards;
use supervisor::heat::Heat;
use supervisor::io::{Inputs, Speed, Torque};
use supervisor::observe::{Memory, Reading};
use supervisor::table::Action;

const RPM: f64 = std::f64::consts::PI / 30.0;

struct Demo {
    d: Driveline,
    k: Kinematics,
    data: TableData,
    motions: Vec<Vec<f64>>,
    fastest: f64,
    tick_s: f64,
}

fn demo(name: &str) -> Demo {
    let d = driveline::parse(name, driveline::demo(name).expect("embedded")).expect("valid");
    let d = d.driveline;
    let k: Kinematics = kinematics::analyse(&d).expect("moves");
    let data = table::build(&d, &k).expect("has a table");
    let motions = k.set(0).basis.iter().map(|m| m.iter().map(to_f64).collect()).collect();
    // A machine at full torque on nothing but its own shaft.
    let asked = d.timing.sync_rate_max_rpm_per_s * RPM;
    let fastest = d.machines.iter().fold(asked, |fastest, m| match &m.kind {
        MachineKind::Electric(e) => {
            let inertia = d.shafts[m.shaft].inertia_kg_m2;
            match (e.max_torque_nm, inertia) {
                (Some(torque), Some(inertia)) => fastest.max(torque / inertia),
                _ => fastest,
            }
        }
        MachineKind::Engine(_) => fastest,
    });
    let tick_s = d.timing.tick_ms / 1000.0;
    Demo { d, k, data, motions, fastest, tick_s }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Demo {
    /// A random motion of the gears, scaled so that no sensed shaft is above `size`, with the
    /// given form moved to `value`.
    fn motion(&self, dice: &mut Dice, form: &[f64], value: f64, size: f64) -> Option<Vec<f64>> {
        let mut sum = vec![0.0; self.d.shafts.len()];
        for motion in &self.motions {
            let c = dice.signed_unit();
            sum.iter_mut().zip(motion).for_each(|(s, m)| *s += c * m);
        }
        let largest = self.largest(&sum);
        let scale = if largest > 0.0 { 0.8 * size * dice.signed_unit() / largest } else { 0.0 };
        sum.iter_mut().for_each(|s| *s *= scale);
        // Move it along the motion that changes the form most for its size.
        let along = self.motions.iter().max_by(|a, b| {
            let gain = |m: &[f64]| dot(form, m).abs() / self.largest(m).max(1e-9);
            gain(a).total_cmp(&gain(b))
        })?;
        let step = (value - dot(form, &sum)) / dot(form, along);
        sum.iter_mut().zip(along).for_each(|(s, m)| *s += step * m);
        (self.largest(&sum) <= size).then_some(sum)
    }

    fn largest(&self, speeds: &[f64]) -> f64 {
        self.d.sensors.iter().map(|s| speeds[s.shaft].abs()).fold(0.0, f64::max)
    }

    fn range(&self) -> f64 {
        self.d.sensors.iter().map(|s| s.range_rpm * RPM).fold(f64::INFINITY, f64::min)
    }

    /// What the sensors say at `t_s` of `speed + rate * t`, with these errors (-1 to 1 each).
    fn sensed(&self, speed: &[f64], rate: &[f64], t_s: f64, errors: &[f64]) -> Inputs {
        let mut inputs = Inputs::default();
        for ((slot, sensor), error) in inputs.speeds.iter_mut().zip(&self.d.sensors).zip(errors) {
            let then = t_s - sensor.latency_ms / 1000.0;
            let truth = speed[sensor.shaft] + rate[sensor.shaft] * then;
            let seen = truth + error * sensor.error_rpm * RPM;
            let step = sensor.resolution_rpm * RPM;
            let seen = if step > 0.0 { (seen / step).round() * step } else { seen };
            *slot = Speed { radps: seen as f32, valid: true };
        }
        inputs
    }

    /// Tick through the past up to now with errors from `errors(tick)`; ask at the end.
    fn ask<T>(
        &self,
        speed: &[f64],
        rate: &[f64],
        mut errors: impl FnMut(i32) -> Vec<f64>,
        question: impl FnOnce(&mut Reading) -> T,
    ) -> T {
        let table = self.data.table();
        let heat = Heat::default();
        let mut memory = Memory::default();
        let past = 3 * i32::from(table.timing.rate_ticks);
        for tick in -past..0 {
            let inputs = self.sensed(speed, rate, f64::from(tick) * self.tick_s, &errors(tick));
            Reading::new(&table, &inputs, &heat, &mut memory);
        }
        let inputs = self.sensed(speed, rate, 0.0, &errors(0));
        let mut reading = Reading::new(&table, &inputs, &heat, &mut memory);
        question(&mut reading)
    }

    /// Errors that make the row's value look smaller than it is (`sign` of the value).
    fn hiding(&self, row: &[f32], sign: f64) -> Vec<f64> {
        self.d.sensors.iter().zip(row).map(|(_, &c)| -sign * f64::from(c).signum()).collect()
    }

    fn slip_form(&self, lock: usize) -> Vec<f64> {
        lock_row(&self.d, lock).iter().map(to_f64).collect()
    }

    fn age_s(&self, row: &[f32]) -> f64 {
        let used = self.d.sensors.iter().zip(row).filter(|(_, c)| **c != 0.0);
        let youngest = used.map(|(s, _)| s.latency_ms).fold(f64::INFINITY, f64::min);
        (youngest + self.d.timing.tick_ms) / 1000.0
    }

    fn slip_rate_max(&self, limit: f64, row: &[f32]) -> f64 {
        (self.d.timing.sync_rate_max_rpm_per_s * RPM).min(0.25 * limit / self.age_s(row))
    }
}

/// The largest true slip, as a share of the limit, that is measured within it: by bisection under
/// the worst errors, for random motions at the fastest allowed rates.
fn worst_share(demo: &Demo, lock: usize, wanted: u32) -> f64 {
    let row = demo.data.locks[lock].slip_row;
    let limit = demo.d.locks[lock].engage_slip_max_rpm.expect("stated") * RPM;
    let form = demo.slip_form(lock);
    let rate_max = demo.slip_rate_max(limit, &row);
    let mut dice = Dice::new(7 + lock as u64);
    let (mut worst, mut tries) = (0.0f64, 0);
    while tries < wanted {
        let sign = if dice.chance(1, 2) { 1.0 } else { -1.0 };
        let errors = demo.hiding(&row, sign);
        let fastest = demo.fastest;
        let Some(rate) = demo.motion(&mut dice, &form, sign * rate_max, fastest) else { continue };
        let seed = dice.bits();
        let within = |slip: f64| {
            let size = 0.95 * demo.range();
            let speed = demo.motion(&mut Dice::new(seed), &form, sign * slip, size)?;
            Some(demo.ask(&speed, &rate, |_| errors.clone(), |r| r.slip(lock as u8).within))
        };
        let (mut low, mut high) = (0.0, 2.0 * limit);
        if within(low).is_none() || within(high).is_none() {
            continue;
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if within(middle) == Some(true) { low = middle } else { high = middle }
        }
        // The truth one tick after the decision.
        worst = worst.max((low + rate_max * demo.tick_s) / limit);
        tries += 1;
    }
    worst
}

/// Every lock of every demo; and the margin is not idle either.
#[test]
fn measured_within_is_truly_within() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        for lock in 0..demo.d.locks.len() {
            let worst = worst_share(&demo, lock, 400);
            println!("{name} lock {lock}: worst true slip {:.1} % of the limit", 100.0 * worst);
            assert!(worst <= 1.0, "{name} lock {lock}: truly beyond the limit: {worst}");
            assert!(worst > 0.8, "{name} lock {lock}: the margin is far too large: {worst}");
        }
    }
}

/// A tenth of the margin left out is found, for every lock.
#[test]
fn a_margin_that_is_too_small_is_found() {
    for name in ["shuttle", "axle", "railcar"] {
        let mut demo = demo(name);
        for lock in 0..demo.d.locks.len() {
            let limit = demo.d.locks[lock].engage_slip_max_rpm.expect("stated") * RPM;
            let sound = demo.data.locks[lock].slip_max;
            demo.data.locks[lock].slip_max = sound + 0.1 * (limit as f32 - sound);
            let worst = worst_share(&demo, lock, 400);
            assert!(worst > 1.0, "{name} lock {lock}: not found: {worst}");
            demo.data.locks[lock].slip_max = sound;
        }
    }
}

/// With any constant rate and an error of its own in every sample, what may begin to close is
/// truly within the limit when the order takes effect: the rate guard does its part.
#[test]
fn what_may_begin_is_truly_within_at_any_rate() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        for lock in 0..demo.d.locks.len() {
            let limit = demo.d.locks[lock].engage_slip_max_rpm.expect("stated") * RPM;
            let form = demo.slip_form(lock);
            let row = demo.data.locks[lock].slip_row;
            let rate_max = demo.slip_rate_max(limit, &row);
            let mut dice = Dice::new(70 + lock as u64);
            let (mut ready, mut fast_ready) = (0, 0.0f64);
            for _ in 0..6000 {
                let slip = limit * dice.signed_unit();
                let slip_rate = 3.0 * rate_max * dice.signed_unit();
                let size = 0.95 * demo.range();
                let Some(speed) = demo.motion(&mut dice, &form, slip, size) else { continue };
                let Some(rate) = demo.motion(&mut dice, &form, slip_rate, demo.fastest) else {
                    continue;
                };
                let hide = demo.hiding(&row, slip.signum());
                let seed = dice.bits();
                let errors = |tick: i32| {
                    let mut own = Dice::new(seed ^ tick as u64);
                    match seed % 3 {
                        0 => hide.clone(),
                        // Hides the slip now, and some of its change.
                        1 if tick < -2 => hide.iter().map(|e| -e).collect(),
                        1 => hide.clone(),
                        _ => hide.iter().map(|_| own.signed_unit()).collect(),
                    }
                };
                if demo.ask(&speed, &rate, errors, |r| r.slip(lock as u8).ready()) {
                    let truth = slip + slip_rate * demo.tick_s;
                    assert!(truth.abs() <= limit, "{name} lock {lock}: {} rpm", truth / RPM);
                    ready += 1;
                    fast_ready = fast_ready.max(slip_rate.abs() / rate_max);
                }
            }
            println!(
                "{name} lock {lock}: {ready} ready, fastest {fast_ready:.2} of the rate limit"
            );
            assert!(ready > 200, "{name} lock {lock}: hardly ever ready: {ready}");
            assert!(fast_ready < 1.5, "{name} lock {lock}: the rate guard lets too much pass");
        }
    }
}

/// Sides that are locked together are never said to move apart, whatever the sensors' errors.
#[test]
fn a_closed_lock_never_moves() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        for lock in 0..demo.d.locks.len() {
            let form = demo.slip_form(lock);
            let row = demo.data.locks[lock].slip_row;
            let mut dice = Dice::new(700 + lock as u64);
            let mut tries = 0;
            while tries < 2000 {
                let size = 0.95 * demo.range();
                let Some(speed) = demo.motion(&mut dice, &form, 0.0, size) else { continue };
                let Some(rate) = demo.motion(&mut dice, &form, 0.0, demo.fastest) else { continue };
                let sign = if dice.chance(1, 2) { 1.0 } else { -1.0 };
                let errors = demo.hiding(&row, sign);
                let moving =
                    demo.ask(&speed, &rate, |_| errors.clone(), |r| r.slip(lock as u8).moving);
                assert!(!moving, "{name} lock {lock}");
                tries += 1;
            }
        }
    }
}

/// Measured at rest is truly at rest.
#[test]
fn measured_at_rest_is_truly_at_rest() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        for machine in 0..demo.d.machines.len() {
            let rest = demo.data.rests[machine];
            let mut form = vec![0.0; demo.d.shafts.len()];
            form[demo.d.machines[machine].shaft] = 1.0;
            let limit = demo.d.timing.rest_rpm * RPM;
            let rate_max = demo.slip_rate_max(limit, &rest.row);
            let errors = demo.hiding(&rest.row, 1.0);
            let mut dice = Dice::new(5);
            let mut at_rest = 0;
            for _ in 0..6000 {
                let speed = 1.2 * limit * (0.5 + 0.5 * dice.signed_unit());
                let size = 0.95 * demo.range();
                let Some(now) = demo.motion(&mut dice, &form, speed, size) else { continue };
                let Some(rate) = demo.motion(&mut dice, &form, rate_max, demo.fastest) else {
                    continue;
                };
                let machines = demo.ask(&now, &rate, |_| errors.clone(), |r| r.machines_at_rest());
                if machines.has(machine as u8) {
                    let truth = speed + rate_max * demo.tick_s;
                    assert!(truth <= limit, "{name} machine {machine}: {} rpm", truth / RPM);
                    at_rest += 1;
                }
            }
            println!("{name} machine {machine}: {at_rest} times at rest");
            assert!(at_rest > 100, "{name} machine {machine}: hardly ever at rest");
        }
    }
}

/// Healthy sensors never speak against each other; one that is off by more than the parity
/// relation allows always does, and takes its shafts' slips with it.
#[test]
fn parity_flags_the_sick_and_not_the_healthy() {
    let mut relations = 0;
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        let form = vec![1.0; demo.d.shafts.len()];
        let mut dice = Dice::new(9);
        for (n, parity) in demo.data.parities.iter().enumerate() {
            relations += 1;
            let mut tries = 0;
            while tries < 1500 {
                let size = 0.95 * demo.range();
                let value = 0.2 * size * dice.signed_unit();
                let Some(speed) = demo.motion(&mut dice, &form, value, size) else { continue };
                let Some(rate) = demo.motion(&mut dice, &form, 0.0, demo.fastest) else { continue };
                let sign = if dice.chance(1, 2) { 1.0 } else { -1.0 };
                let errors = demo.hiding(&parity.row, sign);
                let bad = |speed: &[f64], biased: Option<(usize, f64)>| {
                    let inputs = demo.sensed(speed, &rate, 0.0, &errors);
                    let mut inputs = inputs;
                    if let Some((sensor, bias)) = biased {
                        inputs.speeds[sensor].radps += bias as f32;
                    }
                    let table = demo.data.table();
                    let heat = Heat::default();
                    Reading::new(&table, &inputs, &heat, &mut Memory::default()).bad_sensors()
                };
                assert!(
                    bad(&speed, None).is_empty(),
                    "{name} parity {n}: a healthy one is flagged"
                );
                let sensor = usize::from(parity.sensors.lowest().expect("not empty"));
                let coefficient = f64::from(parity.row[sensor]).abs();
                let bias = 2.01 * f64::from(parity.max) / coefficient;
                let all = parity.sensors;
                assert!(bad(&speed, Some((sensor, bias))).contains(all), "{name} parity {n}");
                assert!(bad(&speed, Some((sensor, -bias))).contains(all), "{name} parity {n}");
                tries += 1;
            }
        }
    }
    println!("{relations} relations");
    assert!(relations >= 2);
}

/// Fastest change of the output's speed with tyres in grip, rad/s2.
fn grip(demo: &Demo) -> f64 {
    let mps2 = demo.d.vehicle.as_ref().expect("stated").max_acceleration_mps2;
    mps2 * 3.6 * demo.d.output_radps_per_kmh().expect("stated")
}

fn unit(demo: &Demo, shaft: usize) -> Vec<f64> {
    (0..demo.d.shafts.len()).map(|s| f64::from(u8::from(s == shaft))).collect()
}

/// Measured in the road-speed window is truly in it when the order takes effect, with the output
/// gaining speed as fast as the tyres let it; for arrangements and for steps, at both ends.
#[test]
fn measured_in_a_window_is_truly_in_it() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        let (form, row) = (unit(&demo, demo.d.output.shaft), demo.data.output_row);
        let mut dice = Dice::new(21);
        let mut inside = 0;
        let steps =
            demo.data.steps.iter().map(|s| s.from.with(s.lock, s.action == Action::Close).0);
        let steps: Vec<(Option<u16>, u8)> =
            steps.enumerate().map(|(i, to)| (Some(i as u16), to)).collect();
        let arrangements = demo.data.arrangements.iter().map(|a| (None, a.closed.0));
        for (at, (step, set)) in arrangements.chain(steps).enumerate() {
            // The engine may run; what is wider than that is never asked for here.
            let engine = match step {
                None => demo.d.arrangements[at].engine,
                Some(_) => EngineUse::Either,
            };
            let Some(window) = window_of(&demo.d, &demo.k, set, engine) else { continue };
            for (sign, end) in [(1.0, &window.high), (-1.0, &window.low)] {
                let limit = sign * to_f64(end.output_rpm.as_ref().expect("limited")) * RPM;
                for _ in 0..60 {
                    let speed = sign * limit * (1.0 + 0.01 * dice.signed_unit());
                    let size = 0.95 * demo.range();
                    let Some(now) = demo.motion(&mut dice, &form, speed, size) else { continue };
                    let change = sign * grip(&demo);
                    let Some(rate) = demo.motion(&mut dice, &form, change, demo.fastest) else {
                        continue;
                    };
                    let errors = demo.hiding(&row, sign);
                    let within = demo.ask(
                        &now,
                        &rate,
                        |_| errors.clone(),
                        |r| match step {
                            Some(step) => r.in_window(step),
                            None => r.arrangement_may_stay(at as u8),
                        },
                    );
                    if within {
                        let truth = sign * (speed + change * demo.tick_s);
                        assert!(truth <= limit, "{name} {at}: {} rpm", truth / RPM);
                        inside += 1;
                    }
                }
            }
        }
        println!("{name}: {inside} times in a window");
        assert!(inside > 100, "{name}: hardly ever in a window");
    }
}

/// Share of a shaft's largest speed beyond which no step brings it.
const STEP_SHARE: f64 = 0.97;

/// A target that is allowed brings no shaft beyond its limits: the speeds that the driveline truly
/// has once the slip is gone, for random motions near the limits and hostile sensor errors.
#[test]
fn an_allowed_target_keeps_every_shaft_within_its_limits() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        let mut dice = Dice::new(22);
        let (mut allowed, mut near) = (0, 0.0f64);
        for (number, step) in demo.data.steps.iter().enumerate() {
            let Some(machine) = demo.data.notes[number].synchroniser else { continue };
            let lock = usize::from(step.lock);
            let all = synchronisers(&demo.d, &demo.k, step.from.0, lock);
            let sync = all.iter().find(|s| s.machine == machine).expect("it synchronises");
            let along: Vec<f64> = sync.motion.iter().map(to_f64).collect();
            let per = to_f64(&sync.slip_per_speed);
            let basis = &demo.k.set(step.from.0).basis;
            let motions: Vec<Vec<f64>> =
                basis.iter().map(|m| m.iter().map(to_f64).collect()).collect();
            for _ in 0..150 {
                let mut speeds = any_motion(&motions, &mut dice);
                let slip = dot(&demo.slip_form(lock), &speeds);
                let mut after: Vec<f64> =
                    speeds.iter().zip(&along).map(|(w, n)| w - slip / per * n).collect();
                // All is linear: one shaft is brought close to what a step may bring it to.
                let scale =
                    STEP_SHARE * (1.0 + 0.002 * dice.signed_unit()) / largest_share(&demo, &after);
                speeds.iter_mut().chain(&mut after).for_each(|w| *w *= scale);
                let reads =
                    |s: &driveline::Sensor| speeds[s.shaft].abs() < 0.99 * s.range_rpm * RPM;
                if !demo.d.sensors.iter().all(reads) {
                    continue;
                }
                let row = match demo.data.table().limits_of(step) {
                    limits if !limits.is_empty() && dice.chance(1, 2) => limits[0].row,
                    _ => step.target_row,
                };
                let sign = if dice.chance(1, 2) { 1.0 } else { -1.0 };
                let errors = demo.hiding(&row, sign);
                let still = vec![0.0; speeds.len()];
                let ok = |r: &mut Reading| r.target_allowed(number as u16);
                if !demo.ask(&speeds, &still, |_| errors.clone(), ok) {
                    continue;
                }
                allowed += 1;
                for (shaft, moved) in along.iter().enumerate().filter(|(_, n)| n.abs() > 1e-9) {
                    let Some(max) = demo.d.shafts[shaft].max_rpm else { continue };
                    // A dog's machine is brought to its offset; the others are judged without slip.
                    let own = shaft == demo.d.machines[machine].shaft;
                    let offset = if own { f64::from(step.target_offset) } else { 0.0 };
                    let share = (after[shaft] + offset).abs() / (max * RPM);
                    assert!(
                        share <= STEP_SHARE + 1e-9,
                        "{name} step {number} shaft {shaft} {moved}"
                    );
                    near = near.max(share);
                }
            }
        }
        println!("{name}: {allowed} targets allowed, up to {:.2} % of a limit", 100.0 * near);
        assert!(
            allowed > 100 && near > 0.99 * STEP_SHARE,
            "{name}: hardly tried: {allowed}, {near}"
        );
    }
}

/// A random motion of a lock set.
fn any_motion(motions: &[Vec<f64>], dice: &mut Dice) -> Vec<f64> {
    let mut sum = vec![0.0; motions.first().map_or(0, Vec::len)];
    for motion in motions {
        let c = dice.signed_unit();
        sum.iter_mut().zip(motion).for_each(|(s, m)| *s += c * m);
    }
    sum
}

/// The largest speed as a share of its shaft's limit.
fn largest_share(demo: &Demo, speeds: &[f64]) -> f64 {
    let limits = demo.d.shafts.iter().zip(speeds);
    limits.filter_map(|(s, w)| Some(w.abs() / (s.max_rpm? * RPM))).fold(1e-9, f64::max)
}

/// Tyres in grip are always calm, and an engine that runs above its stall speed is never taken for
/// a sick sensor.
#[test]
fn what_is_healthy_is_never_taken_for_sick() {
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        let form = unit(&demo, demo.d.output.shaft);
        let mut dice = Dice::new(23);
        for _ in 0..1500 {
            let sign = if dice.chance(1, 2) { 1.0 } else { -1.0 };
            let size = 0.9 * demo.range();
            let speed = 0.3 * size * dice.signed_unit();
            let Some(now) = demo.motion(&mut dice, &form, speed, size) else { continue };
            let Some(rate) = demo.motion(&mut dice, &form, sign * grip(&demo), demo.fastest) else {
                continue;
            };
            assert!(demo.ask(&now, &rate, |_| vec![0.0; 8], |r| r.calm()), "{name}");
        }
        let Some((machine, engine)) = demo.d.engine() else { continue };
        let shaft = demo.d.machines[machine].shaft;
        let sensors = demo.data.rests[machine].sensors;
        for _ in 0..1500 {
            let slowing = -demo.d.timing.sync_rate_max_rpm_per_s * RPM;
            // At its stall speed one tick from now.
            let speed = engine.stall_rpm * RPM - slowing * demo.tick_s;
            let form = unit(&demo, shaft);
            let Some(now) = demo.motion(&mut dice, &form, speed, 0.9 * demo.range()) else {
                continue;
            };
            let Some(rate) = demo.motion(&mut dice, &form, slowing, demo.fastest) else { continue };
            let errors = demo.hiding(&demo.data.rests[machine].row, 1.0);
            let mut inputs = demo.sensed(&now, &rate, 0.0, &errors);
            inputs.engine_running = true;
            let (table, heat) = (demo.data.table(), Heat::default());
            let bad = Reading::new(&table, &inputs, &heat, &mut Memory::default()).bad_sensors();
            assert!(bad.and(sensors).is_empty(), "{name}: a running engine is flagged");
        }
    }
}

/// Measured unloaded is truly unloaded, where the margin has room: the machines' torque reports are
/// off by their hundredth, each the way that hides the load.
#[test]
fn measured_unloaded_is_truly_unloaded() {
    let mut tried = 0;
    for name in ["shuttle", "axle", "railcar"] {
        let demo = demo(name);
        let mut dice = Dice::new(24);
        let most = |m: usize| match &demo.d.machines[m].kind {
            MachineKind::Electric(e) => e.max_torque_nm.expect("stated"),
            MachineKind::Engine(e) => e.torque_curve_rpm_nm.iter().fold(0.0f64, |a, p| a.max(p.1)),
        };
        for (number, step) in demo.data.steps.iter().enumerate() {
            let lock = &demo.d.locks[usize::from(step.lock)];
            let unloaded = demo.d.timing.unloaded_share * lock.capacity_nm.expect("stated");
            let room = f64::from(step.load_max) > 0.11 * unloaded;
            if step.action == Action::Close || !room {
                continue;
            }
            for _ in 0..200 {
                let mut inputs = Inputs::default();
                let truth: Vec<f64> =
                    (0..demo.d.machines.len()).map(|m| most(m) * dice.signed_unit()).collect();
                let load: f64 =
                    truth.iter().zip(step.load_row).map(|(t, c)| t * f64::from(c)).sum();
                // Bring it near the limit by scaling, so that many are within.
                let scale = unloaded / load.abs().max(1e-6) * (1.0 + 0.05 * dice.signed_unit());
                let scale = scale.min(1.0);
                for (m, slot) in inputs.torques.iter_mut().enumerate().take(truth.len()) {
                    let hides = -load.signum() * f64::from(step.load_row[m]).signum();
                    let seen = scale * truth[m] + hides * 0.01 * most(m);
                    *slot = Torque { nm: seen as f32, valid: true };
                }
                let (table, heat) = (demo.data.table(), Heat::default());
                let mut memory = Memory::default();
                let mut reading = Reading::new(&table, &inputs, &heat, &mut memory);
                if reading.unloaded(number as u16) {
                    let load = scale * load.abs();
                    assert!(load <= unloaded, "{name} step {number}: {load} Nm of {unloaded}");
                    tried += 1;
                }
            }
        }
    }
    println!("{tried} times unloaded");
    assert!(tried > 500);
}
