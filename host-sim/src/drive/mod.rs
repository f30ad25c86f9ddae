//! The closed loop: driver, drive controller, supervisor and plant, tick by tick.

pub mod balance;
mod calls;
pub mod charge;
pub mod closed_loop;
pub mod command;
pub mod dense;
pub mod driver;
pub mod faults;
mod faults_now;
pub mod governor;
pub mod knowledge;
mod limits;
pub mod mdf;
pub mod motion;
pub mod plan;
mod prepared;
pub mod reason;
pub mod record;
pub mod scenario;
pub mod simulate;
pub mod summary;
pub mod summary_text;
pub mod trace;
mod witness;
