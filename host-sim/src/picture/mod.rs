//! Pictures a person can read.

mod columns;
pub mod diagram;
pub mod palette;
mod panels;
pub mod scale;
pub mod stick;
pub mod svg;
mod timeline;

pub use timeline::{Timeline, TimelineText};
