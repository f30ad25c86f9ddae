//! Road-speed windows: the demo values, certificates, and an independent brute force.

use host_sim::driveline::{Driveline, EngineUse};
use host_sim::exact::{Q, dot, int, ratio, to_f64};
use host_sim::kinematics::{
    End, EngineLink, Kinematics, Limit, LimitKind, NoWindow, analyse, find_window, gear_rows,
    lock_row, shaft_range, window_of, windows,
};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::drivelines::{Build, axle, railcar, shuttle};
use slipwarden_tests::random::{Dice, driveline};

/// Source: the demo shuttle, recomputed independently: the traction machine's limit (9000 rpm
/// on the sun) ends single-electric and series driving at 119.3 km/h.
#[test]
fn shuttle_windows_end_where_the_sun_does() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let all = windows(&d, &k);
    for arrangement in [0, 2] {
        let window = all[arrangement].as_ref().unwrap();
        for (end, sign) in [(&window.high, 1.0), (&window.low, -1.0)] {
            // 119.3 is the stated value; more digits follow from its own data, by hand:
            // 9000 / 3.2 / (41/13) rpm of the wheels at 0.355 m.
            let kmh = 9000.0 / 3.2 / (41.0 / 13.0) * std::f64::consts::TAU / 60.0 * 0.355 * 3.6;
            assert!((kmh - 119.3_f64).abs() < 0.1);
            assert!((end.road_kmh.unwrap() - sign * kmh).abs() < 1e-9);
            assert_eq!(end.output_rpm, Some(ratio(5625, 2) * int(sign as i64)));
            assert_eq!(end.ended_by.len(), 1);
            assert_eq!(end.ended_by[0].limit.shaft, 0);
            assert_eq!(end.ended_by[0].output_per_limit, ratio(5, 16));
        }
    }
    // Dual-electric: the second machine takes speed off the sun, the vehicle's own limit ends it.
    let dual = all[1].as_ref().unwrap();
    assert_eq!(dual.high.ended_by[0].limit.kind, LimitKind::VehicleMax);
    assert!((dual.high.road_kmh.unwrap() - 125.0).abs() < 1e-9);
}

/// Power-split in reverse: the engine runs at idle or faster, so the ring does, and the sun's
/// limit ends it. By hand: out = (30*sun + 66*ring) / 96 with sun -9000 and ring 950.
#[test]
fn shuttle_power_split_reverse_is_ended_by_sun_and_idle() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let window = window_of(&d, &k, 0b110, EngineUse::On).unwrap();
    assert_eq!(window.low.output_rpm, Some(ratio(30 * -9000 + 66 * 950, 96)));
    let kinds: Vec<_> = window.low.ended_by.iter().map(|e| e.limit.kind).collect();
    assert_eq!(kinds, [LimitKind::ShaftMin, LimitKind::EngineIdle]);
    assert_eq!(window.engine_link, EngineLink::Joined);
    // At 1000 rpm of the output the ring (and the engine) may turn between these, by hand:
    // ring = (96*1000 - 30*sun)/66 with sun -9000 ... 9000, inside 950 ... 4200.
    let range = shaft_range(&d, &k, 0b110, EngineUse::On, &int(1000), 4).unwrap();
    assert_eq!(range, (Some(int(950)), Some(int(4200))));
    let range = shaft_range(&d, &k, 0b110, EngineUse::On, &int(-1000), 4).unwrap();
    assert_eq!(range, (Some(int(950)), Some(ratio(-96_000 + 270_000, 66))));
}

/// A running engine whose shaft is held has no window, and the reason is its idle speed.
#[test]
fn a_held_engine_cannot_run() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let none = find_window(&d, &k, 0b111, EngineUse::On).unwrap_err();
    assert_eq!(none.because.len(), 1);
    assert_eq!(none.because[0].kind, LimitKind::EngineIdle);
    let off: Option<Q> = window_of(&d, &k, 0b111, EngineUse::Off).and_then(|w| w.high.output_rpm);
    assert_eq!(off.map(|q| to_f64(&q)), Some(2812.5));
}

const ALL_USES: [EngineUse; 3] = [EngineUse::On, EngineUse::Off, EngineUse::Either];

/// The limits written down again, as (shaft, sign, bound): sign x speed <= bound, in rpm.
fn limits(d: &Driveline, engine: EngineUse) -> Vec<(usize, f64, f64)> {
    let mut all = Vec::new();
    for (id, shaft) in d.shafts.iter().enumerate() {
        if let Some(max) = shaft.max_rpm {
            all.push((id, 1.0, max));
        }
        // Who states only the highest speed means it both ways.
        if let Some(low) = shaft.min_rpm.map(|min| -min).or(shaft.max_rpm) {
            all.push((id, -1.0, low));
        }
    }
    if let Some((id, e)) = d.engine() {
        let lowest = if engine == EngineUse::On { e.idle_rpm } else { 0.0 };
        all.push((d.machines[id].shaft, -1.0, -lowest));
        all.push((d.machines[id].shaft, 1.0, e.max_rpm));
    }
    if let (Some(v), Some(radps_per_kmh)) = (&d.vehicle, d.output_radps_per_kmh()) {
        let rpm = (v.max_speed_kmh * radps_per_kmh * 60.0 / std::f64::consts::TAU).abs();
        all.push((d.output.shaft, 1.0, rpm));
        all.push((d.output.shaft, -1.0, rpm));
    }
    all
}

/// Every corner of the region of allowed motions, by trying each choice of as many limits as
/// there are motions. A huge box stands for "no limit". `None` when the region is empty.
fn brute_force(d: &Driveline, k: &Kinematics, closed: u8, engine: EngineUse) -> Option<[f64; 2]> {
    const BOX: f64 = 1e9;
    let set = k.set(closed);
    let motions = set.mobility;
    let basis = DMatrix::from_fn(d.shafts.len(), motions, |s, m| to_f64(&set.basis[m][s]));
    let mut all = limits(d, engine);
    for shaft in 0..d.shafts.len() {
        for sign in [1.0, -1.0] {
            if !all.iter().any(|(s, side, _)| (*s, *side) == (shaft, sign)) {
                all.push((shaft, sign, BOX));
            }
        }
    }
    let mut ends: Option<[f64; 2]> = None;
    let mut choice: Vec<usize> = (0..motions).collect();
    loop {
        let rows = DMatrix::from_fn(motions, motions, |r, m| basis[(all[choice[r]].0, m)]);
        let bounds = DVector::from_fn(motions, |r, _| all[choice[r]].1 * all[choice[r]].2);
        let corner = if motions == 0 { Some(bounds) } else { rows.lu().solve(&bounds) };
        if let Some(corner) = corner {
            let speeds = &basis * corner;
            let allowed = |(s, sign, bound): &(usize, f64, f64)| {
                sign * speeds[*s] <= bound + 1e-9 * (1.0 + bound.abs()) + 1e-7
            };
            if speeds.iter().all(|x| x.is_finite()) && all.iter().all(allowed) {
                let out = speeds[d.output.shaft];
                let [low, high] = ends.unwrap_or([out, out]);
                ends = Some([low.min(out), high.max(out)]);
            }
        }
        // The next choice in lexical order.
        let Some(at) = (0..motions).rev().find(|&i| choice[i] + motions - i < all.len()) else {
            return ends;
        };
        choice[at] += 1;
        for i in at + 1..motions {
            choice[i] = choice[i - 1] + 1;
        }
    }
}

/// An end proves itself: its speeds are a motion inside every limit, and the limits that end
/// it, weighed, sum up to the output's speed in every motion.
fn check_certificate(
    d: &Driveline,
    k: &Kinematics,
    closed: u8,
    engine: EngineUse,
    end: &End,
    up: bool,
) {
    let Some(output_rpm) = &end.output_rpm else { return };
    assert_eq!(&end.speeds_rpm[d.output.shaft], output_rpm);
    let mut rows = gear_rows(d);
    (0..d.locks.len()).filter(|l| closed >> l & 1 == 1).for_each(|l| rows.push(lock_row(d, l)));
    assert!(rows.rows().iter().all(|row| dot(row, &end.speeds_rpm) == int(0)));
    for (shaft, sign, bound) in limits(d, engine) {
        assert!(sign * to_f64(&end.speeds_rpm[shaft]) <= bound + 1e-6 * (1.0 + bound.abs()));
    }
    let mut sum = int(0);
    for ended in &end.ended_by {
        let Limit { rpm, upper, shaft, .. } = &ended.limit;
        assert_eq!(&end.speeds_rpm[*shaft], rpm, "a limit that ends it is reached");
        // Raising an upper end's ceiling lifts it; so does raising a floor under a negative share.
        assert_eq!(ended.output_per_limit > int(0), *upper == up);
        sum += &ended.output_per_limit * rpm;
    }
    assert_eq!(&sum, output_rpm);
    for motion in &k.set(closed).basis {
        let weighed = end
            .ended_by
            .iter()
            .fold(int(0), |sum: Q, e| sum + &e.output_per_limit * &motion[e.limit.shaft]);
        assert_eq!(weighed, motion[d.output.shaft]);
    }
}

/// A contradiction proves itself too: no motion meets just the named limits (by brute force
/// over these alone the region is empty), and each of them is needed.
fn check_contradiction(d: &Driveline, k: &Kinematics, none: &NoWindow) {
    assert!(!none.because.is_empty());
    let basis = &k.set(none.closed).basis;
    // Weighing each limit's row to zero must leave a negative bound: solve for the weights.
    let rows = none.because.iter().map(|l| {
        let sign = if l.upper { int(1) } else { int(-1) };
        basis.iter().map(|motion| &motion[l.shaft] * &sign).collect()
    });
    let rows = host_sim::exact::Matrix::new(basis.len(), rows.collect());
    let weights = rows.transposed().null_space();
    assert_eq!(weights.len(), 1, "{}: the named limits are no more than needed", d.name);
    let positive = weights[0].iter().all(|w| *w > int(0)) || weights[0].iter().all(|w| *w < int(0));
    assert!(positive);
    let bound = none.because.iter().zip(&weights[0]).fold(int(0), |sum, (l, w)| {
        let bound = if l.upper { l.rpm.clone() } else { -l.rpm.clone() };
        sum + bound * if *w < int(0) { -w.clone() } else { w.clone() }
    });
    assert!(bound < int(0));
}

fn check(d: &Driveline, k: &Kinematics, closed: u8, engine: EngineUse) -> [usize; 3] {
    let what = format!("{} {closed:b} {engine:?}", d.name);
    let by_force = brute_force(d, k, closed, engine);
    match (find_window(d, k, closed, engine), by_force) {
        (Ok(window), Some([low, high])) => {
            for (end, value, up) in [(&window.low, low, false), (&window.high, high, true)] {
                match &end.output_rpm {
                    Some(rpm) => {
                        let rpm = to_f64(rpm);
                        assert!(
                            (rpm - value).abs() < 1e-6 * (1.0 + rpm.abs()),
                            "{what}: {rpm} {value}"
                        );
                    }
                    None => assert!(value.abs() > 1e5, "{what}: said to be unlimited, {value}"),
                }
                check_certificate(d, k, closed, engine, end, up);
            }
            let unlimited = window.low.output_rpm.is_none() || window.high.output_rpm.is_none();
            if unlimited { [1, 0, 1] } else { [1, 0, 0] }
        }
        (Err(none), None) => {
            check_contradiction(d, k, &none);
            [0, 1, 0]
        }
        (ours, force) => panic!("{what}: {ours:?} but by force {force:?}"),
    }
}

#[test]
fn windows_agree_with_brute_force_and_prove_themselves() {
    let mut counts = [0; 3];
    let mut drivelines = vec![shuttle(), railcar(), axle()];
    drivelines.extend((40_000..40_150).map(driveline));
    for d in &drivelines {
        let Ok(k) = analyse(d) else { continue };
        for set in k.sets.iter().filter(|s| s.mobility <= 3) {
            for engine in ALL_USES {
                let found = check(d, &k, set.closed, engine);
                counts.iter_mut().zip(found).for_each(|(sum, n)| *sum += n);
            }
        }
    }
    let [windows, nowhere, unlimited] = counts;
    println!("{windows} windows ({unlimited} unlimited on a side), {nowhere} without any speed");
    assert!(windows > 5_000 && nowhere > 500 && unlimited > 10, "{counts:?}");
}

/// A random driveline whose shafts state both limits, one of them or none, the lowest speed of either
/// sign; and often a vehicle with a limit of its own.
fn one_sided(seed: u64) -> Driveline {
    let mut d = driveline(seed);
    let dice = &mut Dice::new(seed ^ 0x51DE);
    for shaft in &mut d.shafts {
        let max = f64::from(dice.whole(10, 90)) * 100.0;
        shaft.max_rpm = dice.chance(3, 4).then_some(max);
        shaft.min_rpm = dice.chance(1, 2).then_some((max * dice.signed_unit()).min(max - 100.0));
    }
    if dice.chance(1, 2) {
        d.vehicle = shuttle().vehicle;
        d.output.final_drive = Some(ratio(if dice.chance(1, 2) { -4 } else { 4 }, 1));
        d.output.tyre_radius_m = Some(0.3);
    }
    d
}

#[test]
fn windows_of_one_sided_limits_agree_with_brute_force() {
    let mut counts = [0; 3];
    for d in (42_000..42_150).map(one_sided) {
        let Ok(k) = analyse(&d) else { continue };
        for set in k.sets.iter().filter(|s| s.mobility <= 3) {
            for engine in ALL_USES {
                let found = check(&d, &k, set.closed, engine);
                counts.iter_mut().zip(found).for_each(|(sum, n)| *sum += n);
            }
        }
    }
    assert!(counts[0] > 2_000 && counts[1] > 2_000 && counts[2] > 20, "{counts:?}");
}

/// One shaft that is the engine's and the output's: what ends its window, by name, and where.
fn ends_of_one_shaft(max: Option<f64>, min: Option<f64>) -> [(LimitKind, f64); 2] {
    let mut d = Build::new("one", &["s"], "s").engine("engine", "s", 800.0, 4000.0).done();
    (d.shafts[0].max_rpm, d.shafts[0].min_rpm) = (max, min);
    let k = analyse(&d).unwrap();
    let window = find_window(&d, &k, 0, EngineUse::On).unwrap();
    [window.low, window.high].map(|end| {
        assert_eq!(end.ended_by.len(), 1);
        (end.ended_by[0].limit.kind, end.output_rpm.map_or(f64::NAN, |rpm| to_f64(&rpm)))
    })
}

/// Of two limits the tighter is named, and of equal ones the shaft's own, which the file says first.
#[test]
fn the_tightest_limit_is_named_and_of_equal_ones_the_first() {
    use LimitKind::{EngineIdle, EngineMax, ShaftMax, ShaftMin};
    for (max, kind, rpm) in
        [(3_999.0, ShaftMax, 3_999.0), (4_000.0, ShaftMax, 4_000.0), (4_001.0, EngineMax, 4_000.0)]
    {
        assert_eq!(ends_of_one_shaft(Some(max), None), [(EngineIdle, 800.0), (kind, rpm)]);
    }
    for (min, kind, rpm) in
        [(799.0, EngineIdle, 800.0), (800.0, ShaftMin, 800.0), (801.0, ShaftMin, 801.0)]
    {
        assert_eq!(ends_of_one_shaft(None, Some(min)), [(kind, rpm), (EngineMax, 4_000.0)]);
    }
}

/// With many free motions brute force is too slow; the exact proofs still hold.
#[test]
fn windows_with_many_free_motions_prove_themselves() {
    let mut ends = 0;
    for seed in 41_000..41_200 {
        let d = driveline(seed);
        let Ok(k) = analyse(&d) else { continue };
        for set in k.sets.iter().filter(|s| s.mobility > 3) {
            for engine in ALL_USES {
                match find_window(&d, &k, set.closed, engine) {
                    Ok(window) => {
                        check_certificate(&d, &k, set.closed, engine, &window.low, false);
                        check_certificate(&d, &k, set.closed, engine, &window.high, true);
                        ends += 1;
                    }
                    Err(none) => check_contradiction(&d, &k, &none),
                }
            }
        }
    }
    assert!(ends > 300, "{ends}");
}
