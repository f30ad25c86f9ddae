//! From each rule to its code, its test, its evidence and what came of it.

use serde_json::Value;

use super::evidence::{Evidence, Kind, Part, State};
use super::evidence::{count, list, text};
use super::report::{Report, used};
use super::sections::{Section, sections};

/// What one piece of evidence says of a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Says {
    /// It was looked at and kept.
    Kept,
    /// Nothing occurred that it is about.
    Unseen,
    /// It is not made in this run: another command makes it.
    Elsewhere,
    /// It ended before the answer was certain.
    Inconclusive,
    /// It was broken.
    Broken,
}

impl Says {
    /// The word in tables, JSON and CSV.
    pub fn word(self) -> &'static str {
        match self {
            Says::Kept => "kept",
            Says::Unseen => "nothing to measure",
            Says::Elsewhere => "not run here",
            Says::Inconclusive => "inconclusive",
            Says::Broken => "broken",
        }
    }
}

/// The nearest that anything came to a rule's limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Nearest {
    /// What it is of.
    pub subject: String,
    /// The worst value.
    pub worst: f64,
    /// Its limit.
    pub limit: f64,
    /// Unit of both.
    pub unit: String,
    /// Used share of the limit; 1 is at the limit.
    pub used: f64,
    /// Whether the limit is the least that is allowed, not the most.
    pub at_least: bool,
}

/// One piece of evidence about a rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// What made it: "drives", "campaign", "exploration", "whole-input test", "canonical test".
    pub by: &'static str,
    /// What was looked at, in words.
    pub what: String,
    /// What it says.
    pub says: Says,
    /// The worst case, where there is one.
    pub nearest: Option<Nearest>,
    /// Where on the page it is told.
    pub anchor: &'static str,
}

/// A rule with its evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    /// As the page of rules states it.
    pub section: Section,
    /// The evidence.
    pub pieces: Vec<Piece>,
}

impl Requirement {
    /// What all pieces together say: broken when one says so; else kept when one says so and none
    /// is inconclusive.
    pub fn result(&self) -> Says {
        let any = |says| self.pieces.iter().any(|p| p.says == says);
        [Says::Broken, Says::Inconclusive, Says::Kept, Says::Unseen]
            .into_iter()
            .find(|says| any(*says))
            .unwrap_or(Says::Elsewhere)
    }

    /// The piece that came nearest to its limit.
    pub fn nearest(&self) -> Option<&Nearest> {
        let all = self.pieces.iter().filter_map(|p| p.nearest.as_ref());
        all.max_by(|a, b| a.used.total_cmp(&b.used))
    }
}

/// Judges whose truth shows what a rule inside the supervisor is for; `docs/rules.md` names them
/// among the hazards.
fn judges_of(id: &str) -> Vec<&str> {
    match id {
        "SW-I1" => vec!["SW-SLIP", "SW-BEGIN"],
        "SW-I2" | "SW-I4" | "SW-I5" => vec!["SW-CONFLICT"],
        "SW-I3" => vec!["SW-OVERLAP", "SW-BEGIN"],
        "SW-I6" | "SW-D2" => vec!["SW-OVERLAP"],
        "SW-M1" | "SW-M3" => vec!["SW-OVERSPEED"],
        "SW-M2" => vec!["SW-OVERSPEED", "SW-MOTION"],
        "SW-M4" | "SW-M5" => vec!["SW-MOTION"],
        "SW-M6" => vec!["SW-OVERSPEED", "SW-ENGINE"],
        "SW-D1" => vec!["SW-CONFLICT", "SW-OVERLAP"],
        "SW-D3" => vec!["SW-ENGINE", "SW-OVERSPEED"],
        judge => vec![judge],
    }
}

/// Properties of the exploration that are about the same.
fn properties_of(id: &str) -> &'static [&'static str] {
    match id {
        "SW-I1" => &["EX-SLIP"],
        "SW-I2" => &["EX-CONFLICT", "EX-KNOWN"],
        "SW-I3" => &["EX-REST"],
        "SW-I4" => &["EX-ONE"],
        "SW-I5" => &["EX-CONFLICT"],
        "SW-I6" => &["EX-ENGINE"],
        "SW-D2" | "SW-OVERLAP" => &["EX-OVERLAP"],
        "SW-CONFLICT" => &["EX-CONFLICT"],
        "SW-REQUEST" => &["EX-LIVE"],
        _ => &[],
    }
}

/// Every rule with its evidence, in the order of the page of rules.
pub fn requirements(report: &Report) -> Vec<Requirement> {
    let one = |section: Section| {
        let mut pieces = Vec::new();
        for judge in judges_of(&section.id) {
            pieces.push(driven(report, judge));
            pieces.extend(report.evidence.of(Kind::Campaign).map(|part| campaigned(part, judge)));
        }
        for property in properties_of(&section.id) {
            pieces.extend(report.evidence.of(Kind::Explore).map(|part| explored(part, property)));
        }
        pieces.extend(tests(&section));
        Requirement { section, pieces }
    };
    sections().into_iter().map(one).collect()
}

fn driven(report: &Report, judge: &str) -> Piece {
    let found = report.findings.iter().filter(|f| f.rule == judge).count();
    let margins = report.margins.iter().filter(|m| m.margin.rule == judge);
    let nearest = margins.max_by(|a, b| used(&a.margin).total_cmp(&used(&b.margin)));
    let says = match (found, nearest.is_some()) {
        (0, true) => Says::Kept,
        (0, false) => Says::Unseen,
        _ => Says::Broken,
    };
    Piece {
        by: "drives",
        what: format!("{judge} in {} drives", report.drives.len()),
        says,
        nearest: nearest.map(|m| Nearest {
            subject: m.margin.subject.clone(),
            worst: m.margin.worst,
            limit: m.margin.limit,
            unit: m.margin.unit.to_owned(),
            used: used(&m.margin),
            at_least: m.margin.at_least,
        }),
        anchor: "drives",
    }
}

fn campaigned(part: &Part, judge: &str) -> Piece {
    let value = &part.value;
    let rule = list(&value["rules"]).iter().find(|r| r["rule"] == judge);
    let broken = rule.map(|r| count(&r["broken"]));
    let margins = list(&value["margins"]).iter().filter(|m| m["rule"] == judge);
    let left = |m: &Value| m["left_share"].as_f64().unwrap_or(f64::NEG_INFINITY);
    let nearest = margins.min_by(|a, b| left(a).total_cmp(&left(b)));
    let whole = value["whole"] == true;
    let says = match (broken, nearest.is_some()) {
        (Some(1..), _) => Says::Broken,
        (None, _) => Says::Inconclusive,
        _ if !whole => Says::Inconclusive,
        (Some(0), true) => Says::Kept,
        (Some(0), false) => Says::Unseen,
    };
    Piece {
        by: "campaign",
        what: format!("{judge} in {} cases", count(&value["ran"])),
        says,
        nearest: nearest.map(|m| Nearest {
            subject: text(&m["subject"]).to_owned(),
            worst: m["worst"].as_f64().unwrap_or(f64::NAN),
            limit: m["limit"].as_f64().unwrap_or(f64::NAN),
            unit: text(&m["unit"]).to_owned(),
            used: 1.0 - left(m),
            at_least: m["limit_is"] == "lowest",
        }),
        anchor: "campaign",
    }
}

fn explored(part: &Part, property: &str) -> Piece {
    let value = &part.value;
    let complete = value["complete"] == true;
    let says = if property == "EX-LIVE" {
        match value["live"]["holds"].as_bool() {
            Some(true) => Says::Kept,
            Some(false) => Says::Broken,
            None => Says::Inconclusive,
        }
    } else {
        let of = list(&value["always"]).iter().find(|a| a["id"] == property);
        match of {
            Some(a) if a["broken"] != false => Says::Broken,
            Some(a) if a["judged"] == true && complete => Says::Kept,
            _ => Says::Inconclusive,
        }
    };
    let faults = count(&value["faults"]);
    Piece {
        by: "exploration",
        what: format!(
            "{property} in {} states {}",
            count(&value["states"]),
            match faults {
                0 => "without a lock fault".to_owned(),
                1 => "with at most 1 lock fault".to_owned(),
                n => format!("with at most {n} lock faults"),
            }
        ),
        says,
        nearest: None,
        anchor: "exploration",
    }
}

/// Tests are run by `cargo test`, not by a review.
fn tests(section: &Section) -> Vec<Piece> {
    let piece = |by, what: String| Piece {
        by,
        what,
        says: Says::Elsewhere,
        nearest: None,
        anchor: "reproduce",
    };
    let mut list =
        vec![piece("canonical test", format!("{} in {}", section.test, section.test_file))];
    if section.code == "supervisor/src/interlock.rs" {
        let what = "every input of the interlock against an oracle, in \
                    tests/tests/interlock_whole.rs";
        list.push(piece("whole-input test", what.to_owned()));
    }
    list
}

/// What a part of the evidence comes to, and why; of a score that is not judged, the score.
pub(super) fn part_word(evidence: &Evidence, part: &Part) -> (&'static str, String) {
    match evidence.state_of(part) {
        State::Holds => ("holds", part.score().unwrap_or_default()),
        State::Finding(why) => ("finding", why),
        State::Inconclusive(why) => ("inconclusive", why),
    }
}

#[cfg(test)]
mod tests_of_judges {
    use super::*;
    use crate::checkers;
    use crate::review::Subject;

    /// A rule without a judge would stand as inconclusive for ever.
    #[test]
    fn every_rule_has_judges_that_there_are() {
        let subject = Subject::read("shuttle", 1).expect("a demo");
        let judges = checkers::all(&subject.driveline, &subject.kinematics);
        for section in sections() {
            for judge in judges_of(&section.id) {
                let known = judges.iter().any(|known| known.id() == judge);
                assert!(known, "{} is shown by {judge}, which no checker is", section.id);
            }
        }
    }
}
