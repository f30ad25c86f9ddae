//! Operating points: the energy balance closes, limits are kept, the best is the best, and another
//! program finds the same.

use host_sim::driveline::{self, Driveline};
use host_sim::energy::Demand;
use host_sim::energy::grid::{Grid, MapKind};
use host_sim::energy::losses::MachineLoss;
use host_sim::energy::model::{Model, Variant};
use host_sim::energy::point::Point;
use host_sim::energy::search::{Charge, best};
use host_sim::kinematics;

fn demo(name: &str) -> Driveline {
    driveline::parse(name, driveline::demo(name).expect("a demo")).expect("valid").driveline
}

fn model(d: &Driveline) -> Model {
    let k = kinematics::analyse(d).expect("it can move");
    Model::new(d, &k, None).expect("a model")
}

/// The shuttle whose open locks drag nothing: that is what the other program had.
fn without_drag() -> Driveline {
    let mut d = demo("shuttle");
    d.locks.iter_mut().for_each(|l| l.drag_nm = 0.0);
    d
}

fn variant<'m>(d: &Driveline, m: &'m Model, name: &str) -> &'m Variant {
    m.variants.iter().find(|v| d.arrangements[v.arrangement].name == name).expect(name)
}

fn cruise(m: &Model, kmh: f64) -> Demand {
    m.road.demand(kmh / 3.6, m.road.force_n(kmh / 3.6, 0.0, 0.0))
}

fn scale(p: &Point) -> f64 {
    p.fuel_w.abs() + p.cell_w.abs() + p.wheel_w.abs() + p.losses.sum().abs()
}

#[test]
fn the_energy_balance_closes_to_rounding() {
    let mut tried = 0;
    for name in driveline::DEMOS {
        let mut d = demo(name);
        for (i, shaft) in d.shafts.iter_mut().enumerate() {
            shaft.spin_drag.constant_nm = 0.1 * i as f64;
            shaft.spin_drag.per_krpm_nm = 0.3;
        }
        let m = model(&d);
        for v in &m.variants {
            for share in [0.1, 0.4, 0.8] {
                for newton in [-6000.0, -500.0, 300.0, 4000.0] {
                    for charge in [Charge::Held, Charge::Priced(2.5)] {
                        let p = best(&m, v, m.road.demand(share * m.road.max_mps, newton), charge);
                        if p.limit == Some(host_sim::energy::point::Limit::Unbalanced) {
                            continue;
                        }
                        let left = p.residual_w();
                        assert!(left.abs() <= 1e-11 * scale(&p), "{name} {left} {p:?}");
                        assert!(p.losses.mesh >= -1e-9 * scale(&p), "{name} {p:?}");
                        tried += 1;
                    }
                }
            }
        }
    }
    assert!(tried > 150, "{tried}");
}

/// Agreement of two programs, no evidence from outside: the loss figures of the demo were chosen
/// so that what the trade says (common practice, no source) holds.
#[test]
fn another_program_finds_the_same_points_for_the_shuttle() {
    let d = without_drag();
    let m = model(&d);
    let electric = [(50.0, 10.19, 10.20), (80.0, 24.22, 23.96), (110.0, 48.78, 48.16)];
    for (kmh, single, dual) in electric {
        for (name, kw) in [("single-electric", single), ("dual-electric", dual)] {
            let p = best(&m, variant(&d, &m, name), cruise(&m, kmh), Charge::Priced(1.0));
            // Their last digit is 0.01 kW.
            assert!((p.machines_w / 1e3 - kw).abs() < 0.0101, "{name} {kmh} {}", p.machines_w);
        }
    }
    let engine = [
        ("series", 50.0, 1030.0, 111.0),
        ("series", 80.0, 1655.0, 156.0),
        ("series", 110.0, 3065.0, 167.0),
        ("power-split", 50.0, 975.0, 106.0),
        ("power-split", 80.0, 1555.0, 151.0),
        ("power-split", 110.0, 2785.0, 166.0),
    ];
    for (name, kmh, rpm, nm) in engine {
        let p = best(&m, variant(&d, &m, name), cruise(&m, kmh), Charge::Held);
        let own = p.speed[4] * 30.0 / std::f64::consts::PI;
        // Theirs stand on a grid of 5 rpm; the optimum is flat in speed.
        assert!((own - rpm).abs() < 6.0, "{name} {kmh}: {own} rpm");
        assert!((p.torque[2] - nm).abs() < 1.1, "{name} {kmh}: {} Nm", p.torque[2]);
    }
}

/// What the trade says: power-split takes 10 to 15 % less fuel than series at steady cruise with
/// the battery held (common practice, no source). The other program's 10.2, 10.3 and 12.2 % are
/// what series takes *more*; what power-split takes *less* is one point smaller.
#[test]
fn power_split_against_series_as_another_program_says() {
    let fuel = |d: &Driveline, name: &str, kmh: f64| {
        let m = model(d);
        best(&m, variant(d, &m, name), cruise(&m, kmh), Charge::Held).fuel_w
    };
    let figures = [(50.0, 10.2, 9.2, 8.6), (80.0, 10.3, 9.3, 8.8), (110.0, 12.2, 10.9, 10.5)];
    for (kmh, more, less, less_with_drag) in figures {
        let d = without_drag();
        let (series, split) = (fuel(&d, "series", kmh), fuel(&d, "power-split", kmh));
        assert!((100.0 * (series / split - 1.0) - more).abs() < 0.1, "{kmh} {series} {split}");
        assert!((100.0 * (1.0 - split / series) - less).abs() < 0.1, "{kmh} {series} {split}");
        let d = demo("shuttle");
        let (series, split) = (fuel(&d, "series", kmh), fuel(&d, "power-split", kmh));
        let own = 100.0 * (1.0 - split / series);
        assert!((own - less_with_drag).abs() < 0.1, "{kmh} with drag {own}");
    }
}

/// Every engine speed and torque on a fine grid: nothing within the limits is better.
#[test]
fn no_point_of_a_fine_grid_is_better() {
    let d = demo("shuttle");
    let m = model(&d);
    let split = variant(&d, &m, "power-split");
    let fine = |demand: Demand, charge: Charge| {
        let mut least = f64::INFINITY;
        for rpm in (950..=4200).step_by(10) {
            for dnm in -20..=340 {
                let rads = f64::from(rpm) * std::f64::consts::PI / 30.0;
                let nm = 0.5 * f64::from(dnm);
                // The free speed is that of the sun; crank and ring turn as one (Willis).
                let sun = 3.2 * demand.output_radps - 2.2 * rads;
                let p = split.at(&m, &demand, &[sun], &[nm]);
                let held = charge != Charge::Held || p.terminal_w <= 0.0;
                if p.excess == 0.0 && held {
                    least = least.min(charge.cost_w(&p));
                }
            }
        }
        least
    };
    for (kmh, newton) in [(30.0, 900.0), (60.0, 2500.0), (95.0, 1300.0), (70.0, -800.0)] {
        let demand = m.road.demand(kmh / 3.6, newton);
        for charge in [Charge::Held, Charge::Priced(2.8)] {
            let own = charge.cost_w(&best(&m, split, demand, charge));
            let grid = fine(demand, charge);
            assert!(grid.is_finite());
            assert!(
                own <= grid + 1e-4 * grid.abs() + 1.0,
                "{kmh} {newton} {charge:?} {own} {grid}"
            );
        }
    }
}

/// A map sampled from the polynomial gives the polynomial's losses.
#[test]
fn a_map_says_what_it_was_sampled_from() {
    let d = demo("shuttle");
    let m = model(&d);
    let polynomial = &m.electric[0].loss;
    let mut text = "speed_rpm,torque_nm,loss_w\n".to_string();
    for rpm in (0..=9000).step_by(100) {
        for nm in (0..=310).step_by(2) {
            let w = f64::from(rpm) * std::f64::consts::PI / 30.0;
            // Standing without torque it is off: the map holds the loss of one that is on.
            let loss = polynomial.loss_w(f64::from(nm).max(1e-9), w);
            text += &format!("{rpm},{nm},{loss}\n");
        }
    }
    let map = MachineLoss::Map(Grid::parse("map", &text, MapKind::Loss).expect("a map"));
    for (nm, w) in [(10.0, 33.0), (-151.0, 400.0), (299.0, -90.0), (0.0, 0.0), (3.0, 900.0)] {
        let (a, b) = (map.loss_w(nm, w), polynomial.loss_w(nm, w));
        assert!((a - b).abs() <= 0.003 * b, "{nm} Nm {w} rad/s: {a} {b}");
    }
}
