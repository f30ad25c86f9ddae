//! Where the energy of a trace goes, by the same causes backward and forward, so that the two can
//! be compared term by term.

use super::model::Model;
use super::point::Losses;

/// Energy over some time, J. Fuel, battery and starter come in; everything else goes out.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Terms {
    /// Heating value of the fuel.
    pub fuel: f64,
    /// Out of the battery's cells.
    pub battery: f64,
    /// Work of the engine's starter, which has a supply of its own.
    pub starter: f64,
    /// Rolling and air.
    pub road: f64,
    /// Against the slope; negative downhill.
    pub grade: f64,
    /// Kinetic energy of vehicle and shafts at the end less that at the beginning.
    pub kinetic: f64,
    /// Service brake and slipping tyres.
    pub brake: f64,
    /// Pull that the wheels were to get and did not, as a negative figure.
    pub missed: f64,
    /// Engine: fuel that is not shaft work.
    pub engine: f64,
    /// Engine that is dragged unfired.
    pub dragged: f64,
    /// Electric machines with their inverters.
    pub machines: f64,
    /// Gear meshes.
    pub mesh: f64,
    /// Bearings and oil of shafts.
    pub spin: f64,
    /// Locks: drag of open ones, friction of closing ones, impacts.
    pub locks: f64,
    /// Final drive.
    pub final_drive: f64,
    /// Battery resistance.
    pub cells: f64,
    /// Auxiliaries.
    pub auxiliary: f64,
}

/// Number of causes for which energy goes out.
pub const CAUSES: usize = 14;

impl Terms {
    /// All that goes out, with the words for it.
    pub fn out(&self) -> [(&'static str, f64); CAUSES] {
        [
            ("rolling and air", self.road),
            ("slope", self.grade),
            ("speed gained", self.kinetic),
            ("brakes", self.brake),
            ("pull missed", self.missed),
            ("engine heat", self.engine),
            ("engine dragged", self.dragged),
            ("machines", self.machines),
            ("gear meshes", self.mesh),
            ("spin drag", self.spin),
            ("locks", self.locks),
            ("final drive", self.final_drive),
            ("battery heat", self.cells),
            ("auxiliaries", self.auxiliary),
        ]
    }

    /// What comes in less what goes out, J: rounding only.
    pub fn residual_j(&self) -> f64 {
        let out: f64 = self.out().iter().map(|t| t.1).sum();
        self.fuel + self.battery + self.starter - out
    }

    /// The sum of all sizes, to measure the residual against, J.
    pub fn scale_j(&self) -> f64 {
        let out: f64 = self.out().iter().map(|t| t.1.abs()).sum();
        self.fuel.abs() + self.battery.abs() + self.starter.abs() + out
    }

    /// Add the losses of a steady point that stands for this long.
    pub(super) fn add_losses(&mut self, model: &Model, l: &Losses, seconds: f64) {
        let machines: f64 = model.electric.iter().map(|e| l.machine[e.machine]).sum();
        self.machines += machines * seconds;
        self.engine += model.engine.as_ref().map_or(0.0, |e| l.machine[e.machine]) * seconds;
        self.dragged += l.dragged * seconds;
        self.mesh += l.mesh * seconds;
        self.spin += l.spin * seconds;
        self.locks += l.lock * seconds;
        self.final_drive += l.final_drive * seconds;
        self.cells += l.battery * seconds;
        self.auxiliary += l.auxiliary * seconds;
    }

    /// Add other terms.
    pub(super) fn add(&mut self, other: &Terms) {
        self.fuel += other.fuel;
        self.battery += other.battery;
        self.starter += other.starter;
        self.road += other.road;
        self.grade += other.grade;
        self.kinetic += other.kinetic;
        self.brake += other.brake;
        self.missed += other.missed;
        self.engine += other.engine;
        self.dragged += other.dragged;
        self.machines += other.machines;
        self.mesh += other.mesh;
        self.spin += other.spin;
        self.locks += other.locks;
        self.final_drive += other.final_drive;
        self.cells += other.cells;
        self.auxiliary += other.auxiliary;
    }
}
