//! The judges of temperature, push, motion, deceleration, actuations, reactions and recovery
//! against truths made by hand: each fires just beyond its limit and not just within it.

use host_sim::checkers;
use slipwarden_tests::story::{RPM, Story};
use supervisor::io::LockOrder;

// Shuttle: shafts sun, output, ring, generator, crank; locks ring-brake, ring-clutch,
// engine-clutch. Times: fill 90 ms, ramp 100 ms, release 60 ms, confirm 150 ms, dwell 20 ms, three
// attempts; no stated fault tolerant time, so 0.5 s.
const OUTPUT: usize = 1;
/// Road speed per speed of the shuttle's output, m.
const METRES_PER_RADIAN: f64 = 0.355 * 13.0 / 41.0;
const MASS_KG: f64 = 4300.0 * 1.03;

/// Whether the story breaks this rule and no other.
fn breaks(story: &Story, rule: &str) -> bool {
    let rules = story.rules();
    assert!(rules.iter().all(|r| *r == rule), "{:?}", story.judged());
    !rules.is_empty()
}

#[test]
fn sw_heat_fires_when_hot_plates_close_or_get_hotter_than_one_closing_makes_them() {
    // ring-brake: 100 K; 12 kJ on 0.6 kJ/K add 20 K.
    let closing = |rise_k: f64| {
        let mut s = Story::new("shuttle");
        s.now.locks[0].rise_k = rise_k;
        s.wait(0.1).close(0, 10.0).wait(0.1);
        breaks(&s, "SW-HEAT")
    };
    assert!(!closing(99.9));
    assert!(closing(100.1));
    let slipping = |rise_k: f64, fault: bool| {
        let mut s = Story::new("shuttle");
        s.close(0, 10.0).wait(0.1);
        s.now.faults.any = fault;
        s.now.faults.actuators = u8::from(fault);
        s.now.locks[0].rise_k = rise_k;
        s.wait(0.1);
        s.now.faults = Default::default();
        s.wait(0.1);
        breaks(&s, "SW-HEAT")
    };
    assert!(!slipping(119.9, false));
    assert!(slipping(120.1, false));
    assert!(slipping(f64::NAN, false));
    assert!(!slipping(150.0, true), "a dragging lock is hot without our doing");
}
