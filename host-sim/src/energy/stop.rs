//! Ctrl-C while figures are worked out: nothing is printed or written, as a part of a map or of a
//! trace is no result. What has begun to be delivered is delivered whole.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Exit code of a run that was stopped: inconclusive.
const STOPPED: i32 = 3;

/// Held by whoever ends the run: the one who delivers, or the one who stops.
static ENDING: Mutex<()> = Mutex::new(());
static ASKED: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C ends the run at once with a sentence and exit code 3.
pub(super) fn listen() {
    // Where no handler can be set, Ctrl-C ends the program as it always did.
    let _ = ctrlc::set_handler(|| {
        if ASKED.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
        let Ok(_ending) = ENDING.try_lock() else { return };
        eprintln!("stopped: an unfinished part is no result, so nothing is printed or written");
        eprintln!("    fix: run the same command again; there is nothing to be resumed");
        std::process::exit(STOPPED);
    });
}

/// From now on the result is printed or written whole, and a first Ctrl-C waits for that.
pub(super) fn deliver() -> MutexGuard<'static, ()> {
    ENDING.lock().unwrap_or_else(PoisonError::into_inner)
}
