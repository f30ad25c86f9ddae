//! Boards under QEMU: the images of `tests/on-target` are built and run, with the plant here.

mod back_to_back;
mod cost;
mod covered;
mod faults;
mod images;
mod stack_bound;
mod walk;
