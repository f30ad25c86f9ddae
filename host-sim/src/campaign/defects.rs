//! Does a campaign find what is planted? Every systematic change of the table, and those that only
//! a plant can show, each run through the cases of a campaign until a judge finds something that
//! the good table does not have in the same case.

use super::world::World;
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
        rule: String,
        /// Cases, this one included.
        cases: u64,
        /// Ticks of all of them.
        ticks: u64,
    },
    /// Nothing was found in all cases.
    Missed {
        /// In so many of them the supervisor ordered or said something else at all.
        differed: u64,
    },
}

impl Ended {
    /// Whether it was found.
    pub fn is_found(&self) -> bool {
        !matches!(self, Ended::Missed { .. })
    }
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
    /// Why it need not be found, where that was shown: it is no defect.
    pub excused: Option<String>,
}

impl Tried {
    /// Whether it was found under every seed.
    pub fn is_found(&self) -> bool {
        self.ended.iter().all(Ended::is_found)
    }

    /// Whether nothing ever was another with it, under no seed.
    pub fn is_idle(&self) -> bool {
        self.ended.iter().all(|e| *e == Ended::Missed { differed: 0 })
    }

    /// Median of the cases and ticks that it took; `None` where it was not always found.
    pub fn median(&self) -> Option<(u64, u64)> {
        let mut took: Vec<(u64, u64)> = Vec::new();
        for ended in &self.ended {
            took.push(match ended {
                Ended::Refused => (0, 0),
                Ended::Found { cases, ticks, .. } => (*cases, *ticks),
                Ended::Missed { .. } => return None,
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
