//! Driveline supervisor: a table-driven state machine that lets a lock close
//! only at almost no slip, and never lets two locking paths conflict.
//!
//! One tick is `observe -> decide -> interlock -> orders`. All floating point
//! of the decisions lives in [`observe`]; [`decide`](mod@decide) and [`interlock`]
//! are pure functions of bits and small integers, so that a host can explore the
//! compiled code exhaustively. No heap, no panic path, no `unsafe`, bounded loops.
#![no_std]
#![forbid(unsafe_code)]
// No panic path: nothing that could index out of range, overflow or unwrap.
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::arithmetic_side_effects,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::integer_division,
        clippy::float_arithmetic
    )
)]

#[cfg(test)]
extern crate std;

pub mod bits;
pub mod board;
pub mod check;
mod choose;
mod creep;
pub mod decide;
#[cfg(test)]
mod decision_tables;
#[cfg(test)]
mod fixture;
pub mod guards;
pub mod hash;
#[allow(clippy::float_arithmetic, reason = "it measures")]
pub mod heat;
pub mod interlock;
pub mod io;
pub mod journal;
pub mod kernel;
pub mod link;
pub mod locks;
mod midway;
#[allow(clippy::float_arithmetic, reason = "it measures")]
pub mod observe;
#[allow(clippy::float_arithmetic, reason = "it reckons targets")]
mod plan;
mod race;
pub mod request;
#[allow(clippy::float_arithmetic, reason = "it measures")]
pub mod schedule;
pub mod status;
mod stray;
mod supervisor;
pub mod table;
pub mod trace;
mod unasked;
mod unseen;

pub use supervisor::{Output, Supervisor};
