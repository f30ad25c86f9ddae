//! The table: what the host derives from one driveline, as plain data.
//!
//! The host builds it and can run it at once; firmware holds the same table as
//! generated source in flash. Speeds are rad/s, torques Nm, times ticks.
//! Every margin is already in the limits: "measured within" implies "truly within".

mod next;

use crate::bits::{Bits, MAX_MACHINES, MAX_SENSORS};

pub(crate) use next::NextSteps;
pub use next::{Stuck, Why};

/// Version of the table's layout; a table of another version is refused.
pub const TABLE_FORMAT: u16 = 3;

/// In [`Table::next`]: set in an entry that is no step; the low byte is a [`Why`].
pub const NO_STEP: u16 = 0x8000;

/// How many ways (orders of preference) the step search keeps.
pub const WAYS: usize = 3;

/// A linear form over the speed sensors.
pub type SpeedRow = [f32; MAX_SENSORS];
/// A linear form over the machine torques.
pub type TorqueRow = [f32; MAX_MACHINES];

/// Everything the supervisor knows of one driveline.
#[derive(Clone, Copy, Debug)]
pub struct Table<'a> {
    /// Layout version, [`TABLE_FORMAT`].
    pub format: u16,
    /// Hash of the table's content, written by the host.
    pub hash: u32,
    /// Machine that is the engine, if there is one.
    pub engine: Option<u8>,
    /// Lowest speed at which an engine that runs can be measured, rad/s: a lower reading is
    /// wrong. Not above zero: nothing is known of it.
    pub engine_min: f32,
    /// Speed of the output shaft over the sensors.
    pub output_row: SpeedRow,
    /// Sensors the output row reads.
    pub output_sensors: Bits,
    /// Largest change of the output speed, in rad/s over [`Timing::rate_ticks`], that tyres in grip can cause;
    /// above it nothing is closed.
    pub output_rate_max: f32,
    /// Timing in ticks.
    pub timing: Timing,
    /// Sensors in file order.
    pub sensors: &'a [Sensor],
    /// Locks in file order; bit `i` of a lock set is lock `i`.
    pub locks: &'a [Lock],
    /// Rest test of each machine's shaft, in machine order.
    pub rests: &'a [Rest],
    /// Relations between sensors that hold in every motion.
    pub parities: &'a [Parity],
    /// Minimal forbidden lock sets.
    pub conflicts: &'a [Conflict],
    /// Minimal lock sets that hold a machine's shaft (only at rest, only for a time).
    pub overlaps: &'a [Overlap],
    /// Named arrangements in file order.
    pub arrangements: &'a [Arrangement],
    /// What is known of each lock set, by bit pattern.
    pub sets: &'a [Set],
    /// All steps.
    pub steps: &'a [Step],
    /// Speed limits after a step, grouped by step.
    pub limits: &'a [Limit],
    /// `[way][stuck][set][arrangement]` -> step, or [`NO_STEP`] with the reason why.
    pub next: &'a [u16],
}

/// Periods and time-outs, in ticks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// One tick in seconds.
    pub tick_s: f32,
    /// Guards must hold this long before a lock is ordered.
    pub dwell: u16,
    /// Longest synchronising.
    pub sync_timeout: u16,
    /// Longest unloading.
    pub unload_timeout: u16,
    /// Longest stay in a lock set that holds a machine.
    pub overlap_max: u16,
    /// Shortest stay in an arrangement.
    pub min_stay: u16,
    /// A request must stand this long.
    pub request_dwell: u16,
    /// Wait after a failed attempt.
    pub retry_wait: u16,
    /// A disagreement must last this long to count as a fault.
    pub debounce: u16,
    /// Distance between the two samples of a slip rate.
    pub rate_ticks: u16,
    /// Longest wait for the engine to run.
    pub engine_timeout: u16,
    /// From a measurement to the torque being gone.
    pub react: u16,
    /// Attempts at one step.
    pub retries: u8,
}

/// One speed sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensor {
    /// Largest believable magnitude, rad/s.
    pub range: f32,
    /// Speeds that its shaft may have, rad/s.
    pub allowed: Window,
}

/// One lock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lock {
    /// Slip over the sensors.
    pub slip_row: SpeedRow,
    /// Sensors the slip row reads.
    pub sensors: Bits,
    /// Largest measured slip at which a closing may go on, rad/s (tightened).
    pub slip_max: f32,
    /// Largest measured slip at which a closing may begin, rad/s: less than `slip_max`, so that
    /// what is left of the synchronising does not carry it out again.
    pub begin_max: f32,
    /// Measured slip above this proves that the sides truly move apart, rad/s.
    pub moving_min: f32,
    /// Largest believed change of slip over [`Timing::rate_ticks`], rad/s.
    pub rate_max: f32,
    /// Whether it is a dog (no prefill).
    pub dog: bool,
    /// Whether a position switch exists.
    pub has_switch: bool,
    /// Ticks from the order until it can be closed.
    pub close_ticks: u16,
    /// Longest ticks from the order until it is shown closed.
    pub close_timeout: u16,
    /// Ticks from the order until it can be open.
    pub release_ticks: u16,
    /// Longest ticks from the order until it is shown open.
    pub release_timeout: u16,
    /// Estimated temperature rise of the plates per tick per rad/s of slip while closing, K.
    pub heat_k_per_radps_tick: f32,
    /// The same by the drag of oil while the plates are not pressed, K; zero where no rise is limited.
    pub drag_k_per_radps_tick: f32,
    /// Time constant of cooling, ticks.
    pub cooling_ticks: f32,
    /// Rise at which closing is inhibited, K; zero means no limit (dogs).
    pub rise_max_k: f32,
}

/// Rest test of one shaft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rest {
    /// Speed over the sensors.
    pub row: SpeedRow,
    /// Sensors the row reads.
    pub sensors: Bits,
    /// Largest measured speed that counts as rest, rad/s (tightened); zero: cannot be measured, never at rest.
    pub max: f32,
}

/// A linear relation between sensors that every motion fulfils.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parity {
    /// Coefficients; the sum is zero for healthy sensors.
    pub row: SpeedRow,
    /// Sensors it reads.
    pub sensors: Bits,
    /// Largest residual of healthy sensors, rad/s.
    pub max: f32,
}

/// A minimal forbidden lock set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Conflict {
    /// The locks that together hold a shaft that must turn.
    pub locks: Bits,
    /// Which of them to let go first when all are found closed, the host's choice.
    pub release_first: u8,
}

impl Conflict {
    /// Of `mine`, the lock to let go: the host's choice when it is among them.
    pub const fn first_of(&self, mine: Bits) -> Option<u8> {
        if mine.has(self.release_first) { Some(self.release_first) } else { mine.lowest() }
    }
}

/// A minimal lock set that holds a machine's shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Overlap {
    /// The locks.
    pub locks: Bits,
    /// Machines whose shafts are held (must be at rest).
    pub machines: Bits,
}

/// What a machine does while an arrangement stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Duty {
    /// Follow the driver's demand.
    Free,
    /// No torque.
    Unload,
    /// Hold `per_output x output speed + per_pace x pace` ([`Pace`]).
    Hold {
        /// Machine speed per output speed.
        per_output: f32,
        /// Machine speed per engine speed.
        per_pace: f32,
    },
}

/// Engine speed that an arrangement runs at: `per_output x output speed`, kept within
/// `min..=max` (rad/s). All zero when the engine is not joined.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Pace {
    /// Engine speed per output speed.
    pub per_output: f32,
    /// Lowest, rad/s.
    pub min: f32,
    /// Highest, rad/s.
    pub max: f32,
}

/// Whether the engine runs in an arrangement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EngineUse {
    /// It runs.
    On,
    /// It stands, or runs out.
    Off,
    /// As it is.
    Either,
}

/// A named arrangement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrangement {
    /// Its lock set.
    pub closed: Bits,
    /// Engine on, off, either.
    pub engine: EngineUse,
    /// What each machine does.
    pub duties: [Duty; MAX_MACHINES],
    /// Engine speed it runs at.
    pub pace: Pace,
    /// Road-speed window in which it may be asked for, as output speed, rad/s (tightened).
    pub window: Window,
    /// Window in which it may stay: a little wider, so that it is not left as soon as it is reached.
    pub keep: Window,
}

/// What is known of one lock set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Set {
    /// Whether machines can push the output.
    pub drives: bool,
    /// Whether the engine's shaft is joined to anything.
    pub engine_joined: bool,
    /// Whether torque passes between the engine's shaft and the output.
    pub engine_geared: bool,
    /// Machines whose shafts are held.
    pub held_machines: Bits,
    /// Arrangement to fall back to, by stuck variant 0 (nothing stuck); 255: none.
    pub fallback: u8,
}

/// A range of output speed, rad/s; empty when `min > max`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Lowest.
    pub min: f32,
    /// Highest.
    pub max: f32,
}

/// Close or open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Action {
    /// Synchronise and close.
    Close,
    /// Unload and open.
    Open,
}

/// What the engine must do before a step may be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EngineNeed {
    /// Nothing.
    Any,
    /// It must run by itself.
    Running,
}

/// What a machine does during a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StepDuty {
    /// Follow the driver's demand.
    Free,
    /// No torque.
    Unload,
    /// Bring the slip to zero (its target is the step's).
    Sync,
    /// Take `share x demand at the output`.
    Take {
        /// Machine torque per output torque.
        share: f32,
    },
}

/// One lock action with all that belongs to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Lock set it starts from.
    pub from: Bits,
    /// The lock that moves.
    pub lock: u8,
    /// Close or open.
    pub action: Action,
    /// Whether the push at the wheels is kept all through it.
    pub keeps_push: bool,
    /// What the engine must do first.
    pub engine: EngineNeed,
    /// What each machine does.
    pub duties: [StepDuty; MAX_MACHINES],
    /// Target speed of the synchronising machine over the sensors.
    pub target_row: SpeedRow,
    /// Added to the target, rad/s (a dog wants a small offset).
    pub target_offset: f32,
    /// Lowest target, rad/s (tightened).
    pub target_min: f32,
    /// Highest target, rad/s (tightened).
    pub target_max: f32,
    /// Sensors the step relies on.
    pub sensors: Bits,
    /// Torque in the lock over the machine torques (opening).
    pub load_row: TorqueRow,
    /// Largest load at which it may open, Nm (tightened).
    pub load_max: f32,
    /// Largest demand at the output, Nm, up to which it may be taken.
    pub demand_max: f32,
    /// Road-speed window as output speed, rad/s (tightened).
    pub window: Window,
    /// Machines whose shafts must be at rest.
    pub rest: Bits,
    /// First of its entries in [`Table::limits`].
    pub limits_from: u32,
    /// How many entries in [`Table::limits`] it has.
    pub limits_count: u8,
}

/// A shaft's speed as it will be once the slip is gone, and what it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Predicted speed over the sensors.
    pub row: SpeedRow,
    /// Lowest, rad/s (tightened).
    pub min: f32,
    /// Highest, rad/s (tightened).
    pub max: f32,
}
