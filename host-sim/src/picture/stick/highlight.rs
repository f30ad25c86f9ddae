//! What a stick diagram shows beside the gearbox: closed locks, moving and held shafts, power.

use super::parts::Part;
use crate::driveline::{Driveline, ShaftId};

/// How a shaft is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ShaftState {
    /// No statement.
    #[default]
    Plain,
    /// Turns and carries power.
    Power,
    /// Turns with the output, without load.
    Idle,
    /// Its speed does not follow from the output's: free.
    Free,
    /// Held at zero.
    Held,
    /// Held although it must turn.
    Alarm,
}

impl ShaftState {
    /// Class in the picture.
    pub(super) fn class(self) -> &'static str {
        match self {
            ShaftState::Plain => "plain",
            ShaftState::Power => "power",
            ShaftState::Idle => "idle",
            ShaftState::Free => "free",
            ShaftState::Held => "held",
            ShaftState::Alarm => "alarm",
        }
    }

    /// Words for the picture's description.
    pub(super) fn words(self) -> &'static str {
        match self {
            ShaftState::Plain => "",
            ShaftState::Power => "carries power",
            ShaftState::Idle => "turns without load",
            ShaftState::Free => "turns free",
            ShaftState::Held => "stands still",
            ShaftState::Alarm => "is held although it must turn",
        }
    }
}

/// Power that a part puts into a shaft, in any one unit (negative: takes out).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flow {
    /// The part.
    pub part: Part,
    /// The shaft.
    pub shaft: ShaftId,
    /// Positive: from the part into the shaft.
    pub power: f64,
}

/// Everything that is marked on the diagram; the default marks nothing.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Highlight {
    /// Title of the picture; empty: the driveline's name.
    pub title: String,
    /// A line below it.
    pub subtitle: String,
    /// Closed locks; bit `i` is lock `i`.
    pub closed: u8,
    /// Locks that together hold what must turn: drawn in the colour of alarms.
    pub alarm_locks: u8,
    /// By shaft; empty: no statement.
    pub shafts: Vec<ShaftState>,
    /// By shaft, words behind its name (a speed, "stands"); empty: none.
    pub shaft_notes: Vec<String>,
    /// By machine, a line in its box (a power); empty: none.
    pub machine_notes: Vec<String>,
    /// A line below the wheels.
    pub output_note: String,
    /// Power through the parts; what is not named carries none.
    pub flows: Vec<Flow>,
}

impl Highlight {
    /// State of a shaft.
    pub fn shaft(&self, shaft: ShaftId) -> ShaftState {
        self.shafts.get(shaft).copied().unwrap_or_default()
    }

    /// Power from a part into a shaft; zero when none is stated.
    pub(super) fn power(&self, part: Part, shaft: ShaftId) -> f64 {
        let found = self.flows.iter().find(|f| f.part == part && f.shaft == shaft);
        found.map_or(0.0, |f| f.power)
    }

    /// Words at a shaft: its name and its note.
    pub(super) fn label(&self, d: &Driveline, shaft: ShaftId) -> String {
        let name = &d.shafts[shaft].name;
        match self.shaft_notes.get(shaft).filter(|note| !note.is_empty()) {
            Some(note) => format!("{name}: {note}"),
            None => name.clone(),
        }
    }
}
