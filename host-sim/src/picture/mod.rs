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

/// Where a timeline's plot begins and how wide it is, in px of the picture: for a line that moves
/// with the time.
pub(crate) fn timeline_plot() -> (f64, f64) {
    (panels::LEFT, panels::PLOT)
}
