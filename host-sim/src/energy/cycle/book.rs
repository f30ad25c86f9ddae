//! The energy book of a forward run by the loss model of the backward way: the plant's motion and
//! torques, but the losses of maps, spin drag and machines that are off as `energy` knows them.

use crate::driveline::{Driveline, LockKind};
use crate::energy::model::Model;
use crate::energy::terms::Terms;
use crate::plant::{EnergyBook, PlantState};

/// A machine that turns no faster than this, rad/s, and gives no more than [`IDLE_SHARE`] of its
/// torque is off, and loses nothing: the plant's torques fade out, and are never quite zero.
const IDLE_RADPS: f64 = 0.1;
/// See [`IDLE_RADPS`].
const IDLE_SHARE: f64 = 1e-3;

/// The book while it is written.
pub(super) struct Book<'a> {
    model: &'a Model,
    friction: Vec<bool>,
    terms: Terms,
    before: EnergyBook,
    start: EnergyBook,
    speed: [f64; crate::energy::MAX],
    heat: Vec<f64>,
    /// Friction heat of locks with pressure: closing, opening and slipping under load, J.
    pub(super) closing_j: f64,
    /// Heat of the friction locks, J.
    pub(super) lock_j: f64,
}

impl<'a> Book<'a> {
    /// Of a run that stands at its beginning.
    pub(super) fn new(d: &Driveline, model: &'a Model, plant: &PlantState) -> Book<'a> {
        let mut book = Book {
            model,
            friction: d.locks.iter().map(|l| matches!(l.kind, LockKind::Friction(_))).collect(),
            terms: Terms::default(),
            before: *plant.energy(),
            start: *plant.energy(),
            speed: [0.0; crate::energy::MAX],
            heat: vec![0.0; d.locks.len()],
            closing_j: 0.0,
            lock_j: 0.0,
        };
        book.speed.iter_mut().zip(plant.speeds_radps()).for_each(|(own, w)| *own = *w);
        book
    }

    /// One tick that has passed; torques are those of the plant's machines.
    pub(super) fn tick(&mut self, plant: &PlantState, dt_s: f64, running: bool) {
        let now = *plant.energy();
        let mut mean = self.speed;
        for (own, w) in mean.iter_mut().zip(plant.speeds_radps()) {
            *own = 0.5 * (*own + w);
        }
        let work = |m: usize| now.machine_j[m] - self.before.machine_j[m];
        let mut terminal_j = self.model.road.auxiliary_w * dt_s;
        self.terms.auxiliary += terminal_j;
        for e in &self.model.electric {
            let (nm, w) = (plant.machine(e.machine).torque_nm, mean[e.shaft]);
            let off = w.abs() <= IDLE_RADPS && nm.abs() <= IDLE_SHARE * e.max_nm;
            let loss_j = if off { 0.0 } else { e.loss.loss_w(nm, w) * dt_s };
            self.terms.machines += loss_j;
            terminal_j += work(e.machine) + loss_j;
        }
        let drag = |(w, [constant, linear]): (&f64, &[f64; 2])| {
            (constant + linear * w.abs()) * w.abs() * dt_s
        };
        let spin_j: f64 = mean.iter().zip(&self.model.spin).map(drag).sum();
        self.terms.spin += spin_j;
        terminal_j += spin_j;
        let cells_j = self.model.cells.map_or(0.0, |c| c.loss_w(terminal_j / dt_s) * dt_s);
        self.terms.cells += cells_j;
        self.terms.battery += terminal_j + cells_j;
        if let Some(e) = &self.model.engine {
            let own = work(e.machine);
            if running {
                let nm = plant.machine(e.machine).torque_nm.max(-e.drag_nm);
                let fuel_j = e.fuel.power_w(nm, mean[e.shaft].max(0.0)) * dt_s;
                self.terms.fuel += fuel_j;
                self.terms.engine += fuel_j - own;
            } else {
                self.terms.starter += own;
            }
        }
        self.locks(plant);
        self.before = now;
        self.speed.iter_mut().zip(plant.speeds_radps()).for_each(|(own, w)| *own = *w);
    }

    fn locks(&mut self, plant: &PlantState) {
        for (l, heat) in self.heat.iter_mut().enumerate() {
            let state = plant.lock(l);
            if self.friction[l] {
                self.lock_j += state.heat_j - *heat;
                self.closing_j += if state.pressure > 0.0 { state.heat_j - *heat } else { 0.0 };
            }
            *heat = state.heat_j;
        }
    }

    /// The terms, once the run is over: what the shafts did is in the plant's own book.
    pub(super) fn terms(&self) -> Terms {
        let (a, b) = (&self.start, &self.before);
        let locks = |book: &EnergyBook| book.lock_j.iter().sum::<f64>() + book.impact_j;
        Terms {
            road: b.road_j - a.road_j,
            grade: b.grade_j - a.grade_j,
            kinetic: b.kinetic_j - a.kinetic_j,
            brake: b.brake_j + b.tyre_j - a.brake_j - a.tyre_j,
            dragged: b.engine_drag_j - a.engine_drag_j,
            mesh: b.mesh_j - a.mesh_j,
            locks: locks(b) - locks(a),
            final_drive: b.final_drive_j - a.final_drive_j,
            ..self.terms
        }
    }
}
