//! Exploring every reachable state of the real kernel (decision and interlock) against a world
//! as hostile as physics allows.

pub mod always;
pub mod answers;
pub mod cells;
pub mod checkpoint;
pub mod chooser;
pub mod codes;
pub mod command;
pub mod defects;
pub mod environment;
pub mod excuses;
pub mod expand;
pub mod live;
pub mod model;
pub mod once;
pub mod path;
pub mod report;
pub mod scenario;
pub mod search;
pub mod senses;
pub mod shrink;
pub mod sometimes;
pub mod store;
pub mod table;
