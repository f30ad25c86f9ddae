//! Boards under QEMU: the images of `tests/on-target` are built and run, with the plant here.

mod back_to_back;
mod cost;
mod covered;
mod elf;
mod events;
mod faults;
mod flow;
mod images;
mod longest;
mod loops;
mod named;
mod places;
mod ports;
mod profile;
mod stack_bound;
mod thumb;
mod tick_bound;
mod trace;
mod walk;
