//! The supervisor table: built by search, written as Rust, JSON or a diagram.

mod accelerations;
pub mod build;
mod closings;
pub mod command;
pub mod data;
mod duties;
mod json;
mod limits;
mod motion;
mod openings;
mod rows;
mod rust;
mod search;
mod steps;
mod words;

pub use accelerations::sensor_bands_radps;
pub use build::{build, stuck_variants};
pub use data::{Margin, StepNote, TableData, TableError};
pub use json::{TABLE_JSON_FORMAT, json, why_word};
pub use motion::{electric_push, is_electric, synchronisers};
pub use rows::RPM;
pub use rust::rust_source;
pub(crate) use words::path;
pub use words::step_word;
pub use words::text;
