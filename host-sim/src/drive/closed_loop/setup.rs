//! What happens in a run, and why one cannot start.

use crate::drive::driver::Wish;
use crate::drive::faults::TimedFault;

/// What happens in a run, with every name resolved.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Length, s.
    pub duration_s: f64,
    /// Road speed at the start, km/h.
    pub start_speed_kmh: f64,
    /// Arrangement at the start; `None`: every lock open.
    pub start_arrangement: Option<usize>,
    /// State of charge at the start, 0 to 1.
    pub start_charge: f64,
    /// Locks whose plates are hot at the start, and by how much over the oil, K. The supervisor
    /// knows it: the run begins in the middle of a drive.
    pub start_rises_k: Vec<(usize, f64)>,
    /// What the driver follows.
    pub wish: Wish,
    /// Slope over time: (s, rise per horizontal distance).
    pub grade: Vec<(f64, f64)>,
    /// Requests: (s, arrangement), rising in time.
    pub requests: Vec<(f64, usize)>,
    /// Faults.
    pub faults: Vec<TimedFault>,
}

/// Why a run cannot start.
#[derive(Clone, Debug, PartialEq)]
pub struct CannotRun(pub String);

impl std::fmt::Display for CannotRun {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for CannotRun {}
