//! Maps over speed and force: winners win, limits bind where they are known to, threads do not matter.

use host_sim::driveline::{self, Driveline};
use host_sim::energy::map::{Mode, axes, maps, price_on_board};
use host_sim::energy::model::Model;
use host_sim::energy::pictures;
use host_sim::energy::point::Limit;
use host_sim::energy::search::{Charge, best};
use host_sim::energy::{cruise, data};
use host_sim::kinematics;

fn demo(name: &str) -> (Driveline, Model) {
    let d =
        driveline::parse(name, driveline::demo(name).expect("a demo")).expect("valid").driveline;
    let k = kinematics::analyse(&d).expect("it can move");
    let m = Model::new(&d, &k, None).expect("a model");
    (d, m)
}

fn quiet(_: usize, _: usize) {}

#[test]
fn winners_win_and_nobody_wins_beyond_a_limit() {
    for name in driveline::DEMOS {
        let (d, m) = demo(name);
        let n = d.arrangements.len();
        let price = price_on_board(&m);
        assert!((1.0..6.0).contains(&price), "{name}: {price}");
        let modes = Mode::ALL.map(|mode| (mode, price));
        let axes = axes(&m, 6, 8);
        let list = maps(&m, n, &modes, &axes, 1, &quiet);
        let again = maps(&m, n, &modes, &axes, 3, &quiet);
        assert_eq!(list, again, "{name}: threads change the answer");
        let mut won = 0;
        for map in &list {
            for cell in &map.cells {
                let can: Vec<_> = cell.entries.iter().flatten().filter(|e| e.feasible()).collect();
                assert_eq!(cell.winner.is_some(), !can.is_empty(), "{name}");
                assert_eq!(cell.second.is_some(), can.len() > 1, "{name}");
                let Some(winner) = cell.winner else { continue };
                let own = cell.entries[winner].expect("a winner").cost_w;
                assert!(can.iter().all(|e| e.cost_w >= own), "{name}");
                assert!(cell.gain_w().is_none_or(|g| g >= 0.0), "{name}");
                won += 1;
            }
        }
        assert!(won > 20, "{name}: {won}");
    }
}

/// The traction machine's limit ends single-electric and series driving at 119.3 km/h, and it can
/// push only so hard (both recomputed by an independent program).
#[test]
fn the_known_limit_of_speed_binds_where_it_should() {
    let (d, m) = demo("shuttle");
    for name in ["single-electric", "series"] {
        let v = m.variants.iter().find(|v| d.arrangements[v.arrangement].name == name).unwrap();
        let point = |kmh: f64| {
            let demand = m.road.demand(kmh / 3.6, m.road.force_n(kmh / 3.6, 0.0, 0.0));
            best(&m, v, demand, Charge::Priced(2.5))
        };
        assert_eq!(point(119.2).limit, None, "{name}");
        assert_eq!(point(119.4).limit, Some(Limit::Shaft(0, true)), "{name}");
    }
    // Static torque: traction = output / 3.2, so that 310 Nm (less mesh loss) end the pull.
    let v = m.variants.iter().find(|v| d.arrangements[v.arrangement].name == "single-electric");
    let pull = |newton: f64| best(&m, v.unwrap(), m.road.demand(3.0, newton), Charge::Priced(1.0));
    let most = 310.0 * 3.2 * m.road.efficiency / m.road.metres_per_radian;
    assert_eq!(pull(0.98 * most).limit, None);
    assert_eq!(pull(1.001 * most).limit, Some(Limit::MachineTorque(0)));
}

/// The trade's second fact (common practice, no source): two machines beat one only from a middle
/// road speed up. It holds for the shuttle's machines; the drag of its open ring brake eats it up.
#[test]
fn dual_electric_beats_single_electric_from_a_middle_speed_up() {
    let better = |drag: bool, kmh: f64| {
        let (mut d, _) = demo("shuttle");
        if !drag {
            d.locks.iter_mut().for_each(|l| l.drag_nm = 0.0);
        }
        let k = kinematics::analyse(&d).expect("it can move");
        let m = Model::new(&d, &k, None).expect("a model");
        let cost = |name: &str| {
            let v = m.variants.iter().find(|v| d.arrangements[v.arrangement].name == name).unwrap();
            let demand = m.road.demand(kmh / 3.6, m.road.force_n(kmh / 3.6, 0.0, 0.0));
            best(&m, v, demand, Charge::Priced(1.0)).cell_w
        };
        cost("dual-electric") < cost("single-electric")
    };
    for kmh in [30.0, 40.0, 50.0] {
        assert!(!better(false, kmh), "{kmh}");
    }
    for kmh in [70.0, 90.0, 115.0] {
        assert!(better(false, kmh), "{kmh}");
    }
    for kmh in [50.0, 80.0, 110.0, 119.0] {
        assert!(!better(true, kmh), "with drag {kmh}");
    }
}

#[test]
fn pictures_and_data_are_whole() {
    let (d, m) = demo("shuttle");
    let modes = Mode::ALL.map(|mode| (mode, 2.5));
    let list = maps(&m, 4, &modes, &axes(&m, 6, 8), 2, &quiet);
    let cruises = cruise::cruises(&m, 4, &[50.0], &[0.0]);
    for (name, svg) in pictures::all(&d, &list, &cruises) {
        for part in ["<title", "<desc", "role=\"img\"", "</svg>"] {
            assert!(svg.contains(part), "{name} lacks {part}");
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{name}");
        let unit = svg.contains("km/h") && (svg.contains(" in kN") || svg.contains(" in kW"));
        assert!(unit || name.starts_with("lever") && svg.contains("rpm"), "{name}: units");
    }
    let value = data::json(&d, &m, 2.5, &list, &cruises);
    assert_eq!(value["energy"], data::VERSION);
    assert_eq!(value["maps"].as_array().map(Vec::len), Some(3));
    let csv = data::csv(&d, &list);
    let fields = |l: &str| l.split(',').count();
    assert!(csv.lines().all(|l| fields(l) == 9), "{}", csv.lines().next().unwrap_or(""));
    assert_eq!(csv.lines().count(), 1 + 3 * 4 * list[0].cells.len());
}
