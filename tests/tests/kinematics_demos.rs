//! The demo drivelines against their values as recomputed by an independent program.

use host_sim::driveline::Driveline;
use host_sim::exact::{Q, int, ratio, text};
use host_sim::kinematics::{Kinematics, Verdict, analyse};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};

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
