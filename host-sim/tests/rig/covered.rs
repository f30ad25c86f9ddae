//! What a set of recorded ticks covers of a table: every row that a tick may work with, and every
//! fault and refusal that a supervisor may state.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use supervisor::bits::Bits;
use supervisor::status::{Phase, Refusal, Status};
use supervisor::table::{Table, Why};

/// Rows, faults and refusals by name.
#[derive(Default)]
pub(crate) struct Covered {
    seen: BTreeSet<String>,
}

impl Covered {
    /// Take in what was stated in a tick.
    pub(crate) fn add(&mut self, status: &Status) {
        let mut see = |what: String| {
            self.seen.insert(what);
        };
        see(format!("lock set {:03b}", status.held.0));
        if let Some(arrangement) = status.arrangement {
            see(format!("arrangement {arrangement}"));
        }
        match status.phase {
            Phase::Wake => see("phase wake".into()),
            Phase::Rest => see("phase rest".into()),
            Phase::Settle => see("phase settle".into()),
            Phase::Prepare { step, .. } => see(format!("step {step} prepared")),
            Phase::Closing { step } | Phase::Opening { step } => {
                see(format!("step {step} carried out"));
            }
        }
        let faults = status.faults;
        for (name, members) in [
            ("stuck open", faults.stuck_open),
            ("stuck closed", faults.stuck_closed),
            ("lying switch of", faults.switch),
            ("lost", faults.lost),
        ] {
            members.iter().for_each(|lock| see(format!("{name} lock {lock}")));
        }
        faults.sensors.iter().for_each(|sensor| see(format!("bad sensor {sensor}")));
        faults.racing.iter().for_each(|sensor| see(format!("racing sensor {sensor}")));
        if let Some(refusal) = status.refusal {
            see(format!("refusal {}", name(refusal)));
        }
    }

    /// All that there is, of this table.
    pub(crate) fn wanted(table: &Table) -> BTreeSet<String> {
        let mut all: BTreeSet<String> =
            ["phase wake", "phase rest", "phase settle"].map(String::from).into();
        all.extend((0..table.set_count()).map(|set| format!("lock set {set:03b}")));
        all.extend((0..table.arrangements.len()).map(|a| format!("arrangement {a}")));
        for step in 0..table.steps.len() {
            all.insert(format!("step {step} prepared"));
            all.insert(format!("step {step} carried out"));
        }
        for lock in Bits::first(table.lock_count()).iter() {
            for fault in ["stuck open", "stuck closed", "lying switch of", "lost"] {
                all.insert(format!("{fault} lock {lock}"));
            }
        }
        for sensor in 0..table.sensors.len() {
            all.insert(format!("bad sensor {sensor}"));
            all.insert(format!("racing sensor {sensor}"));
        }
        all.extend(REFUSALS.map(|refusal| format!("refusal {}", name(refusal))));
        all
    }

    /// What is missing of it, and how many there are.
    pub(crate) fn missing(&self, table: &Table) -> (Vec<String>, usize) {
        let wanted = Covered::wanted(table);
        (wanted.difference(&self.seen).cloned().collect(), wanted.len())
    }
}

/// One of each kind; a table that is not sound is none of them.
const REFUSALS: [Refusal; 16] = [
    Refusal::NoWay(Why::Stuck),
    Refusal::ArrangementSpeed { arrangement: 0 },
    Refusal::RoadSpeed { step: 0 },
    Refusal::TargetSpeed { step: 0 },
    Refusal::Torque { step: 0 },
    Refusal::Hot { lock: 0 },
    Refusal::EngineNotRunning,
    Refusal::Sensors { step: 0 },
    Refusal::NotCalm,
    Refusal::Switch { lock: 0 },
    Refusal::SyncTimeout { lock: 0 },
    Refusal::UnloadTimeout { lock: 0 },
    Refusal::NotClosed { lock: 0 },
    Refusal::NotOpened { lock: 0 },
    Refusal::Interlock { lock: 0 },
    Refusal::OverlapTooLong,
];

/// The kind alone.
fn name(refusal: Refusal) -> String {
    let mut name = String::new();
    let _ = write!(name, "{refusal:?}");
    name.split([' ', '(']).next().unwrap_or_default().to_string()
}
