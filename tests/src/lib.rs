//! Shared helpers of the behaviour tests.

pub mod plant_drivelines;
