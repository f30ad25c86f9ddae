//! What the kinematics says in words: each sentence against gearboxes small enough to work out by
//! hand, and the locks that a reason names against all subsets.

use host_sim::driveline::{Driveline, MachineKind, Planet};
use host_sim::exact::int;
use host_sim::kinematics::{Kinematics, Verdict, analyse, and_list};
use slipwarden_tests::drivelines::{Build, shuttle};
use slipwarden_tests::random::driveline;

/// The smallest subset of `closed` that holds `shaft`, the first in order of patterns, by trying
/// all of them; which shafts a set holds is checked against a numeric method elsewhere.
fn smallest_that_holds(k: &Kinematics, closed: u8, shaft: usize) -> u8 {
    let mut best = None;
    for subset in 0..=closed {
        let within = (0..8).all(|lock| subset & (1 << lock) == 0 || closed & (1 << lock) != 0);
        if !within || !k.set(subset).held.contains(&shaft) {
            continue;
        }
        let size = (0..8).filter(|lock| subset & (1 << lock) != 0).count();
        if best.is_none_or(|(smallest, _)| size < smallest) {
            best = Some((size, subset));
        }
    }
    best.expect("the closed locks hold it").1
}

fn held_by(d: &Driveline, k: &Kinematics, closed: u8, shaft: usize) -> String {
    let locks = smallest_that_holds(k, closed, shaft);
    let names: Vec<&str> = (0..d.locks.len())
        .filter(|&lock| locks & (1 << lock) != 0)
        .map(|lock| d.locks[lock].name.as_str())
        .collect();
    let by = match names.as_slice() {
        [] => "the gears alone".to_string(),
        [one] => one.to_string(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    };
    format!("{} is held at zero by {by}", d.shafts[shaft].name)
}

#[test]
fn what_holds_a_shaft_is_the_smallest_set_of_locks_that_does() {
    let (mut outputs, mut engines, mut machines) = (0, 0, 0);
    for seed in 0..150 {
        let d = driveline(seed);
        let Ok(k) = analyse(&d) else { continue };
        for set in &k.sets {
            let held = |shaft| held_by(&d, &k, set.closed, shaft);
            let wanted = match set.verdict {
                Verdict::HoldsOutput => {
                    outputs += 1;
                    format!("the output {}", held(d.output.shaft))
                }
                Verdict::HoldsEngine => {
                    engines += 1;
                    let engine = d.machines.iter().find(|m| {
                        matches!(m.kind, MachineKind::Engine(_)) && set.held.contains(&m.shaft)
                    });
                    format!("the engine's shaft {}", held(engine.expect("an engine").shaft))
                }
                Verdict::HoldsMachine => {
                    machines += 1;
                    let electric = d.machines.iter().filter(|m| {
                        matches!(m.kind, MachineKind::Electric(_)) && set.held.contains(&m.shaft)
                    });
                    let parts: Vec<String> = electric
                        .map(|m| format!("machine {}'s shaft {}", m.name, held(m.shaft)))
                        .collect();
                    parts.join("; ")
                }
                Verdict::Neutral | Verdict::Drives => continue,
            };
            assert_eq!(set.reason, wanted, "seed {seed}, set {:b}", set.closed);
        }
    }
    println!("{outputs} hold the output, {engines} an engine, {machines} a machine");
    assert!(outputs > 100 && engines > 20 && machines > 20, "{outputs} {engines} {machines}");
}

/// Static torques of the demo shuttle, recomputed independently: traction drives the output
/// 16/5-fold with the ring braked, and with the generator through the ring clutch.
#[test]
fn what_drives_is_named_with_its_torque() {
    let k = analyse(&shuttle()).expect("it can move");
    let neutral = "nothing can push the output: it can turn while every machine stands still";
    assert_eq!(k.set(0b000).reason, neutral);
    let alone = "the output is pushed by traction alone with 16/5 times its torque";
    assert_eq!(k.set(0b001).reason, alone);
    assert_eq!(k.set(0b010).reason, "the output is pushed by traction and generator together");
    let bare = Build::new("bare", &["in", "out"], "out").pair("in", "out", int(2)).done();
    let k = analyse(&bare).expect("it can move");
    assert_eq!(k.set(0).reason, "there is no machine to push the output");
}

fn conflict_reasons(build: Build) -> Vec<String> {
    let k = analyse(&build.done()).expect("it can move");
    k.conflicts.into_iter().map(|c| c.reason).collect()
}

#[test]
fn one_lock_that_holds_the_output_is_named_with_the_gears_between() {
    let direct = Build::new("direct", &["out"], "out").lock("brake", "out", "case");
    assert_eq!(conflict_reasons(direct), ["closing brake holds the output at zero"]);
    // The second pair hangs on the first shaft and takes no part.
    let geared = Build::new("geared", &["in", "aside", "out"], "out")
        .pair("in", "out", int(2))
        .pair("aside", "in", int(3))
        .lock("brake", "in", "case");
    let wanted = "closing brake holds the output at zero through gear pair pair-1";
    assert_eq!(conflict_reasons(geared), [wanted]);
}

#[test]
fn several_locks_are_told_apart_by_which_of_them_touch_the_held_shaft() {
    let far_and_near = Build::new("far-and-near", &["mid", "out"], "out")
        .lock("dog", "mid", "out")
        .lock("brake", "mid", "case");
    let wanted = "closing brake while dog is closed holds the output at zero";
    assert_eq!(conflict_reasons(far_and_near), [wanted]);

    let set = |name: &str| {
        Build::new(name, &["sun", "ring", "out"], "out").planetary(
            ["sun", "ring", "out"],
            [30, 60],
            Planet::Single,
        )
    };
    let far = set("far").lock("sun-brake", "sun", "case").lock("ring-brake", "ring", "case");
    let wanted = "closing sun-brake and ring-brake together holds the output at zero through \
                  planetary set set-1";
    assert_eq!(conflict_reasons(far), [wanted]);

    // The pair lets the two shafts turn only at different speeds, the clutches only at the same.
    let near = Build::new("near", &["one", "two", "out"], "out")
        .pair("one", "two", int(2))
        .lock("first", "one", "out")
        .lock("second", "out", "two");
    let wanted =
        "closing first and second together holds the output at zero through gear pair pair-1";
    assert_eq!(conflict_reasons(near), [wanted]);

    let both = Build::new("both", &["sun", "ring", "cage", "out"], "out")
        .planetary(["sun", "cage", "ring"], [30, 60], Planet::Single)
        .lock("first", "sun", "out")
        .lock("second", "out", "ring")
        .lock("brake", "cage", "case");
    let wanted = "closing brake while first and second are closed holds the output at zero \
                  through planetary set set-1";
    assert_eq!(conflict_reasons(both), [wanted]);
}

#[test]
fn engines_are_named_where_there_are_several() {
    let engines = |build: Build| build.engine("left", "a", 800.0, 3000.0);
    let shafts = ["a", "b", "out"];
    let one = engines(Build::new("one", &shafts, "out")).lock("brake", "a", "case");
    assert_eq!(conflict_reasons(one), ["closing brake holds the engine at zero"]);
    let two = engines(Build::new("two", &shafts, "out"))
        .engine("right", "b", 800.0, 3000.0)
        .electric("machine", "out")
        .lock("brake", "b", "case");
    assert_eq!(conflict_reasons(two), ["closing brake holds the engine right at zero"]);
    let joined = engines(Build::new("joined", &shafts, "out"))
        .pair("a", "out", int(2))
        .lock("brake", "a", "case");
    assert_eq!(
        conflict_reasons(joined),
        ["closing brake holds the output and the engine at zero through gear pair pair-1"]
    );
}

#[test]
fn an_overlap_names_every_machine_that_it_holds() {
    let d = Build::new("overlap", &["x", "y", "out"], "out")
        .pair("x", "y", int(2))
        .electric("first", "x")
        .electric("second", "y")
        .electric("third", "out")
        .lock("brake", "x", "case")
        .done();
    let k = analyse(&d).expect("it can move");
    let reasons: Vec<&str> = k.overlaps.iter().map(|o| o.reason.as_str()).collect();
    let wanted = "closing brake holds machine first and machine second at zero through gear pair \
                  pair-1: only while that shaft is at rest, and only for a moment";
    assert_eq!(reasons, [wanted]);
}

#[test]
fn gears_that_hold_the_output_are_named_and_only_they() {
    let d = Build::new("stuck", &["x", "aside", "out"], "out")
        .pair("x", "out", int(2))
        .pair("x", "out", int(3))
        .pair("aside", "x", int(3))
        .done();
    let held = analyse(&d).expect_err("it cannot move");
    assert_eq!(held.shaft, "out");
    assert_eq!(held.gears, ["gear pair pair-1", "gear pair pair-2"]);
    let told = held.to_string();
    let start = "the gears alone hold the output shaft out at zero with every lock open: \
                 gear pair pair-1 and gear pair pair-2; ";
    assert!(told.starts_with(start), "{told}");
}

#[test]
fn lists_read_as_a_sentence() {
    assert_eq!(and_list::<&str>(&[]), "");
    assert_eq!(and_list(&["a"]), "a");
    assert_eq!(and_list(&["a", "b"]), "a and b");
    assert_eq!(and_list(&["a", "b", "c"]), "a, b and c");
}
