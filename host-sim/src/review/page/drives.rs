//! The list of all drives with their figures.

use super::super::files::{scenario_path, timeline_path, trace_path};
use super::super::forecast::Forecast;
use super::super::run::Answer;
use super::Page;
use super::html::{Table, escaped, link, p, short};
use super::matrix::{gap, peak};

/// Text that stays on one line.
fn whole(text: &str) -> String {
    format!("<span class=\"whole\">{}</span>", escaped(text))
}

impl Page<'_> {
    /// All drives with their figures.
    pub(super) fn drives(&self) -> String {
        let mut table = Table::new(
            "All drives, in order; the forecast is the table's own estimate",
            &[
                "#no.",
                "from, to",
                "situation",
                "#km/h",
                "#slope, %",
                "#demand, Nm",
                "answer",
                "#after, s",
                "#forecast, s",
                "#gap, s",
                "#lack, Nm",
                "slip at closing",
                "#work, J",
                "files",
            ],
        );
        let surprises = self.report.surprises();
        for i in 0..self.report.drives.len() {
            let id = format!("id=\"drive-{}\"", self.report.drives[i].number);
            table.row_with(id, self.drive_cells(i, surprises.contains(&i)));
        }
        let mut out = p("Demand is the steady torque that holds the speed, at the output. Gap is \
                         the time during transitions without half of the demanded torque at the \
                         wheels, lack the largest torque missing at the output. Slip is the true \
                         one when a lock began to carry torque, of the closing that came nearest \
                         to its limit. Work is the largest friction work of one closing. Files: \
                         the drive as a scenario (toml), its timeline (svg), its trace (csv).");
        if self.kept.traces.iter().chain(&self.kept.timelines).any(|kept| !kept) {
            out += &p("To keep the folder small, not every drive has its timeline and trace in \
                       it; the scenario file makes them again.");
        }
        out + &table.html()
    }

    fn drive_cells(&self, i: usize, surprise: bool) -> Vec<String> {
        let (drive, result) = (&self.report.drives[i], &self.report.results[i]);
        let arrangements = &self.report.subject.driveline.arrangements;
        let forecast = match &drive.forecast {
            Forecast::Goes { time_s, .. } => format!("{time_s:.2}"),
            Forecast::Refused(_) => "refused".to_owned(),
        };
        let (gap_s, lack_nm) = gap(result);
        let work = result.summary.locks.iter().map(|l| l.largest_closing_j).fold(0.0, f64::max);
        vec![
            drive.number.to_string(),
            format!(
                "{} {}",
                whole(&arrangements[drive.from].name),
                whole(&format!("to {}", arrangements[drive.to].name))
            ),
            whole(drive.case.word()),
            short(drive.speed_kmh),
            short(drive.slope_percent),
            short(drive.demand_nm),
            self.answer(i, surprise),
            result.took_s.map_or("\u{2013}".to_owned(), |t| format!("{t:.2}")),
            forecast,
            format!("{gap_s:.2}"),
            short(lack_nm),
            self.slip(i),
            short(work),
            self.drive_files(i),
        ]
    }

    /// How it ended; after a refusal also what stands then, if not the first arrangement.
    fn answer(&self, i: usize, surprise: bool) -> String {
        let (drive, result) = (&self.report.drives[i], &self.report.results[i]);
        let (class, sign) = self.mark(i);
        let mut answer = format!("<span class=\"{class}\">{sign} {}</span>", result.answer.word());
        if let Some(number) = self.report.refusal_number(i) {
            answer += &format!(" {}", link(&format!("#reason-{number}"), &format!("R{number}")));
        }
        if surprise {
            answer += "*";
        }
        let ends_in = result.summary.ends_in.as_str();
        let first = &self.report.subject.driveline.arrangements[drive.from].name;
        match (&result.answer, ends_in) {
            (Answer::Refused(_) | Answer::Unanswered, "") => {
                answer += "; then between arrangements"
            }
            (Answer::Refused(_) | Answer::Unanswered, name) if name != first => {
                answer += &format!("; then {}", whole(name));
            }
            _ => {}
        }
        answer
    }

    fn slip(&self, i: usize) -> String {
        peak(&self.report.results[i]).map_or("\u{2013}".to_owned(), |(c, share)| {
            let limit = short(c.limit_rpm.unwrap_or(0.0));
            let figures = format!("{} of {limit} rpm ({:.0} %)", short(c.slip_rpm), 100.0 * share);
            format!("{} {}", whole(&figures), whole(&c.lock))
        })
    }

    fn drive_files(&self, i: usize) -> String {
        // Short words, so that a row of the table stays low; the label says the rest.
        let number = self.report.drives[i].number;
        let file = |path: &str, what: &str, shown: &str| {
            let path = escaped(path);
            format!(
                "<a href=\"{path}\" aria-label=\"{what} of drive {number}, {shown}\">{shown}</a>"
            )
        };
        let mut files = vec![file(&scenario_path(self.report, i), "scenario", "toml")];
        if self.kept.timelines[i] {
            files.push(file(&timeline_path(self.report, i), "timeline", "svg"));
        }
        if self.kept.traces[i] {
            files.push(file(&trace_path(self.report, i), "trace", "csv"));
        }
        format!("<span class=\"whole\">{}</span>", files.join(" "))
    }
}
