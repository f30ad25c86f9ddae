//! How one transition goes at one road speed, step by step, from the board's own rows.

mod command;
mod walk;
mod words;

pub use command::explain;
pub use walk::{Blocked, Explained, StepExplained, arrangement_speeds, explain_way, speeds_in};
pub use words::{blocked_text, text};
