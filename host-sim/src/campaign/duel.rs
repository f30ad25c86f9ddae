//! One case with the good table, and tick for tick with broken ones beside it.
//!
//! A broken table matters only from the tick on in which the supervisor orders or says something
//! else with it. Until then plant, driver and judges do the same, so that only the supervisor is
//! run, on what it is told with the good table: a tick of it takes a tenth of a whole tick, and
//! [together](super::together) with others less. From the first other word on the run goes its own
//! way, under judges of its own.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use supervisor::table::Table;
use supervisor::{Output, Supervisor};

use super::case::Case;
use super::together::{Group, Grouping};
use super::world::World;
use crate::checkers::{Finding, Judges};
use crate::drive::closed_loop::{Call, CannotRun, Prepared, Run, looks_alike};
use crate::drive::faults::Reset;

/// So many ticks are heard by each broken table before the next: they fit a processor's cache.
const STRETCH_TICKS: usize = 256;

/// What came of one case with a broken table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Came {
    /// Not one order or word was another.
    Alike,
    /// The supervisor went another way, and every rule was kept as with the good table.
    Differed,
    /// This rule was broken, which the good table keeps in the same case.
    Broke(&'static str),
}

/// A tick with the good table.
struct Heard {
    call: Call,
    output: Output,
}

/// A broken table that gave the same so far.
struct Lane {
    group: Group,
    supervisor: Supervisor,
    output: Output,
}

impl Lane {
    /// Whether it gives the same for all of these ticks too.
    fn hear(&mut self, good: &Table, heard: &[Heard]) -> bool {
        let table = self.group.data.table();
        heard.iter().all(|Heard { call, output }| {
            match call.reset {
                Some(Reset::Cold) => self.supervisor = Supervisor::new(),
                Some(Reset::Warm) => {
                    self.supervisor = Supervisor::after_reset(self.supervisor.trace());
                }
                None => {}
            }
            if call.called {
                self.output = self.supervisor.tick(&table, &call.inputs);
            }
            self.output == *output && looks_alike(good, &table, &output.status)
        })
    }
}

/// Where cases are tried by one thread.
pub struct Arena<'a> {
    world: &'a World,
    prepared: Arc<Prepared<'a>>,
    /// As new.
    judges: Judges,
}

impl<'a> Arena<'a> {
    /// For the cases of a world; any number of threads may share what is `prepared`.
    pub fn new(world: &'a World, prepared: &Arc<Prepared<'a>>) -> Arena<'a> {
        let judges = Judges::new(world.driveline(), world.kinematics());
        Arena { world, prepared: Arc::clone(prepared), judges }
    }

    /// The world that the cases are of.
    pub fn world(&self) -> &'a World {
        self.world
    }

    /// Run a case with the good table, and with each of the defects of `grouping`, which `groups`
    /// holds. Returns the ticks of the case and what came of it, in the order of the defects;
    /// `None` when `stop` ended it early.
    ///
    /// # Errors
    /// Where the case cannot start: its lock set, speed and engine contradict each other.
    pub fn duel(
        &self,
        case: &Case,
        (grouping, groups): (&Grouping, &[Group]),
        stop: &AtomicBool,
    ) -> Result<Option<(u64, Vec<Came>)>, CannotRun> {
        let mut run = Run::of(&self.prepared, &case.setup, case.plant_seed)?;
        let supervisor = Supervisor::after_reset(run.first_trace());
        let lane = |group: &Group| Lane {
            group: group.clone(),
            supervisor: supervisor.clone(),
            output: Output::default(),
        };
        let mut lanes: Vec<Lane> = groups.iter().map(lane).collect();
        let mut judges = self.judges.clone();
        let mut heard = Vec::with_capacity(STRETCH_TICKS);
        // What was found with each table that went its own way.
        let mut apart: Vec<Option<Vec<&'static str>>> = vec![None; grouping.list.len()];
        while !run.is_over() && !lanes.is_empty() {
            let before = Before { run: run.clone(), judges: judges.clone(), lanes };
            stretch(&mut run, &mut judges, &mut heard);
            lanes = self.hear(before, &heard, grouping, &mut apart, stop);
            if stop.load(Ordering::Relaxed) {
                return Ok(None);
            }
        }
        let ticks = run.ticks();
        while run.next_tick().is_some() {
            judges.observe(&run.record().truth);
        }
        let known = rules(judges.finish());
        let came = |rules: Option<Vec<&'static str>>| match rules {
            None => Came::Alike,
            Some(rules) => {
                let new = rules.into_iter().find(|rule| !known.contains(rule));
                new.map_or(Came::Differed, Came::Broke)
            }
        };
        Ok(Some((ticks, apart.into_iter().map(came).collect())))
    }

    /// The lanes that gave the same in this stretch. Those that did not are cut in halves, until a
    /// single defect is left, with which the run goes on `apart`.
    fn hear(
        &self,
        before: Before,
        heard: &[Heard],
        grouping: &Grouping,
        apart: &mut [Option<Vec<&'static str>>],
        stop: &AtomicBool,
    ) -> Vec<Lane> {
        let Before { run, judges, mut lanes } = before;
        let mut alike = Vec::with_capacity(lanes.len());
        // Each turn takes one lane away, or makes two of half its length.
        while let Some(mut lane) = lanes.pop() {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            let (start, output) = (lane.supervisor.clone(), lane.output);
            if lane.hear(self.prepared.table(), heard) {
                alike.push(lane);
            } else if let [only] = lane.group.members[..] {
                let run = (run.clone(), judges.clone());
                apart[only] = Some(alone(run, lane.group.data.table(), start));
            } else {
                // They read nothing that is another so far, or they would have been apart before.
                lanes.extend(grouping.halves(&lane.group).into_iter().map(|group| Lane {
                    group,
                    supervisor: start.clone(),
                    output,
                }));
            }
        }
        alike
    }
}

/// All as it was before a stretch.
struct Before<'a> {
    run: Run<'a>,
    judges: Judges,
    lanes: Vec<Lane>,
}

/// Some ticks with the good table.
fn stretch(run: &mut Run, judges: &mut Judges, heard: &mut Vec<Heard>) {
    heard.clear();
    while heard.len() < STRETCH_TICKS
        && let Some(call) = run.begin_tick()
    {
        let output = run.own_output();
        judges.observe(&run.finish_tick(output).truth);
        heard.push(Heard { call, output });
    }
}

/// The rest of a run with a broken table, whose supervisor is as at the start of it.
fn alone(
    (run, mut judges): (Run<'_>, Judges),
    table: Table<'_>,
    supervisor: Supervisor,
) -> Vec<&'static str> {
    let mut run = run.hand_over(table, supervisor);
    while run.next_tick().is_some() {
        judges.observe(&run.record().truth);
    }
    rules(judges.finish())
}

fn rules(findings: Vec<Finding>) -> Vec<&'static str> {
    findings.into_iter().map(|finding| finding.rule).collect()
}
