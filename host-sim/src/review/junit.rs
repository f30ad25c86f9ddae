//! JUnit XML: one test case for each rule and this driveline, and one for each part of the
//! evidence, so that a build server shows what broke.

use super::report::Report;
use super::trace::{Says, requirements};
use crate::picture::svg::{escaped, escaped_lines};

/// Findings of one rule that are told.
const TOLD: usize = 5;

/// The file's text.
pub(super) fn junit(report: &Report) -> String {
    let name = escaped(&report.subject.driveline.name);
    let mut cases = String::new();
    let (mut tests, mut failures, mut skipped) = (0, 0, 0);
    let mut add = |case: &str, says: Says, message: &str, told: &str| {
        tests += 1;
        let head = format!("<testcase classname=\"review.{name}\" name=\"{}\"", escaped(case));
        let message = escaped(message);
        cases += &match says {
            Says::Broken => {
                failures += 1;
                format!(
                    "{head}><failure message=\"{message}\">{}</failure></testcase>\n",
                    escaped_lines(told)
                )
            }
            Says::Kept | Says::Unseen => format!("{head}/>\n"),
            Says::Inconclusive | Says::Elsewhere => {
                skipped += 1;
                format!("{head}><skipped message=\"{message}\"/></testcase>\n")
            }
        };
    };
    for requirement in requirements(report) {
        let result = requirement.result();
        let of = |says| {
            let list = requirement.pieces.iter().filter(move |p| p.says == says);
            list.map(|p| format!("{}: {}", p.by, p.what)).collect::<Vec<_>>().join("; ")
        };
        let id = &requirement.section.id;
        let told: Vec<String> = report
            .findings
            .iter()
            .filter(|f| f.rule == id)
            .take(TOLD)
            .map(|f| format!("drive {}, {:.3} s: {}", f.drive + 1, f.t_s, f.text))
            .collect();
        add(id, result, &of(result), &told.join("\n"));
    }
    for part in &report.evidence.parts {
        let (word, why) = super::trace::part_word(&report.evidence, part);
        let says = match word {
            "holds" => Says::Kept,
            "finding" => Says::Broken,
            _ => Says::Inconclusive,
        };
        add(part.kind.word(), says, &why, &why);
    }
    for (kind, why) in &report.evidence.missing {
        add(kind.word(), Says::Inconclusive, why, why);
    }
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>\n<testsuite \
         name=\"review.{name}\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" \
         skipped=\"{skipped}\">\n{cases}</testsuite>\n</testsuites>\n"
    )
}
