//! Pictures a person can read.

pub mod card;
mod columns;
pub mod diagram;
mod inline;
pub mod levers;
pub mod palette;
mod panels;
pub mod scale;
pub mod stick;
pub mod svg;
mod timeline;

pub(crate) use inline::inlined;
pub use timeline::{Timeline, TimelineText};

/// Where a timeline's plot begins and how wide it is, in px of the picture: for a line that moves
/// with the time.
pub(crate) fn timeline_plot() -> (f64, f64) {
    (panels::LEFT, panels::PLOT)
}
