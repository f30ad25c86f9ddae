//! Shared helpers of the behaviour tests.

pub mod defects_found;
pub mod demo;
mod demo_run;
pub mod drivelines;
pub mod page;
pub mod plant_drivelines;
pub mod random;
pub mod source;
pub mod story;
pub mod tabled;
pub mod tables;
