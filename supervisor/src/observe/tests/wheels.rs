//! What the wheels do: stand, creep or roll while nothing is asked for; hold the road or not.

use super::*;
use crate::observe::Wheels;

/// Sensor 2 reads the output; a change of 2 over the rate distance is what tyres can cause.
#[test]
fn wheels_stand_creep_or_roll_while_nothing_is_asked_for() {
    let owned = Owned::new();
    let table = owned.table();
    assert_eq!(table.output_rate_max, 2.0);
    let told = |radps: f32, demand_nm: f32| {
        [radps, -radps].map(|v| ask(&table, &Inputs { demand_nm, ..at(v) }, |r| r.wheels()))
    };
    for (radps, want) in [
        (0.0, Wheels::Stand),
        (1.0, Wheels::Stand),
        (1.01, Wheels::Unknown),
        (2.0, Wheels::Unknown),
        (2.01, Wheels::Creep),
        (16.0, Wheels::Creep),
        (16.1, Wheels::Roll),
        (700.0, Wheels::Roll),
    ] {
        for demand_nm in [0.0, 1.0, -1.0] {
            assert_eq!(told(radps, demand_nm), [want; 2], "{radps} {demand_nm}");
        }
        for demand_nm in [1.01, -1.01, 500.0, f32::NAN, f32::INFINITY] {
            assert_eq!(told(radps, demand_nm), [Wheels::Asked; 2], "{radps} {demand_nm}");
        }
    }
    assert_eq!(ask(&table, &without(2, at(0.0)), |r| r.wheels()), Wheels::Unknown);
}

#[test]
fn wheels_slip_when_they_change_twice_as_fast_as_tyres_let_them() {
    let owned = Owned::new();
    let table = owned.table();
    let per_tick = 2.0 * table.output_rate_max / f32::from(table.timing.rate_ticks);
    for sign in [1.0, -1.0] {
        for (share, want) in [(0.0, false), (0.5, false), (0.99, false), (1.01, true), (3.0, true)]
        {
            for ticks in (20..30).step_by(STRIDE.min(9)) {
                let course = (sign * 100.0, sign * share * per_tick, ticks);
                let told = after_a_course(&table, course, at, |r| r.wheels_slip());
                assert_eq!(told, want, "{sign} {share} {ticks}");
                let unseen = |v: f32| without(2, at(v));
                assert!(!after_a_course(&table, course, unseen, |r| r.wheels_slip()));
            }
        }
    }
}
