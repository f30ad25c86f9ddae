//! The command `slipwarden review [FILE] [--out DIR] [--seed N] [--force]`.

use std::path::Path;

use super::cases::Drive;
use super::files::{files, scenario_path};
use super::folder::{check_free, write};
use super::progress::OnStderr;
use super::report::Report;
use super::subject::Subject;
use crate::input::print;
use crate::text::{labelled, paragraph};

/// Columns of the text: those of a plain terminal, wherever it goes.
const TEXT_WIDTH: usize = 80;
/// Most findings that are listed on the terminal; the page lists all.
const LISTED_FINDINGS: usize = 12;

/// What the command takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
    /// Driveline file or embedded demo.
    pub file: String,
    /// Folder to write.
    pub out: String,
    /// Move a folder aside that is not a review.
    pub force: bool,
    /// Seed of all chance.
    pub seed: u64,
}

/// Review a driveline and write the folder. Returns the exit code: 0 nothing found, 1 a finding,
/// 2 misuse.
pub fn review(options: &Options) -> i32 {
    let out = Path::new(&options.out);
    if let Err(error) = check_free(out, options.force) {
        eprintln!("error: {error}");
        return 2;
    }
    match Subject::read(&options.file, options.seed) {
        Ok(subject) => conduct(subject, options),
        Err(code) => code,
    }
}

/// Review a subject that is already built and write the folder, as [`review`] does.
pub fn conduct(subject: Subject, options: &Options) -> i32 {
    let d = &subject.driveline;
    if d.arrangements.len() < 2 {
        eprintln!(
            "error: {:?} has fewer than two arrangements, so there is nothing to drive between\n    \
             fix: name the lock sets to run in, each as an [[arrangement]]",
            d.name
        );
        return 2;
    }
    let head = format!(
        "Review of {} ({}), table {:08x}, seed {}",
        d.name, subject.file_name, subject.table.hash, subject.seed
    );
    if print(&paragraph(&head, 0, TEXT_WIDTH)) != 0 {
        return 2;
    }
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let report = Report::of(subject, threads, &mut OnStderr::new());
    match write(Path::new(&options.out), &files(&report), options.force) {
        Ok(moved) => {
            if let Some(aside) = moved {
                eprintln!("note: what was in the way is now {}", aside.display());
            }
            match print(&closing_words(&report, options)) {
                0 => report.exit_code(),
                code => code,
            }
        }
        Err(error) => {
            eprintln!("error: {error}");
            2
        }
    }
}

fn closing_words(report: &Report, options: &Options) -> String {
    let (reached, refused, other) = report.counts();
    let mut out = paragraph(&format!("{}.", report.verdict()), 0, TEXT_WIDTH);
    let mut ends = format!("{reached} ended in the arrangement, {refused} in a stated refusal");
    if other > 0 {
        ends += &format!(", {other} in neither");
    }
    out += &paragraph(&format!("{ends}."), 2, TEXT_WIDTH);
    let surprises = report.surprises().len();
    if surprises > 0 {
        let words =
            format!("{surprises} ended otherwise than the table foretells; the page lists them.");
        out += &paragraph(&words, 2, TEXT_WIDTH);
    }
    for finding in report.findings.iter().take(LISTED_FINDINGS) {
        let drive: &Drive = &report.drives[finding.drive];
        out += &labelled(
            &format!("{:<14} ", finding.rule),
            &format!("{} (drive {}, {:.2} s)", finding.text, drive.number, finding.t_s),
            2,
            TEXT_WIDTH,
        );
    }
    let more = report.findings.len().saturating_sub(LISTED_FINDINGS);
    if more > 0 {
        out += &paragraph(&format!("and {more} more; the page lists them all"), 2, TEXT_WIDTH);
    }
    if let Some(first) = report.findings.first() {
        let drive = &report.drives[first.drive];
        out += &format!("Seed {}. The first finding again:\n", report.subject.seed);
        // One line, to be copied: it may be longer than the others.
        out += &format!(
            "  slipwarden drive {0}/driveline.toml {0}/{1} --seed {2}\n",
            options.out,
            scenario_path(report, first.drive),
            drive.seed
        );
    }
    out += &format!("Open {}/index.html\n", options.out);
    out += &paragraph(
        "This is evidence for a person to judge. It certifies nothing and releases nothing for use.",
        0,
        TEXT_WIDTH,
    );
    out
}
