//! What coverage counts: which fault began in which part of which step, which ways were gone,
//! which refusals were stated, at which speeds.

use serde_json::{Value, json};

use super::faults::kinds;
use crate::driveline::Driveline;
use crate::explore::sometimes::REFUSALS;
use crate::table::TableData;

/// Number of a cell.
pub type Cell = u32;

/// Parts of a step: before a lock is ordered to move, and while it does.
pub(super) const PARTS: [&str; 2] = ["prepare", "move"];
/// Moments without a step.
pub(super) const MOMENTS: [&str; 3] = ["at rest", "waking", "settling"];
/// Bands of road speed: reverse, standstill, then tenths of the highest speed.
pub(super) const BANDS: usize = 12;

/// The groups of cells, in order.
pub(super) const GROUPS: [&str; 6] =
    ["fault in step", "fault without step", "fault", "way", "refusal", "speed"];

/// All cells of one driveline, by name and number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Axes {
    /// Words of the kinds of fault.
    pub words: Vec<String>,
    /// Every kind of fault at its place: "lock-drag ring-brake".
    pub faults: Vec<String>,
    /// The steps.
    pub steps: Vec<String>,
    /// The arrangements.
    pub arrangements: Vec<String>,
}

impl Axes {
    /// For a driveline and its table.
    pub fn new(d: &Driveline, table: &TableData) -> Axes {
        let kinds = kinds(d);
        let mut words: Vec<String> = Vec::new();
        for kind in &kinds {
            if !words.iter().any(|w| w == kind.word) {
                words.push(kind.word.to_string());
            }
        }
        let place = |word: &str, i: usize| -> String {
            let name = match word.split('-').next() {
                Some("lock" | "switch") => d.locks.get(i).map(|l| &l.name),
                Some("sensor") => d.sensors.get(i).map(|s| &s.name),
                Some("machine") => d.machines.get(i).map(|m| &m.name),
                _ => None,
            };
            name.map_or_else(|| word.to_string(), |name| format!("{word} {name}"))
        };
        let of_step = |i: u16| crate::drive::reason::step_text(d, &table.table(), i);
        let steps = u16::try_from(table.steps.len()).unwrap_or(u16::MAX);
        Axes {
            words,
            faults: kinds.iter().map(|k| place(k.word, k.target)).collect(),
            steps: (0..steps).map(|i| format!("{} ({i})", of_step(i))).collect(),
            arrangements: d.arrangements.iter().map(|a| a.name.clone()).collect(),
        }
    }

    /// Sizes of the groups.
    fn sizes(&self) -> [usize; 6] {
        let n = self.arrangements.len();
        [
            self.words.len() * self.steps.len() * PARTS.len(),
            self.words.len() * MOMENTS.len(),
            self.faults.len(),
            n * n,
            REFUSALS.len(),
            n * BANDS,
        ]
    }

    fn base(&self, group: usize) -> usize {
        self.sizes()[..group].iter().sum()
    }

    /// Number of cells.
    pub fn count(&self) -> usize {
        self.sizes().iter().sum()
    }

    /// The word of a fault began in this part of this step.
    pub(super) fn in_step(&self, word: usize, step: usize, part: usize) -> Cell {
        ((word * self.steps.len() + step) * PARTS.len() + part) as Cell
    }

    /// The word of a fault began while no step was under way.
    pub(super) fn without_step(&self, word: usize, moment: usize) -> Cell {
        (self.base(1) + word * MOMENTS.len() + moment) as Cell
    }

    /// A kind of fault at its place began.
    pub(super) fn fault(&self, kind: usize) -> Cell {
        (self.base(2) + kind) as Cell
    }

    /// A way from one arrangement to another was gone to its end.
    pub(super) fn way(&self, from: usize, to: usize) -> Cell {
        (self.base(3) + from * self.arrangements.len() + to) as Cell
    }

    /// A refusal was stated, by its place in the list of words.
    pub(super) fn refusal(&self, number: usize) -> Cell {
        (self.base(4) + number) as Cell
    }

    /// An arrangement stood in a band of road speed.
    pub(super) fn speed(&self, arrangement: usize, band: usize) -> Cell {
        (self.base(5) + arrangement * BANDS + band) as Cell
    }

    /// The group that a cell is in.
    pub fn group(&self, cell: Cell) -> usize {
        let cell = cell as usize;
        (0..GROUPS.len()).rev().find(|&g| cell >= self.base(g)).unwrap_or(0)
    }

    /// Whether a cell can be hit at all: from an arrangement to itself is no way.
    pub fn counts(&self, cell: Cell) -> bool {
        let n = self.arrangements.len().max(1);
        let at = (cell as usize).wrapping_sub(self.base(3));
        self.group(cell) != 3 || at / n != at % n
    }

    /// What a cell is, in words.
    pub fn name(&self, cell: Cell) -> String {
        let group = self.group(cell);
        let at = cell as usize - self.base(group);
        let text = |list: &[String], i: usize| list.get(i).cloned().unwrap_or_default();
        let n = self.arrangements.len().max(1);
        match group {
            0 => {
                let (rest, part) = (at / PARTS.len(), at % PARTS.len());
                let steps = self.steps.len().max(1);
                let (word, step) =
                    (text(&self.words, rest / steps), text(&self.steps, rest % steps));
                format!("{word} in {step}, {}", PARTS[part])
            }
            1 => {
                format!("{} {}", text(&self.words, at / MOMENTS.len()), MOMENTS[at % MOMENTS.len()])
            }
            2 => text(&self.faults, at),
            3 => format!(
                "{} to {}",
                text(&self.arrangements, at / n),
                text(&self.arrangements, at % n)
            ),
            4 => (*REFUSALS.get(at).unwrap_or(&"")).to_string(),
            _ => format!("{} {}", text(&self.arrangements, at / BANDS), band_text(at % BANDS)),
        }
    }

    /// For the head of a results file.
    pub(super) fn json(&self) -> Value {
        json!({
            "words": self.words,
            "faults": self.faults,
            "steps": self.steps,
            "arrangements": self.arrangements,
        })
    }

    /// From the head of a results file.
    pub(super) fn from_json(value: &Value) -> Option<Axes> {
        let list = |key: &str| -> Option<Vec<String>> {
            value[key].as_array()?.iter().map(|v| Some(v.as_str()?.to_string())).collect()
        };
        Some(Axes {
            words: list("words")?,
            faults: list("faults")?,
            steps: list("steps")?,
            arrangements: list("arrangements")?,
        })
    }
}

/// The band of a road speed, as a share of the highest.
pub(super) fn band_of(share: f64) -> usize {
    match share {
        s if s < -0.002 => 0,
        s if s < 0.002 => 1,
        s => 2 + ((s * 10.0) as usize).min(BANDS - 3),
    }
}

fn band_text(band: usize) -> String {
    match band {
        0 => "in reverse".to_string(),
        1 => "at standstill".to_string(),
        n => format!("at {} to {} % of the highest speed", (n - 2) * 10, (n - 1) * 10),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cell_has_a_number_and_a_name_of_its_own() {
        for demo in crate::driveline::DEMOS {
            let subject = crate::review::Subject::read(demo, 1).expect("an embedded demo");
            let axes = Axes::new(&subject.driveline, &subject.table);
            let mut names: Vec<String> = (0..axes.count() as Cell)
                .map(|c| format!("{} {}", axes.group(c), axes.name(c)))
                .collect();
            let all = names.len();
            names.sort();
            names.dedup();
            assert_eq!(names.len(), all, "{demo}: two cells have one name");
            assert_eq!(axes.group(axes.way(0, 1)), 3);
            assert!(!axes.counts(axes.way(1, 1)) && axes.counts(axes.way(0, 1)));
            assert_eq!(
                axes.name(axes.speed(0, 1)),
                format!("{} at standstill", axes.arrangements[0])
            );
            assert_eq!(Axes::from_json(&axes.json()).as_ref(), Some(&axes));
        }
    }
}
