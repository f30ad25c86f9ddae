//! The demo drivelines against their values as recomputed by an independent program, and the
//! largest driveline against the clock.

use host_sim::driveline::{Driveline, Planet};
use host_sim::exact::{Q, int, ratio, text};
use host_sim::kinematics::{Kinematics, Verdict, analyse};
use slipwarden_tests::drivelines::{Build, axle, railcar, shuttle};

fn held_names(d: &Driveline, k: &Kinematics, closed: u8) -> Vec<String> {
    k.set(closed).held.iter().map(|&s| d.shafts[s].name.clone()).collect()
}

/// Source: the demo shuttle's table, recomputed independently (rigid shafts).
#[test]
fn shuttle_lock_sets_match_the_independent_table() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let generator_held = ["ring", "generator"].as_slice();
    let all_held = ["ring", "generator", "crank"].as_slice();
    type Expected<'a> = (u8, usize, &'a [&'a str], Option<Q>, Verdict);
    let table: [Expected; 8] = [
        (0b000, 4, &[], None, Verdict::Neutral),
        (0b001, 3, &["ring"], Some(ratio(16, 5)), Verdict::Drives),
        (0b010, 3, &[], None, Verdict::Drives),
        (0b011, 2, generator_held, Some(ratio(16, 5)), Verdict::HoldsMachine),
        (0b100, 3, &[], None, Verdict::Neutral),
        (0b101, 2, &["ring"], Some(ratio(16, 5)), Verdict::Drives),
        (0b110, 2, &[], None, Verdict::Drives),
        (0b111, 1, all_held, Some(ratio(16, 5)), Verdict::HoldsEngine),
    ];
    for (closed, mobility, held, sun_per_output, verdict) in table {
        let set = k.set(closed);
        assert_eq!(set.mobility, mobility, "{closed:03b}");
        assert_eq!(held_names(&d, &k, closed), held, "{closed:03b}");
        assert_eq!(set.per_output[0], sun_per_output, "{closed:03b}");
        assert_eq!(set.verdict, verdict, "{closed:03b}");
        assert_eq!(set.redundant, 0, "{closed:03b}");
    }
    assert_eq!(k.conflicts.len(), 1);
    assert_eq!(k.conflicts[0].locks, 0b111);
    assert_eq!(
        k.conflicts[0].reason,
        "closing ring-brake and ring-clutch while engine-clutch is closed holds the engine at zero"
    );
    assert_eq!(k.overlaps.iter().map(|o| o.locks).collect::<Vec<_>>(), [0b011]);
}

/// Source: static torques of the demo shuttle, recomputed independently: traction =
/// output/3.2, ring reaction = 0.6875 x output.
#[test]
fn shuttle_torques_match_the_independent_values() {
    let k = analyse(&shuttle()).unwrap();
    let torque = &k.set(0b001).torque;
    assert_eq!(torque.alone, [Some(ratio(16, 5)), None, None]);
    assert_eq!(torque.pushes.len(), 1);
    assert_eq!(torque.pushes[0].per_output, [ratio(5, 16)]);
    assert_eq!(torque.locks.len(), 1);
    assert_eq!(torque.locks[0].per_push, [ratio(11, 16)]);
    assert_eq!(torque.locks[0].per_machine, [ratio(11, 5), int(0), int(0)]);

    // Dual-electric: both machines are needed; the ring's reaction now comes from the
    // generator through the ring clutch.
    let torque = &k.set(0b010).torque;
    assert_eq!(torque.pushes.len(), 1);
    assert_eq!(torque.pushes[0].machines, [0, 1]);
    assert_eq!(torque.pushes[0].per_output, [ratio(5, 16), ratio(11, 16)]);
    assert_eq!(torque.locks[0].per_push, [ratio(11, 16)]);

    // Series: the engine clutch carries what the generator takes (on its first side, the
    // generator's). It is told by the generator's torque, which is known better than the engine's.
    let clutch = &k.set(0b101).torque.locks[1];
    assert_eq!((clutch.lock, &clutch.per_machine[..]), (2, &[int(0), int(-1), int(0)][..]));
    // Power-split: the ring clutch hands on 11/5 of the traction torque, the generator takes
    // its part, the rest is the engine's.
    let clutch = &k.set(0b110).torque.locks[1];
    assert_eq!((clutch.lock, &clutch.per_machine[..]), (2, &[ratio(11, 5), int(-1), int(0)][..]));
}

/// Source: the demo railcar's counts, recomputed independently.
#[test]
fn railcar_counts_match_the_independent_ones() {
    let k = analyse(&railcar()).unwrap();
    let count = |verdict| k.sets.iter().filter(|s| s.verdict == verdict).count();
    assert_eq!(k.sets.len(), 32);
    assert_eq!(count(Verdict::Drives), 13);
    assert_eq!(count(Verdict::HoldsOutput), 12);
    assert_eq!(count(Verdict::HoldsEngine), 4);
    assert_eq!(count(Verdict::HoldsMachine), 2);
    assert_eq!(count(Verdict::Neutral), 1);
}

/// Source: the demo axle, recomputed independently: low 17/5, high 1, all three hold the output.
#[test]
fn axle_ratios_match_the_independent_ones() {
    let k = analyse(&axle()).unwrap();
    assert_eq!(k.set(0b101).per_output[0].as_ref().map(text), Some("17/5".into()));
    assert_eq!(k.set(0b110).per_output[0].as_ref().map(text), Some("1".into()));
    assert_eq!(k.set(0b111).verdict, Verdict::HoldsOutput);
    assert_eq!(k.conflicts.iter().map(|c| c.locks).collect::<Vec<_>>(), [0b111]);
    assert_eq!(
        k.conflicts[0].reason,
        "closing low-brake and high-clutch while disconnect is closed holds the output at zero"
    );
}

/// Eight locks, sixteen shafts, four machines: the largest driveline stays interactive. The
/// bound is loose (a slow machine, an unoptimised build); measured in its message.
#[test]
fn the_largest_driveline_is_analysed() {
    let names: Vec<String> = (0..16).map(|n| format!("s{n}")).collect();
    let s: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut build = Build::new("largest", &s, s[15])
        .planetary([s[0], s[1], s[2]], [31, 97], Planet::Single)
        .planetary([s[2], s[3], s[4]], [29, 83], Planet::Double)
        .planetary([s[4], s[5], s[6]], [37, 89], Planet::Single)
        .planetary([s[6], s[7], s[15]], [41, 101], Planet::Single)
        .pair(s[8], s[7], ratio(-23, 47))
        .pair(s[9], s[5], ratio(53, 19))
        .electric("a", s[0])
        .electric("b", s[3])
        .electric("c", s[11])
        .engine("e", s[10], 800.0, 3000.0);
    let locks = [
        (1, "case"),
        (3, "case"),
        (5, s[10]),
        (8, s[11]),
        (9, s[12]),
        (12, s[13]),
        (13, s[14]),
        (14, s[0]),
    ];
    for (i, (a, b)) in locks.into_iter().enumerate() {
        build = build.lock(&format!("lock-{i}"), s[a], b);
    }
    for shaft in &s {
        build = build.limit(shaft, 6000.0);
    }
    let d = build.done();
    let k = analyse(&d).unwrap();
    let use_of_engine = host_sim::driveline::EngineUse::On;
    let windows = (0..=255u8)
        .filter(|&set| host_sim::kinematics::window_of(&d, &k, set, use_of_engine).is_some())
        .count();
    assert_eq!((k.sets.len(), k.set(0).mobility), (256, 10));
    assert!(windows > 0);
}
