//! When a vehicle counts as moving off, and for how long.

use super::LASTS;
use crate::fixture::Owned;
use crate::observe::Wheels::{self, Asked, Creep, Roll, Stand, Unknown};

/// Whether it moves off after these ticks.
fn after(course: &[(Wheels, u16)]) -> bool {
    let owned = Owned::new();
    let table = owned.table();
    let mut creep = super::Creep::default();
    let mut moves_off = false;
    for &(wheels, ticks) in course {
        for _ in 0..ticks {
            moves_off = creep.look(&table, wheels);
        }
    }
    moves_off
}

fn stood() -> u16 {
    Owned::new().timing.retry_wait
}

#[test]
fn it_moves_off_only_when_it_has_stood_before() {
    let stood = stood();
    for (ticks, want) in [(stood, true), (stood - 1, false), (1000, true), (0, false)] {
        assert_eq!(after(&[(Stand, ticks), (Creep, 1)]), want, "{ticks}");
        assert_eq!(after(&[(Stand, ticks), (Unknown, 9), (Creep, 1)]), want, "{ticks}");
        assert!(!after(&[(Stand, ticks)]), "{ticks}");
        assert!(!after(&[(Stand, ticks), (Unknown, 1)]), "{ticks}");
    }
    // Stood in all, but moved in between.
    assert!(!after(&[(Stand, stood - 1), (Creep, 1), (Stand, 1), (Creep, 1)]));
    assert!(!after(&[(Stand, stood), (Asked, 1), (Creep, 1)]));
    assert!(!after(&[(Stand, stood), (Roll, 1), (Creep, 1)]));
}

#[test]
fn it_does_so_for_a_while_until_something_is_asked_for_or_it_rolls() {
    let (begin, longest) = ([(Stand, stood()), (Creep, 1)], stood() * LASTS);
    for (then, want) in
        [(Stand, true), (Creep, true), (Unknown, true), (Asked, false), (Roll, false)]
    {
        for ticks in [1, longest - stood() - 1] {
            assert_eq!(after(&[begin[0], begin[1], (then, ticks)]), want, "{then:?} {ticks}");
        }
        assert!(!after(&[begin[0], begin[1], (then, longest - stood())]), "{then:?}");
    }
    // Where it creeps on it has to stand first; where it stands it may move off again.
    let over = longest - stood();
    assert!(!after(&[begin[0], begin[1], (Creep, over), (Creep, 500)]));
    assert!(after(&[begin[0], begin[1], (Stand, over), (Stand, stood()), (Creep, 1)]));
}
