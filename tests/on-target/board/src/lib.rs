//! What the images for QEMU's mps2-an386 share: table, memory of one context, serial ports, pins,
//! watchdog, events, the debugger's door to the host. For a real board `uart`, `pins`, `dog` and
//! `log` are what changes.
#![no_std]

pub mod dog;
pub mod host;
pub mod log;
pub mod own;
pub mod pins;
pub mod table;
pub mod uart;

use supervisor::link::node::build_name;

/// Name of this build, as the hello tells it.
pub const BUILD: [u8; 16] = build_name(concat!("board ", env!("CARGO_PKG_VERSION")));

/// Whatever goes wrong for good: outputs to what they are without current, then out. A real board
/// would reset here.
pub fn give_up(code: u32) -> ! {
    cortex_m::interrupt::disable();
    let left = pins::all_off();
    // A pin that stayed on would show in the exit code.
    host::exit(code + left)
}

/// Exit code of a panic; 15 and less are added when pins stayed on.
pub const PANIC: u32 = 0x50;
/// Exit code of a fault of the processor.
pub const FAULT: u32 = 0x60;
/// Exit code of an interrupt that nobody expects.
pub const STRANGE: u32 = 0x70;

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    give_up(PANIC)
}

#[cortex_m_rt::exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    give_up(FAULT)
}

// Before memory is set up: no current anywhere, whatever the last program left.
core::arch::global_asm!(
    ".global __pre_init",
    ".type __pre_init,%function",
    ".thumb_func",
    "__pre_init:",
    "ldr r0, =0x4002804C",
    "movs r1, #0",
    "str r1, [r0]",
    "bx lr",
    ".pool",
    ".size __pre_init, . - __pre_init",
);
