//! The command `slipwarden review [FILE]`.

use std::path::{Path, PathBuf};

use super::cases::Drive;
use super::depth::{Depth, Work};
use super::evidence::{Making, Part, make, read};
use super::files::{files, scenario_path};
use super::folder::{check_free, write};
use super::progress::{OnStderr, Progress};
use super::report::Report;
use super::subject::Subject;
use super::unfinished::Unfinished;
use crate::explore::command::INCONCLUSIVE;
use crate::input::print;
use crate::text::{labelled, paragraph, shell_word};

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
    /// How deep to look.
    pub depth: Depth,
    /// The work that stands for: that of `depth`, or another in tests.
    pub work: Work,
    /// Evidence that was made before; what is given is not made again.
    pub evidence: Vec<PathBuf>,
    /// Date for the page; the tool asks no clock.
    pub date: Option<String>,
}

/// A date as `--date` takes it: year, month and day, like 2026-11-26.
///
/// # Errors
/// A sentence that says what to write.
pub fn date_from(text: &str) -> Result<String, String> {
    let wrong = || format!("{text:?} is no date: write year-month-day, like 2026-11-26");
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return Err(wrong()) };
    let number = |part: &str, digits: usize| -> Option<u32> {
        (part.len() == digits && part.bytes().all(|b| b.is_ascii_digit()))
            .then(|| part.parse().ok())?
    };
    match (number(year, 4), number(month, 2), number(day, 2)) {
        (Some(_), Some(1..=12), Some(1..=31)) => Ok(text.to_owned()),
        _ => Err(wrong()),
    }
}

/// Review a driveline and write the folder. Returns the exit code: 0 nothing found, 1 a finding,
/// 2 misuse, 3 nothing found but not all evidence is whole, or stopped.
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
    let Some(given) = given(options, &subject) else { return 2 };
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let mut progress = OnStderr::new(Unfinished::of(Path::new(&options.out)));
    note_unused(progress.unfinished(), options);
    let mut report = Report::of(subject, threads, &mut progress);
    let folder = Path::new(&options.file).parent();
    let mut making = Making { work: options.work, threads, folder, progress: &mut progress };
    report.evidence = make(&report.subject, given, &mut making);
    report.depth = Some(options.depth);
    report.date = options.date.clone();
    progress.wipe();
    if progress.is_stopped() {
        eprintln!("stopped: nothing was written, and nothing is shown");
        if let Some(line) = progress.unfinished().go_on(options) {
            eprintln!("what is whole is kept; to go on with it:\n  {line}");
        }
        return INCONCLUSIVE;
    }
    match write(Path::new(&options.out), &files(&report), options.force) {
        Ok(moved) => {
            progress.unfinished().remove();
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

/// Parts that an earlier run left are never used without being asked for, and never thrown away
/// unsaid.
fn note_unused(unfinished: &Unfinished, options: &Options) {
    for path in unfinished.unused(&options.evidence) {
        eprintln!(
            "note: {} is left from a review that was stopped; name it with --evidence to use it, \
             or it is made again",
            path.display()
        );
    }
}

/// The evidence that was named; `None` after a complaint about each file that cannot be used.
fn given(options: &Options, subject: &Subject) -> Option<Vec<Part>> {
    let mut parts = Vec::new();
    let mut faults = 0;
    for path in &options.evidence {
        match read(path, subject) {
            Ok(part) => parts.push(part),
            Err(error) => {
                eprintln!("error: {error}");
                faults += 1;
            }
        }
    }
    (faults == 0).then_some(parts)
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
    for part in &report.evidence.parts {
        if let Some(score) = part.score() {
            out += &paragraph(&format!("{}: {score}.", part.kind.short()), 2, TEXT_WIDTH);
        }
    }
    for (kind, why) in report.evidence.findings() {
        out +=
            &labelled(&format!("{:<17} ", kind.word()), &format!("FINDING: {why}"), 2, TEXT_WIDTH);
    }
    for (kind, why) in report.evidence.inconclusive() {
        let told = format!("INCONCLUSIVE: {why}");
        out += &labelled(&format!("{:<17} ", kind.word()), &told, 2, TEXT_WIDTH);
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
        let in_folder = |path: &str| shell_word(&format!("{}/{path}", options.out));
        out += &format!(
            "  slipwarden drive {} {} --seed {}\n",
            in_folder("driveline.toml"),
            in_folder(&scenario_path(report, first.drive)),
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
