//! Which sensors a relation between speeds speaks against, and for how long.

use super::*;

#[test]
fn a_parity_counts_only_when_all_of_it_is_read() {
    let owned = Owned::new();
    let table = owned.table();
    let bad = |residual: f32| {
        let mut now = at(5.0);
        now.speeds[3].radps += residual;
        ask(&table, &now, |r| r.bad_sensors())
    };
    assert_eq!([bad(0.5), bad(-0.5)], [Bits::EMPTY; 2]);
    assert_eq!([bad(0.51), bad(-0.51)], [Bits(0b1011); 2]);
    let mut now = without(1, at(5.0));
    now.speeds[3].radps += 9.0;
    assert_eq!(ask(&table, &now, |r| r.bad_sensors()), Bits(0b10), "no relation without it");
}

/// Whether or not the sensor that is missing is the one that was wrong.
#[test]
fn what_a_parity_said_last_counts_until_it_is_read_again() {
    let owned = Owned::new();
    let (table, heat, mut memory) = (owned.table(), Heat::default(), Memory::default());
    let wrong = |residual: f32| {
        let mut now = at(5.0);
        now.speeds[3].radps += residual;
        now
    };
    for (sensor, others) in [(1, 0b1001), (3, 0b0011)] {
        for (residual, bad) in [(0.0, Bits::EMPTY), (9.0, Bits(others))] {
            let mut ask = |now| Reading::new(&table, &now, &heat, &mut memory).bad_sensors();
            let _ = ask(wrong(residual));
            for _ in 0..STRIDE.min(9) * 10 {
                assert_eq!(ask(without(sensor, wrong(0.0))), bad.or(Bits::one(sensor as u8)));
            }
            assert_eq!(ask(wrong(0.0)), Bits::EMPTY, "read again, and fulfilled");
            assert_eq!(ask(without(sensor, wrong(0.0))), Bits::one(sensor as u8));
        }
    }
}

/// A residual beyond what healthy sensors can show speaks against all of its sensors.
#[test]
fn parity_flags_its_sensors() {
    let owned = Owned::new();
    let table = owned.table();
    let heat = Heat::default();
    for (bias, flagged) in [(0.4, false), (0.6, true), (-0.6, true)] {
        let mut now = inputs([0.1, 0.1], 5.0, [Open, Open]);
        now.speeds[3].radps += bias;
        let mut memory = Memory::default();
        let mut reading = Reading::new(&table, &now, &heat, &mut memory);
        let want = if flagged { Bits(0b1011) } else { Bits::EMPTY };
        assert_eq!(reading.bad_sensors(), want, "bias {bias}");
        assert_eq!(reading.slip(0).known, !flagged);
        // With a sensor of the relation missing it says nothing.
        now.speeds[3].valid = false;
        let mut memory = Memory::default();
        let mut reading = Reading::new(&table, &now, &heat, &mut memory);
        assert!(reading.slip(0).known);
    }
}
