//! Sums over cases. Adding is commutative and exact, so that order and division do not show.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::axes::Cell;
use super::judged::Judged;
use crate::checkers::Margin;

/// Bins of a histogram: below zero, then twentieths of the limit, the last for all above.
pub const BINS: usize = 21;
/// Findings of one case that are kept, one a rule.
type CaseNumber = u64;

/// What a margin is of: rule, subject, unit. One subject may be measured in two units.
pub type MarginKey = (String, String, String);

/// A finding with the case that it was made in.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Number of the case.
    pub case: CaseNumber,
    /// The rule.
    pub rule: String,
    /// When, s.
    pub t_s: f64,
    /// What happened.
    pub text: String,
}

/// How near cases came to one limit.
#[derive(Clone, Debug, PartialEq)]
pub struct MarginTally {
    /// Unit of limit and worst value.
    pub unit: String,
    /// Whether the limit is a lowest value.
    pub at_least: bool,
    /// The limit.
    pub limit: f64,
    /// The worst value over all cases.
    pub worst: f64,
    /// The first case that had it.
    pub case: CaseNumber,
    /// When in that case, s.
    pub t_s: f64,
    /// Number of cases by what was left of the limit.
    pub bins: [u64; BINS],
}

impl MarginTally {
    fn of(margin: &Margin, case: CaseNumber) -> MarginTally {
        let mut bins = [0; BINS];
        bins[bin(left_share(margin.worst, margin.limit, margin.at_least))] = 1;
        MarginTally {
            unit: margin.unit.to_string(),
            at_least: margin.at_least,
            limit: finite(margin.limit, margin.at_least),
            worst: finite(margin.worst, margin.at_least),
            case,
            t_s: margin.t_s,
            bins,
        }
    }

    /// What is left of the limit in the worst case, as a share of it; negative is beyond.
    pub fn left_share(&self) -> f64 {
        left_share(self.worst, self.limit, self.at_least)
    }

    fn add(&mut self, other: &MarginTally) {
        for (to, from) in self.bins.iter_mut().zip(&other.bins) {
            *to += from;
        }
        let worse = match self.at_least {
            true => other.worst < self.worst,
            false => other.worst > self.worst,
        };
        if worse || other.worst == self.worst && other.case < self.case {
            (self.worst, self.case, self.t_s) = (other.worst, other.case, other.t_s);
        }
    }
}

/// What is no number counts as the worst there is; files hold finite numbers only.
fn finite(value: f64, at_least: bool) -> f64 {
    let worst = if at_least { f64::MIN } else { f64::MAX };
    if value.is_nan() { worst } else { value.clamp(f64::MIN, f64::MAX) }
}

fn left_share(worst: f64, limit: f64, at_least: bool) -> f64 {
    let left = if at_least { worst - limit } else { limit - worst };
    if limit == 0.0 { left } else { left / limit.abs() }
}

fn bin(left: f64) -> usize {
    // Not a number counts as beyond the limit.
    if left >= 0.0 { 1 + ((left * 20.0) as usize).min(BINS - 2) } else { 0 }
}

/// What came of some cases.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// Cases that ran.
    pub cases: u64,
    /// Cases that could not start: lock set, speed and engine contradicted each other.
    pub not_run: u64,
    /// Supervisor ticks.
    pub ticks: u64,
    /// Sum of the digests of the plants' last states: equal sums mean equal runs.
    pub digest: u64,
    /// Number of cases by rule that was broken.
    pub broken: BTreeMap<String, u64>,
    /// By rule, subject and unit.
    pub margins: BTreeMap<MarginKey, MarginTally>,
    /// Number of cases by cell of the coverage.
    pub cells: BTreeMap<Cell, u64>,
    /// The first finding of each rule in each case.
    pub findings: Vec<Found>,
}

impl Tally {
    /// Take in what came of a case.
    pub fn take(&mut self, case: CaseNumber, judged: &Judged) {
        self.cases += 1;
        self.ticks += judged.ticks;
        self.digest = self.digest.wrapping_add(judged.digest);
        for margin in &judged.margins {
            let new = MarginTally::of(margin, case);
            let key = (margin.rule.to_string(), margin.subject.clone(), margin.unit.to_string());
            match self.margins.get_mut(&key) {
                Some(known) => known.add(&new),
                None => drop(self.margins.insert(key, new)),
            }
        }
        for cell in &judged.cells {
            *self.cells.entry(*cell).or_default() += 1;
        }
        let from = self.findings.len();
        for f in &judged.findings {
            if self.findings[from..].iter().all(|known| known.rule != f.rule) {
                let rule = f.rule.to_string();
                *self.broken.entry(rule.clone()).or_default() += 1;
                self.findings.push(Found { case, rule, t_s: f.t_s, text: f.text.clone() });
            }
        }
    }

    /// Take in a case that could not start.
    pub fn take_not_run(&mut self) {
        self.not_run += 1;
    }

    /// Add what came of other cases.
    pub fn add(&mut self, other: &Tally) {
        self.cases += other.cases;
        self.not_run += other.not_run;
        self.ticks += other.ticks;
        self.digest = self.digest.wrapping_add(other.digest);
        for (rule, count) in &other.broken {
            *self.broken.entry(rule.clone()).or_default() += count;
        }
        for (key, margin) in &other.margins {
            match self.margins.get_mut(key) {
                Some(known) => known.add(margin),
                None => drop(self.margins.insert(key.clone(), margin.clone())),
            }
        }
        for (cell, count) in &other.cells {
            *self.cells.entry(*cell).or_default() += count;
        }
        self.findings.extend(other.findings.iter().cloned());
    }

    /// Put the findings in the order of their cases.
    pub fn sort(&mut self) {
        self.findings.sort_by(|a, b| (a.case, &a.rule).cmp(&(b.case, &b.rule)));
    }

    /// As a line of a results file.
    pub(super) fn json(&self) -> Map<String, Value> {
        let margins = self.margins.iter().map(|((rule, subject, _), m)| {
            let bins = m.bins.iter().enumerate().filter(|(_, n)| **n > 0);
            let bins: Vec<Value> = bins.map(|(i, n)| json!([i, n])).collect();
            json!([rule, subject, m.unit, m.at_least, m.limit, m.worst, m.case, m.t_s, bins])
        });
        let cells = self.cells.iter().map(|(cell, count)| json!([cell, count]));
        let findings = self.findings.iter().map(|f| json!([f.case, f.rule, f.t_s, f.text]));
        let mut map = Map::new();
        map.insert("cases".into(), self.cases.into());
        map.insert("not_run".into(), self.not_run.into());
        map.insert("ticks".into(), self.ticks.into());
        // A number of 64 bits does not fit into those of JSON.
        map.insert("digest".into(), format!("{:016x}", self.digest).into());
        map.insert("margins".into(), margins.collect());
        map.insert("cells".into(), cells.collect());
        map.insert("findings".into(), findings.collect());
        map
    }

    /// From a line of a results file; `None` where it is none.
    pub(super) fn from_json(value: &Value) -> Option<Tally> {
        let mut tally = Tally {
            cases: value["cases"].as_u64()?,
            not_run: value["not_run"].as_u64()?,
            ticks: value["ticks"].as_u64()?,
            digest: u64::from_str_radix(value["digest"].as_str()?, 16).ok()?,
            ..Tally::default()
        };
        for margin in value["margins"].as_array()? {
            let (key, margin) = margin_from(margin)?;
            tally.margins.insert(key, margin);
        }
        for cell in value["cells"].as_array()? {
            let number = Cell::try_from(cell[0].as_u64()?).ok()?;
            tally.cells.insert(number, cell[1].as_u64()?);
        }
        for found in value["findings"].as_array()? {
            let rule = found[1].as_str()?.to_string();
            *tally.broken.entry(rule.clone()).or_default() += 1;
            tally.findings.push(Found {
                case: found[0].as_u64()?,
                rule,
                t_s: found[2].as_f64()?,
                text: found[3].as_str()?.to_string(),
            });
        }
        Some(tally)
    }
}

fn margin_from(value: &Value) -> Option<(MarginKey, MarginTally)> {
    let mut bins = [0; BINS];
    for bin in value[8].as_array()? {
        *bins.get_mut(usize::try_from(bin[0].as_u64()?).ok()?)? = bin[1].as_u64()?;
    }
    let text = |i: usize| value[i].as_str().map(str::to_string);
    let margin = MarginTally {
        unit: text(2)?,
        at_least: value[3].as_bool()?,
        limit: value[4].as_f64()?,
        worst: value[5].as_f64()?,
        case: value[6].as_u64()?,
        t_s: value[7].as_f64()?,
        bins,
    };
    Some(((text(0)?, text(1)?, text(2)?), margin))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checkers::Finding;

    fn judged(worst: f64) -> Judged {
        let margin = Margin {
            rule: "SW-SLIP",
            subject: "a lock".to_string(),
            at_least: false,
            worst,
            limit: 60.0,
            unit: "rpm",
            t_s: 1.5,
        };
        let finding = |t_s| Finding { rule: "SW-SLIP", t_s, text: format!("{worst} rpm") };
        let beyond = worst > 60.0;
        Judged {
            ticks: 10,
            digest: (u64::MAX - 3).wrapping_add(worst as u64),
            findings: if beyond { vec![finding(1.0), finding(2.0)] } else { Vec::new() },
            margins: vec![margin],
            cells: vec![3, worst as u32],
        }
    }

    #[test]
    fn sums_do_not_show_how_the_cases_were_divided() {
        let all = [12.0, 61.0, 59.9, 61.0, 0.0, 33.3];
        let mut one = Tally::default();
        all.iter().enumerate().for_each(|(i, w)| one.take(i as u64, &judged(*w)));
        let mut parts = [Tally::default(), Tally::default()];
        all.iter().enumerate().for_each(|(i, w)| parts[i % 2].take(i as u64, &judged(*w)));
        let mut sum = Tally::default();
        for part in parts.iter().rev() {
            let read = Tally::from_json(&Value::Object(part.json())).expect("what was written");
            assert_eq!(&read, part);
            sum.add(&read);
        }
        sum.sort();
        let other = {
            let mut other = Tally::default();
            all.iter().enumerate().rev().for_each(|(i, w)| other.take(i as u64, &judged(*w)));
            other.sort();
            other
        };
        one.sort();
        assert_eq!(one, other);
        assert_eq!(one, sum);
        let margin = &one.margins[&("SW-SLIP".into(), "a lock".into(), "rpm".into())];
        // The first of two equal ones, and one bin a case.
        assert_eq!((margin.worst, margin.case), (61.0, 1));
        assert_eq!((margin.bins[0], margin.bins[1], margin.bins[20]), (2, 1, 1));
        assert_eq!(margin.bins.iter().sum::<u64>(), 6);
        assert_eq!((one.broken["SW-SLIP"], one.findings.len()), (2, 2));
        assert_eq!(one.findings[0].t_s, 1.0, "the first of a case is kept");
    }
}
