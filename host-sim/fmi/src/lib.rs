//! The border to C of the units for co-simulation: the functions that FMI 2.0 and 3.0 ask of a
//! shared library, over [`Session`](host_sim::export::Session).
//!
//! This is the only crate of the program that holds `unsafe`, in three kinds, each with its reason
//! where it stands: memory of the caller is read and written (`memory`), instances and saved states
//! go to the caller as pointers and come back (`handle`), and an instance keeps what it borrows
//! from beside it (`bound`). No panic crosses the border: it becomes the status `Error`, and the
//! instance is of no more use. Pointers that were never given out, or were given back, cannot be
//! told from good ones; the standard forbids them.
//!
//! Names of functions and their arguments are the standard's.

mod bound;
mod fmi2;
mod fmi3;
mod handle;
mod logger;
mod memory;
mod resources;

pub use fmi2::*;
pub use fmi3::*;
pub use handle::{Handle, Saved};
