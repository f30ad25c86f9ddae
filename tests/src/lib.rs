//! Shared helpers of the behaviour tests.

pub mod drivelines;
pub mod random;
