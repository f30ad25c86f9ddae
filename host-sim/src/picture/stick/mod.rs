//! The stick diagram: the trade's schematic of a gearbox, laid out for any driveline.
//!
//! Gear sets, locks and machines stand side by side in a band; shafts run as horizontal lines
//! below it (towards the common axis) and above it (outside of the gears). Vertical pieces
//! join them. A vertical piece that only passes a shaft is broken there; one that joins it has
//! a dot. Same driveline, same bytes.

mod draw;
mod glyphs;
mod highlight;
mod order;
mod parts;
mod path;
mod place;

pub use highlight::{Flow, Highlight, ShaftState};
pub use parts::Part;
pub use path::{Operation, arrangement, conflict};

use crate::driveline::Driveline;

/// A driveline with its layout; draw it as often as needed.
#[derive(Clone, Debug)]
pub struct Stick<'a> {
    driveline: &'a Driveline,
    plan: order::Plan,
}

impl<'a> Stick<'a> {
    /// Lay out a driveline.
    pub fn new(driveline: &'a Driveline) -> Stick<'a> {
        Stick { driveline, plan: order::plan(driveline) }
    }

    /// The gearbox by itself, all locks open.
    pub fn plain(&self) -> String {
        self.draw(&Highlight::default())
    }

    /// The gearbox with something marked.
    pub fn draw(&self, highlight: &Highlight) -> String {
        draw::draw(self.driveline, &self.plan, highlight)
    }
}
