//! Does a campaign find what is planted? Every systematic change of the table, and those that only
//! a plant can show, each run through the cases of a campaign until a judge finds something that
//! the good table does not have in the same case.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use supervisor::check::check_all;

use super::case::case;
use super::judged::Court;
use super::world::World;
use crate::drive::closed_loop::{CannotRun, Prepared};
use crate::explore::defects::{Defect, Part, all};
use crate::table::TableData;

/// How a defect ended under one seed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The board refuses the table.
    Refused,
    /// A rule was broken in this many-th case, after so many ticks in all.
    Found {
        /// The rule.
        rule: &'static str,
        /// Cases, this one included.
        cases: u64,
        /// Ticks of all of them.
        ticks: u64,
    },
    /// Nothing was found in all cases.
    Missed,
}

/// A defect with how it ended under each seed.
#[derive(Clone, Debug)]
pub struct Tried {
    /// Its place in the list.
    pub number: usize,
    /// Kind, place and change.
    pub what: [String; 3],
    /// By seed.
    pub ended: Vec<Ended>,
}

impl Tried {
    /// Whether it was found under every seed.
    pub fn is_found(&self) -> bool {
        self.ended.iter().all(|e| *e != Ended::Missed)
    }

    /// Median of the cases and ticks that it took; `None` where it was not always found.
    pub fn median(&self) -> Option<(u64, u64)> {
        let mut took: Vec<(u64, u64)> = Vec::new();
        for ended in &self.ended {
            took.push(match ended {
                Ended::Refused => (0, 0),
                Ended::Found { cases, ticks, .. } => (*cases, *ticks),
                Ended::Missed => return None,
            });
        }
        took.sort_unstable();
        took.get(took.len() / 2).copied()
    }
}

/// All defects: those of the table one number at a time, then those that only a plant shows.
pub fn defects(world: &World) -> Vec<Defect> {
    let d = world.driveline();
    let mut list = all(d, &world.table);
    let mut add = |kind: &'static str, change: fn(&mut TableData)| {
        list.push(Defect::new((Part::Measures, kind), "all", "off", change));
    };
    add("slip margin", |t| {
        for lock in &mut t.locks {
            (lock.slip_max, lock.begin_max) = (2.0 * lock.slip_max, 2.0 * lock.slip_max);
        }
    });
    add("steady check", |t| t.locks.iter_mut().for_each(|lock| lock.rate_max = f32::MAX));
    add("parity check", |t| t.parities.clear());
    add("heat inhibit", |t| t.locks.iter_mut().for_each(|lock| lock.rise_max_k = 0.0));
    add("unload check", |t| t.steps.iter_mut().for_each(|step| step.load_max = f32::MAX));
    add("hand-over limit", |t| t.steps.iter_mut().for_each(|step| step.demand_max = f32::MAX));
    add("rest check", |t| t.rests.iter_mut().for_each(|rest| rest.max = 1e4));
    add("grip check", |t| t.output_rate_max = f32::MAX);
    add("speed cut", |t| {
        for sensor in &mut t.sensors {
            (sensor.allowed.min, sensor.allowed.max) = (f32::MIN, f32::MAX);
        }
    });
    add("engine release", |t| t.engine_min = 0.0);
    add("fill time", |t| t.locks.iter_mut().for_each(|lock| lock.close_ticks /= 2));
    add("release time", |t| t.locks.iter_mut().for_each(|lock| lock.release_ticks = 1));
    for lock in 0..d.locks.len() {
        let place = d.locks[lock].name.clone();
        list.push(Defect::new((Part::Measures, "slip row"), place.clone(), "sign", move |t| {
            t.locks[lock].slip_row.iter_mut().filter(|c| **c != 0.0).take(1).for_each(|c| *c = -*c);
        }));
        list.push(Defect::new((Part::Measures, "slip row"), place, "nothing", move |t| {
            t.locks[lock].slip_row = Default::default();
        }));
    }
    list
}

/// What is tried.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// Seeds, each a campaign of its own.
    pub seeds: &'a [u64],
    /// Most cases for each seed.
    pub cases: u64,
    /// Faults in each case.
    pub faults: u8,
}

/// Try the `chosen` of the defects on `threads` threads; results in the order of the list. `done`
/// is told how many are done, and says whether to go on.
///
/// # Errors
/// When the driveline lacks data for the plant.
pub fn try_all(
    world: &World,
    list: &[Defect],
    chosen: &[usize],
    (trial, threads): (Trial, usize),
    mut done: impl FnMut(usize) -> bool,
) -> Result<Vec<Tried>, CannotRun> {
    let good = world.prepared()?;
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = mpsc::channel();
    let mut results = Vec::new();
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, chosen.len().max(1)) {
            let (sender, next, stop, good) = (sender.clone(), &next, &stop, &good);
            scope.spawn(move || {
                while let Some(&number) = chosen.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let tried = try_one(world, good, (number, &list[number]), trial, stop);
                    // Sending fails only when the receiver has gone after a panic.
                    if tried.is_none_or(|tried| sender.send(tried).is_err()) {
                        return;
                    }
                }
            });
        }
        drop(sender);
        loop {
            match receiver.recv_timeout(Duration::from_millis(200)) {
                Ok(tried) => results.push(tried),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => break,
            }
            if !done(results.len()) {
                stop.store(true, Ordering::Relaxed);
            }
        }
    });
    results.sort_by_key(|tried: &Tried| tried.number);
    Ok(results)
}

/// `None` when it was stopped.
fn try_one(
    world: &World,
    good: &Arc<Prepared<'_>>,
    (number, defect): (usize, &Defect),
    trial: Trial,
    stop: &AtomicBool,
) -> Option<Tried> {
    let broken = world.with_table(defect.planted(&world.table));
    let mut tried = Tried {
        number,
        what: [defect.kind.to_string(), defect.place.clone(), defect.name.clone()],
        ended: Vec::new(),
    };
    if check_all(&broken.table.table()).is_err() {
        tried.ended = vec![Ended::Refused; trial.seeds.len()];
        return Some(tried);
    }
    let prepared = broken.prepared().ok()?;
    let mut courts = (Court::new(&broken, &prepared), Court::new(world, good));
    for &seed in trial.seeds {
        tried.ended.push(search(&mut courts, trial, seed, stop)?);
    }
    Some(tried)
}

fn search(
    (bad, good): &mut (Court, Court),
    trial: Trial,
    seed: u64,
    stop: &AtomicBool,
) -> Option<Ended> {
    let mut ticks = 0;
    for number in 0..trial.cases {
        if stop.load(Ordering::Relaxed) {
            return None;
        }
        let case = case(good.world(), seed, trial.faults, number);
        let Ok(judged) = bad.judge(&case) else { continue };
        ticks += judged.ticks;
        if judged.findings.is_empty() {
            continue;
        }
        let known = good.judge(&case).map(|j| j.findings).unwrap_or_default();
        let new = judged.findings.iter().find(|f| known.iter().all(|k| k.rule != f.rule));
        if let Some(finding) = new {
            return Some(Ended::Found { rule: finding.rule, cases: number + 1, ticks });
        }
    }
    Some(Ended::Missed)
}
