//! How to get the same review again, and what it does not show.

use super::super::cases::{Case, REFUSAL_STANDS_S, REQUEST_AT_S};
use super::super::files::scenario_path;
use super::super::run::trace_every;
use super::Page;
use super::html::{command, list, p};
use crate::checkers::answer_bound_s;

impl Page<'_> {
    /// Commands that repeat the review and single drives.
    pub(super) fn reproduce(&self) -> String {
        let report = self.report;
        let seed = report.subject.seed;
        let mut out = p("In this folder, with the same version of the tool:");
        out += &command("sha256sum driveline.toml");
        out += &command(&format!("slipwarden review driveline.toml --out again --seed {seed}"));
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
        out
    }

    /// Limits of the method, stated plainly.
    pub(super) fn limits(&self) -> String {
        let subject = &self.report.subject;
        let skipped: Vec<String> = Case::ALL
            .iter()
            .filter(|case| !self.report.drives.iter().any(|drive| drive.case == **case))
            .map(|case| case.word().to_owned())
            .collect();
        let mut items = vec![
            "Only the drives listed were made: steady speed, steady slope, one request (or one \
             taken back), a sound driveline. Other speeds, demands and orders of requests were not."
                .to_owned(),
            "No faults were injected: no stuck or slow lock, no lying switch, no lost or wrong \
             sensor, no late machine, no reset of the supervisor on the way."
                .to_owned(),
            "The supervisor's states were not explored. That a drive kept the rules proves \
             nothing about states that no drive came through."
                .to_owned(),
            "Energy and fuel over a duty cycle, wear and temperature over many transitions were \
             not looked at; friction work is judged for each closing alone."
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
            items.push(format!(
                "Situations that no pair of this driveline has: {}.",
                skipped.join(", ")
            ));
        }
        list(&items)
    }
}
