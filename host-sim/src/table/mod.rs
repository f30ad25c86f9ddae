//! The supervisor table: built by search, written as Rust, JSON or a diagram.

pub mod build;
pub mod data;
mod duties;
mod limits;
mod motion;
mod rows;
mod search;
mod steps;

pub use build::{build, first_step, stuck_variants};
pub use data::{Margin, StepNote, TableData, TableError};
pub use motion::{electric_push, is_electric, synchronisers};
pub use rows::RPM;
