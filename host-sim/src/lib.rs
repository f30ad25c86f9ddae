//! Slipwarden's host side: from one driveline file to a running, checked supervisor.
#![forbid(unsafe_code)]

// First: its macros are in scope of the modules after it.
#[macro_use]
mod terminal;

pub mod audit;
pub mod campaign;
pub mod checkers;
pub mod cli;
pub mod drive;
pub mod driveline;
pub mod energy;
pub mod exact;
pub mod explain;
pub mod explore;
pub mod export;
pub mod generated;
pub mod input;
pub mod kinematics;
pub mod picture;
pub mod plant;
pub mod review;
pub mod rig;
pub mod survey;
pub mod table;
pub(crate) mod text;
