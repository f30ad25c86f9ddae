//! Driveline supervisor: a table-driven state machine that lets a lock close
//! only at almost no slip, and never lets two locking paths conflict.
//!
//! One tick is `observe -> decide -> interlock -> orders`. All floating point
//! of the decisions lives in [`observe`]; [`decide`](mod@decide) and [`interlock`]
//! are pure functions of bits and small integers, so that a host can explore the
//! compiled code exhaustively. No heap, no panic path, no `unsafe`, bounded loops.
#![no_std]
#![forbid(unsafe_code)]

pub mod bits;
mod choose;
pub mod decide;
pub mod guards;
pub mod hash;
pub mod heat;
pub mod interlock;
pub mod io;
pub mod journal;
pub mod locks;
pub mod observe;
mod plan;
pub mod request;
pub mod status;
mod supervisor;
pub mod table;

pub use supervisor::{Output, Supervisor};
