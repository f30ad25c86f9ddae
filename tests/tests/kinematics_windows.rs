//! Road-speed windows: the demo values, certificates, and an independent brute force.

use host_sim::driveline::EngineUse;
use host_sim::exact::{Q, int, ratio, to_f64};
use host_sim::kinematics::{
    EngineLink, LimitKind, analyse, find_window, shaft_range, window_of, windows,
};
use slipwarden_tests::drivelines::shuttle;

/// Source: the demo shuttle, recomputed independently: the traction machine's limit (9000 rpm
/// on the sun) ends single-electric and series driving at 119.3 km/h.
#[test]
fn shuttle_windows_end_where_the_sun_does() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let all = windows(&d, &k);
    for arrangement in [0, 2] {
        let window = all[arrangement].as_ref().unwrap();
        for (end, sign) in [(&window.high, 1.0), (&window.low, -1.0)] {
            // 119.3 is the stated value; more digits follow from its own data, by hand:
            // 9000 / 3.2 / (41/13) rpm of the wheels at 0.355 m.
            let kmh = 9000.0 / 3.2 / (41.0 / 13.0) * std::f64::consts::TAU / 60.0 * 0.355 * 3.6;
            assert!((kmh - 119.3_f64).abs() < 0.1);
            assert!((end.road_kmh.unwrap() - sign * kmh).abs() < 1e-9);
            assert_eq!(end.output_rpm, Some(ratio(5625, 2) * int(sign as i64)));
            assert_eq!(end.ended_by.len(), 1);
            assert_eq!(end.ended_by[0].limit.shaft, 0);
            assert_eq!(end.ended_by[0].output_per_limit, ratio(5, 16));
        }
    }
    // Dual-electric: the second machine takes speed off the sun, the vehicle's own limit ends it.
    let dual = all[1].as_ref().unwrap();
    assert_eq!(dual.high.ended_by[0].limit.kind, LimitKind::VehicleMax);
    assert!((dual.high.road_kmh.unwrap() - 125.0).abs() < 1e-9);
}

/// Power-split in reverse: the engine runs at idle or faster, so the ring does, and the sun's
/// limit ends it. By hand: out = (30*sun + 66*ring) / 96 with sun -9000 and ring 950.
#[test]
fn shuttle_power_split_reverse_is_ended_by_sun_and_idle() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let window = window_of(&d, &k, 0b110, EngineUse::On).unwrap();
    assert_eq!(window.low.output_rpm, Some(ratio(30 * -9000 + 66 * 950, 96)));
    let kinds: Vec<_> = window.low.ended_by.iter().map(|e| e.limit.kind).collect();
    assert_eq!(kinds, [LimitKind::ShaftMin, LimitKind::EngineIdle]);
    assert_eq!(window.engine_link, EngineLink::Joined);
    // At 1000 rpm of the output the ring (and the engine) may turn between these, by hand:
    // ring = (96*1000 - 30*sun)/66 with sun -9000 ... 9000, inside 950 ... 4200.
    let range = shaft_range(&d, &k, 0b110, EngineUse::On, &int(1000), 4).unwrap();
    assert_eq!(range, (Some(int(950)), Some(int(4200))));
    let range = shaft_range(&d, &k, 0b110, EngineUse::On, &int(-1000), 4).unwrap();
    assert_eq!(range, (Some(int(950)), Some(ratio(-96_000 + 270_000, 66))));
}

/// A running engine whose shaft is held has no window, and the reason is its idle speed.
#[test]
fn a_held_engine_cannot_run() {
    let d = shuttle();
    let k = analyse(&d).unwrap();
    let none = find_window(&d, &k, 0b111, EngineUse::On).unwrap_err();
    assert_eq!(none.because.len(), 1);
    assert_eq!(none.because[0].kind, LimitKind::EngineIdle);
    let off: Option<Q> = window_of(&d, &k, 0b111, EngineUse::Off).and_then(|w| w.high.output_rpm);
    assert_eq!(off.map(|q| to_f64(&q)), Some(2812.5));
}
