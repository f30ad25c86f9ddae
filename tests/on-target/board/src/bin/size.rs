//! The smallest image with the supervisor's tick in it, or (feature `empty`) without: the
//! difference is what the supervisor costs.
#![no_std]
#![no_main]

use board as _;
use core::hint::black_box;
use cortex_m_rt::entry;

#[cfg(not(feature = "empty"))]
#[inline(never)]
fn work() {
    let mut supervisor = supervisor::Supervisor::new();
    loop {
        let inputs = black_box(supervisor::io::Inputs::default());
        let _ = black_box(supervisor.tick(board::table::TABLE, &inputs));
    }
}

#[cfg(feature = "empty")]
#[inline(never)]
fn work() {
    black_box(0);
}

#[entry]
fn main() -> ! {
    work();
    loop {
        cortex_m::asm::nop();
    }
}
