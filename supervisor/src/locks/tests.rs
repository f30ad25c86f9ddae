//! What may press, shown or not.

use super::Locks;
use crate::bits::Bits;
use crate::fixture::Owned;

/// From the tick in which it can be closed, for as long as it is ordered.
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
            let can = Bits::EMPTY.with(0, since >= 5).with(1, since >= 9);
            assert_eq!(locks.may_press(&table), can.and(ordered), "{ordered:?} {since}");
            locks.closed = ordered;
            assert_eq!(locks.may_press(&table), can.and(ordered), "whether or not it is shown");
        }
    }
}
