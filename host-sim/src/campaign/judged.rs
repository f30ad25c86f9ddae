//! One case run to its end under all judges.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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
#[derive(Clone, Debug, Default, PartialEq)]
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

/// Where cases are run and judged by one thread.
#[derive(Clone, Debug)]
pub struct Court<'a> {
    world: &'a World,
    prepared: Arc<Prepared<'a>>,
    /// As new: others are made from these.
    judges: Judges,
    /// Used and free again.
    free: Vec<Judges>,
}

impl<'a> Court<'a> {
    /// For the cases of a world; any number of threads may share what is `prepared`.
    pub fn new(world: &'a World, prepared: &Arc<Prepared<'a>>) -> Court<'a> {
        Court {
            world,
            prepared: Arc::clone(prepared),
            judges: Judges::new(world.driveline(), world.kinematics()),
            free: Vec::new(),
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
        let mut seat = self.seat(0, case);
        while tick(&mut run) {
            seat.see(run.record());
        }
        Ok(self.rise(&run, seat))
    }

    /// Run cases under all judges, `at_once` of them side by side, each part of a tick for all of
    /// them before the next part: its code is then at hand, which saves a good part of the time.
    /// Every case comes to the same as [by itself](Court::judge). `None` when `stop` ended it early.
    pub fn judge_each(
        &mut self,
        cases: &[Case],
        at_once: usize,
        stop: &AtomicBool,
    ) -> Option<Vec<Result<Judged, CannotRun>>> {
        let mut results: Vec<Option<Result<Judged, CannotRun>>> = vec![None; cases.len()];
        let mut left = cases.iter().enumerate();
        let (mut runs, mut seats): (Vec<Run>, Vec<Seat>) = (Vec::new(), Vec::new());
        while !stop.load(Ordering::Relaxed) {
            while runs.len() < at_once.max(1) {
                let Some((number, case)) = left.next() else { break };
                match Run::of(&self.prepared, &case.setup, case.plant_seed) {
                    Ok(run) => {
                        runs.push(run);
                        seats.push(self.seat(number, case));
                    }
                    Err(why) => results[number] = Some(Err(why)),
                }
            }
            let Some(ticks) = runs.iter().map(Run::ticks_left).min() else {
                return Some(results.into_iter().flatten().collect());
            };
            for _ in 0..ticks {
                Run::next_tick_of_each(&mut runs);
                runs.iter().zip(&mut seats).for_each(|(run, seat)| seat.see(run.record()));
            }
            for i in (0..runs.len()).rev().filter(|&i| runs[i].is_over()).collect::<Vec<_>>() {
                let (run, seat) = (runs.swap_remove(i), seats.swap_remove(i));
                let number = seat.number;
                results[number] = Some(Ok(self.rise(&run, seat)));
            }
        }
        None
    }

    /// All that watches one run.
    fn seat(&mut self, number: usize, case: &Case) -> Seat<'a> {
        let mut judges = self.free.pop().unwrap_or_else(|| self.judges.clone());
        judges.reset();
        Seat { number, judges, coverage: Coverage::new(self.world, case), ticks: 0 }
    }

    /// What came of a run that is over; its judges are free again.
    fn rise(&mut self, run: &Run, mut seat: Seat) -> Judged {
        let judged = Judged {
            ticks: seat.ticks,
            digest: run.plant().digest(),
            margins: seat.judges.margins(),
            findings: seat.judges.finish(),
            cells: seat.coverage.cells(),
        };
        self.free.push(seat.judges);
        judged
    }
}

/// All that watches one run.
struct Seat<'a> {
    /// Which of the cases it is.
    number: usize,
    judges: Judges,
    coverage: Coverage<'a>,
    ticks: u64,
}

impl Seat<'_> {
    fn see(&mut self, record: &TickRecord) {
        self.judges.observe(&record.truth);
        self.coverage.see(self.ticks, record);
        self.ticks += 1;
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
