//! Over a trace: backward with the best possible choice and the schedule's, forward with the real
//! supervisor.

pub mod backward;
pub mod built_in;
pub mod choice;
pub mod command;
pub mod forward;
mod picture;
mod report;
pub mod trace;
