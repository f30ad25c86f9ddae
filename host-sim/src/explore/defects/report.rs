//! What is told of the planted defects: text for a person, JSON for a program.

use serde_json::{Value, json};

use super::explored::Explored;
use super::judged::{JUDGES, Judged, Outcome};
use crate::driveline::Driveline;
use crate::text::{Table, labelled, paragraph};

const TEXT_WIDTH: usize = 80;
/// Version of the JSON's format.
const JSON_FORMAT: u32 = 1;

/// Everything that is reported.
pub struct Report<'a> {
    /// The driveline.
    pub driveline: &'a Driveline,
    /// Most lock faults in one history of an exploration.
    pub faults: u8,
    /// Hash of the good table.
    pub table_hash: u32,
    /// States of the good table.
    pub states: usize,
    /// How many defects there are.
    pub all: usize,
    /// How many were chosen of them.
    pub chosen: usize,
    /// Those that were judged.
    pub judged: Vec<Judged>,
}

/// How many of a kind came out how.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// How many were judged.
    pub tried: usize,
    /// By judge, how many it found.
    pub found_by: [usize; 4],
    /// By judge, how many it alone found.
    pub alone: [usize; 4],
    /// How many were shown to be none.
    pub excused: usize,
    /// How many nothing found.
    pub survived: usize,
    /// How many explorations were given up.
    pub inconclusive: usize,
}

impl Count {
    fn add(&mut self, judged: &Judged) {
        let found = judged.found_by();
        self.tried += 1;
        for (i, found_it) in found.into_iter().enumerate() {
            self.found_by[i] += usize::from(found_it);
            self.alone[i] += usize::from(found_it && found.iter().filter(|f| **f).count() == 1);
        }
        match judged.outcome() {
            Outcome::Found => {}
            Outcome::Excused(_) => self.excused += 1,
            Outcome::Survived => self.survived += 1,
        }
        self.inconclusive += usize::from(matches!(judged.explored, Explored::Inconclusive(_)));
    }

    fn json(&self) -> Value {
        let by = |counts: [usize; 4]| -> Value {
            JUDGES.iter().zip(counts).map(|(judge, n)| (judge.to_string(), json!(n))).collect()
        };
        json!({
            "tried": self.tried, "found_by": by(self.found_by), "found_only_by": by(self.alone),
            "excused": self.excused, "survived": self.survived, "inconclusive": self.inconclusive,
        })
    }
}

impl Report<'_> {
    /// Whether everything that was chosen was judged.
    pub fn complete(&self) -> bool {
        self.judged.len() == self.chosen
    }

    /// Of all that were judged.
    pub fn total(&self) -> Count {
        let mut count = Count::default();
        self.judged.iter().for_each(|judged| count.add(judged));
        count
    }

    /// By kind, in the order of the list.
    pub fn kinds(&self) -> Vec<(&str, Count)> {
        let mut kinds: Vec<(&str, Count)> = Vec::new();
        for judged in &self.judged {
            let kind = judged.what[0].as_str();
            let at = kinds.iter().position(|(k, _)| *k == kind).unwrap_or_else(|| {
                kinds.push((kind, Count::default()));
                kinds.len() - 1
            });
            kinds[at].1.add(judged);
        }
        kinds
    }

    fn verdict(&self) -> &'static str {
        match (self.total().survived, self.complete()) {
            (0, true) => "found",
            (0, false) => "partial",
            _ => "survivors",
        }
    }

    /// For a person.
    pub fn text(&self) -> String {
        let of = match self.chosen == self.all {
            true => format!("all {} defects", self.all),
            false => format!("a sample of {} of {} defects", self.chosen, self.all),
        };
        let mut out = paragraph(
            &format!(
                "{}: {of} of the table, one at a time; unchanged it has {} states with {} lock \
                 faults",
                self.driveline.name, self.states, self.faults
            ),
            0,
            TEXT_WIDTH,
        );
        if !self.complete() {
            let text = format!(
                "PARTIAL: stopped after {} of {}; the rest was not tried",
                self.judged.len(),
                self.chosen
            );
            out += &paragraph(&text, 0, TEXT_WIDTH);
        }
        out.push('\n');
        out += &self.table();
        out.push('\n');
        out += &self.survivors();
        out
    }

    fn table(&self) -> String {
        let mut table = Table::new(&["kind", "tried", "excused", "survived", "found by"]);
        let total = self.total();
        let by = |counts: [usize; 4]| -> String {
            let found = JUDGES.iter().zip(counts).filter(|(_, n)| *n > 0);
            let words: Vec<String> = found.map(|(judge, n)| format!("{judge} {n}")).collect();
            if words.is_empty() { "nobody".to_string() } else { words.join(", ") }
        };
        for (kind, count) in self.kinds().into_iter().chain([("all", total.clone())]) {
            let numbers = [count.tried, count.excused, count.survived];
            let numbers = numbers.map(|n| if n == 0 { "-".to_string() } else { n.to_string() });
            let cells = std::iter::once(kind.to_string()).chain(numbers);
            table.row(cells.chain([by(count.found_by)]).collect());
        }
        table.titled("Defects (one may be found by several judges)", TEXT_WIDTH)
            + &paragraph(&format!("Found by one judge alone: {}.", by(total.alone)), 2, TEXT_WIDTH)
            + &paragraph("Drives are made only of what the others left.", 2, TEXT_WIDTH)
    }

    fn survivors(&self) -> String {
        let mut out = String::new();
        for judged in &self.judged {
            let [kind, place, name] = &judged.what;
            let label = match judged.outcome() {
                Outcome::Found => continue,
                Outcome::Excused(_) => "excused   ",
                Outcome::Survived => "SURVIVED  ",
            };
            let driven = judged.driven.as_ref().map(|d| format!("; drives: {}", d.text()));
            let why = match judged.outcome() {
                Outcome::Excused(reason) => reason.text(),
                _ => format!(
                    "exploration: {}{}",
                    judged.explored_words(self.driveline),
                    driven.unwrap_or_default()
                ),
            };
            let text = format!("{kind}: {place}, {name} ({why})");
            out += &labelled(label, &text, 0, TEXT_WIDTH);
        }
        match (out.is_empty(), self.total().survived) {
            (true, _) => paragraph("Nothing survived.", 0, TEXT_WIDTH),
            (false, 0) => out + &paragraph("Nothing survived unexcused.", 0, TEXT_WIDTH),
            (false, _) => out,
        }
    }

    /// For a program; the format is told in `docs/exploration.md`.
    pub fn json(&self) -> Value {
        let kinds: Vec<Value> = self
            .kinds()
            .iter()
            .map(|(kind, count)| {
                let mut value = json!({ "kind": kind });
                if let (Value::Object(all), Value::Object(more)) = (&mut value, count.json()) {
                    all.extend(more);
                }
                value
            })
            .collect();
        let rows: Vec<Value> = self.judged.iter().map(|judged| self.row(judged)).collect();
        json!({
            "explore_defects_format": JSON_FORMAT,
            "driveline": self.driveline.name,
            "table_hash": format!("{:08x}", self.table_hash),
            "faults": self.faults,
            "states": self.states,
            "defects": self.all,
            "chosen": self.chosen,
            "complete": self.complete(),
            "verdict": self.verdict(),
            "total": self.total().json(),
            "kinds": kinds,
            "rows": rows,
        })
    }

    fn row(&self, judged: &Judged) -> Value {
        let [kind, place, change] = &judged.what;
        let (outcome, reason) = match judged.outcome() {
            Outcome::Found => ("found", None),
            Outcome::Excused(reason) => ("excused", Some(reason.text())),
            Outcome::Survived => ("survived", None),
        };
        let by = JUDGES.iter().zip(judged.found_by()).filter(|(_, found)| *found);
        json!({
            "number": judged.number,
            "kind": kind,
            "place": place,
            "change": change,
            "outcome": outcome,
            "found_by": by.map(|(judge, _)| judge).collect::<Vec<_>>(),
            "board": judged.board,
            "explore": judged.explored_words(self.driveline),
            "audit": judged.audit,
            "drives": judged.driven.as_ref().map(super::drives::Driven::text),
            "reason": reason,
        })
    }
}
