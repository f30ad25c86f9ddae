//! The closed loop: driver, drive controller, supervisor and plant, tick by tick.

pub mod balance;
pub mod charge;
pub mod dense;
pub mod governor;
pub mod motion;
pub mod plan;
