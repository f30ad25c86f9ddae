//! Planetary gears against published values; the source stands at each check.

use host_sim::driveline::{Driveline, Planet};
use host_sim::exact::{Matrix, Q, Row, int, ratio, to_f64};
use host_sim::kinematics::{GearsHoldOutput, analyse};
use slipwarden_tests::drivelines::Build;

/// Speed of `asked` when the `known` shafts turn at the given rpm and every lock is open.
fn speed(d: &Driveline, known: &[(&str, Q)], asked: &str) -> Q {
    let k = analyse(d).unwrap();
    let shaft = |name: &str| d.shafts.iter().position(|s| s.name == name).unwrap();
    let motions = &k.set(0).basis;
    let at = |s: usize| -> Row { motions.iter().map(|motion| motion[s].clone()).collect() };
    let rows = known.iter().map(|(name, _)| at(shaft(name))).collect();
    let values: Row = known.iter().map(|(_, value)| value.clone()).collect();
    let matrix = Matrix::new(motions.len(), rows);
    assert_eq!(matrix.rank(), motions.len(), "the known speeds determine the motion");
    let shares = matrix.solve(&values).unwrap();
    at(shaft(asked)).iter().zip(&shares).fold(int(0), |sum, (m, share)| sum + m * share)
}

fn one_set(teeth: [u32; 2], planet: Planet) -> Driveline {
    Build::new("one-set", &["sun", "ring", "carrier"], "carrier")
        .planetary(["sun", "ring", "carrier"], teeth, planet)
        .lock("ring-brake", "ring", "case")
        .lock("sun-brake", "sun", "case")
        .lock("lock-up", "sun", "ring")
        .electric("machine", "sun")
        .done()
}

/// Source: Shigley's Mechanical Engineering Design, chapter 13, planetary example (from memory):
/// sun 20, ring 80 held, sun at 100 rpm one way: carrier at 20 rpm the same way.
#[test]
fn shigley_sun_20_ring_80() {
    let d = one_set([20, 80], Planet::Single);
    assert_eq!(speed(&d, &[("sun", int(-100)), ("ring", int(0))], "carrier"), int(-20));
    assert_eq!(analyse(&d).unwrap().set(0b001).per_output[0], Some(int(5)));
}

/// Source: Norton, Design of Machinery, chapter 9, planetary example (from memory): sun 40,
/// ring 80, sun -100 rpm, carrier (arm) -200 rpm: ring -250 rpm.
#[test]
fn norton_sun_40_ring_80() {
    let d = one_set([40, 80], Planet::Single);
    assert_eq!(speed(&d, &[("sun", int(-100)), ("carrier", int(-200))], "ring"), int(-250));
}

/// Source: a textbook homework: sun 23 held, ring 55, carrier 100 rpm: ring 141.8 rpm.
#[test]
fn homework_sun_23_ring_55() {
    let d = one_set([23, 55], Planet::Single);
    let ring = speed(&d, &[("sun", int(0)), ("carrier", int(100))], "ring");
    assert!((to_f64(&ring) - 141.8).abs() < 0.05, "{ring}");
}

/// Source: Norton, Design of Machinery, Ferguson's paradox: one wide idler planet meshes with a
/// fixed gear of 100 teeth and with gears of 99 and 101 teeth on the same axis; arm 100 rpm: the
/// 101-tooth gear turns at +0.9901 rpm, the 99-tooth gear at -1.0101 rpm. With an idler between
/// them two such gears turn the same way when the arm is held, as sun and ring do with double
/// planets: this pins the sign in the double planet's row.
#[test]
fn fergusons_paradox() {
    let d = Build::new("ferguson", &["fixed", "gear-99", "gear-101", "arm"], "arm")
        .planetary(["fixed", "gear-99", "arm"], [100, 99], Planet::Double)
        .planetary(["fixed", "gear-101", "arm"], [100, 101], Planet::Double)
        .done();
    let known = [("fixed", int(0)), ("arm", int(100))];
    assert!((to_f64(&speed(&d, &known, "gear-101")) - 0.9901).abs() < 5e-5);
    assert!((to_f64(&speed(&d, &known, "gear-99")) + 1.0101).abs() < 5e-5);
    // The published formula, arm * (1 - N_fixed / N), exactly.
    assert_eq!(speed(&d, &known, "gear-101"), int(100) * (int(1) - ratio(100, 101)));
    assert_eq!(speed(&d, &known, "gear-99"), int(100) * (int(1) - ratio(100, 99)));
}

/// Ferguson's gears once more, seen from the arm: there they are fixed axes and the idler makes
/// plain external gear pairs of them. Sign and size of a gear pair, against the same source.
#[test]
fn fergusons_paradox_by_gear_pairs_in_the_arms_frame() {
    let d = Build::new("ferguson-arm", &["gear-100", "idler", "gear-101"], "gear-101")
        .pair("gear-100", "idler", ratio(-20, 100))
        .pair("idler", "gear-101", ratio(-101, 20))
        .done();
    // External gears turn opposite ways: the idler of 20 teeth at 5 times the fixed gear's speed.
    assert_eq!(speed(&d, &[("gear-100", int(-100))], "idler"), int(500));
    // Seen from an arm at 100 rpm the fixed gear turns at -100 rpm.
    let relative = speed(&d, &[("gear-100", int(-100))], "gear-101");
    assert!((to_f64(&(relative + int(100))) - 0.9901).abs() < 5e-5);
}

/// Source: torques of sun : ring : carrier = 1 : rho : -(1+rho), rho = Zr/Zs, by virtual power;
/// terms as in VDI 2157 (from memory).
#[test]
fn torques_of_a_single_planet_set_are_1_rho_and_minus_1_plus_rho() {
    for (zs, zr) in [(30, 66), (34, 62), (20, 80), (23, 55)] {
        let rho = ratio(i64::from(zr), i64::from(zs));
        let k = analyse(&one_set([zs, zr], Planet::Single)).unwrap();
        let torque = &k.set(0b001).torque;
        // The carrier receives (1 + rho) and passes it on; the ring brake holds with rho.
        assert_eq!(torque.alone[0], Some(int(1) + &rho));
        assert_eq!(torque.locks[0].per_machine[0], rho);
    }
}

/// Source: the lever analogy, Benford and Leising, SAE 810102 (1981), from memory: on a lever
/// with arms in proportion to the tooth counts the three speeds lie on one line.
#[test]
fn speeds_lie_on_a_lever() {
    let d = one_set([30, 66], Planet::Single);
    for (sun, ring) in [(1000, 0), (0, 700), (-4000, 650), (123, 456)] {
        let carrier = speed(&d, &[("sun", int(sun)), ("ring", int(ring))], "carrier");
        // Sun at 0, carrier at Zr, ring at Zr + Zs along the lever.
        let slope = (int(ring) - int(sun)) / int(96);
        assert_eq!(carrier, int(sun) + slope * int(66));
    }
}

/// A plus gear (double planets): with the carrier held, sun and ring turn the same way at
/// Zr/Zs; terms as in VDI 2157 (from memory). With the ring held the carrier turns against
/// the sun, and locked up the set turns as one block whatever its planets.
#[test]
fn double_planets_make_a_plus_gear() {
    let d = one_set([30, 72], Planet::Double);
    assert_eq!(speed(&d, &[("ring", int(100)), ("carrier", int(0))], "sun"), int(240));
    let k = analyse(&d).unwrap();
    assert_eq!(k.set(0b001).per_output[0], Some(ratio(-42, 30)));
    for planet in [Planet::Single, Planet::Double] {
        let k = analyse(&one_set([30, 72], planet)).unwrap();
        assert_eq!(k.set(0b100).per_output, vec![Some(int(1)); 3]);
    }
}

/// Gears that contradict each other hold the output: an error that names the gears.
#[test]
fn gears_that_hold_the_output_are_named() {
    let d = Build::new("stuck", &["a", "b", "spare", "other"], "b")
        .pair("a", "b", int(2))
        .pair("spare", "other", int(3))
        .pair("b", "a", int(2))
        .done();
    let error = analyse(&d).unwrap_err();
    assert_eq!(
        error,
        GearsHoldOutput {
            shaft: "b".into(),
            gears: vec!["gear pair pair-1".into(), "gear pair pair-3".into()]
        }
    );
    assert!(error.to_string().contains("gear pair pair-1 and gear pair pair-3"), "{error}");
}

/// Gears that hold only another shaft, gears that say the same twice, shafts in the air.
#[test]
fn odd_drivelines_are_taken_as_they_are() {
    let d = Build::new("odd", &["in", "out", "x", "y", "air"], "out")
        .pair("in", "out", int(3))
        .pair("out", "in", ratio(1, 3))
        .pair("x", "y", int(2))
        .pair("y", "x", int(2))
        .lock("brake", "air", "case")
        .electric("drives", "in")
        .electric("stuck", "x")
        .done();
    let k = analyse(&d).unwrap();
    assert_eq!((k.set(0).mobility, k.set(1).mobility), (2, 1));
    assert_eq!(k.set(0).held, [2, 3]);
    assert_eq!(k.set(0).per_output[0], Some(int(3)));
    assert_eq!(k.set(0).verdict.word(), "holds-machine");
    assert_eq!(k.overlaps[0].locks, 0);
    assert!(k.overlaps[0].reason.starts_with("the gears alone hold machine stuck at zero"));
    // A set whose ring and carrier sit on one shaft is a block: the sun turns with them.
    let block = Build::new("block", &["sun", "cage"], "cage")
        .planetary(["sun", "cage", "cage"], [30, 70], Planet::Single)
        .electric("machine", "sun")
        .done();
    assert_eq!(analyse(&block).unwrap().set(0).per_output, vec![Some(int(1)); 2]);
}

/// An engine that the gears alone hold: every lock set is forbidden, by the empty conflict.
#[test]
fn gears_that_hold_an_engine_make_every_lock_set_a_conflict() {
    let d = Build::new("held-engine", &["out", "x", "y"], "out")
        .pair("x", "y", int(2))
        .pair("y", "x", int(2))
        .lock("clutch", "x", "out")
        .engine("engine", "x", 800.0, 3000.0)
        .done();
    let k = analyse(&d).unwrap();
    assert_eq!(k.conflicts.iter().map(|c| (c.locks, c.output)).collect::<Vec<_>>(), [(0, false)]);
    assert!(k.conflicts[0].reason.starts_with("the gears alone hold the engine at zero"));
    assert!(k.sets.iter().all(|s| s.verdict.is_forbidden()));
}
