//! A whole run with everything that watches it.

use std::io::{self, Write};
use std::sync::Arc;

use supervisor::table::Table;

use crate::checkers;
use crate::drive::closed_loop::{CannotRun, Prepared, Run, Setup};
use crate::drive::record::TickRecord;
use crate::drive::summary::{Gatherer, Summary};
use crate::drive::trace::TraceWriter;
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;
use crate::picture::Timeline;

/// Why a run broke off.
#[derive(Debug)]
pub enum RunError {
    /// It could not start.
    CannotRun(CannotRun),
    /// The trace could not be written.
    Trace(io::Error),
}

impl std::fmt::Display for RunError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RunError::CannotRun(e) => e.fmt(f),
            RunError::Trace(e) => write!(f, "the trace cannot be written: {e}"),
        }
    }
}

impl std::error::Error for RunError {}

impl From<CannotRun> for RunError {
    fn from(e: CannotRun) -> RunError {
        RunError::CannotRun(e)
    }
}

impl From<io::Error> for RunError {
    fn from(e: io::Error) -> RunError {
        RunError::Trace(e)
    }
}

/// What a run leaves.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The summary, findings included.
    pub summary: Summary,
    /// The timeline, ready to be drawn.
    pub timeline: Timeline,
    /// Digest of the plant's last state: equal digests mean equal runs.
    pub digest: u64,
}

/// Run `setup` to its end under all judges; the trace goes to `trace` as it comes, every
/// `every`-th tick. A reader that closes its end of a pipe ends the trace, not the run.
///
/// # Errors
/// When the run cannot start or the trace cannot be written.
pub fn simulate(
    driveline: &Driveline,
    kinematics: &Kinematics,
    table: Table,
    setup: &Setup,
    seed: u64,
    trace: Option<(&mut dyn Write, u64)>,
) -> Result<Outcome, RunError> {
    let prepared = Arc::new(Prepared::new(driveline, table)?);
    simulate_from(&prepared, kinematics, setup, seed, trace)
}

/// The same, from what was prepared for many runs.
///
/// # Errors
/// When the run cannot start or the trace cannot be written.
pub fn simulate_from(
    prepared: &Arc<Prepared>,
    kinematics: &Kinematics,
    setup: &Setup,
    seed: u64,
    trace: Option<(&mut dyn Write, u64)>,
) -> Result<Outcome, RunError> {
    simulate_seen(prepared, kinematics, setup, seed, trace, &mut |_| ())
}

/// The same; `see` gets every tick.
///
/// # Errors
/// When the run cannot start or the trace cannot be written.
pub fn simulate_seen(
    prepared: &Arc<Prepared>,
    kinematics: &Kinematics,
    setup: &Setup,
    seed: u64,
    trace: Option<(&mut dyn Write, u64)>,
    see: &mut dyn FnMut(&TickRecord),
) -> Result<Outcome, RunError> {
    let (driveline, table) = (prepared.driveline(), *prepared.table());
    let mut run = Run::of(prepared, setup, seed)?;
    let mut gatherer = Gatherer::new(driveline, table, checkers::all(driveline, kinematics));
    let mut timeline = Timeline::new(driveline, setup.duration_s, run.ticks());
    let mut writer = match trace {
        Some((out, every)) => unless_closed(TraceWriter::new(out, driveline, every))?,
        None => None,
    };
    let mut last = None;
    while let Some(record) = run.next_tick() {
        gatherer.add(record);
        timeline.add(record);
        see(record);
        if let Some(w) = &mut writer
            && unless_closed(w.add(driveline, &table, record))?.is_none()
        {
            writer = None;
        }
        last = Some(*record);
    }
    if let Some(w) = writer {
        unless_closed(w.finish())?;
    }
    let summary = gatherer.finish(last.as_ref());
    Ok(Outcome { summary, timeline, digest: run.plant().digest() })
}

/// `None` when the other end of a pipe is closed.
fn unless_closed<T>(result: io::Result<T>) -> io::Result<Option<T>> {
    match result {
        Ok(value) => Ok(Some(value)),
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(None),
        Err(e) => Err(e),
    }
}
