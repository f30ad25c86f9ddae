//! The table as the host owns it, with the notes that the board does not need.

use supervisor::table as t;

/// An owned supervisor table.
#[derive(Clone, Debug, PartialEq)]
pub struct TableData {
    /// Name of the driveline.
    pub name: String,
    /// Content hash (CRC-32C), as in the generated source.
    pub hash: u32,
    /// Machine that is the engine.
    pub engine: Option<u8>,
    /// Lowest speed at which a running engine can be measured, rad/s.
    pub engine_min: f32,
    /// Speed of the output over the sensors.
    pub output_row: t::SpeedRow,
    /// Sensors of the output row.
    pub output_sensors: supervisor::bits::Bits,
    /// Largest believed change of output speed over the rate distance, rad/s.
    pub output_rate_max: f32,
    /// Timing in ticks.
    pub timing: t::Timing,
    /// Sensors.
    pub sensors: Vec<t::Sensor>,
    /// Locks.
    pub locks: Vec<t::Lock>,
    /// Rest tests.
    pub rests: Vec<t::Rest>,
    /// Parity relations.
    pub parities: Vec<t::Parity>,
    /// Minimal forbidden lock sets.
    pub conflicts: Vec<t::Conflict>,
    /// Overlaps.
    pub overlaps: Vec<t::Overlap>,
    /// Arrangements.
    pub arrangements: Vec<t::Arrangement>,
    /// Lock sets.
    pub sets: Vec<t::Set>,
    /// Steps.
    pub steps: Vec<t::Step>,
    /// Speed limits after a step.
    pub limits: Vec<t::Limit>,
    /// `[way][stuck][set][arrangement]`.
    pub next: Vec<u16>,
    /// Notes on the steps, in step order.
    pub notes: Vec<StepNote>,
    /// Margins of every limit that measurements are compared with.
    pub margins: Vec<Margin>,
}

/// What a person wants to know of a step beyond what the board needs.
#[derive(Clone, Debug, PartialEq)]
pub struct StepNote {
    /// Machine that brings the slip to zero.
    pub synchroniser: Option<usize>,
    /// Estimated time, s.
    pub time_s: f64,
    /// Estimated time without push at the wheels, s.
    pub gap_s: f64,
    /// Cost in the step search.
    pub cost: f64,
    /// What limits the demand (machine or lock), in words.
    pub demand_limit: Option<String>,
    /// Shaft that ends the road-speed window at its upper end, in words.
    pub window_limit: Option<String>,
    /// Shaft of each of the step's entries in the limits.
    pub limit_shafts: Vec<usize>,
}

/// A limit on a measurement and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    /// What is limited, in words: "slip of ring-brake".
    pub what: String,
    /// Unit of the figures.
    pub unit: &'static str,
    /// Limit from the driveline file.
    pub limit: f64,
    /// Part taken by sensor error and quantisation.
    pub sensor: f64,
    /// Part taken by the age of the measurement.
    pub latency: f64,
    /// Part taken by f32 rounding.
    pub rounding: f64,
    /// Other parts (inertia, torque error).
    pub other: f64,
    /// What is left: the limit that measurements are compared with.
    pub left: f64,
}

impl TableData {
    /// The table as the supervisor takes it.
    pub fn table(&self) -> t::Table<'_> {
        t::Table {
            format: t::TABLE_FORMAT,
            hash: self.hash,
            engine: self.engine,
            engine_min: self.engine_min,
            output_row: self.output_row,
            output_sensors: self.output_sensors,
            output_rate_max: self.output_rate_max,
            timing: self.timing,
            sensors: &self.sensors,
            locks: &self.locks,
            rests: &self.rests,
            parities: &self.parities,
            conflicts: &self.conflicts,
            overlaps: &self.overlaps,
            arrangements: &self.arrangements,
            sets: &self.sets,
            steps: &self.steps,
            limits: &self.limits,
            next: &self.next,
        }
    }
}

/// Why no table can be built from a driveline.
#[derive(Clone, Debug, PartialEq)]
pub struct TableError {
    /// One sentence each.
    pub reasons: Vec<String>,
}

impl std::fmt::Display for TableError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for reason in &self.reasons {
            writeln!(f, "error: {reason}")?;
        }
        Ok(())
    }
}

impl std::error::Error for TableError {}
