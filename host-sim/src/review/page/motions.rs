//! Timelines that a reader can step through: picture, lever diagram, values at any moment.

use std::sync::Arc;

use serde_json::json;

use super::super::cases::{Case, REQUEST_AT_S};
use super::super::motion::{ACTUALS, Moment, Motion, ORDERS, REPORTS, motion};
use super::super::report::Report;
use super::super::run::{Answer, driven_setup};
use super::Page;
use super::html::{Table, escaped, link, p, picture, short};
use crate::drive::closed_loop::Prepared;
use crate::driveline::Driveline;
use crate::picture::TimelineText;
use crate::picture::inlined;
use crate::picture::levers::{self, Levers, levers};

/// Most timelines on the page; the others are files in the folder.
const MOST: usize = 16;
/// Most bytes of their pictures.
const MOST_BYTES: usize = 2_400_000;
/// Most moments of the table of steps.
const MOST_STEPS: usize = 8;
/// Shown before the request, s.
const LEAD_S: f64 = 0.3;

/// A drive of the review, looked at closely.
pub(super) struct Shown {
    /// Index of the drive.
    pub(super) drive: usize,
    pub(super) motion: Motion,
}

/// What is told of a drive that can be stepped through.
pub(super) struct Close<'a> {
    /// Identifier on the page.
    pub(super) id: &'a str,
    /// Heading, HTML.
    pub(super) title: String,
    /// The same in plain words.
    pub(super) words: &'a str,
    pub(super) motion: &'a Motion,
}

/// Which drives are shown: those with findings, then one of each pair of arrangements, on level
/// road where there is one.
fn chosen(report: &Report) -> Vec<usize> {
    let mut list: Vec<usize> = Vec::new();
    for finding in &report.findings {
        if !list.contains(&finding.drive) && list.len() < MOST / 2 {
            list.push(finding.drive);
        }
    }
    let n = report.subject.driveline.arrangements.len();
    for (from, to) in (0..n).flat_map(|from| (0..n).map(move |to| (from, to))) {
        let of_pair = |i: &usize| {
            let (drive, result) = (&report.drives[*i], &report.results[*i]);
            (drive.from, drive.to) == (from, to)
                && drive.asked() == to
                && result.answer == Answer::Reached
        };
        let middle = (0..report.drives.len())
            .filter(of_pair)
            .min_by_key(|&i| (report.drives[i].case != Case::Middle, i));
        list.extend(middle.filter(|i| !list.contains(i)));
    }
    list
}

/// The chosen drives, as many as the bounds allow.
pub(super) fn shown(report: &Report) -> Vec<Shown> {
    let subject = &report.subject;
    let d = &subject.driveline;
    let Ok(prepared) = Prepared::new(d, subject.table.table()).map(Arc::new) else {
        return Vec::new();
    };
    let mut list: Vec<Shown> = Vec::new();
    let mut bytes = 0;
    for i in chosen(report) {
        let (drive, result) = (&report.drives[i], &report.results[i]);
        let text = TimelineText {
            title: format!(
                "{} to {}, {}",
                d.arrangements[drive.from].name,
                d.arrangements[drive.to].name,
                drive.case.word()
            ),
            subtitle: format!(
                "{}, drive {}: {} km/h, from {LEAD_S} s before the request",
                d.name, drive.number, drive.speed_kmh
            ),
        };
        let setup = driven_setup(drive, result.duration_s);
        let from_s = REQUEST_AT_S - LEAD_S;
        let findings = &result.summary.findings;
        let seed = drive.seed;
        let Some(motion) = motion(d, &prepared, (&setup, seed), from_s, (&text, findings)) else {
            continue;
        };
        bytes += motion.picture.len();
        if list.len() >= MOST || bytes > MOST_BYTES {
            break;
        }
        list.push(Shown { drive: i, motion });
    }
    list
}

/// Value columns of the read-out: words, unit, decimals.
fn readings(d: &Driveline) -> Vec<(String, &'static str)> {
    let mut list = vec![("road speed".to_owned(), "km/h")];
    list.extend(d.shafts.iter().map(|s| (format!("shaft {}", s.name), "rpm")));
    for lock in &d.locks {
        list.push((format!("slip of {}", lock.name), "rpm"));
        list.push((format!("torque of {}", lock.name), "Nm"));
    }
    list.extend(d.machines.iter().map(|m| (format!("torque of {}", m.name), "Nm")));
    list.push(("output torque".to_owned(), "Nm"));
    list.push(("output torque asked for".to_owned(), "Nm"));
    list.push(("force at the wheels".to_owned(), "N"));
    list
}

fn values(m: &Moment) -> Vec<f64> {
    let mut list = vec![m.road_kmh];
    list.extend(&m.shafts_rpm);
    m.locks.iter().for_each(|&(slip, torque, _)| list.extend([slip, torque]));
    list.extend(&m.machines_nm);
    list.extend([m.output_nm.0, m.output_nm.1, m.wheel_n]);
    list
}

/// One decimal, as a number of JSON.
fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

impl Page<'_> {
    /// All timelines of the page, or that there are none.
    pub(super) fn motions(&self) -> String {
        if self.motions.is_empty() {
            return p("No drive came to its request, so there is nothing to step through.");
        }
        let mut out = p(
            "One drive of each pair of arrangements, from shortly before its request. Each shows \
             shaft speeds, the slip of each lock in its limit band, each lock as it was commanded, \
             as its switch reported it and as it actually was, torques, and the force at the wheels; \
             numbered lines are where steps begin. The slider, by mouse or by the arrow keys, \
             moves a line through the picture, the values below it and the lever diagram. The \
             table of steps says the same without it.",
        );
        for shown in &self.motions {
            let drive = &self.report.drives[shown.drive];
            let words = self.drive_words(shown.drive);
            let to_drive =
                link(&format!("#drive-{}", drive.number), &format!("Drive {}", drive.number));
            let title = format!("{to_drive}: {}", escaped(&words));
            let id = format!("motion-{}", drive.number);
            out += &self.motion(&Close { id: &id, title, words: &words, motion: &shown.motion });
        }
        out
    }

    /// One drive that can be stepped through.
    pub(super) fn motion(&self, close: &Close) -> String {
        let d = &self.report.subject.driveline;
        let Close { id, title: heading, words, motion } = close;
        let start = &motion.moments[0];
        let range = levers::axis(motion.range_rpm());
        let title = format!("Levers: {words}");
        let rpm = &start.shafts_rpm;
        let shown = Levers { rpm, range, title: &title, machine_nm: &[] };
        let lever = inlined(&levers(d, &shown), &format!("{id}-levers"));
        let timeline = inlined(&motion.picture, &format!("{id}-picture"));
        let timeline = picture(&timeline, &format!("Timeline: {words}"), "");
        let lever = picture(
            &lever,
            &title,
            "Speeds of the shafts <span class=\"when\">at the beginning</span>.",
        );
        let (left, width) = crate::picture::timeline_plot();
        format!(
            "<article class=\"motion\" id=\"{id}\" aria-labelledby=\"{id}-title\" \
             data-left=\"{left}\" data-width=\"{width}\" data-bottom=\"{bottom}\">\n<h4 id=\"{id}-title\">{heading}</h4>\n\
             {timeline}<div class=\"scrub\" hidden></div>\n<div class=\"pair\">\n{lever}{}</div>\n{}\
             <script type=\"application/json\" class=\"moments\">{}</script>\n</article>\n",
            self.read_out(id, start),
            self.steps(motion),
            self.data(motion, range),
            bottom = motion.bottom,
        )
    }

    /// Values at one moment; the script writes those of another.
    fn read_out(&self, id: &str, start: &Moment) -> String {
        let d = &self.report.subject.driveline;
        let mut rows = String::new();
        for ((what, unit), value) in readings(d).iter().zip(values(start)) {
            rows += &format!(
                "<tr><th scope=\"row\">{}</th><td class=\"n value\">{}</td><td>{unit}</td></tr>\n",
                escaped(what),
                short(value)
            );
        }
        for (lock, (_, _, [order, report, actual])) in d.locks.iter().zip(&start.locks) {
            rows += &format!(
                "<tr><th scope=\"row\">{}: commanded, reported, actual</th><td class=\"n state\" \
                 colspan=\"2\">{}, {}, {}</td></tr>\n",
                escaped(&lock.name),
                ORDERS[usize::from(*order)],
                REPORTS[usize::from(*report)],
                ACTUALS[usize::from(*actual)],
            );
        }
        format!(
            "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"Values\">\n\
             <table class=\"readout\" id=\"{id}-values\">\n<caption>Values <span \
             class=\"when\">at the beginning</span></caption>\n<thead><tr><th scope=\"col\">what\
             </th><th scope=\"col\" class=\"n\">value</th><th scope=\"col\">unit</th></tr></thead>\n\
             <tbody>\n{rows}</tbody>\n</table>\n</div>\n"
        )
    }

    /// All values where steps begin, and at the end: what a reader without a script steps through.
    fn steps(&self, motion: &Motion) -> String {
        let d = &self.report.subject.driveline;
        let end = (motion.duration_s, "end".to_owned());
        let begin = (0.0, "beginning".to_owned());
        // A step that is under way at the beginning stands for it.
        let begun = motion.steps.first().is_some_and(|step| step.0 < 0.005);
        let begin = (!begun).then_some(&begin);
        let all: Vec<&(f64, String)> =
            begin.into_iter().chain(&motion.steps).chain([&end]).collect();
        // Attempts without end would make a table too wide to read; the picture has them all.
        let shown: Vec<(String, &Moment)> = all
            .iter()
            .take(MOST_STEPS)
            .filter_map(|(t_s, what)| Some((format!("#{t_s:.2} s, {what}"), motion.at(*t_s)?)))
            .collect();
        let mut head = vec!["what", "unit"];
        head.extend(shown.iter().map(|(words, _)| words.as_str()));
        let mut table = Table::new("Values where steps begin, and at the end", &head);
        for (row, (what, unit)) in readings(d).into_iter().enumerate() {
            let mut cells = vec![escaped(&what), unit.to_owned()];
            cells.extend(shown.iter().map(|(_, m)| short(values(m)[row])));
            table.row(cells);
        }
        for (i, lock) in d.locks.iter().enumerate() {
            let mut cells = vec![
                format!("{}: commanded, reported, actual", escaped(&lock.name)),
                String::new(),
            ];
            cells.extend(shown.iter().map(|(_, m)| {
                let [order, report, actual] = m.locks[i].2.map(usize::from);
                format!("{}, {}, {}", ORDERS[order], REPORTS[report], ACTUALS[actual])
            }));
            table.row(cells);
        }
        format!("<div class=\"steps\">\n{}</div>\n", table.html())
    }

    /// What the script needs, as JSON.
    fn data(&self, motion: &Motion, range: (f64, f64)) -> String {
        let numbers = |list: &[f64]| list.iter().map(|v| tenth(*v)).collect::<Vec<f64>>();
        let lanes = |m: &Moment| {
            m.locks.iter().map(|(_, _, s)| s.map(|n| char::from(b'0' + n))).collect::<Vec<_>>()
        };
        let text = json!({
            "duration": motion.duration_s,
            "low": range.0,
            "high": range.1,
            "top": levers::TOP,
            "height": levers::HEIGHT,
            "shafts": self.report.subject.driveline.shafts.len(),
            "words": [ORDERS, REPORTS, ACTUALS],
            "t": motion.moments.iter().map(|m| (m.t_s * 1e3).round() / 1e3).collect::<Vec<f64>>(),
            "values": motion.moments.iter().map(|m| numbers(&values(m))).collect::<Vec<_>>(),
            "lanes": motion.moments.iter()
                .map(|m| lanes(m).into_iter().flatten().collect::<String>()).collect::<Vec<_>>(),
            "steps": motion.steps.iter().map(|(t, what)| json!([tenth(t * 100.0) / 100.0, what]))
                .collect::<Vec<_>>(),
        })
        .to_string();
        // Text in a script element ends at its end tag, whatever stands in it.
        text.replace('<', "\\u003c")
    }
}
