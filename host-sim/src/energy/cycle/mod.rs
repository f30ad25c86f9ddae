//! Over a trace: backward with the best possible choice and the schedule's, forward with the real
//! supervisor; both with the charge priced, or brought back.

pub mod backward;
mod book;
pub mod built_in;
pub mod choice;
pub mod command;
pub mod forward;
mod held_report;
mod picture;
mod report;
pub mod sustain;
pub mod trace;
