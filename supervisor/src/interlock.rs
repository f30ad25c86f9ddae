//! The last gate on the lock orders: it denies, it never closes anything.
//!
//! It knows nothing of steps. It knows which locks may be closed (ordered closed,
//! said to be closed, or not yet surely open), the conflict table, and two bits of
//! the speeds. It keeps its own small memory, apart from `decide`'s.

use crate::bits::{Bits, MAX_LOCKS};
use crate::io::Reports;
use crate::table::Table;

/// All that the gate looks at in one tick.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Seen {
    /// Locks that `decide` wants closed or filled.
    pub wanted: Bits,
    /// Locks that were granted closing in the tick before. A lock that was only being filled
    /// is not among them: it must pass every rule again, each tick and when it is to close.
    pub granted: Bits,
    /// Locks that are not surely open (besides those granted).
    pub maybe_closed: Bits,
    /// Locks whose switch says closed, or that are granted, and whose sides do not move apart.
    pub surely_held: Bits,
    /// Locks that were let go so short a time ago that they may rightly still be closed.
    pub releasing: Bits,
    /// Locks whose slip is known, within its limit and steady.
    pub ready: Bits,
    /// Machines whose shafts are at rest.
    pub at_rest: Bits,
}

/// The orders that pass: a subset of what is wanted.
///
/// Rules, each at its one branch:
/// - SW-I1: a closing begins only with its slip within limit.
/// - SW-I2: a closing begins only when it completes no forbidden lock set with the locks that may be closed.
/// - SW-I3: a closing that completes an overlap begins only with the held shafts at rest.
/// - SW-I4: at most one closing begins in a tick.
/// - SW-I5: when a forbidden lock set is found held, one of its locks is let go, and the next
///   one only when that lock has had its time and is still held.
/// - SW-I6: a closing never joins the engine to a lock set that holds a machine.
///
/// Opening is never denied: what is not wanted is never in the result.
#[must_use = "orders that did not pass this gate must not reach an actuator"]
pub fn pass(table: &Table, seen: &Seen) -> Bits {
    let keep = let_go_of_conflicts(table, seen);
    let new = seen.wanted.without(seen.granted);
    // SW-I4
    let (1, Some(lock)) = (new.count(), new.lowest()) else { return keep };
    // SW-I1
    if !seen.ready.has(lock) {
        return keep;
    }
    let with = seen.maybe_closed.or(seen.granted).or(new);
    // SW-I2
    if table.conflicts.iter().any(|c| c.locks.has(lock) && with.contains(c.locks)) {
        return keep;
    }
    // SW-I3
    let held = table.overlaps.iter().fold(Bits::EMPTY, |held, o| {
        if o.locks.has(lock) && with.contains(o.locks) { held.or(o.machines) } else { held }
    });
    if !seen.at_rest.contains(held) {
        return keep;
    }
    // SW-I6
    if table.set(with).engine_joined && table.overlaps.iter().any(|o| with.contains(o.locks)) {
        return keep;
    }
    keep.or(new)
}

// SW-I5
fn let_go_of_conflicts(table: &Table, seen: &Seen) -> Bits {
    let mut keep = seen.wanted.and(seen.granted);
    // Most of the time no lock of a conflict is held.
    if seen.surely_held.is_empty() {
        return keep;
    }
    for conflict in table.conflicts {
        if !seen.surely_held.contains(conflict.locks) {
            continue;
        }
        // One lock ends a minimal conflict. While one of it is on its way out, letting go of
        // another would take away a reaction for nothing.
        let going = seen.releasing.or(seen.granted).without(keep);
        if !going.and(conflict.locks).is_empty() {
            continue;
        }
        let mine = keep.and(conflict.locks);
        if let Some(lock) = conflict.first_of(mine) {
            keep = keep.with(lock, false);
        }
    }
    keep
}

/// The gate's own memory: what was granted, since when the rest is ordered open.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Hash)]
pub struct Watch {
    /// Closings that passed in the tick before.
    granted: Bits,
    /// Whether a tick has passed since the reset.
    awake: bool,
    /// Locks whose sides were seen to move apart since they were ordered open.
    seen_moving: Bits,
    /// Locks that were pressed since the reset.
    pressed: Bits,
    /// Ticks since each lock was last granted (or since the reset).
    open_ticks: [u16; MAX_LOCKS],
}

impl Watch {
    /// Closings that passed in the tick before.
    pub const fn granted(&self) -> Bits {
        self.granted
    }

    /// Locks that are not surely open: granted, said to be closed, released too short a time
    /// ago, or without a switch and not yet seen to move apart.
    pub fn possibly_closed(&self, table: &Table, reports: &Reports) -> Bits {
        let all = Bits::first(table.lock_count());
        let shown = reports.open.or(self.seen_moving.without(reports.switched));
        // What is shown counts only once its time is over.
        let open = all.and(shown).without(self.granted);
        all.without(open.filter(|lock| !self.is_younger(lock, self.release_ticks(table, lock))))
    }

    fn release_ticks(&self, table: &Table, lock: u8) -> u16 {
        table.locks.get(usize::from(lock)).map_or(0, |data| data.release_ticks)
    }

    /// Whether it is less than so many ticks since a lock was granted.
    fn is_younger(&self, lock: u8, ticks: u16) -> bool {
        self.open_ticks.get(usize::from(lock)).is_some_and(|&since| since < ticks)
    }

    /// Locks that were ordered open so short a time ago that they may rightly still be closed.
    pub fn releasing(&self, table: &Table) -> Bits {
        self.releasing_of(table, Bits::first(table.lock_count()))
    }

    fn releasing_of(&self, table: &Table, locks: Bits) -> Bits {
        locks.without(self.granted).filter(|lock| {
            let due = self.release_ticks(table, lock).saturating_add(table.timing.debounce);
            self.is_younger(lock, due)
        })
    }

    /// Locks that were pressed and may not have let go yet: they may still carry torque.
    pub fn still_pressed(&self, table: &Table) -> Bits {
        self.releasing_of(table, self.pressed)
    }

    /// See [`crate::kernel::Kernel::canonical`].
    pub(crate) fn make_canonical(&mut self, table: &Table) {
        self.pressed = Bits::EMPTY;
        for (i, (ticks, data)) in self.open_ticks.iter_mut().zip(table.locks).enumerate() {
            *ticks = (*ticks).min(data.release_ticks.saturating_add(table.timing.debounce));
            if data.has_switch {
                self.seen_moving = self.seen_moving.with(i as u8, false);
            }
        }
    }

    /// Whether this is the first tick since the reset.
    pub const fn is_asleep(&self) -> bool {
        !self.awake
    }

    /// The same memory for a supervisor that begins anew.
    #[must_use]
    pub const fn asleep(self) -> Watch {
        Watch { awake: false, ..self }
    }

    /// What may outlive a reset: locks granted, locks seen to move, ticks since each was pressed.
    pub(crate) const fn kept(&self) -> (Bits, Bits, [u16; MAX_LOCKS]) {
        (self.granted, self.seen_moving, self.open_ticks)
    }

    /// Asleep, with what was kept.
    pub(crate) fn of_kept(granted: Bits, seen_moving: Bits, open_ticks: [u16; MAX_LOCKS]) -> Watch {
        Watch { granted, seen_moving, open_ticks, ..Watch::default() }
    }

    /// With the first tick behind it.
    pub(crate) const fn awake(self) -> Watch {
        Watch { awake: true, ..self }
    }

    /// Begin: of the locks that were granted before the reset, those that are still closed
    /// (`held`: switch and speeds agree) stay so, unless they hold something that must turn.
    pub(crate) fn wake(&mut self, table: &Table, held: Bits) -> Bits {
        let stay = self.granted.and(held);
        self.granted = if table.forbids(stay) { Bits::EMPTY } else { stay };
        self.awake = true;
        self.granted
    }

    /// Remember what passed in this tick (`filled` was not yet ordered closed) and which
    /// locks were seen to move.
    pub fn remember(&mut self, table: &Table, granted: Bits, filled: Bits, moving: Bits) {
        let pressed = granted.or(filled);
        for (lock, ticks) in (0..table.lock_count()).zip(&mut self.open_ticks) {
            *ticks = if pressed.has(lock) { 0 } else { ticks.saturating_add(1) };
        }
        self.seen_moving = self.seen_moving.or(moving).without(pressed);
        self.pressed = self.pressed.or(pressed);
        self.granted = granted;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{Owned, Told};
    use crate::guards::Guards;
    use crate::io::LockReport;

    const A: Bits = Bits::one(0);
    const B: Bits = Bits::one(1);

    /// Everything permits lock 0 to begin closing.
    fn permits() -> Seen {
        Seen { wanted: A, ready: Bits(3), at_rest: Bits(3), ..Seen::default() }
    }

    /// Every switch says this.
    fn say(table: &Table, report: LockReport) -> Reports {
        Told { report: [report; MAX_LOCKS], ..Told::default() }.reports(table)
    }

    fn passes(seen: Seen) -> Bits {
        pass(&Owned::new().table(), &seen)
    }

    #[test]
    fn a_ready_lock_alone_passes_and_opening_always_does() {
        assert_eq!(passes(permits()), A);
        assert_eq!(passes(Seen { wanted: Bits::EMPTY, granted: A, ..permits() }), Bits::EMPTY);
    }

    /// The canonical test of SW-I1.
    #[test]
    fn sw_i1_no_closing_begins_without_its_slip() {
        assert_eq!(passes(Seen { ready: B, ..permits() }), Bits::EMPTY);
        // What was granted stays: closing is not taken back for its slip (that is decide's).
        assert_eq!(passes(Seen { ready: B, granted: A, ..permits() }), A);
    }

    /// The canonical test of SW-I2.
    #[test]
    fn sw_i2_no_closing_completes_a_forbidden_set() {
        assert_eq!(passes(Seen { maybe_closed: B, ..permits() }), Bits::EMPTY);
        assert_eq!(passes(Seen { granted: B, wanted: A.or(B), ..permits() }), B);
        // A lock that is being let go in this very tick is still closed.
        assert_eq!(passes(Seen { granted: B, ..permits() }), Bits::EMPTY);
    }

    /// The canonical test of SW-I3.
    #[test]
    fn sw_i3_an_overlap_begins_only_at_rest() {
        let mut owned = Owned::new();
        owned.conflicts.clear();
        owned.overlaps = std::vec![crate::table::Overlap { locks: A.or(B), machines: Bits(2) }];
        let table = owned.table();
        let seen = Seen { maybe_closed: B, ..permits() };
        assert_eq!(pass(&table, &seen), A);
        assert_eq!(pass(&table, &Seen { at_rest: Bits(1), ..seen }), Bits::EMPTY);
        assert_eq!(pass(&table, &Seen { at_rest: Bits(2), ..seen }), A);
    }

    /// The canonical test of SW-I4.
    #[test]
    fn sw_i4_two_closings_in_one_tick_are_none() {
        let mut owned = Owned::new();
        owned.conflicts.clear();
        let seen = Seen { wanted: A.or(B), ..permits() };
        assert_eq!(pass(&owned.table(), &seen), Bits::EMPTY);
    }

    /// The canonical test of SW-I5.
    #[test]
    fn sw_i5_a_conflict_is_ended_one_lock_at_a_time() {
        let both = A.or(B);
        let held = Seen { wanted: both, granted: both, surely_held: both, ..permits() };
        assert_eq!(passes(held), A, "the host's choice goes first");
        let stuck = Seen { granted: A, wanted: A, ..held };
        assert_eq!(passes(Seen { releasing: B, ..stuck }), A, "one is on its way out already");
        assert_eq!(passes(Seen { granted: both, ..stuck }), A, "or is let go in this very tick");
        assert_eq!(passes(stuck), Bits::EMPTY, "when it does not come out, the other goes");
        assert_eq!(passes(Seen { surely_held: A, ..held }), both, "no conflict, nothing is let go");
    }

    /// The canonical test of SW-I6.
    #[test]
    fn sw_i6_the_engine_is_never_joined_to_an_overlap() {
        let mut owned = Owned::new();
        owned.conflicts.clear();
        owned.overlaps = std::vec![crate::table::Overlap { locks: A.or(B), machines: Bits(2) }];
        let seen = Seen { maybe_closed: B, ..permits() };
        assert_eq!(pass(&owned.table(), &seen), A);
        owned.sets[3].engine_joined = true;
        assert_eq!(pass(&owned.table(), &seen), Bits::EMPTY);
        assert_eq!(pass(&owned.table(), &permits()), A, "no overlap");
    }

    /// Only what was granted before and is still closed is kept, and never a conflict.
    #[test]
    fn after_a_reset_only_clear_cases_are_kept() {
        let owned = Owned::new();
        let table = owned.table();
        let wake = |granted, held| {
            let mut watch = Watch::of_kept(granted, Bits::EMPTY, [0; MAX_LOCKS]);
            assert!(watch.is_asleep());
            let stay = watch.wake(&table, held);
            assert!(!watch.is_asleep());
            assert_eq!(watch.granted(), stay);
            stay
        };
        assert_eq!(wake(A, A), A);
        assert_eq!(wake(A, A.or(B)), A, "a lock that nobody granted is not kept");
        assert_eq!(wake(A.or(B), A), A, "nor one that is no longer closed");
        assert_eq!(wake(A.or(B), A.or(B)), Bits::EMPTY, "a conflict is not kept");
        assert_eq!(Watch::default().wake(&table, A), Bits::EMPTY, "without a trace nothing is");
        // The locks that are not kept may be closed still.
        let mut watch = Watch::of_kept(A, Bits::EMPTY, [0, 9, 9, 9, 9, 9, 9, 9]);
        watch.wake(&table, Bits::EMPTY);
        assert_eq!(watch.possibly_closed(&table, &say(&table, LockReport::Open)), A);
    }

    #[test]
    fn what_may_be_closed() {
        use LockReport::{Closed, Missing, Open};
        let mut owned = Owned::new();
        owned.locks[1].has_switch = false;
        let table = owned.table();
        let mut watch = Watch::default();
        let at = |watch: &Watch, report| watch.possibly_closed(&table, &say(&table, report));
        assert_eq!(at(&watch, Open), Bits(3), "just reset: everything");
        for _ in 0..owned.locks[0].release_ticks {
            assert_eq!(watch.releasing(&table), Bits(3));
            watch.remember(&table, Bits::EMPTY, Bits::EMPTY, Bits::EMPTY);
        }
        let mut debounced = watch;
        for _ in 0..owned.timing.debounce {
            assert_eq!(debounced.releasing(&table), Bits(3), "shown a debounce later");
            debounced.remember(&table, Bits::EMPTY, Bits::EMPTY, Bits::EMPTY);
        }
        assert_eq!(debounced.releasing(&table), Bits::EMPTY);
        assert_eq!(at(&watch, Open), B, "no switch, and not seen to move");
        assert_eq!(at(&watch, Missing), Bits(3));
        assert_eq!(at(&watch, Closed), Bits(3));
        watch.remember(&table, Bits::EMPTY, Bits::EMPTY, B);
        assert_eq!(at(&watch, Open), Bits::EMPTY);
        assert_eq!(watch.still_pressed(&table), Bits::EMPTY, "never pressed since the reset");
        watch.remember(&table, Bits::EMPTY, B, B);
        assert_eq!(at(&watch, Open), B, "filled: it has to be seen to move again");
        watch.remember(&table, Bits::EMPTY, Bits::EMPTY, Bits::EMPTY);
        assert_eq!(watch.still_pressed(&table), B);
        watch.remember(&table, A, Bits::EMPTY, Bits::EMPTY);
        assert_eq!(watch.granted(), A);
        assert!(at(&watch, Open).has(0), "granted");
    }
}
