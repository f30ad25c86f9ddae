//! The files of a review, in memory.

use super::page::index_html;
use super::replay::replays;
use super::report::Report;
use super::scenario_text::scenario_text;

/// Bytes that the folder is kept below.
const FOLDER_MAX_BYTES: usize = 19_500_000;
/// Bytes that timelines and traces may take in any case.
const PICTURES_MIN_BYTES: usize = 4_000_000;
/// Bytes that a drive takes in all else: the page, the JSON, its scenario, and its share of the evidence.
const BYTES_PER_DRIVE: usize = 40_000;
/// Drives up to which the JSON is indented for a person's eye.
const INDENTED_DRIVES: usize = 400;

/// One file of the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReviewFile {
    /// Path from the folder, with "/".
    pub path: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// Which drives have a timeline and a trace in the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Kept {
    pub(super) timelines: Vec<bool>,
    pub(super) traces: Vec<bool>,
}

impl Kept {
    /// Drives with findings first, then those that came nearest to a limit, then in order, as far
    /// as the folder's bounds go.
    pub(super) fn of(report: &Report) -> Kept {
        let findings = report.findings.iter().map(|f| f.drive);
        let worst = report.margins.iter().map(|m| m.drive);
        let mut order: Vec<usize> = Vec::new();
        for drive in findings.chain(worst).chain(0..report.drives.len()) {
            if !order.contains(&drive) {
                order.push(drive);
            }
        }
        let keep = |size: &dyn Fn(usize) -> usize, most: usize| {
            let mut kept = vec![false; report.drives.len()];
            let mut total = 0;
            for &drive in &order {
                let bytes = size(drive);
                if bytes > 0 && total + bytes <= most {
                    kept[drive] = true;
                    total += bytes;
                }
            }
            kept
        };
        let results = &report.results;
        let others = results.len().saturating_mul(BYTES_PER_DRIVE);
        let room = FOLDER_MAX_BYTES.saturating_sub(others).max(PICTURES_MIN_BYTES);
        Kept {
            timelines: keep(&|i| results[i].timeline.len(), room / 3 * 2),
            traces: keep(&|i| results[i].trace.len(), room / 3),
        }
    }
}

/// Path of a drive's scenario.
pub(super) fn scenario_path(report: &Report, drive: usize) -> String {
    format!("scenarios/{}.toml", report.drives[drive].stem(&report.subject.driveline))
}

/// Path of a drive's timeline.
pub(super) fn timeline_path(report: &Report, drive: usize) -> String {
    format!("timelines/{}.svg", report.drives[drive].stem(&report.subject.driveline))
}

/// Path of a drive's trace.
pub(super) fn trace_path(report: &Report, drive: usize) -> String {
    format!("traces/{}.csv", report.drives[drive].stem(&report.subject.driveline))
}

/// All files of the review: pages, JSON, the driveline file, a scenario for every drive, and
/// timelines and traces as far as the bounds go.
pub fn files(report: &Report) -> Vec<ReviewFile> {
    let subject = &report.subject;
    let (d, k) = (&subject.driveline, &subject.kinematics);
    let kept = Kept::of(report);
    let mut files = Vec::new();
    let mut add = |path: &str, bytes: Vec<u8>| {
        files.push(ReviewFile { path: path.to_owned(), bytes });
    };
    let replays = replays(report);
    add("index.html", index_html(report, &kept, &replays).into_bytes());
    for replay in &replays {
        add(&replay.path, replay.scenario.clone().into_bytes());
    }
    add("driveline.toml", subject.file_bytes.clone());
    add("survey.json", format!("{:#}\n", crate::survey::json(d, k)).into_bytes());
    let guards = crate::audit::json(&crate::audit::proofs(d, k, &subject.table));
    let table = crate::table::json(d, &subject.table, &guards);
    add("table.json", format!("{table:#}\n").into_bytes());
    let json = super::json(report);
    let indented = report.drives.len() <= INDENTED_DRIVES;
    let json = if indented { format!("{json:#}\n") } else { format!("{json}\n") };
    add("review.json", json.into_bytes());
    add("review.xml", super::junit::junit(report).into_bytes());
    add("margins.csv", super::csv::margins_csv(report).into_bytes());
    add("requirements.csv", super::csv::trace_csv(report).into_bytes());
    for (part, path) in report.evidence.with_paths() {
        add(&path, format!("{:#}\n", part.value).into_bytes());
    }
    for (i, (drive, result)) in report.drives.iter().zip(&report.results).enumerate() {
        let duration_s =
            if result.duration_s > 0.0 { result.duration_s } else { drive.setup.duration_s };
        add(&scenario_path(report, i), scenario_text(d, drive, duration_s).into_bytes());
        if kept.timelines[i] {
            add(&timeline_path(report, i), result.timeline.clone().into_bytes());
        }
        if kept.traces[i] {
            add(&trace_path(report, i), result.trace.clone());
        }
    }
    files
}
