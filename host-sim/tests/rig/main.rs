//! Boards under QEMU: the images of `tests/on-target` are built and run, with the plant here.

mod back_to_back;
mod cost;
mod covered;
mod events;
mod faults;
mod images;
mod ports;
mod stack_bound;
mod walk;
