//! What the speeds and torques of single machines say: an engine in danger, one that pushes, a shaft
//! that goes the wrong way.

use super::*;
use crate::bits::MAX_SENSORS;
use crate::io::Torque;
use crate::table::{Parity, Step};
use std::vec;

/// The engine turns with sensor 2, whose highest speed is 800.
#[test]
fn an_engine_is_in_danger_when_it_will_be_too_fast() {
    let mut owned = Owned::new();
    owned.locks[0].release_ticks = 3;
    owned.locks[1].release_ticks = 4;
    let mut table = owned.table();
    table.engine_min = 60.0;
    let running = |speed: f32| Inputs { engine_running: true, ..at(speed) };
    for (last, rate, want) in [
        (879.5, 0.0, false),
        (880.5, 0.0, true),
        (1.1 * 800.0, 0.0, false),
        (1.1 * 60.0, 0.0, false),
        (856.0, 1.9, false),
        (856.0, 2.1, true),
        (885.0, -1.0, false),
        (65.5, 0.0, true),
    ] {
        for ticks in (20..30).step_by(STRIDE.min(9)) {
            let course = (last, rate, ticks);
            let told = after_a_course(&table, course, running, |r| r.engine_endangered());
            assert_eq!(told, want, "{course:?}");
        }
    }
    let stopped = |speed: f32| Inputs { engine_running: false, ..at(speed) };
    let told = after_a_course(&table, (900.0, 0.0, 20), stopped, |r| r.engine_endangered());
    assert!(!told, "it does not run");
    // Sensor 2 is at rest up to 0.5.
    for (speed, want) in [(-0.4, false), (-0.6, true), (-700.0, true), (0.0, false), (700.0, false)]
    {
        let back = ask(&table, &stopped(speed), |r| r.engine_endangered());
        assert_eq!(back, want, "turned at {speed}");
        assert!(!ask(&table, &without(2, stopped(speed)), |r| r.engine_endangered()), "unknown");
    }
    table.engine = None;
    assert!(!ask(&table, &stopped(-700.0), |r| r.engine_endangered()), "there is none");
}

/// The engine turns with sensor 2, and sensor 3 twice as fast; its least speed is 60, so that it is let
/// go below 66 where nothing is contradicted and below 75 where the two contradict each other.
#[test]
fn an_engine_whose_sensor_is_doubted_is_watched_through_the_others() {
    let mut owned = Owned::new();
    owned.locks[0].release_ticks = 3;
    owned.locks[1].release_ticks = 4;
    let mut row = unit(2);
    row[3] = -0.5;
    owned.parities = vec![Parity { row, sensors: Bits(0b1100), max: 1.0 }];
    let mut table = owned.table();
    table.engine_min = 60.0;
    let told = |own: Option<f32>, other: Option<f32>| {
        let mut now = Inputs { engine_running: true, ..at(own.unwrap_or(0.0)) };
        now.speeds[2].valid = own.is_some();
        (now.speeds[3].radps, now.speeds[3].valid) = (2.0 * other.unwrap_or(0.0), other.is_some());
        now
    };
    for (own, other, want) in [
        (None, Some(65.5), true),
        (None, Some(66.5), false),
        (None, Some(59.5), false),
        (None, None, false),
        (Some(65.5), None, true),
        (Some(66.5), None, false),
        (Some(200.0), Some(74.9), true),
        (Some(200.0), Some(75.1), false),
        (Some(74.9), Some(200.0), true),
        (Some(75.1), Some(200.0), false),
        (Some(60.0), Some(200.0), true),
        // No engine that runs turns so slowly: this one lies.
        (Some(59.5), Some(200.0), false),
        (Some(200.0), Some(59.5), false),
        (Some(200.0), Some(60.0), true),
        (Some(-70.0), Some(200.0), false),
    ] {
        let answer = ask(&table, &told(own, other), |r| r.engine_endangered());
        assert_eq!(answer, want, "{own:?} {other:?}");
    }
    // The same relation may stand there in another measure.
    let doubled = Parity { row: row.map(|x| 2.0 * x), sensors: Bits(0b1100), max: 2.0 };
    table.parities = std::slice::from_ref(&doubled);
    for (own, other, want) in [
        (None, Some(65.5), true),
        (None, Some(66.5), false),
        (Some(200.0), Some(74.9), true),
        (Some(200.0), Some(75.1), false),
    ] {
        let answer = ask(&table, &told(own, other), |r| r.engine_endangered());
        assert_eq!(answer, want, "{own:?} {other:?}, doubled");
    }
    table.parities = &owned.parities;
    // A sensor that has just come back tells nothing yet.
    let (heat, mut memory) = (Heat::default(), Memory::default());
    for _ in 0..20 {
        let _ = Reading::new(&table, &told(Some(200.0), None), &heat, &mut memory);
    }
    let back = told(Some(200.0), Some(70.0));
    assert!(!Reading::new(&table, &back, &heat, &mut memory).engine_endangered());
    // A change is foreseen where nothing is contradicted, and only there, when it is known.
    for (own_says, rate, ticks, want) in [
        (None, -1.9, 20, false),
        (None, -2.1, 20, true),
        (None, -2.1, 29, true),
        (None, -9.9, 2, false),
        (Some(200.0), -9.9, 20, false),
    ] {
        let course = (90.0, rate, ticks);
        let speeds = |speed| told(own_says, Some(speed));
        let answer = after_a_course(&table, course, speeds, |r| r.engine_endangered());
        assert_eq!(answer, want, "{own_says:?} {rate} {ticks}");
    }
    // A relation that does not read its sensor, or whose coefficient is missing, tells nothing.
    let slow = told(None, Some(62.0));
    assert!(ask(&table, &slow, |r| r.engine_endangered()));
    let others = [(row, Bits(0b1000)), (unit(3), Bits(0b1100))].map(|(row, sensors)| Parity {
        row,
        sensors,
        max: 1.0,
    });
    for other in &others {
        table.parities = std::slice::from_ref(other);
        assert!(!ask(&table, &slow, |r| r.engine_endangered()), "{other:?}");
    }
    // Nor is one told of two sensors that read it together.
    let mut read_by_two = owned.rests.clone();
    read_by_two[1].sensors = Bits(0b1100);
    table.parities = &owned.parities;
    table.rests = &read_by_two;
    assert!(!ask(&table, &slow, |r| r.engine_endangered()));
}

/// What is not known counts as torque; without an engine nothing does.
#[test]
fn an_engine_pushes_unless_it_says_that_it_does_not() {
    let owned = Owned::new();
    let mut table = owned.table();
    let pushes = |table: &Table, nm: f32, valid: bool| {
        let mut now = at(0.0);
        now.torques[1] = crate::io::Torque { nm, valid };
        ask(table, &now, |r| r.engine_pushes())
    };
    for (nm, valid, want) in [
        (20.0, true, true),
        (0.0, true, false),
        (-20.0, true, false),
        (-20.0, false, true),
        (f32::NAN, true, true),
    ] {
        assert_eq!(pushes(&table, nm, valid), want, "{nm} {valid}");
    }
    table.engine = None;
    assert!(!pushes(&table, 20.0, true));
}

/// Sensor 2 is both machines'. Their lock closes at a rate of up to 1 in four ticks; a quarter of it is the
/// bound here.
fn goes_away(r: &Reading, step: &Step, machine: u8, target_radps: f32) -> bool {
    r.course(step, machine, target_radps).is_some_and(|course| course.goes_away(0.25))
}

#[test]
fn a_shaft_goes_away_when_it_moves_fast_enough_the_wrong_way() {
    let owned = Owned::new();
    let table = owned.table();
    let still = Step { target_row: [0.0; MAX_SENSORS], ..owned.steps[1] };
    let away = |step: &Step, machine, from, course| {
        after_a_course(&table, course, at, |r| goes_away(r, step, machine, from))
    };
    for (from, rate, want) in [
        (60.0, -0.065, true),
        (60.0, -0.0625, false),
        (60.0, -0.06, false),
        (60.0, 0.26, false),
        (40.0, 0.065, true),
        (40.0, 0.0625, false),
        (40.0, -0.26, false),
        (50.0, 0.26, false),
        (f32::NAN, 0.26, false),
    ] {
        for ticks in (20..30).step_by(STRIDE.min(9)) {
            assert_eq!(away(&still, 0, from, (50.0, rate, ticks)), want, "{from} {rate} {ticks}");
        }
    }
    assert!(!away(&still, 0, 60.0, (50.0, -2.0, 2)), "the change is not known yet");
    assert!(!away(&still, 7, 60.0, (50.0, -2.0, 20)), "there is no such machine");
    // A target that moves along is not gone away from, nor one that runs away by itself.
    let with = |share: f32| {
        let mut step = still;
        step.target_row[2] = share;
        step
    };
    assert!(!away(&with(1.0), 0, 60.0, (50.0, -2.0, 20)), "it moves along");
    assert!(!away(&with(0.98), 0, 60.0, (50.0, -2.0, 20)), "nearly");
    assert!(away(&with(0.9), 0, 60.0, (50.0, -2.0, 20)), "not enough");
    assert!(!away(&with(2.0), 0, 60.0, (50.0, 2.0, 20)), "it is the target that runs away");
    // At the end of its range it stays where it is.
    for end in [500.0, -500.0] {
        let rate = if end > 0.0 { -2.0 } else { 2.0 };
        assert!(away(&with(1.0), 0, end, (50.0, rate, 20)), "{end}");
    }
    // A speed that the target follows from has to be known as well.
    let unknown = Step { sensors: still.sensors.or(Bits::one(7)), ..still };
    assert!(!away(&unknown, 0, 60.0, (50.0, -2.0, 20)));
}

/// A machine has a speed when its shaft has sensors that can be believed; without a limit of rest nobody
/// measures it.
#[test]
fn a_machine_has_a_speed_when_it_is_measured() {
    let mut owned = Owned::new();
    let speed = |owned: &Owned, now: Inputs, machine| {
        ask(&owned.table(), &now, |r| r.machine_radps(machine))
    };
    assert_eq!(speed(&owned, at(50.0), 0), Some(50.0));
    assert_eq!(speed(&owned, at(-50.0), 1), Some(-50.0));
    assert_eq!(speed(&owned, at(50.0), 2), None, "there is no such machine");
    assert_eq!(speed(&owned, without(2, at(50.0)), 0), None);
    owned.rests[0].max = 0.0;
    assert_eq!(speed(&owned, at(50.0), 0), None);
    let still = Step { target_row: [0.0; MAX_SENSORS], ..owned.steps[1] };
    let go = |r: &mut Reading| goes_away(r, &still, 0, 60.0);
    let away = after_a_course(&owned.table(), (50.0, -2.0, 20), at, go);
    assert!(!away, "nor does it go anywhere");
}

/// The engine turns with sensor 2.
#[test]
fn an_engine_gains_when_it_becomes_faster_and_does_not_say_that_it_gives_nothing() {
    let owned = Owned::new();
    let mut table = owned.table();
    let told = |table: &Table, rate: f32, nm: f32, valid: bool| {
        let at = |v: f32| {
            let mut now = at(v);
            now.torques[0] = Torque { nm, valid };
            now
        };
        after_a_course(table, (100.0, rate, 25), at, |r| r.engine_gains())
    };
    table.engine = Some(0);
    for (rate, nm, valid, want) in [
        (1.0, 5.0, true, true),
        (1.0, 0.0, true, false),
        (1.0, -5.0, true, false),
        (1.0, -5.0, false, true),
        (0.0, 5.0, true, false),
        (-1.0, 5.0, true, false),
    ] {
        assert_eq!(told(&table, rate, nm, valid), want, "{rate} {nm} {valid}");
    }
    table.engine = None;
    assert!(!told(&table, 1.0, 5.0, true), "there is none");
}

/// One that does not run and still turns forward is let go before it is turned backwards.
#[test]
fn a_stopped_engine_is_in_danger_when_it_will_be_turned_backwards() {
    let mut owned = Owned::new();
    owned.locks[1].release_ticks = 4;
    let table = owned.table();
    for (speed, rate, want) in [
        (3.0, 0.0, false),
        (3.0, -0.1, false),
        (3.0, -1.0, true),
        (0.6, -1.0, true),
        (0.4, -0.01, false),
        (300.0, -1.0, false),
        (3.0, 1.0, false),
    ] {
        let course = (speed, rate, 25);
        assert_eq!(
            after_a_course(&table, course, at, |r| r.engine_endangered()),
            want,
            "{course:?}"
        );
    }
}
