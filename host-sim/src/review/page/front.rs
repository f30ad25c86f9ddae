//! The head of the page: what was reviewed, the verdict, cautions; and the findings.

use super::super::depth::Depth;
use super::super::evidence::{Kind, Origin, Part, State};
use super::super::files::{scenario_path, timeline_path};
use super::super::json::REVIEW_FORMAT;
use super::super::report::Outcome;
use super::Page;
use super::html::{Table, escaped, items, link, list, p, part};

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
        out
    }

    /// What stands at the foot of every sheet of paper: figures and plain letters only.
    pub(super) fn foot(&self) -> String {
        let subject = &self.report.subject;
        format!(
            "Slipwarden review. Table {:08x}, seed {}, driveline file SHA-256 {}...",
            subject.table.hash,
            subject.seed,
            &subject.file_hash()[..16]
        )
    }

    /// What was reviewed and what a review is not; the findings.
    pub(super) fn subject(&self) -> String {
        let mut out = p(
            "One driveline file, everything that follows from it (kinematics of all lock sets, the \
             table of steps), and the supervisor's own code running that table: driven through \
             every pair of arrangements, explored, tried with random faults and with planted \
             defects. Every figure on this page was worked out in the run that wrote it, or comes \
             from a file that is named with its SHA-256.",
        );
        out += "<p class=\"paper\">This is a print of index.html. Left out on paper: the code of \
                the rules (its files and their SHA-256 are listed), what moves when a timeline is \
                stepped through (levers, values), links to files. JSON and CSV in \
                the folder hold every figure.</p>\n";
        out += &self.parts_of_evidence();
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
        let found = part("findings", "Findings", &self.findings());
        out + &found
    }

    /// Every part of the evidence with its origin and what it comes to.
    fn parts_of_evidence(&self) -> String {
        let report = self.report;
        let mut table = Table::new(
            "The parts of the evidence",
            &["part", "looked at", "comes to", "origin", "file in this folder"],
        );
        let drives = if report.is_clean() {
            ("ok", "\u{25cf} no finding")
        } else {
            ("bad", "\u{25b2} findings")
        };
        table.row(vec![
            "drives between all arrangements".into(),
            format!("{} drives, each made twice", report.drives.len()),
            format!("<span class=\"{}\">{}</span>", drives.0, drives.1),
            "made in this run".into(),
            link("review.json", "review.json"),
        ]);
        for (evidence, path) in report.evidence.with_paths() {
            let origin = match &evidence.origin {
                Origin::Made(_) => "made in this run".to_owned(),
                Origin::Read { name, sha256 } => format!(
                    "read from {}, SHA-256 <span class=\"mono\">{sha256}</span>",
                    escaped(name)
                ),
            };
            table.row(vec![
                escaped(evidence.kind.title()),
                escaped(&evidence.extent()),
                match evidence.kind {
                    Kind::Energy => "figures; nothing is judged".to_owned(),
                    _ => self.comes_to(evidence),
                },
                origin,
                link(&path, path.rsplit('/').next().unwrap_or(&path)),
            ]);
        }
        for (kind, why) in &report.evidence.missing {
            table.row(vec![
                escaped(kind.title()),
                "nothing".into(),
                format!("<span class=\"no\">\u{25c7} inconclusive</span>: {}", escaped(why)),
                "not made".into(),
                "\u{2013}".into(),
            ]);
        }
        table.html()
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
            cell(
                "",
                "Date, as given",
                escaped(self.report.date.as_deref().unwrap_or("not stated")),
            ),
            cell("", "Depth", self.report.depth.map_or("drives only", Depth::word).to_owned()),
            cell("", "Versions of formats", formats()),
            cell("", "Lock sets", subject.kinematics.sets.len().to_string()),
            cell("", "Arrangements", subject.driveline.arrangements.len().to_string()),
            cell("", "Drives", self.report.drives.len().to_string()),
            cell("", "Rules", self.requirements.len().to_string()),
            cell("", "Other evidence", format!("{} parts", self.report.evidence.parts.len())),
            cell("", "Steps of the table", subject.table.steps.len().to_string()),
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
            let star = if surprises == 1 { "it" } else { "them" };
            ends += &format!(
                " {surprises} ended otherwise than the table foretells; a star marks {star}."
            );
        }
        let (class, sign, meaning) = match self.report.outcome() {
            Outcome::NoFinding => (
                "verdict",
                "\u{25cf}",
                "No finding means: in what is listed here, no judge saw a rule broken. It does not \
                 mean that nothing else would break one.",
            ),
            Outcome::Finding => (
                "verdict found",
                "\u{25b2}",
                "A finding means: in what is listed here, a rule was broken, by the plant's truth \
                 or in an exploration, or nothing found a planted defect (which speaks against the \
                 methods, not yet against the driveline). Do not run this table on \
                 anything that can move until each is understood.",
            ),
            Outcome::Inconclusive => (
                "verdict open",
                "\u{25c7}",
                "Nothing was found, but some of the evidence is not whole, so this is no pass. The \
                 open points at the end say what is missing.",
            ),
        };
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
        let elsewhere = report.evidence.findings();
        if !elsewhere.is_empty() {
            out += "<h4>In the evidence besides the drives</h4>\n";
            let told = elsewhere.iter().map(|(kind, why)| {
                let section = link(&format!("#{}", kind.section()), kind.title());
                format!(
                    "<span class=\"bad\">\u{25b2} finding</span> in the {section}: {}",
                    escaped(why)
                )
            });
            out += &items(&told.collect::<Vec<String>>());
            out += "<h4>In the drives</h4>\n";
        }
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

    /// What a part comes to, with its sign.
    pub(super) fn comes_to(&self, part: &Part) -> String {
        match (self.report.evidence.state_of(part), part.score()) {
            (State::Holds, Some(score)) => {
                format!("<span class=\"soft\">\u{25cb} {}</span>", escaped(&score))
            }
            (state, _) => state_words(&state),
        }
    }

    /// "series to power-split, middle".
    pub(super) fn drive_words(&self, index: usize) -> String {
        let (d, drive) = (&self.report.subject.driveline, &self.report.drives[index]);
        let name = |a: usize| d.arrangements[a].name.as_str();
        format!("{} to {}, {}", name(drive.from), name(drive.to), drive.case.word())
    }
}

/// What a state is, with its sign.
fn state_words(state: &State) -> String {
    match state {
        State::Holds => "<span class=\"ok\">\u{25cf} no finding</span>".to_owned(),
        State::Finding(why) => {
            format!("<span class=\"bad\">\u{25b2} finding</span>: {}", escaped(why))
        }
        State::Inconclusive(why) => {
            format!("<span class=\"no\">\u{25c7} inconclusive</span>: {}", escaped(why))
        }
    }
}

/// Versions of what programs read.
fn formats() -> String {
    format!("table {}, review {REVIEW_FORMAT}", supervisor::table::TABLE_FORMAT)
}
