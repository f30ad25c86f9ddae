//! What each arrangement costs, which one is best where, and a schedule for the supervisor.
//!
//! driveline file -> [`model::Model`] (losses, limits, torque equations of each arrangement) ->
//! [`search::best`] (the best steady point of one arrangement for one demand) -> maps, cruise
//! tables, cycles, dynamic programming, schedule. Steady states only: what a transition costs is
//! a bound added by the cycles; the forward runs are where transitions really happen.

pub mod command;
pub mod cruise;
pub mod cycle;
pub mod data;
pub mod grid;
mod lines;
pub mod losses;
pub mod map;
pub mod model;
pub mod pictures;
pub mod point;
pub mod schedule;
pub mod search;
mod statics;
mod stop;
pub mod terms;
mod text;
pub mod vehicle;
mod words;

/// Most shafts, and so most of anything that is counted here.
pub(crate) const MAX: usize = 16;
/// rad/s per rpm.
pub(crate) const RPM: f64 = std::f64::consts::PI / 30.0;

/// What the driveline must do at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Demand {
    /// Road speed, m/s.
    pub mps: f64,
    /// Force at the wheels, N.
    pub force_n: f64,
    /// Speed of the output shaft, rad/s.
    pub output_radps: f64,
    /// Torque at the output shaft, Nm.
    pub output_nm: f64,
}
