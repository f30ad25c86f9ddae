//! How to get the same review again, and what it does not show.

use super::super::cases::{Case, REFUSAL_STANDS_S, REQUEST_AT_S};
use super::super::evidence::Origin;
use super::super::files::scenario_path;
use super::super::open::open_points;
use super::super::run::trace_every;
use super::Page;
use super::html::{command, escaped, items, link, list, p, part, ticked};
use crate::checkers::answer_bound_s;

impl Page<'_> {
    /// Commands that repeat the review and single drives.
    pub(super) fn reproduce(&self) -> String {
        let report = self.report;
        let seed = report.subject.seed;
        let mut out = p("In this folder, with the same version of the tool:");
        out += &command("sha256sum driveline.toml");
        out += &command(&self.again(seed));
        out += &p("The same inputs give the same bytes, whatever the number of processor cores; \
             only the file's name differs where it was another. One drive alone:");
        let shown = report.findings.first().map_or(0, |f| f.drive);
        if let Some(drive) = report.drives.get(shown) {
            out += &command(&format!(
                "slipwarden drive driveline.toml {} --seed {} --trace trace.csv --svg timeline.svg",
                scenario_path(report, shown),
                drive.seed
            ));
        }
        out += &p(&format!(
            "The seed of drive n is the review's seed plus n less 1. Traces in this folder hold every \
             {}th tick. Every drive was made twice, and the end states were compared bit for bit.",
            trace_every(&report.subject)
        ));
        if !report.evidence.parts.is_empty() {
            out += &self.each_alone();
        }
        out
    }

    /// The command that makes this review again.
    fn again(&self, seed: u64) -> String {
        let report = self.report;
        let mut line = format!("slipwarden review driveline.toml --out again --seed {seed}");
        if let Some(depth) = report.depth {
            line += &format!(" --depth {}", depth.word());
        }
        for (part, path) in report.evidence.with_paths() {
            if let Origin::Read { .. } = part.origin {
                line += &format!(" --evidence {path}");
            }
        }
        if let Some(date) = &report.date {
            line += &format!(" --date {date}");
        }
        line
    }

    /// The commands that make each part of the evidence alone.
    fn each_alone(&self) -> String {
        let report = self.report;
        let mut out = p("Each part of the evidence alone:");
        let mut alone = Vec::new();
        for (part, path) in report.evidence.with_paths() {
            alone.push(match &part.origin {
                Origin::Made(line) => {
                    format!("{}: <code>{}</code>", link(&path, &path), escaped(line))
                }
                Origin::Read { name, sha256 } => format!(
                    "{}: read from {}, SHA-256 <span class=\"mono\">{sha256}</span>; kept here with \
                     the same content, indented",
                    link(&path, &path),
                    escaped(name)
                ),
            });
        }
        out += &items(&alone);
        out + &p("The tests of the rules, in the sources of this version:")
            + &command("cargo test --workspace")
    }

    /// Limits of the method, stated plainly.
    pub(super) fn limits(&self) -> String {
        let subject = &self.report.subject;
        let computed: Vec<String> =
            open_points(self.report).iter().map(|point| ticked(point)).collect();
        let skipped: Vec<String> = Case::ALL
            .iter()
            .filter(|case| !self.report.drives.iter().any(|drive| drive.case == **case))
            .map(|case| case.word().to_owned())
            .collect();
        let mut limits = vec![
            "The drives between arrangements are those listed: steady speed, steady slope, one \
             request (or one taken back), a sound driveline. Faults come in the campaign and in \
             the exploration only."
                .to_owned(),
            "The exploration runs the real decision and interlock code with shrunk timers and \
             answers in place of measurements; the floating point that makes answers from \
             measurements is judged by drives, campaigns and tests."
                .to_owned(),
            "Energy and fuel over a duty cycle and wear were not looked at."
                .to_owned(),
            "The plant has rigid shafts, invented or stated inertias and losses, no elasticity, no \
             backlash but that of dogs, no tyre slip. Comfort and noise are not judged."
                .to_owned(),
            "The run time and the memory of the supervisor on its board were not measured here."
                .to_owned(),
            format!(
                "A request is made {REQUEST_AT_S} s after the start. A refusal that stands for \
                 {REFUSAL_STANDS_S} s without a step is taken as the answer; a request may wait \
                 {:.1} s for its answer before that is a finding.",
                answer_bound_s(&subject.driveline)
            ),
            "The forecast is an estimate from the table's rows with steady speeds. A drive that \
             ends otherwise is marked and is no finding by itself."
                .to_owned(),
        ];
        if !skipped.is_empty() {
            limits.push(format!(
                "Situations that no pair of this driveline has: {}.",
                skipped.join(", ")
            ));
        }
        part("open", "Open points of this review, worked out", &items(&computed))
            + &part("method", "Limits of the method", &list(&limits))
    }
}
