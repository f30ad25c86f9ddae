//! The energy book: every joule that enters or leaves the shafts, by cause.

use supervisor::bits::{MAX_LOCKS, MAX_MACHINES};

/// Work since the start, in J. Losses are positive when energy leaves the shafts.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct EnergyBook {
    /// Kinetic energy at the start.
    pub kinetic_start_j: f64,
    /// Kinetic energy now, shafts and vehicle.
    pub kinetic_j: f64,
    /// Work of each machine on its shaft (the engine's net work, its starter's included).
    pub machine_j: [f64; MAX_MACHINES],
    /// Friction heat of each lock, its drag included.
    pub lock_j: [f64; MAX_LOCKS],
    /// Energy lost in dog impacts and, at the level of rounding, in capture.
    pub impact_j: f64,
    /// Drag of the engine when it does not fire.
    pub engine_drag_j: f64,
    /// Rolling resistance and air.
    pub road_j: f64,
    /// Work against the slope; negative downhill.
    pub grade_j: f64,
    /// Service brake.
    pub brake_j: f64,
    /// Loss of the final drive.
    pub final_drive_j: f64,
    /// Heat of tyres that slip (a fault).
    pub tyre_j: f64,
    /// Loss of the gear meshes.
    pub mesh_j: f64,
    /// Losses of the electric machines and their inverters (outside the shafts).
    pub machine_loss_j: f64,
    /// Energy out of the battery's cells; negative when it is charged.
    pub battery_j: f64,
    /// Loss in the battery's resistance.
    pub battery_loss_j: f64,
    /// Used by the auxiliaries.
    pub auxiliary_j: f64,
}

impl EnergyBook {
    /// What the book fails to explain of the shafts' energy, in J: rounding only.
    pub fn mechanical_residual_j(&self) -> f64 {
        let work: f64 = self.machine_j.iter().sum();
        let heat: f64 = self.lock_j.iter().sum();
        let lost = heat
            + self.impact_j
            + self.engine_drag_j
            + self.road_j
            + self.grade_j
            + self.brake_j
            + self.final_drive_j
            + self.tyre_j
            + self.mesh_j;
        self.kinetic_j - self.kinetic_start_j - work + lost
    }

    /// The largest single entry in J, to measure the residual against.
    pub fn scale_j(&self) -> f64 {
        let others = [
            self.kinetic_start_j,
            self.kinetic_j,
            self.impact_j,
            self.engine_drag_j,
            self.road_j,
            self.grade_j,
            self.brake_j,
            self.final_drive_j,
            self.tyre_j,
            self.mesh_j,
        ];
        let all = self.machine_j.iter().chain(&self.lock_j).chain(&others);
        all.fold(0.0, |most: f64, x| if x.abs() > most { x.abs() } else { most })
    }
}
