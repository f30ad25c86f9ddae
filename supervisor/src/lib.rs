//! Driveline supervisor: a table-driven state machine that lets a lock close
//! only at almost no slip, and never lets two locking paths conflict.
//!
//! One tick is `observe -> decide -> interlock -> orders`. All floating point
//! lives in `observe`; `decide` and `interlock` are pure functions of bits and
//! small integers, so that a host can explore them exhaustively.
#![no_std]
#![forbid(unsafe_code)]

pub mod bits;
pub mod io;
