//! The full energy map of each demo: how long it takes, and what the search saves.
//!
//! `cargo bench -p slipwarden-tests --bench energy_map`. Times are printed and not checked: machines
//! differ. Checked is a ratio: at the same demands, a plain grid that is fine enough to come within
//! a thousandth of the search's cost takes several times as long as the search.

use std::hint::black_box;
use std::time::Instant;

use host_sim::driveline::{DEMOS, demo, parse};
use host_sim::energy::map::{Mode, axes, maps, price_on_board};
use host_sim::energy::model::{Model, Variant};
use host_sim::energy::search::{Charge, best};
use host_sim::kinematics::analyse;

/// The grid takes at least so many times as long.
const RATIO: f64 = 3.0;
const DEMANDS: [(f64, f64); 6] =
    [(30.0, 900.0), (60.0, 2500.0), (95.0, 1300.0), (70.0, -800.0), (45.0, 400.0), (110.0, 900.0)];
const PRICE: Charge = Charge::Priced(2.5);

fn main() {
    for name in DEMOS {
        let d = parse(name, demo(name).expect("a demo")).expect("valid").driveline;
        let m = Model::new(&d, &analyse(&d).expect("it can move"), None).expect("a model");
        let price = price_on_board(&m);
        let axes = axes(&m, 25, 24);
        let modes = Mode::ALL.map(|mode| (mode, price));
        for threads in [1, 2] {
            let begun = Instant::now();
            let list = maps(&m, d.arrangements.len(), &modes, &axes, threads, &|_, _| {});
            let cells: usize = list.iter().map(|m| m.cells.len()).sum();
            let seconds = begun.elapsed().as_secs_f64();
            println!("{name}: {cells} cells, {threads} threads: {seconds:.2} s");
        }
        if name == "shuttle" {
            let v = m
                .variants
                .iter()
                .find(|v| d.arrangements[v.arrangement].name == "power-split" && v.engine_on);
            against_a_grid(&m, v.expect("power-split"));
        }
    }
}

/// The best of a plain grid of sun speed and engine torque.
fn grid(m: &Model, v: &Variant, kmh: f64, newton: f64, steps: i32) -> f64 {
    let demand = m.road.demand(kmh / 3.6, newton);
    let mut least = f64::INFINITY;
    for i in 0..=steps {
        let rpm = 950.0 + 3250.0 * f64::from(i) / f64::from(steps);
        let sun = 3.2 * demand.output_radps - 2.2 * rpm * std::f64::consts::PI / 30.0;
        for k in 0..=steps {
            let nm = -10.0 + 180.0 * f64::from(k) / f64::from(steps);
            let p = v.at(m, &demand, &[sun], &[nm]);
            if p.excess == 0.0 {
                least = least.min(PRICE.cost_w(&p));
            }
        }
    }
    least
}

fn against_a_grid(m: &Model, v: &Variant) {
    let own = |(kmh, newton): &(f64, f64)| {
        PRICE.cost_w(&best(m, v, m.road.demand(kmh / 3.6, *newton), PRICE))
    };
    let searched: Vec<f64> = DEMANDS.iter().map(own).collect();
    let near = |steps: i32| {
        DEMANDS
            .iter()
            .zip(&searched)
            .all(|(d, own)| grid(m, v, d.0, d.1, steps) <= own + 0.001 * own.abs().max(1000.0))
    };
    let steps = (1..9).map(|k| 10 << k).find(|s| near(*s)).expect("a grid that is fine enough");
    let time = |work: &dyn Fn()| {
        let mut runs: Vec<f64> = (0..5)
            .map(|_| {
                let begun = Instant::now();
                work();
                begun.elapsed().as_secs_f64()
            })
            .collect();
        runs.sort_by(f64::total_cmp);
        runs[runs.len() / 2]
    };
    let search_s = time(&|| {
        DEMANDS.iter().for_each(|d| {
            black_box(own(d));
        })
    });
    let grid_s = time(&|| {
        DEMANDS.iter().for_each(|d| {
            black_box(grid(m, v, d.0, d.1, steps));
        })
    });
    let ratio = grid_s / search_s;
    println!("a grid of {steps} x {steps} takes {ratio:.1} times as long as the search");
    assert!(ratio > RATIO, "{ratio}");
}
