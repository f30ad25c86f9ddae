//! The smallest image with the supervisor's tick in it, or (feature `empty`) without: the
//! difference is what the supervisor costs. What any caller needs (inputs, orders, the compiler's
//! functions that clear and copy them) is in both.
#![no_std]
#![no_main]

use board as _;
use core::hint::black_box;
use cortex_m_rt::entry;
use supervisor::Output;
use supervisor::io::Inputs;

#[cfg(not(feature = "empty"))]
type Memory = supervisor::Supervisor;
#[cfg(feature = "empty")]
type Memory = u32;

#[inline(never)]
fn tick(memory: &mut Memory, inputs: &Inputs) -> Output {
    #[cfg(not(feature = "empty"))]
    return memory.tick(board::table::TABLE, inputs);
    #[cfg(feature = "empty")]
    {
        *memory += u32::from(inputs.engine_running);
        black_box(Output::default())
    }
}

#[inline(never)]
fn work() {
    let mut memory = Memory::default();
    loop {
        let inputs = black_box(Inputs::default());
        let _ = black_box(tick(&mut memory, &inputs));
    }
}

#[entry]
fn main() -> ! {
    work();
    loop {
        cortex_m::asm::nop();
    }
}
