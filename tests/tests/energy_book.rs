//! Where the energy goes, backward and forward: balances close, and the forward book knows maps,
//! spin drag and machines that are off.

use std::sync::Arc;

use host_sim::drive::closed_loop::Prepared;
use host_sim::energy::cycle::backward::steps;
use host_sim::energy::cycle::built_in::built_in;
use host_sim::energy::cycle::choice::{alone, optimum, sum};
use host_sim::energy::cycle::forward::{self, Driven};
use host_sim::energy::cycle::trace::{Moment, Trace};
use host_sim::energy::grid::{Grid, MapKind};
use host_sim::energy::losses::MachineLoss;
use host_sim::energy::map::price_on_board;
use host_sim::energy::model::Model;
use slipwarden_tests::demo::Demo;
use slipwarden_tests::tables::DEMO_SCHEDULES;

fn quiet(_: usize, _: usize) {}

fn model(demo: &Demo) -> Model {
    Model::new(&demo.driveline, &demo.kinematics, None).expect("a model")
}

fn part(name: &str, from_s: f64, seconds: usize) -> Trace {
    let trace = built_in(name).expect("built in");
    let moments = (0..=seconds).map(|s| trace.at(from_s + s as f64)).collect();
    Trace { name: trace.name, moments }
}

fn driven(demo: &Demo, m: &Model, trace: &Trace) -> Driven {
    let prepared = Arc::new(Prepared::new(&demo.driveline, demo.table.table()).expect("prepared"));
    let schedule = DEMO_SCHEDULES.iter().find(|s| s.0 == demo.driveline.name).expect("a demo").1;
    forward::drive(&demo.driveline, m, &prepared, *schedule, trace, 1, &quiet).expect("it runs")
}

#[test]
fn both_balances_close_to_rounding() {
    let cases = [("shuttle", "mountain", 0.0), ("railcar", "track", 150.0), ("axle", "track", 0.0)];
    for (name, route, from_s) in cases {
        let demo = Demo::new(name);
        let mut m = model(&demo);
        m.spin.iter_mut().for_each(|s| *s = [0.4, 0.003]);
        let trace = part(route, from_s, 90);
        let n = demo.driveline.arrangements.len();
        let list = steps(&m, n, &trace, 2.5, 2, &quiet);
        let mut paths: Vec<Vec<usize>> = (0..n).map(|a| alone(&list, a).0).collect();
        paths.push(optimum(&m, &list, 2.5, &|_, _| true));
        for path in paths {
            let terms = sum(&m, &list, &path, 2.5).terms;
            let left = terms.residual_j().abs();
            assert!(left <= 1e-11 * terms.scale_j(), "{name} backward {left} {terms:?}");
            assert!(terms.spin > 0.0 && terms.brake >= -1e-6 && terms.missed <= 0.0, "{terms:?}");
        }
        let terms = driven(&demo, &m, &trace).terms;
        let left = terms.residual_j().abs();
        assert!(left <= 1e-9 * terms.scale_j(), "{name} forward {left} {terms:?}");
        assert!(terms.mesh > 0.0 && terms.spin > 0.0, "{terms:?}");
        // The axle's file states no loss of its machine.
        assert_eq!(terms.machines > 0.0, name != "axle", "{terms:?}");
    }
}

/// The plant counts a constant loss for every machine all the time; a machine that stands without
/// torque is off, so that a vehicle that stands uses its auxiliaries and what they lose alone.
#[test]
fn a_vehicle_that_stands_uses_its_auxiliaries_alone() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    let moment = |t_s| Moment { t_s, kmh: 0.0, slope: 0.0 };
    let trace = Trace { name: "rest".into(), moments: vec![moment(0.0), moment(30.0)] };
    let terms = driven(&demo, &m, &trace).terms;
    let auxiliary = m.road.auxiliary_w * 30.0;
    assert!((terms.auxiliary - auxiliary).abs() < 1e-6 * auxiliary, "{terms:?}");
    assert!(terms.machines < 0.01 * auxiliary, "{terms:?}");
    assert!((terms.battery / auxiliary - 1.0).abs() < 0.02, "{terms:?}");
}

/// A map that is sampled from the polynomial gives the same losses on the way.
#[test]
fn a_forward_run_knows_maps() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    let polynomial = &m.electric[0].loss;
    let mut text = "speed_rpm,torque_nm,loss_w\n".to_string();
    for rpm in (0..=9000).step_by(100) {
        for nm in (0..=310).step_by(2) {
            let w = f64::from(rpm) * std::f64::consts::PI / 30.0;
            let loss = polynomial.loss_w(f64::from(nm).max(1e-9), w);
            text += &format!("{rpm},{nm},{loss}\n");
        }
    }
    let mut mapped = m.clone();
    mapped.electric[0].loss = MachineLoss::Map(Grid::parse("map", &text, MapKind::Loss).unwrap());
    let trace = part("mountain", 10.0, 60);
    let (a, b) = (driven(&demo, &m, &trace).terms, driven(&demo, &mapped, &trace).terms);
    assert!((a.machines / b.machines - 1.0).abs() < 0.003, "{} {}", a.machines, b.machines);
    // Twice the loss is told apart: the map is what counts.
    let doubled: String = text
        .lines()
        .map(|l| match l.rsplit_once(',').map(|(p, x)| (p, x.parse::<f64>())) {
            Some((place, Ok(x))) => format!("{place},{}\n", 2.0 * x),
            _ => format!("{l}\n"),
        })
        .collect();
    mapped.electric[0].loss =
        MachineLoss::Map(Grid::parse("map", &doubled, MapKind::Loss).unwrap());
    let c = driven(&demo, &mapped, &trace).terms;
    let more = c.machines - a.machines;
    assert!(more > 0.3 * a.machines, "{} {}", a.machines, c.machines);
    assert!(c.battery - a.battery >= more, "the battery pays for it: {more} {c:?}");
}

/// Drag in proportion to the output's speed takes `k w^2`: summed here over the road speed of
/// each second alone.
#[test]
fn a_forward_run_knows_spin_drag() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    let mut dragged = m.clone();
    let k = 0.05;
    dragged.spin[m.output] = [0.0, k];
    let trace = part("mountain", 0.0, 90);
    let (free, own) = (driven(&demo, &m, &trace), driven(&demo, &dragged, &trace));
    let square = |kmh: f64| k * (kmh / 3.6 / m.road.metres_per_radian).powi(2);
    let story: Vec<f64> = own.story.iter().map(|s| square(s.0)).collect();
    let joule: f64 = story.windows(2).map(|p| 0.5 * (p[0] + p[1])).sum();
    assert!((own.terms.spin / joule - 1.0).abs() < 0.02, "{} {joule}", own.terms.spin);
    assert_eq!(free.terms.spin, 0.0);
    let paid = own.battery_j - free.battery_j;
    assert!((own.terms.spin..1.1 * own.terms.spin).contains(&paid), "{paid} {}", own.terms.spin);
}

/// Two ways to go over one road: what it takes by itself cannot differ by more than the driver does.
#[test]
fn backward_and_forward_agree_on_what_the_road_takes() {
    let demo = Demo::new("shuttle");
    let m = model(&demo);
    let trace = part("mountain", 0.0, 120);
    let price = price_on_board(&m);
    let list = steps(&m, demo.driveline.arrangements.len(), &trace, price, 2, &quiet);
    let back = sum(&m, &list, &optimum(&m, &list, price, &|_, _| true), price).terms;
    let ahead = driven(&demo, &m, &trace).terms;
    assert!((back.road / ahead.road - 1.0).abs() < 0.03, "{back:?} {ahead:?}");
    assert!((back.grade / ahead.grade - 1.0).abs() < 0.03, "{back:?} {ahead:?}");
}
