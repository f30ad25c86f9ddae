//! What a lock that a fault closes leaves of an arrangement's road-speed window.
//!
//! Such a lock ties its shafts to the road whatever is ordered. Above the end of what is left, a shaft is
//! beyond its limit whatever the machines do, as long as these locks are closed.

use super::{End, Kinematics, NoWindow, Window, find_window};
use crate::driveline::{Driveline, LockId, MachineKind};

/// An arrangement with one more lock closed.
#[derive(Clone, Debug, PartialEq)]
pub struct PressedLock {
    /// Number of the arrangement.
    pub arrangement: usize,
    /// The lock that a fault closes.
    pub lock: LockId,
    /// Locks of the arrangement that must be let go, since they may not be closed together with it.
    pub let_go: u8,
    /// Output speeds at which every shaft can stay inside its limits then.
    pub window: Result<Window, NoWindow>,
}

/// Every arrangement with each lock that it leaves open, in file order. Where the two together hold the
/// output or the engine, the arrangement's own locks are let go, as few as will do (of several
/// choices the one that leaves most locks, then the first).
pub fn pressed_locks(d: &Driveline, k: &Kinematics) -> Vec<PressedLock> {
    let one = |(arrangement, lock): (usize, LockId)| {
        let data = &d.arrangements[arrangement];
        let let_go = let_go(data.closed, 1 << lock, |set| !k.set(set).verdict.is_forbidden())?;
        let left = data.closed & !let_go | 1 << lock;
        let window = find_window(d, k, left, data.engine);
        Some(PressedLock { arrangement, lock, let_go, window })
    };
    let open = |a: usize| {
        let locks = (0..d.locks.len()).filter(move |l| d.arrangements[a].closed >> l & 1 == 0);
        locks.map(move |lock| (a, lock))
    };
    (0..d.arrangements.len()).flat_map(open).filter_map(one).collect()
}

/// The same with what each shaft was tested to bear for a while in place of its limits. An engine that is driven
/// faster than it runs by itself is borne as long as its shaft is.
pub fn pressed_locks_tested(d: &Driveline, k: &Kinematics) -> Vec<PressedLock> {
    let mut tested = d.clone();
    for shaft in &mut tested.shafts {
        (shaft.min_rpm, shaft.max_rpm) = shaft.tested_limits_rpm();
    }
    for machine in &mut tested.machines {
        if let MachineKind::Engine(engine) = &mut machine.kind
            && let (Some(_), Some(most)) =
                (d.shafts[machine.shaft].tested_rpm, tested.shafts[machine.shaft].max_rpm)
        {
            engine.max_rpm = engine.max_rpm.max(most);
        }
    }
    pressed_locks(&tested, k)
}

/// The smallest part of `closed` without which the rest is allowed together with `pressed`; `None` when
/// that lock alone is not.
fn let_go(closed: u8, pressed: u8, allowed: impl Fn(u8) -> bool) -> Option<u8> {
    let parts = (0..=u8::MAX).filter(|part| part & !closed == 0);
    parts.filter(|part| allowed(closed & !part | pressed)).min_by_key(|part| part.count_ones())
}

impl PressedLock {
    /// Whether it leaves less than the arrangement's own window, at either end.
    pub fn narrows(&self, own: &Window) -> bool {
        let Ok(left) = &self.window else { return true };
        let end = |end: &End| end.output_rpm.clone();
        let above = match (end(&left.high), end(&own.high)) {
            (Some(left), Some(own)) => left < own,
            (left, own) => left.is_some() && own.is_none(),
        };
        let below = match (end(&left.low), end(&own.low)) {
            (Some(left), Some(own)) => left > own,
            (left, own) => left.is_some() && own.is_none(),
        };
        above || below
    }
}
