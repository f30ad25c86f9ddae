//! Exploring every reachable state of the real kernel (decision and interlock) against a world
//! as hostile as physics allows.

pub mod chooser;
pub mod command;
pub mod environment;
pub mod live;
pub mod model;
pub mod path;
pub mod search;
pub mod senses;
pub mod shrink;
pub mod store;
