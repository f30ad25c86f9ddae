//! Clean drives through every ordered pair of arrangements of each demo, over the whole
//! range of road speed: no judge finds anything, no fault is stated that is not there, and
//! every request is either reached or refused with a reason.

use host_sim::drive::closed_loop::Setup;
use host_sim::drive::driver::Wish;
use host_sim::drive::summary_text::{Heading, text};
use slipwarden_tests::demo::Demo;

const SEEDS: [u64; 2] = [1, 2];
/// Requests at this share of the window's ends are not judged on being reached.
const WINDOW_MARGIN: f32 = 0.03;

/// Whether the road speed is well inside the window in which `arrangement` may stand.
fn is_inside(demo: &Demo, arrangement: usize, kmh: f64) -> bool {
    let per_kmh = demo.driveline.output_radps_per_kmh().expect("demos have an output");
    let speed = (kmh * per_kmh) as f32;
    let window = demo.table.table().arrangements[arrangement].window;
    let margin = WINDOW_MARGIN * window.max.abs().min(1e4);
    window.min + margin <= speed && speed <= window.max - margin
}

fn pair(kmh: f64, from: usize, to: usize) -> Setup {
    Setup {
        duration_s: 9.0,
        start_speed_kmh: kmh,
        start_arrangement: Some(from),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, kmh)]),
        grade: Vec::new(),
        requests: vec![(0.5, from), (1.5, to)],
        faults: Vec::new(),
    }
}

/// Drive all pairs; gives how many were reached and how many refused.
fn all_pairs(name: &str) -> (usize, usize) {
    let demo = Demo::new(name);
    let d = &demo.driveline;
    let top = d.vehicle.as_ref().expect("demos have a vehicle").max_speed_kmh;
    let n = d.arrangements.len();
    let (mut reached, mut refused) = (0, 0);
    for share in [0.0, 0.1, 0.25, 0.45, 0.6, 0.8, 0.92] {
        let kmh = (top * share).round();
        for (from, to) in (0..n).flat_map(|a| (0..n).map(move |b| (a, b))) {
            if from == to || !is_inside(&demo, from, kmh) {
                continue;
            }
            for seed in SEEDS {
                let outcome = demo.try_run(&pair(kmh, from, to), seed).expect("the run starts");
                let asked = d.arrangements[to].name.as_str();
                let scenario = format!("{} -> {asked} at {kmh} km/h", d.arrangements[from].name);
                let told =
                    text(&Heading { driveline: name.into(), scenario, seed }, &outcome.summary);
                let s = &outcome.summary;
                assert!(s.findings.is_empty(), "{told}");
                assert!(s.faults.is_empty(), "a fault is stated that is not there: {told}");
                if s.ends_in == asked {
                    reached += 1;
                } else {
                    assert!(!s.refusals.is_empty(), "no reason is stated: {told}");
                    assert!(!is_inside(&demo, to, kmh), "refused inside its window: {told}");
                    refused += 1;
                }
            }
        }
    }
    (reached, refused)
}

#[test]
fn shuttle_goes_through_every_pair_at_every_speed() {
    let (reached, refused) = all_pairs("shuttle");
    assert!(reached > 120, "only {reached} were reached, {refused} refused");
}

#[test]
fn railcar_goes_through_every_pair_at_every_speed() {
    let (reached, refused) = all_pairs("railcar");
    assert!(reached > 150, "only {reached} were reached, {refused} refused");
    assert!(refused > 0, "direct is below the engine's idle at low speed: it must be refused");
}

#[test]
fn axle_goes_through_every_pair_at_every_speed() {
    let (reached, refused) = all_pairs("axle");
    assert!(reached > 60, "only {reached} were reached, {refused} refused");
    assert!(refused > 0, "low overspeeds the rotor at high speed: it must be refused");
}

#[test]
fn power_split_runs_the_traction_machine_at_less_than_half_its_series_speed() {
    // Common practice, no source: in power-split driving the traction machine turns at less
    // than half its speed in series driving at the same road speed; dual-electric roughly
    // halves it against single-electric.
    let demo = Demo::new("shuttle");
    let d = &demo.driveline;
    let speed_in = |name: &str| {
        let a = d.arrangements.iter().position(|a| a.name == name).expect("an arrangement");
        let setup = pair(60.0, a, a);
        let mut run = host_sim::drive::closed_loop::Run::new(d, demo.table.table(), &setup, 1)
            .expect("the run starts");
        let mut last = None;
        while let Some(record) = run.tick() {
            last = Some(record);
        }
        let last = last.expect("ticks");
        assert_eq!(last.status.arrangement, Some(a as u8), "{name} stands to the end");
        last.truth.speed_radps[0]
    };
    let (series, split) = (speed_in("series"), speed_in("power-split"));
    assert!(split < 0.5 * series, "{split} of {series} rad/s");
    let share = speed_in("dual-electric") / speed_in("single-electric");
    assert!((0.35..0.65).contains(&share), "{share}");
}

#[test]
fn the_way_from_series_to_power_split_is_the_known_one() {
    // Common practice, no source: release the engine from the generator, join the generator
    // to the ring while both stand, release the ring from the case, spin up, join the engine.
    let demo = Demo::new("shuttle");
    let setup = Setup { duration_s: 12.0, requests: vec![(0.5, 2), (6.0, 3)], ..pair(50.0, 2, 3) };
    let outcome = demo.try_run(&setup, 1).expect("the run starts");
    let steps: Vec<&str> = (outcome.summary.transitions.iter())
        .filter(|t| t.start_s >= 6.0)
        .flat_map(|t| t.steps.iter().map(String::as_str))
        .collect();
    assert_eq!(
        steps,
        ["open engine-clutch", "close ring-clutch", "open ring-brake", "close engine-clutch"]
    );
}

#[test]
fn a_start_beyond_a_limit_is_refused_with_the_shaft_that_passes_it() {
    let demo = Demo::new("axle");
    let refused = demo.try_run(&pair(99.0, 0, 1), 1).expect_err("the rotor would overspeed");
    let sentence = refused.to_string();
    assert!(sentence.contains("rotor would turn at") && sentence.contains("12000"), "{sentence}");
    let demo = Demo::new("railcar");
    let refused = demo.try_run(&pair(8.0, 4, 0), 1).expect_err("the engine would not run");
    assert!(refused.to_string().contains("the engine would turn at"), "{refused}");
}
