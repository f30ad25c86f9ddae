//! The supervisor table against second methods: exhaustive search, direct kinematics, torque balance.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use host_sim::driveline::{Driveline, MachineKind};
use host_sim::exact::to_f64;
use host_sim::kinematics::{Kinematics, analyse, gear_rows, lock_row};
use host_sim::table::{RPM, TableData, build, stuck_variants};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use slipwarden_tests::random::Dice;
use slipwarden_tests::tabled::tabled;
use supervisor::bits::Bits;
use supervisor::hash::table_hash;
use supervisor::table::{Action, StepDuty, Stuck, WAYS, Why};

fn demos() -> Vec<(Driveline, Kinematics, TableData)> {
    [shuttle(), railcar(), axle()].into_iter().map(with_table).collect()
}

fn with_table(d: Driveline) -> (Driveline, Kinematics, TableData) {
    let k = analyse(&d).expect("the output turns");
    let data = build(&d, &k).unwrap_or_else(|e| panic!("{}: {e}", d.name));
    (d, k, data)
}

/// Random drivelines that make a table, built once; the ones that do not must say why.
fn random_tables() -> impl Iterator<Item = (Driveline, Kinematics, TableData)> {
    static TABLES: OnceLock<Vec<(Driveline, Kinematics, TableData)>> = OnceLock::new();
    TABLES.get_or_init(|| make_random_tables(150)).iter().cloned()
}

fn make_random_tables(count: u64) -> Vec<(Driveline, Kinematics, TableData)> {
    let mut found = Vec::new();
    let mut refused = 0;
    for seed in 0..count {
        let Some((d, k)) = tabled(seed) else { continue };
        match build(&d, &k) {
            Ok(data) => found.push((d, k, data)),
            Err(error) => {
                assert!(!error.reasons.is_empty(), "seed {seed}");
                refused += 1;
            }
        }
    }
    assert!(found.len() as u64 > count / 3, "{} tables, {refused} refused", found.len());
    found
}

fn step_ends(data: &TableData, number: u16) -> (Bits, Bits) {
    let step = &data.steps[usize::from(number)];
    (step.from, step.from.with(step.lock, step.action == Action::Close))
}

/// Every entry leads, lock set by lock set, to its arrangement; never through a forbidden set,
/// never twice through the same set, never moving the stuck lock.
#[test]
fn every_way_arrives_without_passing_a_forbidden_set() {
    let mut walked = 0;
    for (d, k, data) in demos().into_iter().chain(random_tables()) {
        let table = data.table();
        for stuck in stuck_variants(d.locks.len()) {
            for way in 0..WAYS as u8 {
                for set in 0..data.sets.len() as u16 {
                    for a in 0..data.arrangements.len() as u8 {
                        walked += walk(&d, &k, &data, &table, (way, stuck, set as u8, a));
                    }
                }
            }
        }
    }
    assert!(walked > 10_000, "only {walked} steps were walked");
}

fn walk(
    d: &Driveline,
    k: &Kinematics,
    data: &TableData,
    table: &supervisor::table::Table,
    (way, stuck, start, arrangement): (u8, Stuck, u8, u8),
) -> usize {
    let name = || format!("{} way {way} {stuck:?} from {start:#b} to {arrangement}", d.name);
    let mut set = Bits(start);
    let mut seen = vec![set];
    while let Ok(number) = table.next_step(way, stuck, set, arrangement) {
        let step = &data.steps[usize::from(number)];
        let (from, to) = step_ends(data, number);
        assert_eq!(from, set, "{}: a step that starts elsewhere", name());
        assert_eq!(step.from.has(step.lock), step.action == Action::Open, "{}", name());
        assert!(!k.is_forbidden(to.0), "{}: passes {to:?}", name());
        assert!(
            !matches!(stuck, Stuck::Open(l) | Stuck::Closed(l) if l == step.lock),
            "{}",
            name()
        );
        assert!(!seen.contains(&to), "{}: goes round in a circle", name());
        seen.push(to);
        set = to;
    }
    let end = table.next_step(way, stuck, set, arrangement);
    if seen.len() > 1 {
        assert_eq!(end, Err(Why::Arrived), "{}: ends in {set:?}", name());
        assert_eq!(set, data.arrangements[usize::from(arrangement)].closed);
    }
    seen.len() - 1
}

/// The first way is the cheapest: against the Bellman-Ford relaxation over all its own steps.
#[test]
fn the_first_way_is_the_cheapest_of_the_steps_there_are() {
    for (d, _, data) in demos().into_iter().chain(random_tables()) {
        let table = data.table();
        for a in 0..data.arrangements.len() as u8 {
            let mut best: BTreeMap<Bits, f64> = BTreeMap::new();
            best.insert(data.arrangements[usize::from(a)].closed, 0.0);
            // Steps that lead nowhere for this target may belong to another engine use: only
            // those that this target's own entries use are compared.
            let own: Vec<u16> = (0..WAYS as u8)
                .flat_map(|way| (0..data.sets.len()).map(move |s| (way, s)))
                .filter_map(|(way, s)| table.next_step(way, Stuck::None, Bits(s as u8), a).ok())
                .collect();
            for _ in 0..data.sets.len() {
                for &number in &own {
                    let (from, to) = step_ends(&data, number);
                    if let Some(&rest) = best.get(&to) {
                        let through = rest + data.notes[usize::from(number)].cost;
                        let known = best.entry(from).or_insert(f64::INFINITY);
                        *known = known.min(through);
                    }
                }
            }
            for s in 0..data.sets.len() {
                let mut set = Bits(s as u8);
                let mut cost = 0.0;
                while let Ok(number) = table.next_step(0, Stuck::None, set, a) {
                    cost += data.notes[usize::from(number)].cost;
                    set = step_ends(&data, number).1;
                }
                if let (Some(&least), true) = (best.get(&Bits(s as u8)), cost > 0.0) {
                    let name = &d.name;
                    assert!(cost <= least + 1e-4, "{name}: {cost} from {s:#b} to {a}, not {least}");
                }
            }
        }
    }
}

/// Numeric basis of a lock set's motions by singular values: a second method beside the exact one.
fn numeric_motions(d: &Driveline, set: u8) -> DMatrix<f64> {
    let mut rows: Vec<Vec<f64>> =
        gear_rows(d).rows().iter().map(|r| r.iter().map(to_f64).collect()).collect();
    for lock in (0..d.locks.len()).filter(|l| set >> l & 1 == 1) {
        rows.push(lock_row(d, lock).iter().map(to_f64).collect());
    }
    let n = d.shafts.len();
    let height = rows.len().max(n);
    let matrix = DMatrix::from_fn(height, n, |r, c| rows.get(r).map_or(0.0, |row| row[c]));
    let svd = matrix.svd(false, true);
    let v = svd.v_t.expect("asked for");
    let null: Vec<usize> =
        (0..n).filter(|&i| svd.singular_values.get(i).is_none_or(|s| *s < 1e-9)).collect();
    DMatrix::from_fn(n, null.len(), |r, c| v[(null[c], r)])
}

/// At the target speed the slip is zero: take any motion of the lock set, move the synchronising
/// machine to its target with the output and what the other machines can keep, and look.
#[test]
fn at_its_target_speed_the_slip_is_zero() {
    let mut checked = 0;
    for (d, _, data) in demos().into_iter().chain(random_tables()) {
        let dice = &mut Dice::new(7);
        for (i, step) in data.steps.iter().enumerate() {
            let Some(machine) = data.notes[i].synchroniser else { continue };
            let motions = numeric_motions(&d, step.from.0);
            let q = DVector::from_fn(motions.ncols(), |_, _| 100.0 * dice.signed_unit());
            let before = &motions * q;
            let sensed: Vec<f64> = d.sensors.iter().map(|s| before[s.shaft]).collect();
            let target: f64 =
                step.target_row.iter().zip(&sensed).map(|(c, w)| f64::from(*c) * w).sum();
            // The target does not depend on the slip that is there now: it must be the speed at
            // which the slip is zero in a motion that keeps the output.
            let slip_row: Vec<f64> =
                lock_row(&d, usize::from(step.lock)).iter().map(to_f64).collect();
            let shaft = d.machines[machine].shaft;
            let mut wanted = vec![(unit(&d, d.output.shaft), before[d.output.shaft])];
            wanted.push((unit(&d, shaft), target));
            for (m, other) in d.machines.iter().enumerate() {
                // The engine first, as the slowest to move.
                let engine = matches!(other.kind, MachineKind::Engine(_));
                if m != machine && engine {
                    wanted.push((unit(&d, other.shaft), before[other.shaft]));
                }
            }
            for (m, other) in d.machines.iter().enumerate() {
                let engine = matches!(other.kind, MachineKind::Engine(_));
                if m != machine && !engine {
                    wanted.push((unit(&d, other.shaft), before[other.shaft]));
                }
            }
            let after = closest(&motions, &wanted);
            let slip: f64 = slip_row.iter().zip(after.iter()).map(|(r, w)| r * w).sum();
            let scale = before.amax().max(1.0);
            assert!(
                slip.abs() < 2e-4 * scale,
                "{}: step {i} leaves a slip of {slip} rad/s (target {target})",
                d.name
            );
            checked += 1;
        }
    }
    assert!(checked > 400, "only {checked} targets");
}

fn unit(d: &Driveline, shaft: usize) -> Vec<f64> {
    (0..d.shafts.len()).map(|s| f64::from(u8::from(s == shaft))).collect()
}

/// The motion that fulfils the wishes, earlier ones first: each later wish only where the earlier
/// ones leave it free (null-space projection).
fn closest(motions: &DMatrix<f64>, wishes: &[(Vec<f64>, f64)]) -> DVector<f64> {
    let n = motions.ncols();
    let mut free = DMatrix::<f64>::identity(n, n);
    let mut q = DVector::<f64>::zeros(n);
    for (row, value) in wishes {
        let on_q = DVector::from_row_slice(row).transpose() * motions;
        let on_free = (&on_q * &free).transpose();
        let size = on_free.norm_squared();
        if size < 1e-14 {
            continue;
        }
        let missing = value - (&on_q * &q)[0];
        q += &free * &on_free * (missing / size);
        free -= &free * (&on_free * on_free.transpose()) / size;
    }
    motions * q
}

/// A hand-over's shares balance every free motion of the lock set after it, so that the lock to
/// be opened carries nothing; and the load row says so.
#[test]
fn a_hand_over_leaves_the_lock_without_load() {
    let mut checked = 0;
    for (d, _, data) in demos().into_iter().chain(random_tables()) {
        for (i, step) in data.steps.iter().enumerate() {
            if step.action == Action::Close {
                continue;
            }
            let to = step.from.with(step.lock, false);
            let motions = numeric_motions(&d, to.0);
            let torque: Vec<f64> = step
                .duties
                .iter()
                .take(d.machines.len())
                .map(|duty| match duty {
                    StepDuty::Take { share } => f64::from(*share),
                    StepDuty::Unload => 0.0,
                    other => panic!("{}: step {i} opens with {other:?}", d.name),
                })
                .collect();
            let push = if step.keeps_push { 1.0 } else { 0.0 };
            for motion in motions.column_iter() {
                let power: f64 =
                    d.machines.iter().zip(&torque).map(|(m, t)| t * motion[m.shaft]).sum();
                let out = push * motion[d.output.shaft];
                assert!((power - out).abs() < 1e-4, "{}: step {i}: {power} != {out}", d.name);
            }
            let load: f64 = step.load_row.iter().zip(&torque).map(|(c, t)| f64::from(*c) * t).sum();
            assert!(load.abs() < 1e-4, "{}: step {i} shows a load of {load}", d.name);
            checked += 1;
        }
    }
    assert!(checked > 300, "only {checked} hand-overs");
}

/// The load row shows a load that is there: machine torques with everything else free and the
/// output at rest, against Lagrange multipliers of the lock's constraint.
#[test]
fn the_load_row_is_the_torque_in_the_lock() {
    let mut checked = 0;
    for (d, k, data) in demos().into_iter().chain(random_tables()) {
        let dice = &mut Dice::new(11);
        for (i, step) in data.steps.iter().enumerate() {
            let lock = usize::from(step.lock);
            // A redundant lock shares its load with others in a way that rigid shafts leave open.
            let redundant = k.set(step.from.0).redundant >> lock & 1 == 1;
            if step.action == Action::Close || redundant {
                continue;
            }
            let torque: Vec<f64> = d.machines.iter().map(|_| 100.0 * dice.signed_unit()).collect();
            let by_row: f64 =
                step.load_row.iter().zip(&torque).map(|(c, t)| f64::from(*c) * t).sum();
            let by_multiplier = multiplier(&d, step.from.0, lock, &torque);
            assert!(
                (by_row - by_multiplier).abs() < 1e-3 * by_row.abs().max(10.0),
                "{}: step {i}: {by_row} Nm, not {by_multiplier}",
                d.name
            );
            checked += 1;
        }
    }
    assert!(checked > 300, "only {checked} loads");
}

/// Torque in `lock`, with the output held still from outside: least squares for the constraint
/// torques of M a + C' l = T.
fn multiplier(d: &Driveline, set: u8, lock: usize, torque: &[f64]) -> f64 {
    let n = d.shafts.len();
    let mut rows: Vec<Vec<f64>> =
        gear_rows(d).rows().iter().map(|r| r.iter().map(to_f64).collect()).collect();
    rows.push(unit(d, d.output.shaft));
    let mut at = 0;
    for l in (0..d.locks.len()).filter(|l| set >> l & 1 == 1) {
        if l == lock {
            at = rows.len();
        }
        rows.push(lock_row(d, l).iter().map(to_f64).collect());
    }
    let m = rows.len();
    let inertia = |s: usize| d.shafts[s].inertia_kg_m2.expect("given");
    let mut system = DMatrix::<f64>::zeros(n + m, n + m);
    let mut right = DVector::<f64>::zeros(n + m);
    for s in 0..n {
        system[(s, s)] = inertia(s);
    }
    for (r, row) in rows.iter().enumerate() {
        for s in 0..n {
            system[(s, n + r)] = row[s];
            system[(n + r, s)] = row[s];
        }
    }
    for (machine, t) in d.machines.iter().zip(torque) {
        right[machine.shaft] += t;
    }
    let solution = system.svd(true, true).solve(&right, 1e-10).expect("asked for");
    solution[n + at]
}

/// checks.md: the hand-over from the ring brake to the generator is limited to an output torque
/// of 393 Nm by the generator (270 Nm / 0.6875); recomputed independently there.
#[test]
fn the_shuttle_hands_over_up_to_393_nm() {
    let (d, _, data) = with_table(shuttle());
    let number = data.table().next_step(0, Stuck::None, Bits(0b011), 1).expect("a step");
    let step = &data.steps[usize::from(number)];
    assert_eq!(d.locks[usize::from(step.lock)].name, "ring-brake");
    assert!((step.demand_max - 270.0 / 0.6875).abs() < 0.01, "{}", step.demand_max);
    let note = &data.notes[usize::from(number)];
    assert_eq!(note.demand_limit.as_deref(), Some("torque of generator"));
    let StepDuty::Take { share } = step.duties[1] else { panic!("the generator takes over") };
    assert!((share - 0.6875).abs() < 1e-6, "static torques of checks.md: ring = 0.6875 x output");
    let StepDuty::Take { share } = step.duties[0] else { panic!("traction stays") };
    assert!((share - 1.0 / 3.2).abs() < 1e-6, "traction = output/3.2");
}

/// Common practice, no source: the way from series to power-split passes through releasing the
/// engine from the generator, joining the generator to the ring while both stand still,
/// releasing the ring from the case, spinning up, and joining the engine again.
#[test]
fn the_way_from_series_to_power_split() {
    let (d, _, data) = with_table(shuttle());
    let table = data.table();
    let mut set = data.arrangements[2].closed;
    let mut way = Vec::new();
    while let Ok(number) = table.next_step(0, Stuck::None, set, 3) {
        let step = &data.steps[usize::from(number)];
        let sign = if step.action == Action::Close { '+' } else { '-' };
        way.push(format!("{sign}{}", d.locks[usize::from(step.lock)].name));
        if way.len() == 2 {
            assert_eq!(step.rest, Bits::one(1), "the generator joins the ring at rest");
        }
        assert!(step.keeps_push, "the wheels are pushed all the way");
        set = step_ends(&data, number).1;
    }
    assert_eq!(way, ["-engine-clutch", "+ring-clutch", "-ring-brake", "+engine-clutch"]);
}

/// Common practice, no source: in dual-electric driving the traction machine turns at about half
/// its speed in single-electric driving at the same road speed, with the second machine at a
/// moderate speed; in power-split driving it turns at less than half its speed in series driving.
#[test]
fn speeds_of_the_shuttles_arrangements() {
    let (d, k, data) = with_table(shuttle());
    let speeds = |arrangement: usize, kmh: f64| {
        let output = kmh * d.output_radps_per_kmh().expect("final drive and tyre");
        host_sim::explain::arrangement_speeds(&d, &k, &data, arrangement, output)
    };
    for kmh in [40.0, 60.0, 80.0, 100.0] {
        let (single, dual) = (speeds(0, kmh), speeds(1, kmh));
        let ratio = dual[0] / single[0];
        assert!((0.4..0.6).contains(&ratio), "traction at {ratio} of its speed at {kmh} km/h");
        let share = dual[3] / (4600.0 * RPM);
        assert!((0.05..0.75).contains(&share), "generator at {share} of its limit at {kmh} km/h");
    }
    for kmh in [60.0, 80.0, 100.0] {
        let (series, split) = (speeds(2, kmh), speeds(3, kmh));
        let ratio = split[0] / series[0];
        assert!(ratio < 0.5, "traction at {ratio} of its speed in series at {kmh} km/h");
    }
}

#[test]
fn the_stored_hash_is_that_of_the_content() {
    for (_, _, data) in demos() {
        assert_eq!(data.hash, table_hash(&data.table()));
        let mut other = data.clone();
        other.next[0] ^= 1;
        assert_ne!(data.hash, table_hash(&other.table()));
        let mut other = data.clone();
        other.locks[0].slip_max = other.locks[0].slip_max.next_up();
        assert_ne!(data.hash, table_hash(&other.table()));
    }
}

/// How a load shows depends on the ratios of the inertias alone: with all of them a million million times
/// smaller or larger each load row is the same, and it is not with one of them a hundred times larger.
#[test]
fn load_rows_are_the_same_in_any_unit_of_inertia() {
    let rows = |mut d: Driveline, change: &dyn Fn(usize, f64) -> f64| -> Vec<f32> {
        for (i, shaft) in d.shafts.iter_mut().enumerate() {
            shaft.inertia_kg_m2 = shaft.inertia_kg_m2.map(|inertia| change(i, inertia));
        }
        // Sensors of one age do not ask how fast a shaft may be.
        d.sensors.iter_mut().for_each(|s| s.latency_ms = 1.0);
        let (_, _, data) = with_table(d);
        let openings = data.steps.iter().filter(|s| s.action == Action::Open);
        openings.flat_map(|s| s.load_row).collect()
    };
    let same = |a: &[f32], b: &[f32]| {
        a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() <= 1e-6 * (1.0 + a.abs()))
    };
    let mut told = 0;
    for (d, ..) in demos() {
        let stated = rows(d.clone(), &|_, inertia| inertia);
        for factor in [2f64.powi(-40), 2f64.powi(40)] {
            let scaled = rows(d.clone(), &|_, inertia| factor * inertia);
            assert!(same(&stated, &scaled), "{}: {stated:?} and {scaled:?}", d.name);
        }
        for heavy in 0..d.shafts.len() {
            let factor = |i: usize| if i == heavy { 100.0 } else { 1.0 };
            let other = rows(d.clone(), &|i, inertia| factor(i) * inertia);
            told += usize::from(!same(&stated, &other));
        }
    }
    assert!(told > 2, "{told}");
}

/// Same driveline, same table and the same generated source.
#[test]
fn building_is_deterministic() {
    for (d, k, data) in demos() {
        let again = build(&d, &k).expect("built before");
        assert_eq!(data, again);
        let source = host_sim::table::rust_source(&d, &data);
        assert_eq!(source, host_sim::table::rust_source(&d, &again));
    }
}

/// A lock between sides that the gears keep together would be one whose slip no sensor reads: the
/// supervisor refuses such a table, so none is built.
#[test]
fn a_lock_that_can_never_slip_is_refused() {
    let mut d = shuttle();
    d.locks[1].b = Some(d.locks[1].a);
    let k = analyse(&d).expect("turns");
    let Err(error) = build(&d, &k) else { panic!("its slip is always zero") };
    assert!(error.reasons[0].contains("\"ring-clutch\" can never slip"), "{error}");
}

/// What cannot be measured is refused in words, all at once.
#[test]
fn a_driveline_without_the_sensors_for_it_is_refused() {
    let mut d = shuttle();
    d.sensors.retain(|s| s.name == "crank");
    let k = analyse(&d).expect("turns");
    let Err(error) = build(&d, &k) else { panic!("no slip can be measured") };
    assert_eq!(error.reasons.len(), 4, "{error}");
    assert!(error.reasons[0].contains("slip of \"ring-brake\" cannot be measured"), "{error}");
    assert!(error.reasons[3].contains("output speed cannot be measured"), "{error}");
    let lines = error.reasons.iter().map(|reason| format!("error: {reason}"));
    assert!(error.to_string().lines().eq(lines), "{error}");
    let mut d = shuttle();
    d.sensors[2].error_rpm = 170.0;
    d.sensors[0].error_rpm = 170.0;
    let k = analyse(&d).expect("turns");
    let Err(error) = build(&d, &k) else { panic!("the ring is measured badly") };
    assert!(error.reasons[0].contains("too poor for the slip limit"), "{error}");
}
