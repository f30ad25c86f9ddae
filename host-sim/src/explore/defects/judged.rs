//! What the judges said of one defect, and what comes of it.

use super::drives::Driven;
use super::explored::Explored;
use super::list::Defect;
use super::reasons::Reason;
use crate::driveline::Driveline;
use crate::explore::model::Subject;

/// What comes of all judges.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// At least one found it.
    Found,
    /// None found it, and it was shown that none had to.
    Excused(Reason),
    /// None found it.
    Survived,
}

/// A defect with what each judge said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Its place in the list of all defects.
    pub number: usize,
    /// Kind, place and change.
    pub what: [String; 3],
    /// The fault that the board states when it starts.
    pub board: Option<String>,
    /// What an exploration says.
    pub explored: Explored,
    /// Identifiers of the audit's findings, each once.
    pub audit: Vec<&'static str>,
    /// What drives say; only of what the others left.
    pub driven: Option<Driven>,
    /// Why it need not be found; only where nothing found it.
    pub reason: Option<Reason>,
}

/// A judge, in the order in which they are asked.
pub(super) const JUDGES: [&str; 4] = ["board", "explore", "audit", "drives"];

impl Judged {
    /// Nothing said yet.
    pub(super) fn new(number: usize, defect: &Defect) -> Judged {
        Judged {
            number,
            what: [defect.kind.to_string(), defect.place.clone(), defect.name.clone()],
            board: None,
            explored: Explored::Not("not yet asked"),
            audit: Vec::new(),
            driven: None,
            reason: None,
        }
    }

    /// Which judges found it, in the order of the judges: board, exploration, audit, drives.
    pub fn found_by(&self) -> [bool; 4] {
        [
            self.board.is_some(),
            self.explored.finds(),
            !self.audit.is_empty(),
            self.driven.as_ref().is_some_and(Driven::finds),
        ]
    }

    /// What comes of it.
    pub fn outcome(&self) -> Outcome {
        match (&self.reason, self.found_by().contains(&true)) {
            (_, true) => Outcome::Found,
            (Some(reason), false) => Outcome::Excused(reason.clone()),
            (None, false) => Outcome::Survived,
        }
    }

    /// What the exploration said, in words.
    pub fn explored_words(&self, d: &Driveline) -> String {
        match &self.explored {
            Explored::Not(why) => format!("not explored: {why}"),
            Explored::Broken(broken, subject, states) => {
                let ids: Vec<&str> = broken.iter().map(|always| always.id()).collect();
                let by = match subject {
                    Subject::InterlockAlone => " by the interlock alone",
                    _ => "",
                };
                format!("{}{by} after {states} states", ids.join(", "))
            }
            Explored::Stuck(arrangement, states) => {
                let named = d.arrangements.get(usize::from(*arrangement));
                let name = named.map_or("?", |a| a.name.as_str());
                format!("EX-LIVE for {name}, {states} states")
            }
            Explored::Dead(names, states) => {
                let more = match names.len() {
                    1 => String::new(),
                    n => format!(" and {} more", n - 1),
                };
                format!("dead: {}{more}, {states} states", names[0])
            }
            Explored::Holds(states) => format!("holds, {states} states"),
            Explored::Inconclusive(states) => format!("inconclusive after {states} states"),
            Explored::Panicked => "the kernel panicked".to_string(),
        }
    }
}
