//! Where the engine's speed sensor is the only one on its shaft while its clutch is open: what no
//! parity sees, the engine's own running range must show.

use host_sim::drive::closed_loop::Setup;
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::{Injected, TimedFault};
use host_sim::drive::simulate::{Outcome, simulate};
use host_sim::driveline::Driveline;
use host_sim::kinematics::analyse;
use host_sim::table::{TableData, build};
use slipwarden_tests::drivelines::{railcar, shuttle};

/// Ask for an arrangement with the engine while its sensor has this fault.
fn driven(d: &Driveline, to: &str, fault: Injected, spoil: impl Fn(&mut TableData)) -> Outcome {
    let k = analyse(d).expect("the output turns");
    let mut data = build(d, &k).expect("a demo makes a table");
    spoil(&mut data);
    let to = d.arrangements.iter().position(|a| a.name == to).expect("an arrangement");
    let setup = Setup {
        duration_s: 12.0,
        start_speed_kmh: 40.0,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, 40.0)]),
        grade: vec![(0.0, 0.0)],
        requests: vec![(0.0, 0), (2.0, to)],
        faults: vec![TimedFault { from_s: 1.0, to_s: f64::INFINITY, fault }],
    };
    simulate(d, &k, data.table(), &setup, 1, None).expect("the run starts")
}

/// The driveline without its second sensors.
fn single(mut d: Driveline) -> Driveline {
    d.sensors.retain(|sensor| !sensor.name.ends_with("-second"));
    d
}

fn crank(d: &Driveline) -> usize {
    d.sensors.iter().position(|s| s.name == "crank").expect("a sensor on the crank")
}

fn rules(outcome: &Outcome) -> Vec<&'static str> {
    outcome.summary.findings.iter().map(|f| f.rule).collect()
}

/// Without the test of the running range, the same faults close the engine's clutch at speed:
/// so it is that test that keeps it open, and the reason is stated.
#[test]
fn a_running_engine_that_reads_backwards_or_still_is_not_joined() {
    for (d, to) in [(single(shuttle()), "series"), (single(railcar()), "input-split")] {
        let sensor = crank(&d);
        // One that reads backwards while it is cranked is stopped before it runs (SW-M1).
        for (fault, reason) in [
            (Injected::SensorScale(sensor, -1.0), "the engine does not run"),
            (Injected::SensorStuck(sensor), "a speed sensor is missing or contradicts"),
        ] {
            let outcome = driven(&d, to, fault, |_| {});
            assert!(rules(&outcome).is_empty(), "{} {fault:?}: {:?}", d.name, rules(&outcome));
            let reasons: Vec<&str> =
                outcome.summary.refusals.iter().map(|r| r.reason.as_str()).collect();
            assert!(
                reasons.iter().any(|r| r.contains(reason)),
                "{} {fault:?}: {reasons:?}",
                d.name
            );
            let unwatched = |data: &mut TableData| {
                data.engine_min = 0.0;
                data.sensors[sensor].allowed.min = -data.sensors[sensor].allowed.max;
            };
            let planted = driven(&d, to, fault, unwatched);
            assert!(rules(&planted).contains(&"SW-SLIP"), "{} {fault:?} unseen", d.name);
            // Where it may turn backwards, the test of the running range alone keeps it open.
            let unwatched = |data: &mut TableData| {
                data.sensors[sensor].allowed.min = -data.sensors[sensor].allowed.max;
            };
            let outcome = driven(&d, to, fault, unwatched);
            assert!(rules(&outcome).is_empty(), "{} {fault:?}: {:?}", d.name, rules(&outcome));
        }
    }
}
