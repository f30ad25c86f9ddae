//! Links only if no panic path is reachable from the supervisor's tick.
#![no_std]
#![no_main]

use core::hint::black_box;
use core::panic::PanicInfo;

use supervisor::Supervisor;
use supervisor::check::check_all;
use supervisor::io::Inputs;
use supervisor::schedule::{Chooser, Schedule};
use supervisor::table::Table;

unsafe extern "C" {
    /// Exists nowhere.
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    // SAFETY: never called: the image does not link when it is needed.
    unsafe { a_panic_can_be_reached() }
}

/// The table, the inputs and the supervisor come from outside: nothing about them is known.
#[unsafe(no_mangle)]
pub extern "C" fn tick(
    supervisor: &mut Supervisor,
    table: &Table<'_>,
    schedule: &Schedule<'_>,
    inputs: &Inputs,
) -> u32 {
    let output = supervisor.tick(black_box(table), black_box(inputs));
    let _ = black_box(output);
    let mut seen = 0u32;
    for event in supervisor.journal().iter() {
        seen = seen.wrapping_add(event.tick);
    }
    #[cfg(feature = "planted")]
    {
        seen += [1u32, 2, 3][black_box(seen) as usize];
    }
    let mut chooser = black_box(Chooser::default());
    let asked = chooser.tick(black_box(schedule), black_box(1.0), black_box(2.0), false);
    seen = seen.wrapping_add(u32::from(asked.unwrap_or(u8::from(schedule.is_sound(3)))));
    seen.wrapping_add(u32::from(black_box(check_all(table)).is_err()))
        .wrapping_add(black_box(supervisor.rise_k(table, black_box(3))) as u32)
}

#[unsafe(no_mangle)]
extern "C" fn _start() -> ! {
    let mut supervisor = Supervisor::new();
    loop {
        // SAFETY: never run; only linked.
        let (table, schedule, inputs) = unsafe {
            (
                &*black_box(core::ptr::null::<Table>()),
                &*black_box(core::ptr::null::<Schedule>()),
                &*black_box(core::ptr::null::<Inputs>()),
            )
        };
        black_box(tick(&mut supervisor, table, schedule, inputs));
    }
}
