//! The judges against planted defects in the closed loop: the table of the supervisor is broken, or
//! the driveline that is judged is another one than the table was made for. The same drive
//! without the defect has no finding.

use host_sim::checkers::{Finding, Judges, TickTruth};
use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::{Injected, TimedFault};
use host_sim::driveline::LockKind;
use host_sim::plant::ActuatorFault;
use host_sim::table::TableData;
use slipwarden_tests::demo::Demo;
use supervisor::hash::table_hash;
use supervisor::table::StepDuty;

fn setup(kmh: f64, seconds: f64, requests: &[(f64, usize)]) -> Setup {
    Setup {
        duration_s: seconds,
        start_speed_kmh: kmh,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, kmh)]),
        grade: Vec::new(),
        requests: requests.to_vec(),
        faults: Vec::new(),
    }
}

fn fault(from_s: f64, to_s: f64, fault: Injected) -> Vec<TimedFault> {
    vec![TimedFault { from_s, to_s, fault }]
}

/// The rules that a drive breaks.
fn broken(demo: &Demo, setup: &Setup) -> Vec<&'static str> {
    let outcome = demo.try_run(setup, 1).expect("the run starts");
    let mut rules: Vec<_> = outcome.summary.findings.iter().map(|f| f.rule).collect();
    rules.sort_unstable();
    rules.dedup();
    rules
}

/// The demo with a broken table.
fn planted(name: &str, change: impl Fn(&mut TableData)) -> Demo {
    let mut demo = Demo::new(name);
    change(&mut demo.table);
    demo.table.hash = table_hash(&demo.table.table());
    demo
}

/// What the judges find when `tell` bends what they are told; without the lie they find nothing.
fn judged_with(demo: &Demo, setup: &Setup, tell: impl Fn(&mut TickTruth, bool)) -> Vec<Finding> {
    let judged = |lie: bool| {
        let mut judges = Judges::new(&demo.driveline, &demo.kinematics);
        let mut run = Run::new(&demo.driveline, demo.table.table(), setup, 1).expect("it starts");
        while let Some(mut record) = run.tick() {
            tell(&mut record.truth, lie);
            judges.observe(&record.truth);
        }
        judges.finish()
    };
    assert_eq!(judged(false), []);
    judged(true)
}

#[test]
fn a_table_that_was_made_for_tougher_plates_is_found() {
    let s = setup(60.0, 16.0, &[(0.0, 0), (1.0, 1), (4.0, 0), (7.0, 1), (10.0, 0), (13.0, 1)]);
    let mut demo = Demo::new("shuttle");
    assert_eq!(broken(&demo, &s), [""; 0]);
    for lock in &mut demo.driveline.locks {
        if let LockKind::Friction(f) = &mut lock.kind {
            f.max_rise_k = 0.01;
        }
    }
    assert_eq!(broken(&demo, &s), ["SW-HEAT"]);
}

#[test]
fn steps_that_claim_a_push_and_unload_the_machines_are_found() {
    let mut s = setup(60.0, 8.0, &[(0.0, 0), (2.0, 1)]);
    s.grade = vec![(0.0, 0.02)];
    assert_eq!(broken(&Demo::new("shuttle"), &s), [""; 0]);
    let demo = planted("shuttle", |table| {
        for step in table.steps.iter_mut().filter(|step| step.keeps_push) {
            for duty in &mut step.duties {
                if !matches!(duty, StepDuty::Sync) {
                    *duty = StepDuty::Unload;
                }
            }
        }
    });
    let rules = broken(&demo, &s);
    assert!(rules.contains(&"SW-GAP"), "{rules:?}");
}

#[test]
fn a_vehicle_that_pulls_away_as_nobody_asked_is_found() {
    // The drive is sound; the judges are told that nobody asked for it.
    let demo = Demo::new("shuttle");
    let mut s = setup(0.0, 6.0, &[(0.0, 0)]);
    s.wish = Wish::Speed(vec![(0.0, 0.0), (2.0, 0.0), (6.0, 10.0)]);
    let found = judged_with(&demo, &s, |truth, lie| {
        if lie {
            truth.demand_nm = 0.0;
        }
    });
    assert!(found.iter().all(|f| f.rule == "SW-MOTION") && found.len() == 1, "{found:?}");
}

#[test]
fn braking_by_the_driveline_that_nobody_asked_for_is_found() {
    // The machines brake as the driver asks; then the judges are told that nobody asked. The
    // limit is put below what these machines can do.
    let mut demo = Demo::new("shuttle");
    let vehicle = demo.driveline.vehicle.as_mut().expect("the demo has one");
    vehicle.driveline_decel_max_mps2 = 0.5;
    let mut s = setup(60.0, 8.0, &[(0.0, 1)]);
    s.start_arrangement = Some(1);
    s.wish = Wish::Speed(vec![(0.0, 60.0), (2.0, 60.0), (8.0, 20.0)]);
    let found = judged_with(&demo, &s, |truth, lie| {
        if lie {
            truth.demand_nm = truth.demand_nm.max(0.0);
        }
    });
    assert!(found.iter().all(|f| f.rule == "SW-DECEL") && !found.is_empty(), "{found:?}");
}

#[test]
fn a_supervisor_that_tries_for_ever_is_found() {
    let mut s = setup(30.0, 14.0, &[(0.0, 0), (1.0, 1)]);
    let stuck = Injected::Actuator(1, ActuatorFault::StuckOpen);
    s.faults = fault(0.0, f64::INFINITY, stuck);
    assert_eq!(broken(&Demo::new("shuttle"), &s), [""; 0]);
    let demo = planted("shuttle", |table| table.timing.retries = 100);
    assert_eq!(broken(&demo, &s), ["SW-CHATTER"]);
}

#[test]
fn a_supervisor_that_never_sees_a_lock_come_apart_is_found() {
    let mut s = setup(30.0, 6.0, &[(0.0, 0)]);
    s.faults = fault(2.0, 5.0, Injected::Actuator(0, ActuatorFault::OpensByItself));
    assert_eq!(broken(&Demo::new("shuttle"), &s), [""; 0]);
    let demo = planted("shuttle", |table| {
        // Neither its speeds nor its switch would show it.
        table.locks[0].moving_min = 1e9;
        table.locks[0].has_switch = false;
    });
    let rules = broken(&demo, &s);
    assert!(rules.contains(&"SW-REACTION"), "{rules:?}");
}

#[test]
fn a_supervisor_that_stays_helpless_after_a_reset_is_found() {
    let mut s = setup(30.0, 40.0, &[(0.0, 0)]);
    s.faults = fault(2.0, 2.1, Injected::SupervisorColdReset);
    assert_eq!(broken(&Demo::new("shuttle"), &s), [""; 0]);
    let demo = planted("shuttle", |table| {
        table.locks[1].release_ticks = u16::MAX;
        table.locks[1].release_timeout = u16::MAX;
    });
    let rules = broken(&demo, &s);
    assert!(rules.contains(&"SW-RECOVERY"), "{rules:?}");
}
