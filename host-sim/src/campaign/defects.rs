//! Does a campaign find what is planted? Every systematic change of the table, and those that only
//! a plant can show, each run through the cases of a campaign until a judge finds something that
//! the good table does not have in the same case.

use super::examined::Examined;
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

/// A defect with how it ended under each seed.
#[derive(Clone, Debug)]
pub struct Tried {
    /// Its place in the list.
    pub number: usize,
    /// Kind, place and change.
    pub what: [String; 3],
    /// By seed.
    pub ended: Vec<Ended>,
    /// What is seen without a case; none where it was stopped before.
    pub examined: Option<Examined>,
}

/// What came of a defect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The board does not run the table: no case can be driven with it.
    Refused,
    /// The judges found it in cases, under every seed.
    Found,
    /// They did not, and it was shown to be no defect.
    Excused,
    /// They did not.
    Missed,
}

impl Tried {
    /// What came of it.
    pub fn outcome(&self) -> Outcome {
        let found = |ended: &Ended| matches!(ended, Ended::Found { .. });
        match self.ended.iter().all(found) {
            _ if self.ended.contains(&Ended::Refused) => Outcome::Refused,
            true => Outcome::Found,
            false if self.excuse().is_some() => Outcome::Excused,
            false => Outcome::Missed,
        }
    }

    /// Why it is no defect, where that was shown.
    pub fn excuse(&self) -> Option<&str> {
        self.examined.as_ref()?.excuse.as_deref()
    }

    /// What the audit finds, by identifier; empty where nothing, or where it was not asked.
    pub fn audit(&self) -> &[&'static str] {
        self.examined.as_ref().map_or(&[], |examined| &examined.audit)
    }

    /// Whether board, audit or judges find it.
    pub fn is_found_by_any(&self) -> bool {
        matches!(self.outcome(), Outcome::Refused | Outcome::Found) || !self.audit().is_empty()
    }

    /// Whether nothing ever was another with it, under no seed.
    pub fn is_idle(&self) -> bool {
        self.ended.iter().all(|e| *e == Ended::Missed { differed: 0 })
    }

    /// Median of the cases and ticks that it took; `None` where it was not always found.
    pub fn median(&self) -> Option<(u64, u64)> {
        let mut took: Vec<(u64, u64)> = Vec::new();
        for ended in &self.ended {
            match ended {
                Ended::Found { cases, ticks, .. } => took.push((*cases, *ticks)),
                Ended::Refused | Ended::Missed { .. } => return None,
            }
        }
        took.sort_unstable();
        took.get(took.len() / 2).copied()
    }
}

/// All defects: those of the table one number at a time, then those that only a plant shows. None
/// leaves the table as it is.
pub fn defects(world: &World) -> Vec<Defect> {
    let mut list = all(world.driveline(), &world.table);
    let changes = |defect: &Defect| {
        let broken = defect.planted(&world.table);
        (TableData { hash: world.table.hash, ..broken }) != world.table
    };
    list.extend(in_plant(world).into_iter().filter(changes));
    list
}

/// A kind, a change in words, and the change.
type Everywhere = (&'static str, &'static str, fn(&mut TableData));

/// A check or a margin taken out wherever it stands.
const EVERYWHERE: [Everywhere; 13] = [
    ("slip margin", "x2", |t| {
        for lock in &mut t.locks {
            (lock.slip_max, lock.begin_max) = (2.0 * lock.slip_max, 2.0 * lock.slip_max);
        }
    }),
    ("steady check", "off", |t| t.locks.iter_mut().for_each(|lock| lock.rate_max = f32::MAX)),
    ("parity check", "off", |t| t.parities.clear()),
    ("heat inhibit", "off", |t| t.locks.iter_mut().for_each(|lock| lock.rise_max_k = 0.0)),
    ("heat estimate", "cools 10 times as fast", |t| {
        t.locks.iter_mut().for_each(|lock| lock.cooling_ticks *= 0.1);
    }),
    ("unload check", "off", |t| t.steps.iter_mut().for_each(|step| step.load_max = f32::MAX)),
    ("hand-over limit", "off", |t| {
        t.steps.iter_mut().for_each(|step| step.demand_max = f32::MAX);
    }),
    ("rest check", "off", |t| t.rests.iter_mut().for_each(|rest| rest.max = 1e4)),
    ("grip check", "off", |t| t.output_rate_max = f32::MAX),
    ("speed cut", "off", |t| {
        for sensor in &mut t.sensors {
            (sensor.allowed.min, sensor.allowed.max) = (f32::MIN, f32::MAX);
        }
    }),
    ("engine release", "off", |t| t.engine_min = 0.0),
    ("fill time", "/2", |t| t.locks.iter_mut().for_each(|lock| lock.close_ticks /= 2)),
    ("release time", "one tick", |t| t.locks.iter_mut().for_each(|lock| lock.release_ticks = 1)),
];

fn in_plant(world: &World) -> Vec<Defect> {
    let of = |(kind, change, plant): Everywhere| {
        Defect::new((Part::Measures, kind), "all", change, plant)
    };
    let mut list: Vec<Defect> = EVERYWHERE.into_iter().map(of).collect();
    for (lock, data) in world.driveline().locks.iter().enumerate() {
        let mut add = |change: &str, plant: fn(&mut [f32])| {
            let place = data.name.clone();
            list.push(Defect::new((Part::Measures, "slip row"), place, change, move |t| {
                plant(&mut t.locks[lock].slip_row);
            }));
        };
        add("sign", |row| row.iter_mut().filter(|c| **c != 0.0).take(1).for_each(|c| *c = -*c));
        add("nothing", |row| row.fill(0.0));
    }
    // Twice a limit is near to what SW-LOAD allows of the truth, which hardly any case is beyond.
    for step in 0..world.table.steps.len() {
        let place = format!("step {step}");
        list.push(Defect::new((Part::Measures, "load limit"), place, "x4", move |t| {
            let most = &mut t.steps[step].load_max;
            *most = if *most < f32::MAX { 4.0 * *most } else { *most };
        }));
    }
    list
}
