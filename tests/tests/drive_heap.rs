//! A tick of the closed loop asks for no memory, once the preparation has what the drive needs.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::sync::Arc;

use host_sim::drive::closed_loop::{Prepared, Run};
use host_sim::drive::scenario::{self, READY};
use slipwarden_tests::demo::Demo;

thread_local! {
    static ASKED: Cell<u64> = const { Cell::new(0) };
}

/// The system's memory, with a count of how often this thread asked for some.
struct Counted;

// SAFETY: every call is handed to the system's allocator unchanged; the count is a plain number of
// this thread, made without memory of its own.
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ASKED.with(|asked| asked.set(asked.get() + 1));
        // SAFETY: as the caller promises.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        // SAFETY: as the caller promises.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static MEMORY: Counted = Counted;

fn asked() -> u64 {
    ASKED.with(Cell::get)
}

#[test]
fn a_tick_asks_for_no_memory() {
    for ready in READY {
        let demo = Demo::new(ready.driveline);
        let setup = scenario::parse(ready.name, ready.text, &demo.driveline).expect("good").setup;
        let prepared = Prepared::new(&demo.driveline, demo.table.table()).expect("complete");
        let prepared = Arc::new(prepared);
        let drive = || {
            let mut run = Run::of(&prepared, &setup, 1).expect("it starts");
            let before = asked();
            while run.next_tick().is_some() {}
            asked() - before
        };
        assert!(drive() > 0, "{}: the first drive has something to work out", ready.name);
        assert_eq!(drive(), 0, "{}", ready.name);
    }
}
