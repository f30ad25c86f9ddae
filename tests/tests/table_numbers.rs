//! The numbers of random tables in which everything is varied. The audit proves by its own exact
//! reckoning that each limit is strict enough; here it is also no stricter than that proof needs, but for
//! what is kept free on purpose.

use std::collections::BTreeMap;

use host_sim::audit::{Audited, Proof, Scope, examine};
use host_sim::driveline::{Driveline, EngineUse, Lock, LockKind, MachineKind};
use host_sim::exact::to_f64;
use host_sim::kinematics::{Kinematics, LockSet, analyse, window_of};
use host_sim::table::{RPM, TableData, build, sensor_bands_radps};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::drivelines::shuttle;
use slipwarden_tests::tabled::varied;
use supervisor::bits::Bits;
use supervisor::table::{Action, StepDuty};

/// A random table and what the audit says of it.
struct Made {
    seed: u64,
    d: Driveline,
    k: Kinematics,
    table: TableData,
    audited: Audited,
}

fn made(seed: u64) -> Option<Made> {
    let (d, k) = varied(seed)?;
    let table = build(&d, &k).ok()?;
    let audited = examine(&d, &k, &table, Scope { timing: true });
    Some(Made { seed, d, k, table, audited })
}

const SEEDS: u64 = 150;

#[test]
fn varied_tables_are_sound_and_no_stricter_than_they_must() {
    let mut met = Met::default();
    let mut tables = 0;
    for made in (0..SEEDS).filter_map(made) {
        strictness(&made, &mut met.rows);
        margins(&made);
        costs(&made, &mut met.costs);
        demands(&made, &mut met.named);
        windows(&made);
        limited_shafts(&made);
        tables += 1;
    }
    println!("{tables} tables; {met:?}");
    // Nothing is watched that was not met often.
    assert!(tables * 5 > SEEDS * 3, "{tables}");
    assert!(met.rows.len() >= 13 && met.rows.values().all(|n| *n > 20), "{:?}", met.rows);
    assert!(met.costs.iter().all(|n| *n > 50), "{:?}", met.costs);
    assert!(met.named.iter().all(|n| *n > 10), "{:?}", met.named);
}

#[derive(Debug, Default)]
struct Met {
    /// Proofs by their kind.
    rows: BTreeMap<&'static str, usize>,
    /// Openings, closings that nobody, the engine or another machine synchronises; push kept, or not.
    costs: [usize; 6],
    /// Demands that a lock limits, and a machine.
    named: [usize; 2],
}

/// A number of the table is as near to what it must keep as the nearest of its proofs.
fn nearest(proofs: &[Proof]) -> BTreeMap<(&'static str, &str), &Proof> {
    let mut found: BTreeMap<(&'static str, &str), &Proof> = BTreeMap::new();
    for proof in proofs {
        let place = proof.place.split(" (").next().unwrap_or_default();
        let known = found.entry((proof.id, place)).or_insert(proof);
        if proof.left < known.left {
            *known = proof;
        }
    }
    found
}

/// What may be left beside the margin, in the unit of the number: what is kept free on purpose, and what
/// f32 and a bound of its rounding take.
fn spare(d: &Driveline, place: &str, proof: &Proof) -> f64 {
    let (margin, truth) = (proof.margin.abs(), proof.true_limit.abs());
    let rounding = 2e-5 * truth + 0.02 * margin + if proof.unit == "rpm" { 1e-5 } else { 0.0 };
    rounding
        + match proof.id {
            // A twentieth of the engine's running range.
            "AU-PACE" => 0.05 * truth,
            // Half of what is left, or of what the offset of a dog leaves of it.
            "AU-SLIP-BEGIN" => 0.5 * (truth - margin),
            // A fifth more than the error, and one rpm.
            "AU-SLIP-MOVING" => 0.25 * margin + 1.01,
            // Of two samples each rounding counts, and each in full.
            "AU-OUTPUT-RATE" => 2.0 * margin,
            "AU-SLIP-RATE" => 1.5 * margin.max(11.0 * 6e-8 * range_rpm(d)) + 1.5e-3 * truth,
            // A fiftieth of the road speed, for asking; for staying see below.
            "AU-WINDOW" if place.ends_with(" window min") || place.ends_with(" window max") => {
                let step = place.starts_with("step");
                if step { 0.0 } else { 0.02 * (truth + margin) }
            }
            _ => 0.0,
        }
}

fn range_rpm(d: &Driveline) -> f64 {
    d.sensors.iter().map(|s| s.range_rpm).fold(0.0, f64::max)
}

fn strictness(made: &Made, rows: &mut BTreeMap<&'static str, usize>) {
    let Made { seed, d, table, audited, .. } = made;
    assert!(audited.findings.is_empty(), "seed {seed}: {:#?}", audited.findings);
    for ((id, place), proof) in nearest(&audited.proofs) {
        // The speeds for staying keep a stated road speed too, which is judged with those for asking.
        if place.contains(" keep ") && states_speed(d, place) {
            continue;
        }
        let spare = spare(d, place, proof);
        assert!(proof.left <= spare, "seed {seed}: more than {spare} in {proof:?}");
        *rows.entry(id).or_insert(0) += 1;
    }
    for arrangement in &table.arrangements {
        let (ask, stay) = (&arrangement.window, &arrangement.keep);
        assert!((ask.max - (stay.max - 0.02 * stay.max.abs())).abs() <= 1e-5 * stay.max.abs());
        assert!((ask.min - (stay.min + 0.02 * stay.min.abs())).abs() <= 1e-5 * stay.min.abs());
    }
}

fn states_speed(d: &Driveline, place: &str) -> bool {
    let stated = |a: &host_sim::driveline::Arrangement| {
        place.split(' ').nth(1) == Some(&a.name)
            && (a.min_speed_kmh.is_some() || a.max_speed_kmh.is_some())
    };
    d.arrangements.iter().any(stated)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * (1.0 + a.abs().max(b.abs()))
}

/// The parts that a person is told of each margin: errors and half a step of each sensor by the row's
/// coefficients; all parts together are the limit; what is left is the table's number.
fn margins(made: &Made) {
    let Made { seed, d, table, .. } = made;
    let sensor_part = |row: &[f32]| -> f64 {
        let each = row.iter().zip(&d.sensors);
        each.map(|(c, s)| f64::from(c.abs()) * (s.error_rpm + s.resolution_rpm / 2.0)).sum()
    };
    let margin = |what: &str| table.margins.iter().find(|m| m.what == what);
    for (lock, data) in d.locks.iter().zip(&table.locks) {
        let m = margin(&format!("slip of {}", lock.name)).expect("each lock has one");
        assert_eq!((m.unit, Some(m.limit)), ("rpm", lock.engage_slip_max_rpm), "seed {seed}");
        assert!(near(m.sensor, sensor_part(&data.slip_row)), "seed {seed}: {m:?}");
        assert!(near(m.left, f64::from(data.slip_max) / RPM), "seed {seed}: {m:?}");
        assert!(near(m.limit, m.sensor + m.latency + m.rounding + m.other + m.left), "{m:?}");
        assert!(m.rounding > 0.0 && m.rounding < 0.2 && m.other == 0.0, "{m:?}");
    }
    for (machine, rest) in d.machines.iter().zip(&table.rests) {
        let Some(m) = margin(&format!("rest of {}", d.shafts[machine.shaft].name)) else {
            assert!(rest.sensors.is_empty(), "seed {seed}");
            continue;
        };
        assert_eq!((m.unit, m.limit), ("rpm", d.timing.rest_rpm), "seed {seed}");
        assert!(near(m.sensor, sensor_part(&rest.row)), "seed {seed}: {m:?}");
        assert!(near(m.left, f64::from(rest.max) / RPM), "seed {seed}: {m:?}");
        let all = m.sensor + m.latency + m.rounding + m.other;
        assert!(near(m.left, (m.limit - all).max(0.0)), "seed {seed}: {m:?}");
    }
    let parities = table.margins.iter().filter(|m| m.what.starts_with("parity of "));
    assert_eq!(parities.clone().count(), table.parities.len(), "seed {seed}");
    for (m, parity) in parities.zip(&table.parities) {
        let names: Vec<&str> =
            parity.sensors.iter().map(|s| d.sensors[usize::from(s)].name.as_str()).collect();
        assert_eq!(m.what, format!("parity of {}", names.join(", ")));
        assert!(near(m.sensor, sensor_part(&parity.row)), "seed {seed}: {m:?}");
        assert!(near(m.limit, m.sensor + m.latency + m.rounding + m.other), "{m:?}");
        assert!(m.left == m.limit && near(m.left, f64::from(parity.max) / RPM), "{m:?}");
    }
}

/// Estimated times are a nominal one, the dwell and the lock's own; costs are those by the file's weights.
fn costs(made: &Made, met: &mut [usize; 6]) {
    let Made { seed, d, table, .. } = made;
    for (step, note) in table.steps.iter().zip(&table.notes) {
        let lock = &d.locks[usize::from(step.lock)];
        let sync = (0..d.machines.len()).find(|&m| step.duties[m] == StepDuty::Sync);
        assert_eq!(note.synchroniser, sync, "seed {seed}");
        let engine = |m: usize| matches!(d.machines[m].kind, MachineKind::Engine(_));
        let (sort, nominal_s) = match (step.action, sync) {
            (Action::Open, _) => (0, 0.12),
            (Action::Close, None) => (1, 5.0),
            (Action::Close, Some(m)) if engine(m) => (2, 4.0 * 0.25),
            (Action::Close, Some(_)) => (3, 0.25),
        };
        let (own_ms, work_kj) = match (step.action, &lock.kind) {
            (Action::Open, _) => (lock.release_ms, 0.0),
            (Action::Close, LockKind::Dog(_)) => (lock.close_ms, 0.0),
            (Action::Close, LockKind::Friction(f)) => {
                // Half the capacity, at a quarter of the slip limit, over the ramp.
                let slip = 0.25 * lock.engage_slip_max_rpm.unwrap() * RPM;
                let watts = 0.5 * lock.capacity_nm.unwrap() * slip;
                (lock.close_ms + f.ramp_ms, watts * f.ramp_ms / 1e6)
            }
        };
        let time_s = nominal_s + (d.timing.sync_dwell_ms + own_ms) / 1e3;
        assert!(near(note.time_s, time_s), "seed {seed}: {note:?}, not {time_s}");
        assert_eq!(note.gap_s, if step.keeps_push { 0.0 } else { note.time_s }, "seed {seed}");
        let c = &d.costs;
        let cost = c.per_action + c.per_s * time_s + c.per_gap_s * note.gap_s + c.per_kj * work_kj;
        assert!(near(note.cost, cost), "seed {seed}: {note:?}, not {cost}");
        met[sort] += 1;
        met[if step.keeps_push { 4 } else { 5 }] += 1;
    }
}

/// The machine or lock that a step is said to be limited by is that of its nearest proof.
fn demands(made: &Made, named: &mut [usize; 2]) {
    let Made { seed, table, audited, .. } = made;
    for (number, (step, note)) in table.steps.iter().zip(&table.notes).enumerate() {
        let place = format!("step {number} demand_max");
        let proofs: Vec<&Proof> = audited.proofs.iter().filter(|p| p.place == place).collect();
        let Some(limit) = &note.demand_limit else {
            assert!(step.demand_max == f32::MAX && proofs.is_empty(), "seed {seed} {place}");
            continue;
        };
        let (what, name) = limit.split_once(" of ").expect("the torque or capacity of one");
        let nearest = proofs.iter().map(|p| p.left).fold(f64::INFINITY, f64::min);
        let of_it = |p: &&&Proof| match what {
            "torque" if step.action == Action::Close => p.implies.starts_with("machines"),
            "torque" => p.implies.starts_with(&format!("{name} can take")),
            _ => p.implies.starts_with(&format!("{name} carries")),
        };
        let own = proofs.iter().filter(of_it).map(|p| p.left).fold(f64::INFINITY, f64::min);
        assert!(own <= nearest + 1e-5 * proofs[0].limit.abs(), "seed {seed} {place}: {limit}");
        named[usize::from(what == "torque")] += 1;
    }
}

/// Each entry of a step's limits is said to be of a shaft whose speed it proves.
fn limited_shafts(made: &Made) {
    let Made { seed, d, table, audited, .. } = made;
    for (number, (step, note)) in table.steps.iter().zip(&table.notes).enumerate() {
        assert_eq!(note.limit_shafts.len(), usize::from(step.limits_count), "seed {seed} {number}");
        for (entry, &shaft) in note.limit_shafts.iter().enumerate() {
            let place = format!("step {number} limit {entry} ");
            let mut proofs =
                audited.proofs.iter().filter(|p| p.place.starts_with(&place)).peekable();
            let named = format!("({})", d.shafts[shaft].name);
            // Where a shaft drifts, or another entry says the same, nothing is proved of it.
            let silent = proofs.peek().is_none();
            assert!(
                silent || proofs.any(|p| p.place.ends_with(&named)),
                "seed {seed} {place}{named}"
            );
        }
    }
}

/// The shaft that is said to end a step's road speeds at the top is one of those that, weighed, do so (the
/// tests of windows prove them), with the engine running or as it likes.
fn windows(made: &Made) {
    let Made { seed, d, k, table, .. } = made;
    for (step, note) in table.steps.iter().zip(&table.notes) {
        let to = step.from.0 ^ 1 << step.lock;
        let fits = |engine: EngineUse| match window_of(d, k, to, engine) {
            None => note.window_limit.is_none() && step.window.min > step.window.max,
            Some(window) => {
                let by = window.high.ended_by.iter().map(|e| &d.shafts[e.limit.shaft].name);
                let high =
                    window.high.output_rpm.as_ref().map_or(f64::INFINITY, |q| to_f64(q) * RPM);
                let top = f64::from(step.window.max);
                let right =
                    high.is_infinite() || (top <= high && top > high - 0.1 * high.abs() - 10.0);
                let named = by.map(Some).any(|name| name == note.window_limit.as_ref());
                right && (named || (high.is_infinite() && note.window_limit.is_none()))
            }
        };
        assert!([EngineUse::On, EngineUse::Either].into_iter().any(fits), "seed {seed}: {note:?}");
    }
}

/// The fastest change of each shaft's speed in a lock set, by the multiplier equations: the machines at
/// full torque, each with the sign that is worst, and the output taken along by tyres in grip.
fn fastest_in_set(d: &Driveline, set: &LockSet) -> Vec<f64> {
    let (n, shafts) = (set.mobility, d.shafts.len());
    let basis = DMatrix::from_fn(shafts, n, |s, m| to_f64(&set.basis[m][s]));
    let inertia = |s: usize| d.shafts[s].inertia_kg_m2.expect("stated");
    let heavy = DMatrix::from_fn(shafts, n, |s, m| basis[(s, m)] * inertia(s));
    let mut left = DMatrix::zeros(n + 1, n + 1);
    left.view_mut((0, 0), (n, n)).copy_from(&(basis.transpose() * heavy));
    for m in 0..n {
        left[(m, n)] = basis[(d.output.shaft, m)];
        left[(n, m)] = basis[(d.output.shaft, m)];
    }
    let solved = left.lu();
    let answer = |right: DVector<f64>| -> DVector<f64> {
        &basis * solved.solve(&right).expect("the output turns").rows(0, n)
    };
    let mut sum = DVector::zeros(shafts);
    for machine in &d.machines {
        let most = match &machine.kind {
            MachineKind::Electric(e) => e.max_torque_nm.expect("stated"),
            MachineKind::Engine(e) => e.torque_curve_rpm_nm.iter().map(|p| p.1).fold(0.0, f64::max),
        };
        let pull = |m: usize| if m < n { most * basis[(machine.shaft, m)] } else { 0.0 };
        sum += answer(DVector::from_fn(n + 1, |m, _| pull(m))).abs();
    }
    let wheels_radps2 = d.vehicle.as_ref().map_or(0.0, |v| v.max_acceleration_mps2)
        / d.output.tyre_radius_m.expect("stated");
    let grip = wheels_radps2 * to_f64(d.output.final_drive.as_ref().expect("stated"));
    sum += answer(DVector::from_fn(n + 1, |m, _| if m == n { grip } else { 0.0 })).abs();
    sum.iter().copied().collect()
}

/// How far a sensor may be from its shaft's speed at the time of the youngest value: its error, half a
/// step, f32, and its age at the fastest change in any lock set that is allowed.
#[test]
fn sensors_are_as_wrong_as_their_age_at_the_fastest_change() {
    let mut aged = 0;
    for seed in 0..60 {
        let Some((d, k)) = varied(seed) else { continue };
        let youngest = d.sensors.iter().map(|s| s.latency_ms).fold(f64::INFINITY, f64::min);
        let mut fastest = vec![d.timing.sync_rate_max_rpm_per_s * RPM; d.shafts.len()];
        for set in k.sets.iter().filter(|s| !s.verdict.is_forbidden()) {
            for (known, here) in fastest.iter_mut().zip(fastest_in_set(&d, set)) {
                *known = known.max(here);
            }
        }
        for (band, sensor) in sensor_bands_radps(&d, &k).into_iter().zip(&d.sensors) {
            let older_s = (sensor.latency_ms - youngest) / 1e3;
            let own = (sensor.error_rpm + sensor.resolution_rpm / 2.0) * RPM;
            // At least the coefficient, the value and the product are rounded, and not ten times that.
            let rounding =
                (band - own - older_s * fastest[sensor.shaft]) / (sensor.range_rpm * RPM);
            let unit = f64::from(f32::EPSILON) / 2.0;
            let slack = 1e-5 * older_s * fastest[sensor.shaft] / (sensor.range_rpm * RPM);
            assert!(rounding > 3.0 * unit - slack, "seed {seed} {}: {rounding:e}", sensor.name);
            assert!(rounding < 30.0 * unit + slack, "seed {seed} {}: {rounding:e}", sensor.name);
            aged += usize::from(older_s > 0.0);
        }
    }
    assert!(aged > 50, "{aged}");
}

/// Of sensors that tell their speed without any error only the age is left: not less than what the fastest
/// change makes of it, for f64 has its allowance where our side eliminates, and hardly more.
#[test]
fn the_age_of_a_sensor_is_never_taken_for_less_than_it_is() {
    let mut aged = 0;
    for seed in 0..60 {
        let Some((mut d, k)) = varied(seed) else { continue };
        d.timing.sync_rate_max_rpm_per_s = 1e-3;
        for sensor in &mut d.sensors {
            (sensor.error_rpm, sensor.resolution_rpm, sensor.range_rpm) = (0.0, 0.0, 1e-6);
        }
        let youngest = d.sensors.iter().map(|s| s.latency_ms).fold(f64::INFINITY, f64::min);
        let allowed = || k.sets.iter().filter(|s| !s.verdict.is_forbidden());
        let sets: Vec<Vec<f64>> = allowed().map(|set| fastest_in_set(&d, set)).collect();
        for (band, sensor) in sensor_bands_radps(&d, &k).into_iter().zip(&d.sensors) {
            let asked = d.timing.sync_rate_max_rpm_per_s * RPM;
            let fastest = sets.iter().map(|set| set[sensor.shaft]).fold(asked, f64::max);
            let truly = (sensor.latency_ms - youngest) / 1e3 * fastest;
            assert!(band >= truly * (1.0 - 1e-9), "seed {seed} {}: {band}", sensor.name);
            assert!(band <= truly * (1.0 + 1e-5) + 1e-9, "seed {seed} {}: {band}", sensor.name);
            aged += usize::from(truly > 1e-3);
        }
    }
    assert!(aged > 50, "{aged}");
}

/// Which of two sensors of one shaft is read, by hand. What counts is error and half a step, the age (with a tick until
/// an order takes effect, at the speed change that machines are asked for: 5 rpm a ms), and for a
/// difference of two shafts how far apart in time they are read, at the fastest change of a machine alone.
#[test]
fn the_better_sensor_is_read() {
    let mut d = shuttle();
    let shaft = |name: &str| d.shafts.iter().position(|s| s.name == name);
    let joins = [shaft("generator"), shaft("crank")];
    let of_both = |l: &Lock| joins.contains(&Some(l.a)) && joins.contains(&l.b);
    let clutch = d.locks.iter().position(of_both).expect("the engine's clutch");
    d.timing.tick_ms = 10.0;
    d.timing.sync_rate_max_rpm_per_s = 5_000.0;
    d.locks.iter_mut().for_each(|l| l.engage_slip_max_rpm = Some(9_000.0));
    for sensor in &mut d.sensors {
        (sensor.error_rpm, sensor.resolution_rpm, sensor.latency_ms) = (500.0, 0.0, 1.0);
    }
    d.sensors.push(d.sensors[1].clone());
    let k = analyse(&d).expect("turns");
    let [output, again, generator, crank] = [1, 7, 3, 4];
    let second = d.sensors.iter().position(|s| s.name == "generator-second").unwrap() as u8;
    (d.sensors[output].error_rpm, d.sensors[output].latency_ms) = (0.0, 3.0);
    (d.sensors[generator].error_rpm, d.sensors[generator].latency_ms) = (0.0, 3.0);
    d.sensors[crank].error_rpm = 0.0;
    // Two ms older are 10 rpm.
    for (error_rpm, step_rpm, read) in [
        (9.0, 0.0, again),
        (11.0, 0.0, output),
        (20.0, 0.0, output),
        (0.0, 18.0, again),
        (0.0, 22.0, output),
    ] {
        (d.sensors[again].error_rpm, d.sensors[again].resolution_rpm) = (error_rpm, step_rpm);
        let table = build(&d, &k).expect("a table");
        assert_eq!(table.output_sensors, Bits::one(read as u8), "{error_rpm} {step_rpm}");
    }
    // The traction machine alone: its torque on its own shaft; in these two ms.
    let skew_rpm = d.machines.iter().fold(10.0, |most: f64, m| match &m.kind {
        MachineKind::Electric(e) => {
            let inertia = d.shafts[m.shaft].inertia_kg_m2.expect("stated");
            most.max(e.max_torque_nm.expect("stated") / inertia / RPM * 0.002)
        }
        MachineKind::Engine(_) => most,
    });
    assert!(skew_rpm > 20.0, "{skew_rpm}");
    for (share, read) in [(0.9, second), (1.1, generator as u8)] {
        d.sensors[usize::from(second)].error_rpm = share * skew_rpm;
        let table = build(&d, &k).expect("a table");
        let wanted = Bits::one(read).or(Bits::one(crank as u8));
        assert_eq!(table.locks[clutch].sensors, wanted, "{share}");
    }
}

/// Times are told in ticks, of whatever length, and what is told of a tick adds up to the same a second.
#[test]
fn ticks_of_another_length_tell_the_same_times() {
    let made = |tick_ms: f64| {
        let mut d = shuttle();
        d.timing.tick_ms = tick_ms;
        // So slow that the age of a measurement takes nothing off it.
        d.timing.sync_rate_max_rpm_per_s = 2_000.0;
        let k = analyse(&d).expect("turns");
        let table = build(&d, &k).expect("a table");
        (d, table)
    };
    let ((d, one), (_, two)) = (made(1.0), made(2.0));
    let half = |ticks: u16| ticks.div_ceil(2);
    let times = &d.timing;
    assert_eq!(f64::from(one.timing.sync_timeout), times.sync_timeout_ms.ceil());
    assert_eq!(two.timing.sync_timeout, half(one.timing.sync_timeout));
    assert_eq!(two.timing.unload_timeout, half(one.timing.unload_timeout));
    assert_eq!(two.timing.min_stay, half(one.timing.min_stay));
    // Three ticks are taken off an overlap; what is late by a tick is one longer.
    assert_eq!(two.timing.overlap_max, half(one.timing.overlap_max - 3));
    assert_eq!(two.timing.react, half(one.timing.react + 1));
    assert_eq!((one.timing.rate_ticks, two.timing.rate_ticks), (10, 5));
    assert!(near(one.output_rate_max.into(), two.output_rate_max.into()));
    let mut heated = 0;
    for (a, b) in one.locks.iter().zip(&two.locks) {
        assert_eq!((half(a.close_ticks), half(a.release_ticks)), (b.close_ticks, b.release_ticks));
        assert!(near(a.rate_max.into(), b.rate_max.into()), "{a:?} {b:?}");
        let heat = |lock: &supervisor::table::Lock| f64::from(lock.heat_k_per_radps_tick);
        assert!((heat(b) - 2.0 * heat(a)).abs() <= 1e-6 * heat(b), "{a:?} {b:?}");
        assert!(near(f64::from(a.cooling_ticks), 2.0 * f64::from(b.cooling_ticks)));
        heated += usize::from(heat(a) > 0.0);
    }
    assert!(heated > 0);
}

/// A change of slip that two samples cannot tell from their steps is no less in the way than an error.
#[test]
fn sensors_too_coarse_for_a_rate_are_refused() {
    let mut d = shuttle();
    d.timing.sync_rate_max_rpm_per_s = 100.0;
    let k = analyse(&d).expect("turns");
    d.sensors.iter_mut().for_each(|s| s.resolution_rpm = 0.1);
    assert!(build(&d, &k).is_ok());
    // One rpm in ten ms.
    d.sensors.iter_mut().for_each(|s| s.resolution_rpm = 1.1);
    let Err(error) = build(&d, &k) else { panic!("less than a step") };
    assert!(error.reasons[0].contains("too poor for the slip limit"), "{error}");
}

/// Where no shaft and no vehicle states a speed, there is none that an arrangement without engine ends at.
#[test]
fn without_limits_every_road_speed_is_in_the_window() {
    let mut d = shuttle();
    d.vehicle.as_mut().expect("one").max_speed_kmh = 1e9;
    d.shafts.iter_mut().for_each(|s| (s.max_rpm, s.min_rpm) = (None, None));
    let k = analyse(&d).expect("turns");
    let mut wide = d.clone();
    wide.vehicle = None;
    let table = build(&wide, &k).expect("a table");
    let free = table.steps.iter().filter(|s| s.window.min < -1e8 && s.window.max > 1e8);
    assert!(free.count() > 0);
    assert!(table.steps.iter().all(|s| s.window.min < 1e8 && s.window.max > -1e8));
}

/// A shaft that is limited on one side only is limited: it has its entries in the steps' limits too.
#[test]
fn a_limit_on_one_side_is_kept() {
    let shafts = |d: &Driveline| -> Vec<usize> {
        let table = build(d, &analyse(d).expect("turns")).expect("a table");
        let mut found: Vec<usize> =
            table.notes.iter().flat_map(|n| n.limit_shafts.clone()).collect();
        found.sort_unstable();
        found.dedup();
        found
    };
    let d = shuttle();
    let mut below = d.clone();
    for shaft in &mut below.shafts {
        shaft.min_rpm = shaft.min_rpm.or(shaft.max_rpm.map(|max| -max));
        shaft.max_rpm = None;
    }
    assert!(!shafts(&d).is_empty());
    assert_eq!(shafts(&d), shafts(&below));
}
