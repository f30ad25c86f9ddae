//! The charge is brought back over a trace: what is left, against steady points that hold the
//! battery, against the bound, and where it cannot be.

use std::sync::Arc;

use host_sim::drive::closed_loop::Prepared;
use host_sim::energy::cycle::backward::{Step, steps};
use host_sim::energy::cycle::built_in::built_in;
use host_sim::energy::cycle::choice::{alone, optimum};
use host_sim::energy::cycle::forward::{LAP_TOLERANCE, laps};
use host_sim::energy::cycle::sustain::{Cannot, Held, TOLERANCE, sustained};
use host_sim::energy::cycle::trace::{Moment, Trace};
use host_sim::energy::map::price_on_board;
use host_sim::energy::model::Model;
use host_sim::energy::schedule;
use host_sim::energy::search::{Charge, best};
use slipwarden_tests::demo::Demo;

fn quiet(_: usize, _: usize) {}

fn model(demo: &Demo) -> Model {
    Model::new(&demo.driveline, &demo.kinematics, None).expect("a model")
}

fn part(name: &str, from_s: f64, seconds: usize) -> Trace {
    let trace = built_in(name).expect("built in");
    let moments = (0..=seconds).map(|s| trace.at(from_s + s as f64)).collect();
    Trace { name: trace.name, moments }
}

fn level(kmh: f64, slope: f64, t_s: f64) -> Trace {
    let moments = [0.0, t_s].map(|t_s| Moment { t_s, kmh, slope }).to_vec();
    Trace { name: "level".into(), moments }
}

fn find(
    demo: &Demo,
    m: &Model,
    trace: &Trace,
    path: &dyn Fn(&[Step], f64) -> Vec<usize>,
) -> Result<Held, Cannot> {
    let n = demo.driveline.arrangements.len();
    let mut at = |price: f64| steps(m, n, trace, price, 2, &quiet);
    sustained(m, price_on_board(m), &mut at, path)
}

#[test]
fn the_battery_ends_as_it_began_and_the_bound_is_near() {
    for (name, trace) in [
        ("shuttle", part("nedc", 920.0, 220)),
        ("shuttle", part("mountain", 0.0, 150)),
        ("railcar", part("track", 0.0, 300)),
    ] {
        let demo = Demo::new(name);
        let m = model(&demo);
        let any = |steps: &[Step], price: f64| optimum(&m, steps, price, &|_, _| true);
        let held = find(&demo, &m, &trace, &any).expect("an engine brings it back");
        let fuel = held.sum.fuel_j;
        let gap = 1.0 - held.bound_j / fuel;
        println!("{name} {}: {:.2e} left, gap {gap:.2e}", trace.name, held.left_j / fuel);
        assert!(held.within && held.left_j.abs() <= TOLERANCE * fuel, "{name} {}", held.left_j);
        assert!((-2e-3..0.02).contains(&gap), "{name}: {gap}");
        assert!(held.swing_j >= held.left_j.abs(), "{name}");
        // What another choice takes that brings the charge back too: not less than the bound.
        let others = if trace.name == "nedc" { demo.driveline.arrangements.len() } else { 0 };
        for a in 0..others {
            let one = |steps: &[Step], _: f64| alone(steps, a).0;
            if let Ok(other) = find(&demo, &m, &trace, &one)
                && other.within
                && other.sum.missed_j == 0.0
            {
                let less = other.sum.fuel_j + other.left_j.abs() * 8.0;
                assert!(less >= held.bound_j * (1.0 - 2e-3), "{name} {a} {}", other.sum.fuel_j);
            }
        }
    }
}

/// At steady speed the point that holds the battery is one way to bring the charge back: the best
/// possible takes no more, and the bound lies below it.
#[test]
fn at_steady_speed_it_is_no_worse_than_holding_the_battery() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    for (kmh, percent) in [(80.0, 0.0), (50.0, 4.0)] {
        let demand = m.road.demand(kmh / 3.6, m.road.force_n(kmh / 3.6, percent / 100.0, 0.0));
        let points = m.variants.iter().map(|v| best(&m, v, demand, Charge::Held));
        let steady =
            points.filter(|p| p.limit.is_none()).map(|p| p.fuel_w).fold(f64::MAX, f64::min);
        let any = |steps: &[Step], price: f64| optimum(&m, steps, price, &|_, _| true);
        let held = find(&demo, &m, &level(kmh, percent, 100.0), &any).expect("it can");
        assert!(held.within, "{held:?}");
        assert!(held.sum.fuel_j <= 100.0 * steady * 1.003, "{} {steady}", held.sum.fuel_j);
        // As near as the search for the best point comes.
        assert!(held.bound_j <= 100.0 * steady * 1.002, "{} {steady}", held.bound_j);
    }
}

#[test]
fn where_it_cannot_be_the_reason_is_told() {
    let demo = Demo::new("axle");
    let m = model(&demo);
    let any = |steps: &[Step], price: f64| optimum(&m, steps, price, &|_, _| true);
    let told = find(&demo, &m, &part("track", 0.0, 60), &any);
    assert_eq!(told, Err(Cannot::NoEngine));
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    let any = |steps: &[Step], price: f64| optimum(&m, steps, price, &|_, _| true);
    let told = find(&demo, &m, &level(40.0, -8.0, 30.0), &any);
    assert!(matches!(told, Err(Cannot::Fills(j)) if j > 1e5), "{told:?}");
    // One that never joins the engine, on a road that takes power.
    let single = demo.driveline.arrangements.iter().position(|a| a.name == "single-electric");
    let one = |steps: &[Step], _: f64| alone(steps, single.expect("an arrangement")).0;
    let told = find(&demo, &m, &level(60.0, 2.0, 30.0), &one);
    assert!(matches!(told, Err(Cannot::Empties(j)) if j > 1e5), "{told:?}");
}

/// In closed loop a charge is found from which the trace ends as it began: at a steady speed at which
/// the engine gives more than is needed when the battery is low, and less when it is full.
#[test]
fn laps_bring_the_charge_back() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    // Dear energy: the schedule asks for the engine often.
    let data = schedule::build(&demo.driveline, &m, 4.0, 2, &quiet);
    let prepared = Arc::new(Prepared::new(&demo.driveline, demo.table.table()).expect("prepared"));
    let trace = level(60.0, 0.0, 120.0);
    let out = laps(&demo.driveline, &m, &prepared, data.schedule(), &trace, 1, &quiet);
    let out = out.expect("it runs");
    let window = demo.driveline.battery.as_ref().expect("a battery").charge_window;
    let left = (out.charge[1] - out.charge[0]).abs() / (window[1] - window[0]);
    println!("{} laps, {left:.5} left", out.laps);
    assert!(left <= LAP_TOLERANCE, "{} laps {:?}", out.laps, out.charge);
    assert!(out.fuel_j > 0.0 && out.laps >= 1);
}
