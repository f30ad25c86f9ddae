//! Pictures a person can read.

mod columns;
pub mod diagram;
mod panels;
pub mod scale;
pub mod svg;
mod timeline;

pub use timeline::{Timeline, TimelineText};
