//! Each judge against hand-made truths: a planted defect fires it, a clean sequence does not.
//!
//! The truths are made here by hand on the demo shuttle and the demo axle; no supervisor and
//! no plant is asked.

use host_sim::checkers::{self, Checker, Judges};
use host_sim::driveline::{self, Driveline, GearPair};
use host_sim::exact::ratio;
use host_sim::kinematics;
use slipwarden_tests::story::Story;
use supervisor::io::LockOrder;

// Shuttle: shafts sun, output, ring, generator, crank; locks ring-brake, ring-clutch,
// engine-clutch.
const OUTPUT: usize = 1;
const RING: usize = 2;
const GENERATOR: usize = 3;
const CRANK: usize = 4;
const RPM: f64 = std::f64::consts::PI / 30.0;

fn demo(name: &str) -> Driveline {
    driveline::parse(name, driveline::demo(name).expect("an embedded demo"))
        .expect("demos are valid")
        .driveline
}

#[test]
fn every_rule_has_its_own_identifier() {
    let d = demo("shuttle");
    let k = kinematics::analyse(&d).expect("the demo can move");
    let mut ids: Vec<&str> = checkers::all(&d, &k).iter().map(|j| j.id()).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "{ids:?}");
    assert!(ids.iter().all(|id| id.starts_with("SW-")));
}

#[test]
fn judges_that_were_reset_judge_as_new_ones_do() {
    // A story that breaks several rules, before and after one that breaks none.
    let mut bad = Story::new("shuttle");
    bad.speed(GENERATOR, 4700.0).close(0, 100.0).rub(0, 20.0, 0.2).wait(0.5);
    let mut good = Story::new("shuttle");
    good.speed(OUTPUT, 100.0).close(0, 5.0).wait(0.5);
    let k = kinematics::analyse(&bad.driveline).expect("the demo can move");
    let mut judges = Judges::new(&bad.driveline, &k);
    let mut run = |story: &Story| {
        judges.reset();
        story.all.iter().for_each(|truth| judges.observe(truth));
        (judges.margins(), judges.finish())
    };
    let (first, clean, second) = (run(&bad), run(&good), run(&bad));
    assert!(first.1.len() >= 3, "{first:?}");
    assert_eq!(first, second);
    assert_eq!(clean.1, []);
    let mut fresh = Judges::new(&good.driveline, &k);
    good.all.iter().for_each(|truth| fresh.observe(truth));
    assert_eq!(clean.0, fresh.margins());
}

#[test]
fn a_clean_story_has_no_finding() {
    // Single-electric to dual-electric and on to power-split, by the book.
    let mut s = Story::new("shuttle");
    s.speed(OUTPUT, 700.0).speed(0, 2240.0).close(0, 0.0).wait(0.5);
    s.now.request = Some(0);
    s.now.stated_reached = Some(0);
    s.wait(0.5);
    s.now.request = Some(1);
    s.now.stated_reached = None;
    s.close(1, 12.0).rub(1, 0.5, 0.1);
    s.now.locks[1].sticking = true;
    s.wait(0.3).open(0).wait(0.05);
    s.now.stated_reached = Some(1);
    s.speed(RING, 800.0).speed(GENERATOR, 800.0).speed(0, 480.0).wait(1.0);
    s.speed(CRANK, 1000.0);
    s.now.stated_reached = None;
    s.now.engine_running = true;
    s.now.engine_run_order = true;
    s.speed(RING, 1000.0).speed(GENERATOR, 1000.0).close(2, 30.0).wait(0.05);
    assert_eq!(s.judged(), []);
}

#[test]
fn sw_conflict_fires_when_the_engine_is_held_turning() {
    let mut s = Story::new("shuttle");
    s.speed(OUTPUT, 700.0).speed(CRANK, 900.0).close(0, 0.0).close(2, 0.0).wait(0.1);
    s.close(1, 0.0).wait(0.1);
    let found = s.judged();
    let conflict = found.iter().find(|f| f.rule == "SW-CONFLICT").expect("a conflict is found");
    assert!((conflict.t_s - 0.101).abs() < 1e-6, "{conflict:?}");
    assert!(conflict.text.contains("crank turns at 900 rpm"), "{}", conflict.text);
    // At rest the same lock set is no conflict.
    let mut s = Story::new("shuttle");
    s.close(0, 0.0).close(2, 0.0).close(1, 0.0).wait(0.1);
    assert!(!s.rules().contains(&"SW-CONFLICT"));
}

#[test]
fn sw_conflict_sees_dogs_that_stop_the_shaft_within_one_tick() {
    // Axle: its three locks hold the output. It turned before and stands after.
    let mut s = Story::new("axle");
    s.speed(3, 500.0).close(0, 0.0).close(2, 0.0).wait(0.1);
    s.speed(3, 0.0).close(1, 0.0).wait(0.1);
    assert!(s.rules().contains(&"SW-CONFLICT"), "{:?}", s.judged());
}

#[test]
fn sw_conflict_gives_time_to_react_to_a_lock_that_closes_by_itself() {
    let story = |lasts: f64| {
        let mut s = Story::new("shuttle");
        s.speed(CRANK, 900.0).close(0, 0.0).close(2, 0.0).wait(0.1);
        s.close(1, 0.0);
        s.now.locks[1].forced = true;
        s.now.locks[1].order = LockOrder::Open;
        s.wait(lasts).open(2).wait(0.5);
        s
    };
    // Without a stated fault tolerant time the bound is 0.5 s.
    assert!(!story(0.4).rules().contains(&"SW-CONFLICT"));
    assert!(story(0.6).rules().contains(&"SW-CONFLICT"));
}

/// A fault presses the engine clutch on the shuttle while the ring brake is held and the ring clutch closes:
/// what was ordered before the plates pressed could not be known to be wrong, what was ordered after could.
#[test]
fn sw_conflict_blames_only_a_closing_that_began_after_the_fault_showed() {
    let story = |ordered_before: bool, lasts: f64| {
        let mut s = Story::new("shuttle");
        s.speed(CRANK, 900.0).close(0, 0.0).wait(0.1);
        s.now.locks[2].order = if ordered_before { LockOrder::Close } else { LockOrder::Open };
        s.wait(0.05).close(1, 0.0);
        s.now.locks[1].forced = true;
        s.now.locks[1].order = LockOrder::Open;
        s.wait(0.02).close(2, 0.0).wait(lasts).open(2).wait(0.5);
        s.rules().contains(&"SW-CONFLICT")
    };
    assert!(!story(true, 0.4));
    assert!(story(false, 0.4), "the closing began when the fault could be known");
    // The reaction time counts from the fault, not from the closing 20 ms later.
    assert!(!story(true, 0.47));
    assert!(story(true, 0.49));
}

#[test]
fn sw_slip_fires_just_above_the_limit() {
    let closing = |rpm: f64| {
        let mut s = Story::new("shuttle");
        s.close(0, rpm).wait(0.05);
        s.rules()
    };
    assert_eq!(closing(59.9), Vec::<&str>::new());
    assert_eq!(closing(60.1), ["SW-SLIP"]);
    assert_eq!(closing(-60.1), ["SW-SLIP"]);
    assert_eq!(closing(f64::NAN), ["SW-SLIP"]);
}

#[test]
fn sw_slip_does_not_blame_us_for_a_lock_pressed_by_a_fault() {
    let mut s = Story::new("shuttle");
    s.close(0, 500.0);
    s.now.locks[0].forced = true;
    s.wait(0.05);
    assert!(!s.rules().contains(&"SW-SLIP"));
    // Nor for tyres that grip again, for as long as the lock takes to let go (60 ms); but for a closing on
    // tyres without grip.
    for (regrips, late_s, breaks) in [(true, 0.05, false), (true, 0.07, true), (false, 0.0, true)] {
        let mut s = Story::new("shuttle");
        (s.now.faults.grip_lost, s.now.faults.regrips) = (true, regrips);
        s.wait(late_s).close(0, 61.0).wait(0.05);
        assert_eq!(s.rules().contains(&"SW-SLIP"), breaks, "{regrips} {late_s}");
    }
}

#[test]
fn sw_energy_fires_over_the_budget_of_one_closing() {
    let rubbed = |kj: f64| {
        let mut s = Story::new("shuttle");
        s.close(2, 50.0).rub(2, kj, 0.5);
        s.rules()
    };
    // engine-clutch: 8 kJ.
    assert_eq!(rubbed(7.9), Vec::<&str>::new());
    assert_eq!(rubbed(8.1), ["SW-ENERGY"]);
    // Two closings of 5 kJ each are two budgets; drag of the open lock counts in none.
    let mut s = Story::new("shuttle");
    s.close(2, 50.0).rub(2, 5.0, 0.2).open(2).rub(2, 20.0, 1.0);
    s.close(2, 50.0).rub(2, 5.0, 0.2);
    assert_eq!(s.judged(), []);
}

#[test]
fn sw_overspeed_fires_both_ways_and_once_an_episode() {
    let mut s = Story::new("shuttle");
    s.speed(GENERATOR, 4599.0).wait(0.1);
    assert_eq!(s.judged(), []);
    s.speed(GENERATOR, 4601.0).wait(0.2).speed(GENERATOR, 0.0).wait(0.1);
    s.speed(GENERATOR, -4601.0).wait(0.2);
    let found = s.judged();
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found.iter().all(|f| f.rule == "SW-OVERSPEED" && f.text.starts_with("generator")));
}

/// Beyond its limits only with a fault to blame, and until it is back; never beyond what was tested, nor
/// for longer. A shaft that was not tested has its limits.
#[test]
fn sw_overspeed_gives_a_faulty_driveline_what_its_shafts_were_tested_for() {
    let story = |fault_s: f64, before_s: f64, rpm: f64, stands_s: f64, tested: bool| {
        let mut s = Story::new("shuttle");
        let shaft = &mut s.driveline.shafts[GENERATOR];
        assert_eq!((shaft.max_rpm, shaft.tested_rpm), (Some(4600.0), Some(5520.0)));
        (shaft.tested_s, shaft.tested_rpm) = (0.3, shaft.tested_rpm.filter(|_| tested));
        s.now.faults.any = true;
        s.wait(fault_s);
        s.now.faults.any = false;
        s.wait(before_s).speed(GENERATOR, rpm).wait(stands_s);
        s.rules()
    };
    let none = Vec::<&str>::new();
    for way in [1.0, -1.0] {
        assert_eq!(story(0.1, 0.4, way * 5519.0, 0.29, true), none);
        assert_eq!(
            story(0.1, 0.4, way * 5521.0, 0.01, true),
            ["SW-OVERSPEED"],
            "not tested so far"
        );
        assert_eq!(story(0.1, 0.4, way * 4601.0, 0.32, true), ["SW-OVERSPEED"], "not so long");
        assert_eq!(
            story(0.1, 0.6, way * 4601.0, 0.01, true),
            ["SW-OVERSPEED"],
            "the fault is past"
        );
        assert_eq!(story(0.0, 0.1, way * 4601.0, 0.01, true), ["SW-OVERSPEED"], "no fault");
        assert_eq!(story(0.1, 0.1, way * 4601.0, 0.01, false), ["SW-OVERSPEED"], "no test");
    }
}

/// What may not turn as fast backwards as forward was not tested backwards.
#[test]
fn sw_overspeed_takes_no_test_backwards_for_a_shaft_with_another_limit_there() {
    let story = |min_rpm: f64, rpm: f64| {
        let mut s = Story::new("shuttle");
        s.driveline.shafts[GENERATOR].min_rpm = Some(min_rpm);
        s.now.faults.any = true;
        s.speed(GENERATOR, rpm).wait(0.1);
        s
    };
    assert_eq!(story(-4600.0, -4700.0).judged(), []);
    let found = story(-4500.0, -4550.0).judged();
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].text.contains("allowed is -4500 to 4600 rpm"), "{}", found[0].text);
    assert_eq!(story(-4500.0, 4700.0).judged(), []);
}

#[test]
fn sw_overlap_fires_when_turning_too_long_or_with_the_engine_joined() {
    let overlap = |rpm: f64, seconds: f64| {
        let mut s = Story::new("shuttle");
        s.close(0, 0.0).wait(0.1).speed(GENERATOR, rpm).close(1, 0.0).wait(seconds);
        s
    };
    assert_eq!(overlap(30.0, 0.5).judged(), []);
    let turning = overlap(50.0, 0.5).judged();
    assert_eq!(turning.len(), 1);
    assert!(turning[0].text.contains("held machine turns at 50 rpm"), "{}", turning[0].text);
    let long = overlap(0.0, 2.0).judged();
    assert_eq!(long.len(), 1);
    assert!(long[0].text.contains("longer than"), "{}", long[0].text);
    let mut joined = overlap(0.0, 0.1);
    joined.close(2, 0.0).wait(0.1);
    let found = joined.judged();
    assert!(found.iter().any(|f| f.text.contains("engine is joined")), "{found:?}");
}

/// What a fault pushes may turn in the moment in which the plates begin to press: for the reaction time,
/// and not with what pushes nothing.
#[test]
fn sw_overlap_gives_time_to_react_to_a_shaft_that_a_fault_pushes() {
    let story = |pushes: bool, stands_s: f64| {
        let mut s = Story::new("shuttle");
        (s.now.faults.any, s.now.faults.sensors) = (true, 1);
        s.now.faults.machines = u8::from(pushes);
        s.close(0, 0.0).wait(0.1).speed(GENERATOR, 45.0).close(1, 0.0).wait(stands_s);
        s.rules()
    };
    assert_eq!(story(true, 0.45), Vec::<&str>::new());
    assert_eq!(story(true, 0.55), ["SW-OVERLAP"]);
    assert_eq!(story(false, 0.01), ["SW-OVERLAP"]);
}

/// Tyres that grip again turn what they are joined to at once: for as long as a lock takes to let go.
#[test]
fn sw_overlap_gives_a_lock_the_time_to_let_go_when_tyres_grip_again() {
    let pulled = |regrips: bool, after_s: f64| {
        let mut s = Story::new("shuttle");
        s.close(0, 0.0).wait(0.1);
        s.now.faults.regrips = regrips;
        s.wait(0.003);
        s.now.faults.regrips = false;
        s.wait(after_s).speed(GENERATOR, 58.0).close(1, 0.0).wait(0.005);
        s.rules()
    };
    assert_eq!(pulled(true, 0.01), Vec::<&str>::new());
    assert_eq!(pulled(false, 0.01), ["SW-OVERLAP"]);
    assert_eq!(pulled(true, 0.2), ["SW-OVERLAP"]);
}

/// A stuck lock shows it when it is told to open: from then on counts the reaction time, and not from
/// when it closed as it was told.
#[test]
fn sw_overlap_gives_time_to_react_to_a_lock_that_does_not_open() {
    let stuck = |stands_s: f64, after_s: f64, fault: bool| {
        let mut s = Story::new("shuttle");
        s.close(0, 0.0).wait(0.1);
        s.now.faults.actuators = u8::from(fault);
        s.close(1, 0.0).wait(stands_s);
        s.now.locks[0].order = LockOrder::Open;
        s.now.locks[0].forced = fault;
        s.wait(after_s).speed(GENERATOR, 45.0).wait(0.01);
        s.rules()
    };
    let none = Vec::<&str>::new();
    for (stands_s, fault) in [(0.05, true), (0.4, true), (0.4, false)] {
        assert_eq!(stuck(stands_s, 0.4, fault), none, "{stands_s} {fault}");
        assert_eq!(stuck(stands_s, 0.6, fault), ["SW-OVERLAP"], "{stands_s} {fault}");
    }
}

#[test]
fn sw_engine_fires_when_it_is_stalled_or_turned_backwards() {
    let running = |order: bool, fault: bool| {
        let mut s = Story::new("shuttle");
        s.speed(CRANK, 950.0);
        s.now.engine_running = true;
        s.now.engine_run_order = true;
        s.wait(0.2);
        s.now.engine_run_order = order;
        s.now.engine_fault = fault;
        s.now.engine_running = false;
        s.speed(CRANK, 300.0).wait(0.2);
        s.rules()
    };
    assert_eq!(running(true, false), ["SW-ENGINE"]);
    assert_eq!(running(false, false), Vec::<&str>::new(), "stopped by order");
    assert_eq!(running(true, true), Vec::<&str>::new(), "stalled by an injected fault");
    let mut s = Story::new("shuttle");
    s.speed(CRANK, -39.0).wait(0.1);
    assert_eq!(s.judged(), []);
    s.speed(CRANK, -41.0).wait(0.1);
    assert_eq!(s.rules(), ["SW-ENGINE"]);
}

/// A fault presses the engine-clutch in reverse, and the ring-clutch is let go after 0.2 s: from the end of the
/// time for a reaction on the engine may only be what comes to rest by itself, the generator's rotor with it.
#[test]
fn sw_engine_lets_a_flywheel_come_to_rest_that_a_fault_has_turned() {
    let turned = |tied_s: f64, then_rpm: f64, geared: bool| {
        let mut s = Story::new("shuttle");
        if geared {
            let (a, b) = (CRANK, s.driveline.output.shaft);
            let (name, ratio) = ("by-pass".into(), ratio(2, 1));
            s.driveline.gear_pairs.push(GearPair { name, a, b, ratio, mesh_efficiency: 1.0 });
        }
        s.close(1, 0.0).close(2, 0.0).speed(CRANK, -500.0);
        s.now.locks[2].forced = true;
        s.now.locks[2].order = LockOrder::Open;
        s.wait(tied_s).open(1);
        s.wait(0.6 - tied_s).speed(CRANK, then_rpm).wait(0.1);
        s.rules().contains(&"SW-ENGINE")
    };
    assert!(!turned(0.2, -400.0, false), "it comes to rest");
    assert!(turned(0.2, -400.0, true), "gears tie it to the wheels");
    assert!(turned(0.2, -501.0, false), "something turns it on");
    assert!(turned(0.59, -400.0, false), "the wheels held it until after the time for a reaction");
}

/// A lock that is ordered closed and that a fault lets go stalls an engine before anything can be done;
/// one that is let go by order does not excuse it, nor does a fault that is long past.
#[test]
fn sw_engine_gives_time_to_react_to_a_lock_that_opens_by_itself() {
    let stalls = |fault, order, after_s| stalls((fault, 0, false), order, after_s);
    assert!(!stalls(true, LockOrder::Close, 0.1));
    assert!(stalls(true, LockOrder::Close, 0.6));
    assert!(stalls(true, LockOrder::Open, 0.1));
    assert!(stalls(false, LockOrder::Close, 0.1));
}

/// The same for a machine's torque that is wrong (generator 1; the engine's own is no one's to judge), from
/// when it acts, whatever has acted for long already.
#[test]
fn sw_engine_gives_time_to_react_to_a_wrong_torque() {
    assert!(!stalls((false, 0b10, false), LockOrder::Open, 0.1));
    assert!(stalls((false, 0b10, false), LockOrder::Open, 0.6));
    for (acts, slides, blamed) in [(true, false, false), (false, true, false), (false, false, true)]
    {
        let mut s = Story::new("shuttle");
        s.speed(CRANK, 950.0);
        (s.now.engine_running, s.now.engine_run_order) = (true, true);
        (s.now.faults.machines, s.now.faults.machine_acts) = (0b10, slides);
        s.wait(0.7);
        s.now.faults.machine_acts = acts || slides;
        s.now.wheel_slip_radps = if slides { -9.0 } else { 0.0 };
        s.wait(0.1);
        s.now.engine_running = false;
        s.speed(CRANK, 300.0).wait(0.1);
        assert_eq!(s.rules().contains(&"SW-ENGINE"), blamed, "{acts} {slides}");
    }
}

/// The engine's own torque that is wrong (machine 2) stalls it, and what that leaves for as long.
#[test]
fn sw_engine_is_not_about_an_engine_that_stalls_by_itself() {
    for (lasts_s, after_s, blamed) in [(2.0, 0.0, false), (0.2, 0.1, false), (0.2, 0.6, true)] {
        let mut s = Story::new("shuttle");
        s.speed(CRANK, 950.0);
        (s.now.engine_running, s.now.engine_run_order) = (true, true);
        s.now.faults.machines = 0b100;
        s.wait(lasts_s);
        s.now.faults.machines = if after_s > 0.0 { 0 } else { 0b100 };
        s.wait(after_s);
        s.now.engine_running = false;
        s.speed(CRANK, 300.0).wait(0.1);
        assert_eq!(s.rules().contains(&"SW-ENGINE"), blamed, "{lasts_s} {after_s}");
    }
}

/// And for wheels that lose their grip: brakes stop them, and the engine with them.
#[test]
fn sw_engine_gives_time_to_react_to_wheels_without_grip() {
    assert!(!stalls((false, 0, true), LockOrder::Open, 0.1));
    assert!(stalls((false, 0, true), LockOrder::Open, 0.6));
}

/// Whether an engine that ran is found stalled so long after the ring clutch opened, with these faults.
fn stalls((actuator, machines, slides): (bool, u8, bool), order: LockOrder, after_s: f64) -> bool {
    let mut s = Story::new("shuttle");
    s.speed(CRANK, 950.0).close(1, 0.0);
    (s.now.engine_running, s.now.engine_run_order) = (true, true);
    s.wait(0.2).open(1);
    s.now.faults.actuators = if actuator { 0b10 } else { 0 };
    s.now.faults.machines = machines;
    // Less than 40 rpm is no slide.
    s.now.wheel_slip_radps = if slides { 4.3 } else { 4.1 };
    s.now.faults.machine_acts = machines != 0;
    s.now.locks[1].order = order;
    s.wait(after_s);
    s.now.engine_running = false;
    s.speed(CRANK, 300.0).wait(0.1);
    s.rules().contains(&"SW-ENGINE")
}

#[test]
fn sw_stated_fires_when_the_stated_arrangement_is_not_true() {
    let stated = |fault: bool, seconds: f64| {
        let mut s = Story::new("shuttle");
        s.now.faults.any = fault;
        s.close(0, 0.0).wait(0.1);
        s.now.faults.any = false;
        s.now.stated_reached = Some(2); // series: ring-brake and engine-clutch
        s.now.engine_running = true;
        s.speed(CRANK, 950.0);
        s.wait(seconds);
        s.rules()
    };
    // After a fault there is time to find it out, without one there is nothing to find out.
    assert_eq!(stated(true, 0.4), Vec::<&str>::new());
    assert_eq!(stated(true, 0.6), ["SW-STATED"]);
    assert_eq!(stated(false, 0.002), ["SW-STATED"]);
}

/// A lock that its switch says to be closed while it is not: nothing tells it until its sides turn apart.
#[test]
fn what_nothing_can_tell_is_not_wrong_until_it_shows() {
    let story = |lies: bool, slip_rpm: f64, seconds: f64| {
        let mut s = Story::new("shuttle");
        (s.now.faults.any, s.now.faults.switches) = (true, if lies { 0b010 } else { 0b100 });
        s.wait(0.1);
        s.now.locks[1].order = LockOrder::Close;
        s.wait(0.2); // 190 ms to be filled and to press
        s.now.stated_reached = Some(1); // dual-electric: ring-clutch, and nothing is closed
        s.now.locks[1].slip_radps = slip_rpm * RPM;
        s.wait(seconds);
        s.rules()
    };
    let limit_rpm = demo("shuttle").locks[1].engage_slip_max_rpm.expect("stated");
    assert_eq!(story(true, limit_rpm - 1.0, 5.0), Vec::<&str>::new());
    let told = story(true, limit_rpm + 1.0, 5.0);
    assert!(told.contains(&"SW-STATED") && told.contains(&"SW-REACTION"), "{told:?}");
    assert_eq!(story(true, limit_rpm + 1.0, 0.4), Vec::<&str>::new(), "time to react");
    let told = story(false, 0.0, 5.0);
    assert!(told.contains(&"SW-STATED") && told.contains(&"SW-REACTION"), "{told:?}");
}

#[test]
fn sw_request_fires_when_no_answer_comes_within_the_bound() {
    let d = demo("shuttle");
    let bound = checkers::answer_bound_s(&d);
    assert!(bound > 5.0 && bound < 60.0, "{bound}");
    let asked = |answer_s: f64, refused: bool| {
        let mut s = Story::new("shuttle");
        s.close(0, 0.0).wait(0.1);
        s.now.request = Some(1);
        s.wait(answer_s);
        if refused {
            s.now.stated_refusal = true;
        } else {
            s.open(0).close(1, 0.0);
            s.now.stated_reached = Some(1);
        }
        s.wait(0.1);
        s.rules()
    };
    assert_eq!(asked(bound - 0.5, false), Vec::<&str>::new());
    assert_eq!(asked(bound - 0.5, true), Vec::<&str>::new());
    assert_eq!(asked(bound + 0.5, true), ["SW-REQUEST"]);
}

#[test]
fn a_reset_starts_the_wait_for_an_answer_anew() {
    let d = demo("shuttle");
    let bound = checkers::answer_bound_s(&d);
    let mut s = Story::new("shuttle");
    s.now.request = Some(1);
    s.wait(bound - 1.0);
    s.now.reset = true;
    s.wait(bound - 1.0);
    assert_eq!(s.judged(), []);
}

#[test]
fn margins_tell_the_worst_value_and_when() {
    let d = demo("shuttle");
    let mut judge = checkers::SlipChecker::new(&d.into());
    let mut s = Story::new("shuttle");
    s.close(0, 20.0).wait(0.1).open(0).wait(0.1).close(0, -45.0).wait(0.1).open(0).wait(0.1);
    s.close(0, 3.0).wait(0.1);
    s.all.iter().for_each(|t| judge.observe(t));
    let margins = judge.margins();
    assert_eq!(margins.len(), 1);
    assert!((margins[0].worst - 45.0).abs() < 1e-9 && margins[0].limit == 60.0);
    assert!((margins[0].t_s - 0.201).abs() < 1e-6, "{:?}", margins[0]);
}

#[test]
fn many_findings_are_bounded_and_the_rest_is_counted() {
    let mut s = Story::new("shuttle");
    for _ in 0..50 {
        s.close(0, 100.0).wait(0.01).open(0).wait(0.01);
    }
    let mut found = s.judged();
    found.retain(|f| f.rule == "SW-SLIP");
    assert_eq!(found.len(), 20);
    assert!(found[19].text.contains("30 more"), "{}", found[19].text);
}
