//! The full energy map of each demo: how long it takes, and what the search saves.
//!
//! `cargo bench -p slipwarden-tests --bench energy_map`. Times are printed and not checked: machines
//! differ. Checked is a ratio: a plain grid of about 10 rpm and 0.5 Nm, which is nowhere better than the
//! search by more than a thousandth, takes many times as long.

use std::hint::black_box;
use std::time::Instant;

use host_sim::driveline::{DEMOS, demo, parse};
use host_sim::energy::map::{Mode, axes, maps, price_on_board};
use host_sim::energy::model::{Model, Variant};
use host_sim::energy::search::{Charge, best};
use host_sim::kinematics::analyse;

/// The grid takes at least so many times as long.
const RATIO: f64 = 10.0;
/// Of the grid, each way.
const STEPS: i32 = 340;
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
    let drag = m.engine.as_ref().map_or(0.0, |e| e.drag_nm);
    let mut least = f64::INFINITY;
    for i in 0..=steps {
        let rpm = 950.0 + 3250.0 * f64::from(i) / f64::from(steps);
        let sun = 3.2 * demand.output_radps - 2.2 * rpm * std::f64::consts::PI / 30.0;
        for k in 0..=steps {
            let nm = (170.0 + drag) * f64::from(k) / f64::from(steps) - drag;
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
    for d in &DEMANDS {
        let (searched, tried) = (own(d), grid(m, v, d.0, d.1, STEPS));
        assert!(searched <= tried + 1e-3 * tried.abs(), "{d:?}: {searched} {tried}");
    }
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
            black_box(grid(m, v, d.0, d.1, STEPS));
        })
    });
    let ratio = grid_s / search_s;
    println!("a grid of {STEPS} x {STEPS} takes {ratio:.1} times as long as the search");
    assert!(ratio > RATIO, "{ratio}");
}
