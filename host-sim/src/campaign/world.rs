//! What is the same for all cases of a campaign.

use std::sync::Arc;

use super::axes::Axes;
use super::faults::{Kind, kinds};
use crate::drive::closed_loop::{CannotRun, Prepared};
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;
use crate::plant::STANDARD_GRAVITY;
use crate::review::Subject;
use crate::review::window_kmh;
use crate::table::TableData;

/// A driveline and its table, ready for cases.
#[derive(Clone, Debug)]
pub struct World {
    /// The driveline, its kinematics and the table that it should have.
    pub subject: Subject,
    /// The table that the supervisor runs: that of the subject, or one with a planted defect.
    pub table: TableData,
    /// Road-speed window of each arrangement, km/h.
    pub windows_kmh: Vec<(f64, f64)>,
    /// Steepest road, rise per horizontal distance: what takes 60 % of the largest acceleration.
    pub grade_max: f64,
    /// Every kind of fault that this driveline can have.
    pub kinds: Vec<Kind>,
    /// What coverage counts.
    pub axes: Axes,
}

impl World {
    /// For a driveline that has all that a plant needs.
    pub fn new(subject: Subject) -> World {
        let d = &subject.driveline;
        let windows = (0..d.arrangements.len()).map(|a| window_kmh(&subject, a)).collect();
        let pull = d.vehicle.as_ref().map_or(1.0, |v| v.max_acceleration_mps2);
        World {
            windows_kmh: windows,
            grade_max: (0.6 * pull / STANDARD_GRAVITY).min(0.3),
            kinds: kinds(d),
            axes: Axes::new(d, &subject.table),
            table: subject.table.clone(),
            subject,
        }
    }

    /// The same with another table for the supervisor.
    #[must_use]
    pub fn with_table(&self, table: TableData) -> World {
        World { table, ..self.clone() }
    }

    /// What all runs share.
    ///
    /// # Errors
    /// When the driveline lacks data for the plant.
    pub fn prepared(&self) -> Result<Arc<Prepared<'_>>, CannotRun> {
        Prepared::new(self.driveline(), self.table.table()).map(Arc::new)
    }

    /// The driveline.
    pub fn driveline(&self) -> &Driveline {
        &self.subject.driveline
    }

    /// Its kinematics.
    pub fn kinematics(&self) -> &Kinematics {
        &self.subject.kinematics
    }
}
