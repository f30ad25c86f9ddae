//! Shrunk timers: the same table with every time as short as its order among the others allows.
//!
//! The kernel compares counters with thresholds and never adds two of them, so only the order
//! of the thresholds that one counter meets matters for what it can do, and the environment may
//! take any delay in between. What matters across counters is kept too: where a release truly
//! takes longer than the next closing takes to be prepared, it does so here, and where an overlap
//! may outlast a release, it may here. A time that is one tick is one that nothing can happen
//! within; the others are at least two, so that both what happens before and after is seen.

use crate::table::TableData;

/// Ticks from waking to an order: wake, rest, prepare.
const WAKE_TO_PREPARE: u16 = 3;

/// The table with shrunk timers. Rows, steps and conflicts are the same data.
pub fn shrunk(data: &TableData) -> TableData {
    let mut small = data.clone();
    let real = &data.timing;
    let timing = &mut small.timing;
    // Evidence that may come in any tick, or not, needs no more than one.
    timing.debounce = 1;
    timing.request_dwell = 1;
    timing.rate_ticks = 1;
    // Filling begins in the middle of the dwell.
    timing.dwell = 2;
    timing.min_stay = 2;
    timing.retry_wait = 2;
    timing.sync_timeout = 2;
    timing.unload_timeout = 2;
    timing.engine_timeout = 2;
    timing.retries = timing.retries.min(2);
    let mut longest = 0;
    for lock in &mut small.locks {
        let slow = lock.release_ticks > real.dwell.saturating_add(WAKE_TO_PREPARE);
        lock.close_ticks = 1;
        lock.close_timeout = 3;
        lock.release_ticks = if slow { timing.dwell + WAKE_TO_PREPARE } else { timing.dwell };
        lock.release_timeout = lock.release_ticks + 1;
        longest = longest.max(lock.release_timeout);
    }
    let outlasts = data.locks.iter().all(|lock| real.overlap_max > lock.release_timeout);
    timing.overlap_max = if outlasts { longest + 2 } else { 4 };
    small.hash = supervisor::hash::table_hash(&small.table());
    small
}
