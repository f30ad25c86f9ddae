//! Shrunk timers: the same table with every time as short as its order among the others allows.
//!
//! The kernel compares counters with thresholds and never adds two of them, so only the order
//! of the thresholds that one counter meets matters for what it can do, and the environment may
//! take any delay in between. What matters across counters is kept too: a lock's true release
//! never takes longer than its bound, closing may take from one tick to for ever, and a lock
//! that is being let go overlaps in time with the next one that is prepared.

use crate::table::TableData;

/// The table with shrunk timers. Rows, steps and conflicts are the same data.
pub fn shrunk(data: &TableData) -> TableData {
    let mut small = data.clone();
    let timing = &mut small.timing;
    timing.debounce = 1;
    timing.dwell = 2;
    timing.request_dwell = 1;
    timing.rate_ticks = 1;
    timing.min_stay = 2;
    timing.retry_wait = 2;
    timing.sync_timeout = 2;
    timing.unload_timeout = 2;
    timing.overlap_max = 4;
    timing.engine_timeout = 2;
    timing.retries = timing.retries.min(2);
    for lock in &mut small.locks {
        lock.close_ticks = 1;
        lock.close_timeout = 3;
        lock.release_ticks = 2;
        lock.release_timeout = 3;
    }
    small.hash = supervisor::hash::table_hash(&small.table());
    small
}
