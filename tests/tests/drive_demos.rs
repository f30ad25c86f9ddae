//! Clean drives through all arrangements of each demo: no judge finds anything.

use host_sim::drive::closed_loop::Setup;
use host_sim::drive::driver::Wish;
use host_sim::drive::simulate::{Outcome, simulate};
use host_sim::drive::summary_text::{Heading, text};
use host_sim::driveline::{self, Driveline};
use host_sim::{kinematics, table};

fn demo(name: &str) -> Driveline {
    driveline::parse(name, driveline::demo(name).expect("an embedded demo"))
        .expect("demos are valid")
        .driveline
}

fn drive(d: &Driveline, setup: &Setup, seed: u64) -> Outcome {
    let k = kinematics::analyse(d).expect("demos can move");
    let t = table::build(d, &k).expect("demos have a table");
    simulate(d, &k, t.table(), setup, seed, None).expect("the run starts")
}

/// Every ordered pair of arrangements once, asked every `each_s` seconds at a steady speed.
fn all_pairs(d: &Driveline, kmh: f64, each_s: f64) -> Setup {
    let n = d.arrangements.len();
    let mut order = vec![0];
    let mut left: Vec<(usize, usize)> =
        (0..n).flat_map(|a| (0..n).filter(move |&b| b != a).map(move |b| (a, b))).collect();
    while !left.is_empty() {
        let now = *order.last().expect("never empty");
        let k = left.iter().position(|p| p.0 == now).unwrap_or(0);
        let (from, to) = left.remove(k);
        if from != now {
            order.push(from);
        }
        order.push(to);
    }
    let requests: Vec<(f64, usize)> =
        order.iter().enumerate().map(|(i, &a)| (1.0 + i as f64 * each_s, a)).collect();
    Setup {
        duration_s: 1.0 + requests.len() as f64 * each_s,
        start_speed_kmh: kmh,
        start_arrangement: Some(0),
        start_charge: 0.6,
        wish: Wish::Speed(vec![(0.0, kmh)]),
        grade: Vec::new(),
        requests,
        faults: Vec::new(),
    }
}

fn told(name: &str, setup: &Setup, outcome: &Outcome) -> String {
    let heading = Heading {
        driveline: name.into(),
        scenario: format!("{} requests", setup.requests.len()),
        seed: 1,
    };
    text(&heading, &outcome.summary)
}

fn clean(name: &str, kmh: f64) {
    let d = demo(name);
    let setup = all_pairs(&d, kmh, 6.0);
    let outcome = drive(&d, &setup, 1);
    let told = told(name, &setup, &outcome);
    println!("{told}");
    assert!(outcome.summary.findings.is_empty(), "{told}");
    assert!(!outcome.summary.transitions.is_empty(), "{told}");
}

#[test]
fn shuttle_through_all_pairs_at_30_kmh() {
    clean("shuttle", 30.0);
}

#[test]
fn railcar_through_all_pairs_at_25_kmh() {
    clean("railcar", 25.0);
}

#[test]
fn axle_through_all_pairs_at_20_kmh() {
    clean("axle", 20.0);
}
