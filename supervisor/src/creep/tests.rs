//! When a vehicle counts as moving off, and for how long.

use super::{MOVES_OFF, STOOD_MAX};
use crate::fixture::Owned;
use crate::observe::Wheels::{self, Asked, Creep, Roll, Stand, Unknown};

/// Whether it moves off after these ticks, and whether the engine drives it.
fn after(course: &[(Wheels, u16)], gains: bool) -> (bool, bool) {
    let owned = Owned::new();
    let table = owned.table();
    let mut creep = super::Creep::default();
    for &(wheels, ticks) in course {
        for _ in 0..ticks {
            creep.look(&table, wheels, || gains);
        }
    }
    (creep.moves_off(), creep.is_driven_by_engine(&table))
}

fn stood() -> u16 {
    Owned::new().timing.retry_wait.min(u16::from(STOOD_MAX))
}

#[test]
fn it_moves_off_only_when_it_has_stood_before() {
    let stood = stood();
    for (ticks, want) in [(stood, true), (stood - 1, false), (1000, true), (0, false)] {
        assert_eq!(after(&[(Stand, ticks), (Creep, 1)], false).0, want, "{ticks}");
        assert_eq!(after(&[(Stand, ticks), (Unknown, 9), (Creep, 1)], false).0, want, "{ticks}");
        assert!(!after(&[(Stand, ticks)], false).0, "{ticks}");
    }
    // Stood in all, but moved in between.
    assert!(!after(&[(Stand, stood - 1), (Creep, 1), (Stand, 1), (Creep, 1)], false).0);
    assert!(!after(&[(Stand, stood), (Asked, 1), (Creep, 1)], false).0);
    assert!(!after(&[(Stand, stood), (Roll, 1), (Creep, 1)], false).0);
}

#[test]
fn it_does_so_until_something_is_asked_for_or_it_rolls() {
    let begin = [(Stand, stood()), (Creep, 1)];
    for (then, want) in
        [(Stand, true), (Creep, true), (Unknown, true), (Asked, false), (Roll, false)]
    {
        for ticks in [1, 200, 1000] {
            assert_eq!(after(&[begin[0], begin[1], (then, ticks)], false).0, want, "{then:?}");
            assert_eq!(after(&[begin[0], begin[1], (then, ticks)], true).0, want, "{then:?}");
        }
    }
}

#[test]
fn the_engine_drives_it_when_it_gains_speed_all_the_time() {
    let wait = stood();
    for (ticks, want) in [(1, false), (wait - 1, false), (wait, true), (1000, true)] {
        let course = [(Stand, wait), (Creep, 1), (Creep, ticks)];
        assert_eq!(after(&course, true), (true, want), "{ticks}");
        assert_eq!(after(&course, false), (true, false), "{ticks}");
    }
    let owned = Owned::new();
    let table = owned.table();
    let mut creep = super::Creep { ticks: MOVES_OFF };
    for tick in 0..3 * wait {
        creep.look(&table, Creep, || tick % (wait - 1) != 0);
        assert!(!creep.is_driven_by_engine(&table), "{tick}");
    }
}
