//! Every transition: the matrix from arrangement to arrangement, and the list of all drives.

use super::super::cases::Case;
use super::super::files::{scenario_path, timeline_path, trace_path};
use super::super::forecast::Forecast;
use super::super::run::{Answer, DriveResult};
use super::Page;
use super::html::{Table, escaped, link, p, short};
use crate::drive::summary::Closing;

/// From this many arrangements on, the matrix is printed as a list.
const MANY: usize = 6;

/// The closing that came nearest to its slip limit.
fn peak(result: &DriveResult) -> Option<(&Closing, f64)> {
    let share = |c: &Closing| c.limit_rpm.filter(|l| *l > 0.0).map(|l| c.slip_rpm / l);
    let all = result.summary.closings.iter().filter_map(|c| Some((c, share(c)?)));
    all.max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Time without half of the demanded torque at the wheels during transitions, and the largest lack.
fn gap(result: &DriveResult) -> (f64, f64) {
    let list = &result.summary.transitions;
    (list.iter().map(|t| t.gap_s).sum(), list.iter().map(|t| t.gap_depth_nm).fold(0.0, f64::max))
}

impl Page<'_> {
    /// The matrix with its legend.
    pub(super) fn matrix(&self) -> String {
        let d = &self.report.subject.driveline;
        let n = d.arrangements.len();
        let mut out = p(
            "From the arrangement of the row to that of the column. A line is one drive: the mark \
             and the situation lead to its timeline; then the time from the request to its \
             answer, the largest slip at which a lock closed as a share of its limit, and the \
             time without half of the demanded torque at the wheels (gap; none where none is \
             given). R and a number: \
             refused, for that reason in the list of refusals.",
        );
        out += "<p><span class=\"ok\">\u{25cf} reached</span> &nbsp; \
                <span class=\"no\">\u{25c7} refused</span> &nbsp; \
                <span class=\"bad\">\u{25b2} finding</span> &nbsp; \
                <span class=\"soft\">* otherwise than the table foretells</span></p>\n";
        let head: String = d
            .arrangements
            .iter()
            .map(|a| {
                format!("<th scope=\"col\" role=\"columnheader\">to {}</th>", escaped(&a.name))
            })
            .collect();
        let mut rows = String::new();
        for (from, arrangement) in d.arrangements.iter().enumerate() {
            rows += &format!(
                "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\">from {}</th>\n",
                escaped(&arrangement.name)
            );
            for to in 0..n {
                rows += &self.cell(from, to);
            }
            rows += "</tr>\n";
        }
        let many = if n > MANY { " many" } else { "" };
        out += &format!(
            "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"Transition matrix\">\n\
             <table class=\"cells{many}\" role=\"table\" style=\"--columns:{n}\">\n\
             <caption>Transition matrix</caption>\n\
             <thead role=\"rowgroup\"><tr role=\"row\"><td role=\"cell\"></td>{head}</tr></thead>\n\
             <tbody role=\"rowgroup\">\n{rows}</tbody>\n</table>\n</div>\n"
        );
        out + &self.cases()
    }

    /// What the words of the situations mean.
    fn cases(&self) -> String {
        let mut out = String::from("<h3>The situations</h3>\n<dl class=\"pairs\">\n");
        for case in Case::ALL {
            if self.report.drives.iter().any(|drive| drive.case == case) {
                out += &format!("<dt>{}</dt><dd>{}</dd>\n", case.word(), escaped(case.about()));
            }
        }
        out + "</dl>\n"
    }

    fn cell(&self, from: usize, to: usize) -> String {
        if from == to {
            return "<td role=\"cell\" class=\"self\"><span class=\"soft\">stays</span></td>\n"
                .into();
        }
        let d = &self.report.subject.driveline;
        let lines: String = (0..self.report.drives.len())
            .filter(|&i| self.report.drives[i].from == from && self.report.drives[i].to == to)
            .map(|i| self.line(i))
            .collect();
        let lines = if lines.is_empty() {
            "<p class=\"no\">not driven: the arrangements have no road speed in common, and none \
             at which one can be asked for from the other</p>\n"
                .to_owned()
        } else {
            format!("<ul>\n{lines}</ul>\n")
        };
        let name = escaped(&d.arrangements[to].name);
        format!("<td role=\"cell\"><span class=\"to\">to {name}</span>{lines}</td>\n")
    }

    /// One drive in a cell.
    fn line(&self, i: usize) -> String {
        let (drive, result) = (&self.report.drives[i], &self.report.results[i]);
        let (class, sign) = self.mark(i);
        let word = drive.case.word();
        let name = if self.kept.timelines[i] {
            link(&timeline_path(self.report, i), word)
        } else {
            escaped(word)
        };
        let star = if self.report.surprises().contains(&i) { "*" } else { "" };
        let figures = match (&result.answer, self.report.refusal_number(i)) {
            (Answer::Refused(_), Some(number)) => {
                link(&format!("#reason-{number}"), &format!("R{number}"))
            }
            (Answer::NotRun(_), _) => "not run".to_owned(),
            (Answer::Unanswered, _) => "no answer".to_owned(),
            _ => {
                let slip = peak(result).map_or(String::new(), |(_, s)| match 100.0 * s {
                    s if s < 1.0 => ", slip &lt;1 %".to_owned(),
                    s => format!(", slip {s:.0} %"),
                });
                let gap = match gap(result).0 {
                    g if g >= 0.005 => format!(" <span class=\"whole\">gap {g:.2} s</span>"),
                    _ => String::new(),
                };
                let took = result.took_s.unwrap_or(0.0);
                format!("<span class=\"whole\">{took:.2} s{slip}</span>{gap}")
            }
        };
        format!(
            "<li><span><span class=\"{class}\">{sign}</span> {name}{star}</span> \
             <span>{figures}</span></li>\n"
        )
    }

    /// Class and sign of how a drive ended.
    fn mark(&self, i: usize) -> (&'static str, &'static str) {
        if self.report.findings.iter().any(|f| f.drive == i) {
            return ("bad", "\u{25b2}");
        }
        match self.report.results[i].answer {
            Answer::Reached => ("ok", "\u{25cf}"),
            Answer::Refused(_) => ("no", "\u{25c7}"),
            Answer::Unanswered | Answer::NotRun(_) => ("bad", "\u{25b2}"),
        }
    }

    /// All drives with their figures.
    pub(super) fn drives(&self) -> String {
        let mut table = Table::new(
            "All drives, in order; the forecast is the table's own estimate",
            &[
                "#no.",
                "from",
                "to",
                "situation",
                "#km/h",
                "#slope, %",
                "#demand, Nm",
                "answer",
                "#after, s",
                "then stands in",
                "#forecast, s",
                "#gap, s",
                "#lack, Nm",
                "slip at closing",
                "#work, kJ",
                "files",
            ],
        );
        let surprises = self.report.surprises();
        for i in 0..self.report.drives.len() {
            let id = format!("id=\"drive-{}\"", self.report.drives[i].number);
            table.row_with(id, self.drive_cells(i, surprises.contains(&i)));
        }
        let mut out =
            p("Demand is the steady torque that holds the speed, at the output. Gap and lack are \
             those during transitions. Slip is the true one when a lock began to carry torque, \
             of the closing that came nearest to its limit. Work is the largest friction work \
             of one closing.");
        let traces = self.kept.traces.iter().filter(|kept| !**kept).count();
        if traces > 0 || self.kept.timelines.iter().any(|kept| !kept) {
            out +=
                &p("To keep the folder small, not every drive has its timeline and trace in it; \
                 the scenario file makes them again.");
        }
        out + &table.html()
    }

    fn drive_cells(&self, i: usize, surprise: bool) -> Vec<String> {
        let report = self.report;
        let d = &report.subject.driveline;
        let (drive, result) = (&report.drives[i], &report.results[i]);
        let (class, sign) = self.mark(i);
        let mut answer = format!("<span class=\"{class}\">{sign} {}</span>", result.answer.word());
        if let Some(number) = report.refusal_number(i) {
            answer += &format!(" {}", link(&format!("#reason-{number}"), &format!("R{number}")));
        }
        if surprise {
            answer += "*";
        }
        let forecast = match &drive.forecast {
            Forecast::Goes { time_s, .. } => format!("{time_s:.2}"),
            Forecast::Refused(_) => "refused".to_owned(),
        };
        let (gap_s, lack_nm) = gap(result);
        let slip = peak(result).map_or("\u{2013}".to_owned(), |(c, share)| {
            let limit = c.limit_rpm.unwrap_or(0.0);
            format!(
                "{} {} of {} rpm ({:.0} %)",
                escaped(&c.lock),
                short(c.slip_rpm),
                short(limit),
                100.0 * share
            )
        });
        let work = result.summary.locks.iter().map(|l| l.largest_closing_j).fold(0.0, f64::max);
        let mut files = link(&scenario_path(report, i), "scenario");
        if self.kept.timelines[i] {
            files += &format!(" {}", link(&timeline_path(report, i), "timeline"));
        }
        if self.kept.traces[i] {
            files += &format!(" {}", link(&trace_path(report, i), "trace"));
        }
        vec![
            drive.number.to_string(),
            escaped(&d.arrangements[drive.from].name),
            escaped(&d.arrangements[drive.to].name),
            drive.case.word().to_owned(),
            short(drive.speed_kmh),
            short(drive.slope_percent),
            short(drive.demand_nm),
            answer,
            result.took_s.map_or("\u{2013}".to_owned(), |t| format!("{t:.2}")),
            escaped(match result.summary.ends_in.as_str() {
                "" => "\u{2013}",
                name => name,
            }),
            forecast,
            format!("{gap_s:.2}"),
            short(lack_nm),
            slip,
            format!("{:.2}", work / 1e3),
            files,
        ]
    }
}
