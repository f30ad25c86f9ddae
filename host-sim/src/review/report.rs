//! What all drives together come to: findings, worst margins, refusals, the verdict.

use crate::checkers::{Finding, Margin};
use crate::explore::command::INCONCLUSIVE;

use super::cases::{Drive, drives};
use super::depth::Depth;
use super::evidence::{Evidence, Kind};
use super::forecast::Forecast;
use super::progress::Progress;
use super::run::{Answer, DriveResult, run_all};
use super::subject::Subject;

/// A finding with the drive that showed it.
#[derive(Clone, Debug, PartialEq)]
pub struct PairFinding {
    /// Index of the drive.
    pub drive: usize,
    /// Identifier of the rule; `REVIEW-REPEAT` and `REVIEW-NOT-RUN` are the review's own.
    pub rule: &'static str,
    /// When, s from the start of the drive.
    pub t_s: f64,
    /// What happened.
    pub text: String,
}

/// The nearest that any drive came to one limit.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstMargin {
    /// The margin of that drive.
    pub margin: Margin,
    /// Index of the drive.
    pub drive: usize,
    /// In how many drives it was measured.
    pub measured_in: usize,
}

/// One reason of refusal with the drives that ended in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Refused {
    /// The arrangement that was asked for.
    pub asked: usize,
    /// The reason.
    pub reason: String,
    /// Indices of the drives.
    pub drives: Vec<usize>,
}

/// A finished review.
#[derive(Clone, Debug)]
pub struct Report {
    /// What was reviewed.
    pub subject: Subject,
    /// The drives, in order.
    pub drives: Vec<Drive>,
    /// Their results, in the same order.
    pub results: Vec<DriveResult>,
    /// All findings, in order of drive and time.
    pub findings: Vec<PairFinding>,
    /// Worst margins, in order of rule and subject as the judges give them.
    pub margins: Vec<WorstMargin>,
    /// Refusals that requests ended in, in order of first drive.
    pub refusals: Vec<Refused>,
    /// The evidence besides the drives; none where only drives were asked for.
    pub evidence: Evidence,
    /// How deep the review looked, where it was more than drives.
    pub depth: Option<Depth>,
    /// The date that was given; the tool asks no clock.
    pub date: Option<String>,
}

/// What a review comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing was found, and all evidence is whole.
    NoFinding,
    /// Something was found.
    Finding,
    /// Nothing was found, but some evidence is not whole.
    Inconclusive,
}

impl Outcome {
    /// The word in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::NoFinding => "no-finding",
            Outcome::Finding => "finding",
            Outcome::Inconclusive => "inconclusive",
        }
    }
}

/// Share of a limit that is used, 1 at the limit; more is worse, also for a lowest value.
pub(super) fn used(m: &Margin) -> f64 {
    match (m.at_least, m.limit == 0.0) {
        (_, true) => {
            if m.worst == 0.0 {
                0.0
            } else {
                f64::INFINITY
            }
        }
        (false, false) => (m.worst / m.limit).max(0.0),
        (true, false) => {
            if m.worst > 0.0 {
                (m.limit / m.worst).max(0.0)
            } else {
                f64::INFINITY
            }
        }
    }
}

/// Whether `a` is nearer to the limit than `b`, of the same subject.
fn nearer(a: &Margin, b: &Margin) -> bool {
    if a.at_least { a.worst < b.worst } else { a.worst > b.worst }
}

impl Report {
    /// Make all drives of a review of `subject` and gather what they come to.
    pub fn of(subject: Subject, threads: usize, progress: &mut dyn Progress) -> Report {
        let drives = drives(&subject);
        let all = drives.len();
        let mut found = 0;
        let results = run_all(&subject, &drives, threads, |done, drive, result| {
            found += findings_of(0, drive, result, &subject).len();
            progress.drive_done(done, all, found);
            !progress.is_stopped()
        });
        progress.end();
        Report::gather(subject, drives, results)
    }

    fn gather(subject: Subject, drives: Vec<Drive>, results: Vec<DriveResult>) -> Report {
        let mut report = Report {
            findings: Vec::new(),
            margins: Vec::new(),
            refusals: Vec::new(),
            evidence: Evidence::default(),
            depth: None,
            date: None,
            subject,
            drives,
            results,
        };
        for (i, (drive, result)) in report.drives.iter().zip(&report.results).enumerate() {
            report.findings.extend(findings_of(i, drive, result, &report.subject));
            for margin in &result.summary.margins {
                add_margin(&mut report.margins, margin, i);
            }
            if let Answer::Refused(reason) = &result.answer {
                let asked = drive.asked();
                let known =
                    report.refusals.iter_mut().find(|r| r.asked == asked && r.reason == *reason);
                match known {
                    Some(refused) => refused.drives.push(i),
                    None => report.refusals.push(Refused {
                        asked,
                        reason: reason.clone(),
                        drives: vec![i],
                    }),
                }
            }
        }
        let order = |rule: &str| super::rules::RULES.iter().position(|r| r.id == rule);
        report.margins.sort_by_key(|m| order(m.margin.rule));
        report
    }

    /// Whether no drive has a finding.
    pub fn is_clean(&self) -> bool {
        self.findings.is_empty()
    }

    /// What drives and all other evidence come to.
    pub fn outcome(&self) -> Outcome {
        match () {
            () if !self.is_clean() || !self.evidence.findings().is_empty() => Outcome::Finding,
            () if !self.evidence.inconclusive().is_empty() => Outcome::Inconclusive,
            () => Outcome::NoFinding,
        }
    }

    /// 0 when nothing was found, 1 a finding, 3 when some evidence is not whole.
    pub fn exit_code(&self) -> i32 {
        match self.outcome() {
            Outcome::NoFinding => 0,
            Outcome::Finding => 1,
            Outcome::Inconclusive => INCONCLUSIVE,
        }
    }

    /// The verdict in one short sentence, other evidence included.
    pub fn verdict(&self) -> String {
        let drives = self.drives_verdict();
        let found = self.evidence.findings();
        let open = self.evidence.inconclusive();
        let words = |list: &[(Kind, String)]| {
            list.iter().map(|(kind, _)| kind.short()).collect::<Vec<_>>().join(", ")
        };
        match (found.is_empty(), open.is_empty()) {
            (false, _) => format!("{drives}; findings in other evidence: {}", words(&found)),
            (true, false) => format!("{drives}; inconclusive: {}", words(&open)),
            (true, true) if self.evidence.parts.is_empty() => drives,
            (true, true) => {
                let judged = self.evidence.parts.iter().filter(|p| p.kind.is_judged());
                let kinds: Vec<&str> = judged.map(|p| p.kind.short()).collect();
                match kinds.is_empty() {
                    true => drives,
                    false => format!("{drives}, nor in {}", kinds.join(", ")),
                }
            }
        }
    }

    /// The verdict on the drives alone.
    fn drives_verdict(&self) -> String {
        let drives = match self.drives.len() {
            1 => "1 drive".to_owned(),
            n => format!("{n} drives"),
        };
        match self.findings.len() {
            0 if self.drives.is_empty() => {
                "Nothing was driven: there is no pair of arrangements".to_owned()
            }
            0 => format!("No finding in {drives}"),
            1 => format!("1 finding in {drives}"),
            n => format!("{n} findings in {drives}"),
        }
    }

    /// How many drives ended in each way: reached, refused, other.
    pub fn counts(&self) -> (usize, usize, usize) {
        let count =
            |want: fn(&Answer) -> bool| self.results.iter().filter(|r| want(&r.answer)).count();
        let reached = count(|a| matches!(a, Answer::Reached));
        let refused = count(|a| matches!(a, Answer::Refused(_)));
        (reached, refused, self.results.len() - reached - refused)
    }

    /// Number (from 1) of the reason that a drive was refused for.
    pub(super) fn refusal_number(&self, drive: usize) -> Option<usize> {
        self.refusals.iter().position(|r| r.drives.contains(&drive)).map(|i| i + 1)
    }

    /// Drives that ended otherwise than the table foretells.
    pub(super) fn surprises(&self) -> Vec<usize> {
        let differs = |i: &usize| {
            let (drive, result) = (&self.drives[*i], &self.results[*i]);
            // A request that is taken back is answered for the first arrangement.
            drive.asked() == drive.to
                && !matches!(
                    (&drive.forecast, &result.answer),
                    (Forecast::Goes { .. }, Answer::Reached)
                        | (Forecast::Refused(_), Answer::Refused(_))
                )
        };
        (0..self.drives.len()).filter(differs).collect()
    }
}

fn add_margin(margins: &mut Vec<WorstMargin>, margin: &Margin, drive: usize) {
    let same =
        |m: &&mut WorstMargin| m.margin.rule == margin.rule && m.margin.subject == margin.subject;
    match margins.iter_mut().find(same) {
        Some(known) => {
            known.measured_in += 1;
            if nearer(margin, &known.margin) {
                known.margin = margin.clone();
                known.drive = drive;
            }
        }
        None => margins.push(WorstMargin { margin: margin.clone(), drive, measured_in: 1 }),
    }
}

/// The judges' findings of a drive, and the review's own.
fn findings_of(
    index: usize,
    drive: &Drive,
    result: &DriveResult,
    subject: &Subject,
) -> Vec<PairFinding> {
    let judged =
        |f: &Finding| PairFinding { drive: index, rule: f.rule, t_s: f.t_s, text: f.text.clone() };
    let mut list: Vec<PairFinding> = result.summary.findings.iter().map(judged).collect();
    let own = |rule, text| PairFinding { drive: index, rule, t_s: 0.0, text };
    if let Answer::NotRun(why) = &result.answer {
        let name = &subject.driveline.arrangements[drive.from].name;
        let text = format!("the drive from {name} is no evidence: {why}");
        list.push(own("REVIEW-NOT-RUN", text));
    }
    if !result.repeats {
        let text = "a second run with the same seed ended in another state of the plant";
        list.push(own("REVIEW-REPEAT", text.to_owned()));
    }
    list
}
