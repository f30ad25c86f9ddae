//! The driveline: its file, its checks, its checked form.

pub mod model;

pub use model::*;
