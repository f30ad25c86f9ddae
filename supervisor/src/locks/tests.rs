//! What may press, shown or not.

use super::Locks;
use crate::bits::Bits;
use crate::fixture::Owned;

/// Plates (lock 0) as soon as they are ordered, teeth (lock 1) once they can be in; for as long as
/// the lock is ordered.
#[test]
fn a_lock_may_press_once_it_can_be_closed() {
    let mut owned = Owned::new();
    owned.locks[0].close_ticks = 5;
    owned.locks[1].close_ticks = 9;
    let table = owned.table();
    for ordered in (0..4).map(Bits) {
        for since in 0..12u16 {
            let mut locks = Locks { ordered, ..Locks::default() };
            locks.since[..2].fill(since);
            let can = Bits::one(0).with(1, since >= 9);
            assert_eq!(locks.may_press(&table), can.and(ordered), "{ordered:?} {since}");
            locks.closed = ordered;
            assert_eq!(locks.may_press(&table), can.and(ordered), "whether or not it is shown");
            locks.ordered = ordered.with(5, true);
            assert_eq!(locks.may_press(&table), can.and(ordered), "no lock of this driveline");
        }
    }
}

/// A switch that says closed while the sides move apart claims plates that are shown open; not
/// teeth, not a lock that is ordered closed, and not one that is not shown open.
#[test]
fn which_locks_are_claimed() {
    let owned = Owned::new();
    let table = owned.table();
    for bits in 0..64u8 {
        let [open, switch, ordered] = [bits & 3, bits >> 2 & 3, bits >> 4 & 3].map(Bits);
        let locks = Locks { open, switch, ordered, ..Locks::default() };
        let claimed = bits & 1 == 1 && bits >> 2 & 1 == 1 && bits >> 4 & 1 == 0;
        assert_eq!(locks.claimed(&table), Bits::EMPTY.with(0, claimed), "{bits:06b}");
        let beyond = Locks { open: open.with(5, true), switch: switch.with(5, true), ..locks };
        assert_eq!(beyond.claimed(&table), locks.claimed(&table), "no lock of this driveline");
    }
}

/// A switch is doubted after so many ticks in a row in which it contradicts the speeds: a tick in which it
/// does not starts the count anew, and so does the lock's next order. A lock on its way keeps its count.
#[test]
fn a_doubt_is_counted_in_a_row() {
    const A: Bits = Bits::one(0);
    const NONE: Bits = Bits::EMPTY;
    for (story, doubted) in [
        ("xxx", true),
        ("xx", false),
        ("xx.xx", false),
        ("xx.xxx", true),
        (".x.x.x.x", false),
        ("xx_x", true),
        ("xx_", false),
        ("xxx_", true),
        ("xxx.", false),
        ("xxxo", true),
    ] {
        let mut locks = Locks::default();
        for sign in story.chars() {
            let (settled, contradicts) = match sign {
                'x' => (Bits(3), A),
                '.' => (Bits(3), NONE),
                // On its way, while another settles.
                '_' => (Bits(2), NONE),
                _ => (Bits(2), Bits(2)),
            };
            locks.doubt_switches(settled, contradicts, 3);
        }
        assert_eq!(locks.switch, if doubted { A } else { NONE }, "{story}");
    }
    // A table that never passed a check may ask for no tick at all: what agrees is not doubted.
    let mut locks = Locks::default();
    locks.doubt_switches(Bits(3), A, 0);
    assert_eq!(locks.switch, A);
}

/// Evidence counts after so many ticks in a row, and starts anew where it is missing.
#[test]
fn evidence_is_counted_in_a_row() {
    let mut owned = Owned::new();
    for (story, reached) in
        [("xxx", true), ("xx.x", false), ("xx.xx", false), ("xx.xxx", true), ("xxxx", false)]
    {
        let table = owned.table();
        let (mut locks, mut last) = (Locks::default(), Bits::EMPTY);
        for sign in story.chars() {
            let seen = if sign == 'x' { Bits(1) } else { Bits::EMPTY };
            last = locks.evidence(&table, seen);
        }
        assert_eq!(last, if reached { Bits(1) } else { Bits::EMPTY }, "{story}");
    }
    // A table that never passed a check: what was not seen is no evidence all the same.
    owned.timing.debounce = 0;
    assert_eq!(Locks::default().evidence(&owned.table(), Bits(1)), Bits(1));
}
