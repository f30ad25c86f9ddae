//! The ready scenarios are driven: each shows what its one sentence says, and no judge finds fault.

use host_sim::drive::scenario::{self, READY};
use host_sim::drive::simulate::simulate;
use host_sim::drive::summary::Summary;
use host_sim::{driveline, kinematics, table};

fn driven(name: &str) -> Summary {
    let ready = scenario::by_name(name).expect("ready");
    let text = driveline::demo(ready.driveline).expect("embedded");
    let driveline = driveline::parse(ready.driveline, text).expect("good").driveline;
    let kinematics = kinematics::analyse(&driveline).expect("good");
    let table = table::build(&driveline, &kinematics).expect("a table");
    let scenario = scenario::parse(name, ready.text, &driveline).expect("good");
    simulate(&driveline, &kinematics, table.table(), &scenario.setup, 1, None)
        .expect("runs")
        .summary
}

/// Arrangements that were reached, in order.
fn reached(summary: &Summary) -> Vec<&str> {
    summary.transitions.iter().map(|t| t.to.as_str()).collect()
}

#[test]
fn no_judge_finds_fault_with_a_ready_scenario() {
    for ready in READY {
        let summary = driven(ready.name);
        assert!(summary.findings.is_empty(), "{}: {:?}", ready.name, summary.findings);
        assert!(!summary.transitions.is_empty(), "{}: something happens", ready.name);
    }
}

#[test]
fn the_shuttle_tour_visits_every_arrangement() {
    let summary = driven("shuttle-tour");
    for name in ["single-electric", "dual-electric", "series", "power-split"] {
        assert!(reached(&summary).contains(&name), "{name} in {:?}", reached(&summary));
    }
    assert!(summary.refusals.is_empty(), "{:?}", summary.refusals);
    assert_eq!(summary.ends_in, "single-electric");
}

#[test]
fn a_stuck_ring_brake_is_refused_and_stated() {
    let summary = driven("shuttle-stuck-ring-brake");
    let refused = &summary.refusals.first().expect("a refusal");
    assert_eq!(refused.asked, "single-electric");
    assert!((14.0..20.0).contains(&refused.t_s), "{refused:?}");
    assert!(refused.reason.contains("ring-brake"), "names the lock: {refused:?}");
    let stated = summary.faults.iter().any(|(_, f)| f.contains("ring-brake"));
    assert!(stated, "{:?}", summary.faults);
}

#[test]
fn a_reset_in_mid_transition_ends_where_it_was_asked_to() {
    let summary = driven("shuttle-reset");
    assert_eq!(summary.ends_in, "power-split", "{:?}", summary.transitions);
    let steps: Vec<&String> = summary.transitions.iter().flat_map(|t| &t.steps).collect();
    assert!(steps.len() > 3, "the resets fall between lock actions: {steps:?}");
}

#[test]
fn the_axle_shifts_and_comes_back_from_its_disconnect() {
    let summary = driven("axle-shift");
    assert_eq!(reached(&summary), ["high", "low", "high", "disconnected", "low"]);
}

#[test]
fn the_railcar_climbs_with_the_diesel_in_two_splits() {
    let summary = driven("railcar-climb");
    assert_eq!(reached(&summary), ["input-split", "compound-split"]);
}
