//! The evidence besides the drives: made in the run of the review, or read from a named file.
//!
//! Either way a part is the JSON that its own command prints, and the page, the JUnit file and
//! the trace look at that alone: what was read is told by the same words as what was made.

mod extent;
mod make;
mod read;
mod state;

use serde_json::Value;

pub(super) use extent::grouped;
pub use make::{Making, make};
pub use read::{ReadError, read};
pub use state::State;
pub(super) use state::{
    CampaignScore, campaign_score, count, is_forgiven, is_same_defect, is_undecided, list, text,
};

/// What kind of evidence a part is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// `slipwarden explore --json`.
    Explore,
    /// `campaign.json` of `slipwarden campaign`.
    Campaign,
    /// `slipwarden explore --defects --json`.
    Defects,
    /// `slipwarden campaign --defects --json`.
    PlantDefects,
    /// `slipwarden energy --json`.
    Energy,
}

impl Kind {
    /// All, in the order of the page.
    pub const ALL: [Kind; 5] =
        [Kind::Explore, Kind::Campaign, Kind::Defects, Kind::PlantDefects, Kind::Energy];

    /// The word in JSON and file names.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Explore => "explore",
            Kind::Campaign => "campaign",
            Kind::Defects => "explore-defects",
            Kind::PlantDefects => "campaign-defects",
            Kind::Energy => "energy",
        }
    }

    /// What it is in a word or two.
    pub fn short(self) -> &'static str {
        match self {
            Kind::Explore => "exploration",
            Kind::Campaign => "campaign",
            Kind::Defects => "planted defects",
            Kind::PlantDefects => "planted defects in campaigns",
            Kind::Energy => "energy",
        }
    }

    /// What it is, for a person.
    pub fn title(self) -> &'static str {
        match self {
            Kind::Explore => "exploration of every reachable state",
            Kind::Campaign => "campaign of random drives with faults",
            Kind::Defects => {
                "planted defects of the table, found by board, exploration, audit and drives"
            }
            Kind::PlantDefects => "planted defects, tried by campaigns alone",
            Kind::Energy => "energy maps and steady cruise",
        }
    }

    /// Whether it can hold or break: figures and scores are told and not judged.
    pub(super) fn is_judged(self) -> bool {
        !matches!(self, Kind::Energy | Kind::PlantDefects)
    }

    /// Identifier of the page's section about it.
    pub(super) fn section(self) -> &'static str {
        match self {
            Kind::Explore => "exploration",
            Kind::Campaign => "campaign",
            Kind::Defects | Kind::PlantDefects => "planted",
            Kind::Energy => "energy",
        }
    }

    /// The key that holds the version of its JSON, and the version that is understood.
    fn version(self) -> (&'static str, u64) {
        match self {
            Kind::Explore => ("explore_format", 3),
            Kind::Campaign => ("campaign", 1),
            Kind::Defects => ("explore_defects_format", 1),
            Kind::PlantDefects => ("campaign_defects", crate::campaign::DEFECTS_FORMAT),
            Kind::Energy => ("energy", 1),
        }
    }

    /// The command that makes it anew; `FILE` stands for the driveline file.
    pub fn command(self) -> &'static str {
        match self {
            Kind::Explore => "slipwarden explore FILE --json",
            Kind::Campaign => "slipwarden campaign FILE",
            Kind::Defects => "slipwarden explore FILE --defects --json",
            Kind::PlantDefects => "slipwarden campaign FILE --defects --json",
            Kind::Energy => "slipwarden energy FILE --json",
        }
    }
}

/// Where a part comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Made in this run; the command that makes the same alone.
    Made(String),
    /// Read from a file.
    Read {
        /// Its name, without its folder.
        name: String,
        /// SHA-256 of its bytes.
        sha256: String,
    },
}

/// One part.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its kind.
    pub kind: Kind,
    /// Where it comes from.
    pub origin: Origin,
    /// The JSON of its command.
    pub value: Value,
}

impl Part {
    /// Name of its file in the folder; `number` tells several of one kind apart.
    pub(super) fn path(&self, number: usize) -> String {
        let more = if number > 0 { format!("-{}", number + 1) } else { String::new() };
        format!("evidence/{}{more}.json", self.kind.word())
    }
}

/// All evidence besides the drives.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// The parts, by kind; several of one kind in the order in which they were named.
    pub parts: Vec<Part>,
    /// What should have been made and was not, with the reason.
    pub missing: Vec<(Kind, String)>,
}

impl Evidence {
    /// The parts of a kind.
    pub fn of(&self, kind: Kind) -> impl Iterator<Item = &Part> {
        self.parts.iter().filter(move |part| part.kind == kind)
    }

    /// The parts with their paths in the folder.
    pub(super) fn with_paths(&self) -> Vec<(&Part, String)> {
        let number =
            |at: usize| self.parts[..at].iter().filter(|p| p.kind == self.parts[at].kind).count();
        self.parts.iter().enumerate().map(|(i, part)| (part, part.path(number(i)))).collect()
    }

    /// What a part comes to, beside all others: a planted defect that survived in one of them
    /// may have been found in another.
    pub fn state_of(&self, part: &Part) -> State {
        match part.kind {
            Kind::Defects => state::planted(&part.value, &|row| self.is_found_by_campaigns(row)),
            _ => part.state(),
        }
    }

    /// Whether campaigns found this planted defect under every seed.
    fn is_found_by_campaigns(&self, row: &Value) -> bool {
        let tried = self.of(Kind::PlantDefects).flat_map(|part| list(&part.value["tried"]));
        tried.filter(|t| t["found"] == true).any(|t| is_same_defect(t, row))
    }

    /// What is found in all parts.
    pub fn findings(&self) -> Vec<(Kind, String)> {
        let found = self.parts.iter().filter_map(|part| match self.state_of(part) {
            State::Finding(why) => Some((part.kind, why)),
            _ => None,
        });
        found.collect()
    }

    /// What is inconclusive, and what is missing.
    pub fn inconclusive(&self) -> Vec<(Kind, String)> {
        let open = self.parts.iter().filter_map(|part| match self.state_of(part) {
            State::Inconclusive(why) => Some((part.kind, why)),
            _ => None,
        });
        open.chain(self.missing.iter().cloned()).collect()
    }
}
