//! JUnit XML: one test case for each rule, so that a build server shows which one broke.

use super::merge::Merged;
use super::report::{replay_command, rules};
use crate::picture::svg::{escaped, escaped_lines};

/// Findings of one rule that are told.
const TOLD: usize = 5;

/// The file's text.
pub(super) fn junit(merged: &Merged, file: &str) -> String {
    let suite = escaped(&format!("campaign.{}", merged.header.driveline));
    let rules = rules(merged);
    let failures = rules.iter().filter(|(_, broken)| *broken > 0).count();
    let whole = merged.is_whole();
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>\n<testsuite name=\"{suite}\" \
         tests=\"{}\" failures=\"{failures}\" errors=\"{}\">\n",
        rules.len() + 1,
        u8::from(!whole)
    );
    for (rule, broken) in rules {
        let head = format!("<testcase classname=\"{suite}\" name=\"{}\"", escaped(&rule));
        if broken == 0 {
            out += &format!("{head}/>\n");
            continue;
        }
        let of_rule = merged.tally.findings.iter().filter(|f| f.rule == rule).take(TOLD);
        let told: String = of_rule
            .map(|f| {
                let command = replay_command(merged, file, f.case);
                let text = format!("case {}, {:.3} s: {}\n  {command}", f.case, f.t_s, f.text);
                escaped_lines(&text) + "\n"
            })
            .collect();
        out += &format!(
            "{head}><failure message=\"{broken} of {} cases\">{told}</failure></testcase>\n",
            merged.tally.cases
        );
    }
    let head = format!("<testcase classname=\"{suite}\" name=\"every case ran\"");
    out += &match whole {
        true => format!("{head}/>\n"),
        false => format!("{head}><error message=\"the campaign is not whole\"/></testcase>\n"),
    };
    out + "</testsuite>\n</testsuites>\n"
}
