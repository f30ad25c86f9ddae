//! One case run to its end under all judges.

use std::sync::Arc;

use supervisor::status::Phase;

use super::axes::{Axes, Cell, band_of};
use super::case::Case;
use super::faults::Kind;
use super::world::World;
use crate::checkers::{Finding, Judges, Margin};
use crate::drive::closed_loop::{CannotRun, Prepared, Run};
use crate::drive::faults::Injected;
use crate::drive::record::{TickRecord, phase_step};
use crate::explore::sometimes::refusal_number;

/// What came of one case.
#[derive(Clone, Debug, Default)]
pub struct Judged {
    /// Supervisor ticks.
    pub ticks: u64,
    /// Digest of the plant's last state.
    pub digest: u64,
    /// Everything found, in order of time.
    pub findings: Vec<Finding>,
    /// How near it came to each limit.
    pub margins: Vec<Margin>,
    /// Cells of the coverage that it hit, each once, rising.
    pub cells: Vec<Cell>,
}

/// Where cases are run and judged, one after the other, by one thread.
#[derive(Clone, Debug)]
pub struct Court<'a> {
    world: &'a World,
    prepared: Arc<Prepared<'a>>,
    judges: Judges,
}

impl<'a> Court<'a> {
    /// For the cases of a world; any number of threads may share what is `prepared`.
    pub fn new(world: &'a World, prepared: &Arc<Prepared<'a>>) -> Court<'a> {
        Court {
            world,
            prepared: Arc::clone(prepared),
            judges: Judges::new(world.driveline(), world.kinematics()),
        }
    }

    /// The world that the cases are of.
    pub fn world(&self) -> &'a World {
        self.world
    }

    /// Run a case under all judges.
    ///
    /// # Errors
    /// Where the case cannot start: its lock set, speed and engine contradict each other.
    pub fn judge(&mut self, case: &Case) -> Result<Judged, CannotRun> {
        self.judge_by(case, |_| {}, |run| run.next_tick().is_some())
    }

    /// The same, with ticks made by `tick`, which says whether there was one: for a supervisor
    /// elsewhere. `begin` gets the run before the first.
    ///
    /// # Errors
    /// Where the case cannot start.
    pub fn judge_by(
        &mut self,
        case: &Case,
        begin: impl FnOnce(&Run),
        mut tick: impl FnMut(&mut Run) -> bool,
    ) -> Result<Judged, CannotRun> {
        let mut run = Run::of(&self.prepared, &case.setup, case.plant_seed)?;
        begin(&run);
        self.judges.reset();
        let mut coverage = Coverage::new(self.world, case);
        let mut ticks = 0;
        while tick(&mut run) {
            let record = run.record();
            self.judges.observe(&record.truth);
            coverage.see(ticks, record);
            ticks += 1;
        }
        Ok(Judged {
            ticks,
            digest: run.plant().digest(),
            margins: self.judges.margins(),
            findings: self.judges.finish(),
            cells: coverage.cells(),
        })
    }
}

/// Every so many ticks the speed is looked at.
const SPEED_EVERY: u64 = 64;

struct Coverage<'a> {
    axes: &'a Axes,
    /// By fault of the case: its word and its kind, if it counts.
    faults: Vec<Option<(usize, usize)>>,
    top_mps: f64,
    present: u32,
    from: Option<u8>,
    refusal: Option<usize>,
    hit: Vec<Cell>,
}

impl<'a> Coverage<'a> {
    fn new(world: &'a World, case: &Case) -> Coverage<'a> {
        let axes = &world.axes;
        let of = |fault: &Injected| {
            let kind = world.kinds.iter().position(|k| is_of(k, fault))?;
            let word = axes.words.iter().position(|w| w == world.kinds[kind].word)?;
            Some((word, kind))
        };
        let vehicle = world.driveline().vehicle.as_ref();
        Coverage {
            axes,
            faults: case.setup.faults.iter().map(|f| of(&f.fault)).collect(),
            top_mps: vehicle.map_or(1.0, |v| v.max_speed_kmh / 3.6),
            present: 0,
            from: None,
            refusal: None,
            hit: Vec::new(),
        }
    }

    fn see(&mut self, tick: u64, record: &TickRecord) {
        let begun = record.faults & !self.present;
        self.present = record.faults;
        if begun != 0 {
            self.begin(begun, record.status.phase);
        }
        let status = &record.status;
        if let Some(refusal) = status.refusal {
            let number = refusal_number(refusal);
            if self.refusal != Some(number) {
                self.refusal = Some(number);
                self.hit.push(self.axes.refusal(number));
            }
        }
        if let Some(to) = record.truth.stated_reached {
            if let Some(from) = self.from.filter(|from| *from != to) {
                self.hit.push(self.axes.way(usize::from(from), usize::from(to)));
            }
            self.from = Some(to);
            if tick.is_multiple_of(SPEED_EVERY) {
                let band = band_of(record.road_mps / self.top_mps);
                self.hit.push(self.axes.speed(usize::from(to), band));
            }
        }
        // Speeds are looked at again and again: what is known goes out before it grows.
        if self.hit.len() > 4096 {
            self.tidy();
        }
    }

    fn begin(&mut self, begun: u32, phase: Phase) {
        for (i, fault) in self.faults.iter().enumerate().take(32) {
            let Some((word, kind)) = fault.filter(|_| begun >> i & 1 == 1) else { continue };
            self.hit.push(self.axes.fault(kind));
            self.hit.push(match (phase_step(phase), phase) {
                (Some(step), Phase::Prepare { .. }) => {
                    self.axes.in_step(word, usize::from(step), 0)
                }
                (Some(step), _) => self.axes.in_step(word, usize::from(step), 1),
                (None, Phase::Wake) => self.axes.without_step(word, 1),
                (None, Phase::Settle) => self.axes.without_step(word, 2),
                (None, _) => self.axes.without_step(word, 0),
            });
        }
    }

    fn tidy(&mut self) {
        self.hit.sort_unstable();
        self.hit.dedup();
    }

    fn cells(mut self) -> Vec<Cell> {
        self.tidy();
        self.hit
    }
}

/// Whether a fault is of this kind at this place.
fn is_of(kind: &Kind, fault: &Injected) -> bool {
    crate::drive::scenario::words::words(fault)
        .is_some_and(|w| w.word == kind.word && w.target == kind.target)
}
