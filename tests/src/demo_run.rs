//! Runs of a demo: apart from [`Demo`], so that tests of tables need nothing that drives.

use host_sim::drive::closed_loop::Setup;
use host_sim::drive::simulate::{Outcome, RunError, simulate};

use crate::demo::Demo;

impl Demo {
    /// A run without trace.
    ///
    /// # Errors
    /// Why it cannot start.
    pub fn try_run(&self, setup: &Setup, seed: u64) -> Result<Outcome, RunError> {
        simulate(&self.driveline, &self.kinematics, self.table.table(), setup, seed, None)
    }
}
