//! How near the drives came to the limits of the rules, why requests were refused, and what the margins
//! left of the table's limits.

use super::super::report::used;
use super::Page;
use super::html::{Table, bar, escaped, link, p, short, unit};
use super::rules::anchor;

impl Page<'_> {
    /// The nearest that the drives came to each limit.
    pub(super) fn margins(&self) -> String {
        let mut table = Table::new(
            "Worst case over all drives; the bar is the used share of the limit",
            &["subject", "rule", "#worst", "#limit", "unit", "used", "#measured in", "worst in"],
        );
        for worst in &self.report.margins {
            let m = &worst.margin;
            let kind = if m.at_least { "at least " } else { "at most " };
            let drive = &self.report.drives[worst.drive];
            table.row(vec![
                escaped(&m.subject),
                format!(
                    "<span class=\"whole\">{}</span>",
                    link(&format!("#{}", anchor("rule", m.rule)), m.rule)
                ),
                short(m.worst),
                format!("<span class=\"soft\">{kind}</span>{}", short(m.limit)),
                unit(m.unit),
                format!("<span class=\"n\">{}</span>", bar(used(m))),
                worst.measured_in.to_string(),
                format!(
                    "{} {}",
                    link(&format!("#drive-{}", drive.number), &drive.number.to_string()),
                    escaped(&self.drive_words(worst.drive))
                ),
            ]);
        }
        p("What the judges, who look at the plant's truth only, measured in the drives.")
            + &table.html()
    }

    /// Reasons of refusal with the drives that ended in them.
    pub(super) fn refusals(&self) -> String {
        if self.report.refusals.is_empty() {
            return p("No request ended in a refusal.");
        }
        let mut table = Table::new(
            "Requests that ended in a refusal, by reason",
            &["#no.", "asked for", "reason as the supervisor states it", "drives"],
        );
        for (i, refused) in self.report.refusals.iter().enumerate() {
            let drives: Vec<String> = refused
                .drives
                .iter()
                .map(|&i| {
                    let number = self.report.drives[i].number;
                    link(&format!("#drive-{number}"), &number.to_string())
                })
                .collect();
            let name = &self.report.subject.driveline.arrangements[refused.asked].name;
            table.row_with(
                format!("id=\"reason-{}\"", i + 1),
                vec![
                    format!("R{}", i + 1),
                    escaped(name),
                    escaped(&refused.reason),
                    drives.join(", "),
                ],
            );
        }
        p(
            "A refusal is an answer, not a finding: the reason says what keeps the request from being \
           fulfilled. The arrangement that stood goes on, or, when steps had been taken already, \
           another that can be reached; the list of drives says which.",
        ) + &table.html()
    }

    /// What sensor error, age and rounding take from the limits.
    pub(super) fn table_limits(&self) -> String {
        let mut table = Table::new(
            "Limits that measurements are compared with, and what was taken off before",
            &["limit of", "#limit", "#sensor", "#age", "#rounding", "#other", "#left", "unit"],
        );
        for m in &self.report.subject.table.margins {
            table.row(vec![
                escaped(&m.what),
                short(m.limit),
                short(m.sensor),
                short(m.latency),
                short(m.rounding),
                short(m.other),
                short(m.left),
                escaped(m.unit),
            ]);
        }
        p("Each limit is tightened by sensor error and quantisation, by the age of the value at \
           the worst acceleration, and by rounding, so that \u{201c}measured within\u{201d} means \
           \u{201c}truly within\u{201d}. Parity is how far sensors of the same motion may differ: \
           there the parts add up to the limit.")
            + &table.html()
    }
}
