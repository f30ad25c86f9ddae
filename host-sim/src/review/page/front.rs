//! The head of the page: what was reviewed, the verdict, cautions; and the findings.

use super::super::files::{scenario_path, timeline_path};
use super::Page;
use super::html::{Table, escaped, link, list, p};

impl Page<'_> {
    /// Title block, verdict, cautions.
    pub(super) fn front(&self) -> String {
        let d = &self.report.subject.driveline;
        let mut out = format!("<h1>Review of {}</h1>\n", escaped(&d.name));
        if !d.about.is_empty() {
            out += &format!("<p class=\"about\">{}</p>\n", escaped(&d.about));
        }
        out += &self.title_block();
        out += &self.verdict();
        out += &format!(
            "<aside class=\"caution\" aria-label=\"Cautions\">\n{}{}</aside>\n",
            p("This review is evidence for a person to judge. It certifies nothing, releases \
               nothing for use and replaces no assessment that a law or standard asks for."),
            list(
                &[
                    "On real hardware: rotating parts, stored energy, high voltage, and a vehicle \
                     that may move by itself. Lock out and secure it before anyone is near.",
                    "Work on such systems is for people who are trained, and where local codes \
                     say so licensed, for it.",
                    "The plant is a model made from the driveline file. A wrong file gives a \
                     wrong review; check the file against the drawing.",
                ]
                .map(str::to_owned)
            )
        );
        out
    }

    fn title_block(&self) -> String {
        let subject = &self.report.subject;
        let cell = |class: &str, term: &str, html: String| {
            format!("<div{class}><dt>{term}</dt><dd>{html}</dd></div>\n")
        };
        let mono = |text: &str| format!("<span class=\"mono\">{}</span>", escaped(text));
        let wide = " class=\"wide\"";
        let cells = [
            cell(wide, "Driveline file", link("driveline.toml", &subject.file_name)),
            cell(wide, "SHA-256 of the file", mono(&subject.file_hash())),
            cell("", "Table (CRC-32C)", mono(&format!("{:08x}", subject.table.hash))),
            cell("", "Tool", escaped(&format!("slipwarden {}", env!("CARGO_PKG_VERSION")))),
            cell("", "Seed", mono(&subject.seed.to_string())),
            cell("", "Lock sets", subject.kinematics.sets.len().to_string()),
            cell("", "Arrangements", subject.driveline.arrangements.len().to_string()),
            cell("", "Drives", self.report.drives.len().to_string()),
        ];
        format!("<dl class=\"block\">\n{}</dl>\n", cells.concat())
    }

    fn verdict(&self) -> String {
        let (reached, refused, other) = self.report.counts();
        let mut ends = format!(
            "{reached} requests ended in the arrangement, {refused} in a stated refusal{}.",
            if other > 0 { format!(", {other} in neither") } else { String::new() }
        );
        let surprises = self.report.surprises().len();
        if surprises > 0 {
            ends += &format!(
                " {surprises} ended otherwise than the table foretells; a star marks them."
            );
        }
        let meaning = if self.report.is_clean() {
            "No finding means: in the drives listed here, no judge saw a rule broken. It does not \
             mean that no other drive would break one."
        } else {
            "A finding means: in a drive listed here, a rule was broken by the plant's truth. Do \
             not run this table on anything that can move until each is understood."
        };
        let class = if self.report.is_clean() { "verdict" } else { "verdict found" };
        let sign = if self.report.is_clean() { "\u{25cf}" } else { "\u{25b2}" };
        format!(
            "<div class=\"{class}\" role=\"status\">\n<p><strong>{sign} {}</strong></p>\n{}{}</div>\n",
            escaped(&self.report.verdict()),
            p(&ends),
            p(meaning),
        )
    }

    /// All findings, or that there are none.
    pub(super) fn findings(&self) -> String {
        let report = self.report;
        let warnings = &report.subject.warnings;
        let mut out = String::new();
        if report.findings.is_empty() {
            out += &p("None.");
        } else {
            out += &p(
                "Each finding can be driven again by its scenario file; the commands stand further below.",
            );
            let mut table = Table::new(
                "Findings in order of drive and time",
                &["#no.", "rule", "what happened", "#at, s", "drive", "seed", "files"],
            );
            for (i, f) in report.findings.iter().enumerate() {
                let drive = &report.drives[f.drive];
                let mut files = link(&scenario_path(report, f.drive), "scenario");
                if self.kept.timelines[f.drive] {
                    files += &format!(", {}", link(&timeline_path(report, f.drive), "timeline"));
                }
                table.row(vec![
                    (i + 1).to_string(),
                    format!("<span class=\"bad\">\u{25b2} {}</span>", escaped(f.rule)),
                    escaped(&f.text),
                    format!("{:.2}", f.t_s),
                    format!(
                        "{} {}",
                        link(&format!("#drive-{}", drive.number), &drive.number.to_string()),
                        escaped(&self.drive_words(f.drive))
                    ),
                    drive.seed.to_string(),
                    files,
                ]);
            }
            out += &table.html();
        }
        if !warnings.is_empty() {
            out += "<h3>Warnings about the driveline file</h3>\n";
            out += &list(warnings);
        }
        out
    }

    /// "series to power-split, middle".
    pub(super) fn drive_words(&self, index: usize) -> String {
        let (d, drive) = (&self.report.subject.driveline, &self.report.drives[index]);
        let name = |a: usize| d.arrangements[a].name.as_str();
        format!("{} to {}, {}", name(drive.from), name(drive.to), drive.case.word())
    }
}
