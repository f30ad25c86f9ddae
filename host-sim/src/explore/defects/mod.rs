//! One planted defect of the table at a time, and which judge finds it. A method that cannot find
//! a planted defect proves nothing.

mod alike;
pub mod command;
mod drives;
mod explored;
mod judged;
pub mod list;
mod list_gears;
mod list_numbers;
mod list_steps;
mod list_times;
mod list_ways;
mod reasons;
mod report;
pub mod run;

pub use alike::read_alike;
pub use drives::Drives;
pub use explored::{Explored, Explorer, Unfit};
pub use judged::{Judged, Outcome};
pub use list::{Defect, Part, all, planted_together};
pub use reasons::{Reason, excuse_unexplored};
pub use report::Report;
