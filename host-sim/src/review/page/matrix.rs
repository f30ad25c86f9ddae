//! The matrix from arrangement to arrangement.

use super::super::cases::{Case, Drive, window_kmh};
use super::super::files::timeline_path;
use super::super::run::{Answer, DriveResult};
use super::Page;
use super::html::{escaped, link, p, short};
use crate::drive::summary::Closing;
use crate::explain::{Explained, blocked_text, explain_way};
use supervisor::table::{Action, WAYS};

/// From this many arrangements on, the matrix is printed as a list.
const MANY: usize = 6;

/// The closing that came nearest to its slip limit.
pub(super) fn peak(result: &DriveResult) -> Option<(&Closing, f64)> {
    let share = |c: &Closing| c.limit_rpm.filter(|l| *l > 0.0).map(|l| c.slip_rpm / l);
    let all = result.summary.closings.iter().filter_map(|c| Some((c, share(c)?)));
    all.max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Time without half of the demanded torque at the wheels during transitions, and the largest lack.
pub(super) fn gap(result: &DriveResult) -> (f64, f64) {
    let list = &result.summary.transitions;
    (
        list.iter().map(|t| t.gap_s).fold(0.0, |sum, gap| sum + gap),
        list.iter().map(|t| t.gap_depth_nm).fold(0.0, f64::max),
    )
}

impl Page<'_> {
    /// The matrix with its legend.
    pub(super) fn matrix(&self) -> String {
        let d = &self.report.subject.driveline;
        let n = d.arrangements.len();
        let mut out = p(
            "From the arrangement of the row to that of the column. First what the table foretells \
             for half of the common speed: steps, time, time without push, friction work; or why \
             it refuses. A line below it is one drive: the mark \
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
             <caption><span>Transition matrix</span></caption>\n\
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
        let plan = self.plan(from, to);
        format!("<td role=\"cell\"><span class=\"to\">to {name}</span>{plan}{lines}</td>\n")
    }

    /// What the table foretells of a pair: steps, time, gap, friction work, common speeds.
    fn plan(&self, from: usize, to: usize) -> String {
        let subject = &self.report.subject;
        let (d, k, data) = (&subject.driveline, &subject.kinematics, &subject.table);
        let of_pair = |i: &&Drive| (i.from, i.to) == (from, to);
        let drives = || self.report.drives.iter().filter(of_pair);
        let Some(drive) = drives().find(|i| i.case == Case::Middle).or(drives().next()) else {
            return String::new();
        };
        let output = drive.speed_kmh * d.output_radps_per_kmh().unwrap_or(0.0);
        let walk = |way: u8| explain_way(d, k, data, way, (from, to), (output, drive.demand_nm));
        let ways: Vec<Explained> = (0..WAYS as u8).map(walk).collect();
        let taken = ways.iter().find(|way| way.blocked.is_none()).unwrap_or(&ways[0]);
        let steps: Vec<String> = taken
            .steps
            .iter()
            .map(|s| {
                let step = &data.steps[usize::from(s.number)];
                let verb = if step.action == Action::Close { "close" } else { "open" };
                format!("{verb} {}", d.locks[usize::from(step.lock)].name)
            })
            .collect();
        let windows = (window_kmh(subject, from), window_kmh(subject, to));
        let common = (windows.0.0.max(windows.1.0), windows.0.1.min(windows.1.1));
        let told = match &taken.blocked {
            Some(blocked) => blocked_text(d, data, blocked),
            None => format!(
                "{}. Foretold at {} km/h: {:.2} s, gap {:.2} s, work {} J",
                steps.join(", "),
                short(drive.speed_kmh),
                taken.time_s(),
                taken.gap_s(),
                short(taken.steps.iter().map(|s| s.work_j).sum())
            ),
        };
        let speeds = match common.0 < common.1 {
            true => format!(" Common speeds {:.1} to {:.1} km/h.", common.0, common.1),
            false => " No common speed.".to_owned(),
        };
        let told = format!("{}.{}", told.trim_end_matches('.'), speeds.replace('-', "\u{2212}"));
        format!("<p class=\"plan\">{}</p>\n", escaped(&told))
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
                    g if g >= 0.005 => format!(", <span class=\"whole\">gap {g:.2} s</span>"),
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
    pub(super) fn mark(&self, i: usize) -> (&'static str, &'static str) {
        if self.report.findings.iter().any(|f| f.drive == i) {
            return ("bad", "\u{25b2}");
        }
        match self.report.results[i].answer {
            Answer::Reached => ("ok", "\u{25cf}"),
            Answer::Refused(_) => ("no", "\u{25c7}"),
            Answer::Unanswered | Answer::NotRun(_) => ("bad", "\u{25b2}"),
        }
    }
}
