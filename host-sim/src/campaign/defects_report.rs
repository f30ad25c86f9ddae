//! What came of planted defects in campaigns: text for a person, JSON for a program.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde_json::{Value, json};

use super::defects::{Ended, Outcome, Tried};
use super::trial::Trial;

/// Version of the format of the JSON.
pub(crate) const DEFECTS_FORMAT: u64 = 3;

/// All that is told.
pub(crate) struct Score<'a> {
    pub(crate) driveline: &'a str,
    pub(crate) table_hash: u32,
    pub(crate) trial: Trial<'a>,
    /// By seed, how many cases were run.
    pub(crate) cases_done: Vec<u64>,
    pub(crate) all: usize,
    pub(crate) tried: &'a [Tried],
}

/// So many of so many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Part {
    pub(crate) found: usize,
    pub(crate) of: usize,
}

impl Part {
    /// Of nothing everything was found.
    pub(crate) fn share(self) -> f64 {
        if self.of == 0 { 1.0 } else { self.found as f64 / self.of as f64 }
    }

    fn text(self) -> String {
        format!("{} of {} ({:.1} %)", self.found, self.of, 100.0 * self.share())
    }
}

/// What came of the defects of one kind.
#[derive(Default)]
struct OfKind<'a> {
    tried: usize,
    refused: usize,
    audit: usize,
    found: usize,
    excused: usize,
    /// Medians of those found.
    cases: Vec<u64>,
    rules: Vec<&'a str>,
}

impl<'a> OfKind<'a> {
    fn add(&mut self, tried: &'a Tried) {
        self.tried += 1;
        self.audit += usize::from(!tried.audit().is_empty());
        match tried.outcome() {
            Outcome::Refused => self.refused += 1,
            Outcome::Found => self.found += 1,
            Outcome::Excused => self.excused += 1,
            Outcome::Missed => {}
        }
        self.cases.extend(tried.median().map(|m| m.0));
        for ended in &tried.ended {
            if let Ended::Found { rule, .. } = ended
                && !self.rules.contains(&rule.as_str())
            {
                self.rules.push(rule);
            }
        }
    }
}

impl Score<'_> {
    fn count(&self, outcome: Outcome) -> usize {
        self.tried.iter().filter(|t| t.outcome() == outcome).count()
    }

    /// Found by campaigns alone, of those that the board runs and that are defects.
    pub(crate) fn alone(&self) -> Part {
        let found = self.count(Outcome::Found);
        Part { found, of: found + self.count(Outcome::Missed) }
    }

    /// Found by board, audit or campaigns, of those that are defects.
    pub(crate) fn chain(&self) -> Part {
        let counts = |t: &&Tried| t.outcome() != Outcome::Excused;
        let found = self.tried.iter().filter(counts).filter(|t| t.is_found_by_any()).count();
        Part { found, of: self.tried.iter().filter(counts).count() }
    }

    pub(crate) fn text(&self, whole: bool) -> String {
        let mut out = String::new();
        // Writing to a string cannot fail.
        let _ = self.write(&mut out, whole);
        out
    }

    fn write(&self, out: &mut String, whole: bool) -> std::fmt::Result {
        writeln!(
            out,
            "planted defects of {}: {} of {} tried, {} cases at most under each of {} seeds, {} \
             faults a case{}",
            self.driveline,
            self.tried.len(),
            self.all,
            self.trial.cases,
            self.trial.seeds.len(),
            self.trial.faults,
            if whole { "" } else { " (STOPPED EARLY)" }
        )?;
        let cases: Vec<String> = self.cases_done.iter().map(u64::to_string).collect();
        writeln!(out, "cases run, by seed: {}", cases.join(", "))?;
        writeln!(out, "found by campaigns alone, under every seed: {}", self.alone().text())?;
        writeln!(out, "found by board, audit or campaigns: {}", self.chain().text())?;
        writeln!(
            out,
            "refused by the board: {}; shown to be no defect: {}",
            self.count(Outcome::Refused),
            self.count(Outcome::Excused)
        )?;
        self.write_kinds(out)?;
        self.write_missed(out)
    }

    fn write_kinds(&self, out: &mut String) -> std::fmt::Result {
        let mut kinds: BTreeMap<&str, OfKind> = BTreeMap::new();
        self.tried.iter().for_each(|tried| kinds.entry(&tried.what[0]).or_default().add(tried));
        writeln!(
            out,
            "\n  {:<26} {:>5} {:>5} {:>5} {:>4} {:>5} {:>12}  by",
            "kind", "tried", "board", "audit", "none", "found", "median cases"
        )?;
        for (kind, mut of) in kinds {
            of.cases.sort_unstable();
            let median = of.cases.get(of.cases.len() / 2).map_or("-".into(), u64::to_string);
            writeln!(
                out,
                "  {kind:<26} {:>5} {:>5} {:>5} {:>4} {:>5} {median:>12}  {}",
                of.tried,
                of.refused,
                of.audit,
                of.excused,
                of.found,
                of.rules.join(", ")
            )?;
        }
        Ok(())
    }

    fn write_missed(&self, out: &mut String) -> std::fmt::Result {
        let with = |outcome| self.tried.iter().filter(move |t| t.outcome() == outcome);
        let all = self.cases_done.iter().sum::<u64>();
        let (idle, differ): (Vec<&Tried>, Vec<_>) =
            with(Outcome::Missed).partition(|t| t.is_idle());
        if !differ.is_empty() {
            writeln!(out, "\nnot found under every seed; cases in which anything differed")?;
        }
        for tried in differ {
            let found = tried.ended.iter().filter(|e| matches!(e, Ended::Found { .. })).count();
            let differed = tried.ended.iter().map(|ended| match ended {
                Ended::Missed { differed } => *differed,
                Ended::Refused | Ended::Found { .. } => 0,
            });
            let (seeds, differed) = (tried.ended.len(), differed.sum::<u64>());
            let came = format!(": found {found} of {seeds}, differed {differed}");
            writeln!(out, "  {}{came}{}", what(tried), audit_words(tried))?;
        }
        if !idle.is_empty() {
            writeln!(out, "\nnot one order or word differed in all {all} cases")?;
        }
        for tried in idle {
            writeln!(out, "  {}{}", what(tried), audit_words(tried))?;
        }
        if self.count(Outcome::Excused) > 0 {
            writeln!(out, "\nnot found, and shown to be no defect")?;
        }
        for tried in with(Outcome::Excused) {
            writeln!(out, "  {}: {}", what(tried), tried.excuse().unwrap_or_default())?;
        }
        Ok(())
    }

    pub(crate) fn json(&self, whole: bool) -> Value {
        let ended = |e: &Ended| match e {
            Ended::Refused => json!({ "by": "board", "cases": 0, "ticks": 0 }),
            Ended::Found { rule, cases, ticks } => {
                json!({ "by": rule, "cases": cases, "ticks": ticks })
            }
            Ended::Missed { differed } => json!({ "by": null, "differed": differed }),
        };
        let tried = self.tried.iter().map(|t| {
            json!({
                "number": t.number,
                "kind": t.what[0], "place": t.what[1], "change": t.what[2],
                "found": t.outcome() == Outcome::Found,
                "refused": t.outcome() == Outcome::Refused,
                "audit": t.examined.as_ref().map(|examined| &examined.audit),
                "excused": t.excuse(),
                "median_cases": t.median().map(|m| m.0),
                "median_ticks": t.median().map(|m| m.1),
                "by_seed": t.ended.iter().map(ended).collect::<Vec<_>>(),
            })
        });
        let (alone, chain) = (self.alone(), self.chain());
        json!({
            "campaign_defects": DEFECTS_FORMAT,
            "driveline": self.driveline,
            "table_hash": format!("{:08x}", self.table_hash),
            "seeds": self.trial.seeds,
            "cases": self.trial.cases,
            "cases_done": self.cases_done,
            "faults": self.trial.faults,
            "refused": self.count(Outcome::Refused),
            "excused": self.count(Outcome::Excused),
            "defects": self.all,
            "whole": whole,
            "found": alone.found,
            "found_of": alone.of,
            "found_share": alone.share(),
            "chain_found": chain.found,
            "chain_of": chain.of,
            "chain_share": chain.share(),
            "tried": tried.collect::<Vec<_>>(),
        })
    }
}

/// Its number, for `replay --defect`, and what it is.
fn what(tried: &Tried) -> String {
    format!("{}: {}", tried.number, tried.what.join(", "))
}

/// Who finds it without a case.
fn audit_words(tried: &Tried) -> String {
    match (&tried.examined, tried.audit()) {
        (None, _) => String::new(),
        (Some(_), []) => "; NOTHING FINDS IT".to_string(),
        (Some(_), ids) => format!("; the audit finds {}", ids.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::super::examined::Examined;
    use super::*;

    fn tried(ended: Ended, audit: &[&'static str], excuse: Option<&str>) -> Tried {
        let examined = Examined { audit: audit.to_vec(), excuse: excuse.map(str::to_owned) };
        Tried {
            number: 0,
            what: ["kind", "place", "change"].map(str::to_owned),
            ended: vec![ended.clone(), ended],
            examined: Some(examined),
        }
    }

    #[test]
    fn both_scores_count_what_they_say() {
        let hit = Ended::Found { rule: "SW-SLIP".into(), cases: 3, ticks: 9 };
        let miss = Ended::Missed { differed: 1 };
        let mut half = tried(hit.clone(), &[], None);
        half.ended[1] = miss.clone();
        let all = [
            tried(hit, &["AU-ROW"], Some("never counted: it was found")),
            half,
            tried(miss.clone(), &["AU-TIME"], None),
            tried(miss.clone(), &["AU-ROW"], Some("magnitudes")),
            tried(Ended::Refused, &[], None),
        ];
        let trial = Trial { seeds: &[1, 2], cases: 3, faults: 1 };
        let score = Score {
            driveline: "axle",
            table_hash: 0,
            trial,
            cases_done: vec![3, 3],
            all: 9,
            tried: &all,
        };
        assert_eq!(score.alone(), Part { found: 1, of: 3 });
        assert_eq!(score.chain(), Part { found: 3, of: 4 });
        let text = score.text(true);
        assert!(text.contains("found 1 of 2, differed 1; NOTHING FINDS IT"), "{text}");
        assert!(text.contains("found 0 of 2, differed 2; the audit finds AU-TIME"), "{text}");
        assert!(text.contains("alone, under every seed: 1 of 3 (33.3 %)"), "{text}");
        let json = score.json(true);
        assert_eq!((&json["refused"], &json["excused"]), (&json!(1), &json!(1)));
        assert_eq!(json["tried"][1]["audit"], json!([]));
        let none = Score { tried: &all[3..4], ..score };
        assert_eq!(none.alone().share(), 1.0);
    }
}
