//! Locks that were on their way to be closed and are not any more: whether they let go, their switches alone tell.

use crate::bits::Bits;

/// A piston that sticks on its way presses while its switch still says open. So a lock whose closing was broken
/// off, by a reset too, is not known to be open until its sides have moved apart, whatever its switch says.
/// No arrangement is stated before.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(crate) struct Midway(Bits);

impl Midway {
    /// After a reset, when these locks were being pressed.
    pub(crate) const fn after_reset(granted: Bits) -> Midway {
        Midway(granted)
    }

    /// One tick in which the locks of `granted` are pressed, those of `arrived` are shown closed or said to be (their
    /// switches have seen them move, and will tell when they come back), and those of `moving` move apart.
    pub(crate) fn tick(&mut self, granted: Bits, arrived: Bits, moving: Bits) {
        let come_open = moving.without(granted);
        self.0 = self.0.or(granted).without(arrived.or(come_open));
    }

    /// Locks that may have stayed on their way.
    pub(crate) const fn locks(self) -> Bits {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{Owned, inputs};
    use crate::io::LockOrder;
    use crate::io::LockReport::{Closed, Missing, Open};
    use crate::status::Refusal;
    use crate::supervisor::{Output, Supervisor};
    use crate::trace::Trace;

    const A: Bits = Bits::one(0);
    const B: Bits = Bits::one(1);
    const NONE: Bits = Bits::EMPTY;

    /// What is on its way is, until it arrives or its sides move apart while it is not pressed.
    #[test]
    fn a_lock_is_on_its_way_until_something_shows_where_it_is() {
        let mut midway = Midway::default();
        midway.tick(A.or(B), NONE, NONE);
        assert_eq!(midway.locks(), A.or(B));
        midway.tick(A, B, NONE);
        assert_eq!(midway.locks(), A, "one arrived");
        midway.tick(A, NONE, A);
        assert_eq!(midway.locks(), A, "it slips while it is pressed");
        midway.tick(NONE, NONE, B);
        assert_eq!(midway.locks(), A, "nothing shows it open");
        midway.tick(NONE, NONE, A);
        assert_eq!(midway.locks(), NONE, "it moves apart");
        midway.tick(NONE, A, B);
        assert_eq!(midway.locks(), NONE, "nobody pressed it");
        assert_eq!(Midway::after_reset(B).locks(), B);
    }

    /// Found by a campaign: a clutch that stuck half-way while a reset cut its closing short was closed truly, and
    /// what stood without it was stated.
    #[test]
    fn what_a_reset_finds_on_its_way_takes_the_statement_away_until_it_is_shown_open() {
        let owned = Owned::new();
        let table = owned.table();
        for (pressed, stated) in [(A, true), (A.or(B), false)] {
            let mut supervisor = Supervisor::after_reset(Trace::pressing(pressed));
            let mut tell = |slip: f32| {
                let mut now = inputs([0.0, slip], 0.0, [Closed, Open]);
                (now.request, now.engine_running) = (Some(0), true);
                let mut last = Output::default();
                for _ in 0..200 {
                    last = supervisor.tick(&table, &now);
                }
                (last.status.held, last.status.arrangement, last.status.refusal)
            };
            let not_opened = Some(Refusal::NotOpened { lock: 1 });
            let want = if stated { (A, Some(0), None) } else { (A, None, not_opened) };
            assert_eq!(tell(0.0), want, "{pressed:?}");
            assert_eq!(tell(5.0), (A, Some(0), None), "its sides moved apart");
            assert_eq!(tell(0.0), (A, Some(0), None), "and that is not forgotten");
        }
    }

    /// It was let go at the reset, since nobody knew its slip; its switch saw it come back.
    #[test]
    fn a_switch_that_said_closed_is_believed_when_it_says_open() {
        let owned = Owned::new();
        let table = owned.table();
        for (said, stated) in [(Closed, Some(0)), (Open, None)] {
            let mut supervisor = Supervisor::after_reset(Trace::pressing(A.or(B)));
            let mut last = Output::default();
            for tick in 0..200 {
                let report = if tick < 3 { said } else { Open };
                let mut now = inputs([0.0, 0.0], 0.0, [Closed, report]);
                now.speeds[1].valid = tick >= 3;
                (now.request, now.engine_running) = (Some(0), true);
                last = supervisor.tick(&table, &now);
            }
            assert_eq!((last.status.held, last.status.arrangement), (A, stated), "{said:?}");
        }
    }

    /// Without a switch it arrives when it is shown closed; and is not on its way any more when it stands.
    #[test]
    fn a_lock_without_a_switch_arrives() {
        let mut owned = Owned::new();
        owned.locks[0].has_switch = false;
        let table = owned.table();
        let mut supervisor = Supervisor::after_reset(Trace::pressing(A));
        let mut last = Output::default();
        for _ in 0..100 {
            let mut now = inputs([0.0, 0.0], 0.0, [Missing, Open]);
            (now.request, now.engine_running) = (Some(0), true);
            last = supervisor.tick(&table, &now);
        }
        assert_eq!((last.status.held, last.status.arrangement), (A, Some(0)));
    }

    /// Plates that were only filled to where they kiss were not pressed.
    #[test]
    fn filling_is_not_closing() {
        let mut owned = Owned::new();
        owned.arrangements[1].closed = NONE;
        let table = owned.table();
        let mut supervisor = Supervisor::new();
        let (mut filled, mut last) = (0, Output::default());
        for _ in 0..200 {
            let mut now = inputs([0.0, 0.0], 0.0, [Open, Open]);
            (now.request, now.engine_running) = (Some(0), true);
            // Too much to hand over, from when it is filled.
            now.demand_nm = if filled > 0 { 1000.0 } else { 0.0 };
            last = supervisor.tick(&table, &now);
            filled += u32::from(last.orders.locks[0] == LockOrder::Prefill);
            assert_ne!(last.orders.locks[0], LockOrder::Close);
        }
        assert!(filled > 0);
        assert_eq!((last.status.held, last.status.arrangement), (NONE, Some(1)));
    }
}
