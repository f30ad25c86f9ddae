//! The command `slipwarden explore FILE`.

use std::collections::BTreeMap;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use super::always::Always;
use super::cells::Cells;
use super::checkpoint::{keep, take_up};
use super::excuses::{dead, names};
use super::live::liveness;
use super::model::{Model, Node, Subject};
use super::path::{way_to, words};
use super::report::{Answer, Report};
use super::scenario::scenario;
use super::search::{Bounds, Found, Reached, resume, search};
use super::senses::Forced;
use super::shrink::shrunk;
use crate::driveline::{Driveline, Purpose};
use crate::input::{self, print};
use crate::table::TableData;
use crate::text::shell_word;

/// Exit code of a search that ended before everything was explored: neither a pass nor a finding.
pub const INCONCLUSIVE: i32 = 3;

/// What to explore, and how far.
#[derive(Clone, Debug)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Most faults in one history.
    pub faults: u8,
    /// Only combinations of guard bits that the kinematics allow, unless sensors lie by a fault.
    pub feasible_guards: bool,
    /// The interlock alone, with anything ordered.
    pub interlock_alone: bool,
    /// Most states.
    pub states: usize,
    /// Most memory for states, MiB.
    pub memory_mib: usize,
    /// Threads; none for as many as the machine has.
    pub threads: Option<usize>,
    /// JSON for programs.
    pub json: bool,
    /// Where a search that is stopped is kept.
    pub checkpoint: Option<PathBuf>,
    /// A kept search to go on with.
    pub resume: Option<PathBuf>,
    /// Where to write the first counterexample as a scenario.
    pub scenario: Option<PathBuf>,
    /// What may never occur, each with its reason: `NAME=REASON`.
    pub excused: Vec<String>,
}

/// Explore. Returns the exit code: 0 everything was explored and nothing is broken, 1 a finding,
/// 2 misuse, 3 stopped before everything was explored.
pub fn explore(options: &Options) -> i32 {
    let Some(excused) = excuses(&options.excused) else { return 2 };
    let tabled = match input::table(&options.file, Purpose::Table) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let d = tabled.driveline();
    let small = shrunk(&tabled.table);
    if !all_named(&excused, d, &small) {
        return 2;
    }
    let forced = Forced::new(d, &tabled.kinematics);
    let subject = if options.interlock_alone { Subject::InterlockAlone } else { Subject::Kernel };
    let cells = options.feasible_guards.then(|| Cells::new(d, &tabled.kinematics, &small.table()));
    let model = Model {
        cells: cells.as_ref(),
        ..Model::new(small.table(), &forced, options.faults, subject)
    };
    let stop = Stop::new();
    let found = match search_all(options, d, &model, &stop) {
        Ok(found) => found,
        Err(code) => return code,
    };
    if !found.complete {
        keep_search(options, d, &model, &found, stop.is_asked());
    }
    let threads = threads(options);
    let ways: Vec<(Always, Vec<Node>)> = found
        .broken
        .iter()
        .map(|(always, breach)| (*always, way_to(&model, &found, breach, threads)))
        .collect();
    if let (Some(path), Some((always, way))) = (&options.scenario, ways.first())
        && let Err(code) = write_scenario(path, &scenario(d, &model, *always, way))
    {
        return code;
    }
    // Nothing can be said of all states where not all were reached.
    let whole = found.complete && found.broken.is_empty() && !options.interlock_alone;
    let (dead, idle) = match whole {
        true => dead(d, &small, &found, options.faults, &excused),
        false => Default::default(),
    };
    let report = Report {
        driveline: d,
        table: &small,
        table_hash: tabled.table.hash,
        interlock_alone: options.interlock_alone,
        feasible_guards: options.feasible_guards,
        faults: options.faults,
        found: &found,
        live: whole.then(|| liveness(&model, &found, threads)),
        dead,
        idle,
        ways: ways.iter().map(|(always, way)| (*always, words(d, &model, way))).collect(),
    };
    tell(&report, options.json)
}

/// Print; the exit code says what came of it.
fn tell(report: &Report, as_json: bool) -> i32 {
    let out = match as_json {
        true => format!("{:#}\n", report.json()),
        false => report.text(),
    };
    match (print(&out), report.answer()) {
        (0, Answer::Holds) => 0,
        (0, Answer::Broken | Answer::Dead) => 1,
        (0, Answer::Inconclusive) => INCONCLUSIVE,
        (code, _) => code,
    }
}

fn threads(options: &Options) -> usize {
    let all = || std::thread::available_parallelism().map_or(1, |n| n.get());
    options.threads.unwrap_or_else(all)
}

/// The user's excuses by name; `None` after a complaint.
fn excuses(given: &[String]) -> Option<BTreeMap<String, String>> {
    let mut excused = BTreeMap::new();
    for one in given {
        match one.split_once('=') {
            Some((name, reason)) if !reason.trim().is_empty() => {
                excused.insert(name.trim().to_string(), reason.trim().to_string());
            }
            _ => {
                eprintln!("error: --excuse {one:?} gives no reason");
                eprintln!("    fix: write it as --excuse \"refusal:hot=the plates are never hot\"");
                return None;
            }
        }
    }
    Some(excused)
}

/// Whether every excuse is for something that there is; complains of the first that is not.
fn all_named(excused: &BTreeMap<String, String>, d: &Driveline, data: &TableData) -> bool {
    let known = names(d, data);
    let Some(name) = excused.keys().find(|name| !known.contains(name)) else { return true };
    eprintln!("error: --excuse {name:?}: nothing of that name has to occur");
    let begins = |other: &&String| {
        name.split_once(':').is_none_or(|(kind, _)| other.starts_with(&format!("{kind}:")))
    };
    let alike: Vec<&str> = known.iter().filter(begins).map(String::as_str).collect();
    let alike = if alike.is_empty() { known.iter().map(String::as_str).collect() } else { alike };
    eprintln!("    fix: use one of: {}", alike.join("; "));
    false
}

/// Asked to stop by Ctrl-C.
pub(crate) struct Stop(Arc<AtomicBool>);

impl Stop {
    pub(crate) fn new() -> Stop {
        let asked = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&asked);
        // Where no handler can be set, Ctrl-C ends the program as it always did.
        let _ = ctrlc::set_handler(move || {
            // Asked twice: at once.
            if told.swap(true, Ordering::Relaxed) {
                std::process::exit(130);
            }
        });
        Stop(asked)
    }

    pub(crate) fn is_asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

fn search_all(options: &Options, d: &Driveline, model: &Model, stop: &Stop) -> Result<Found, i32> {
    let bounds = Bounds {
        states: options.states,
        bytes: options.memory_mib << 20,
        threads: threads(options),
    };
    let kept = match &options.resume {
        None => None,
        Some(path) => match take_up(path, model, &d.name) {
            Ok(found) => Some(found),
            Err(error) => {
                eprintln!("error: cannot go on from {}: {error}", path.display());
                eprintln!(
                    "    fix: explore anew, or name a checkpoint of the same file and options"
                );
                return Err(2);
            }
        },
    };
    let mut progress = Progress::new(kept.as_ref().map_or(0, |found| found.reached.transitions));
    let show = |reached: &Reached| {
        progress.show(reached);
        !stop.is_asked()
    };
    let found = match kept {
        Some(found) => resume(found, model, &bounds, show),
        None => search(model, &bounds, show),
    };
    progress.end();
    Ok(found)
}

/// A search that was stopped is kept: always when a person stopped it, and where asked for.
fn keep_search(options: &Options, d: &Driveline, model: &Model, found: &Found, by_hand: bool) {
    let default = || PathBuf::from(format!("explore-{}.checkpoint", d.name));
    let path = match (&options.checkpoint, &options.resume) {
        (Some(path), _) | (None, Some(path)) => path.clone(),
        (None, None) if by_hand => default(),
        (None, None) => return,
    };
    match keep(&path, model, &d.name, found) {
        Ok(()) => eprintln!(
            "stopped; what was reached is kept. Go on with --resume {} and the same options",
            shell_word(&path.display().to_string())
        ),
        Err(error) => eprintln!("warning: {} cannot be written: {error}", path.display()),
    }
}

fn write_scenario(path: &Path, text: &str) -> Result<(), i32> {
    std::fs::write(path, text).map_err(|error| {
        eprintln!("error: cannot write {}: {error}", path.display());
        eprintln!("    fix: name a file in a folder that exists and may be written");
        2
    })
}

/// Progress: one line rewritten on a terminal, a line now and then elsewhere.
struct Progress {
    terminal: bool,
    begun: Instant,
    shown_s: f64,
    from: u64,
}

impl Progress {
    fn new(from: u64) -> Progress {
        let terminal = std::io::stderr().is_terminal();
        Progress { terminal, begun: Instant::now(), shown_s: 0.0, from }
    }

    fn show(&mut self, reached: &Reached) {
        let now_s = self.begun.elapsed().as_secs_f64();
        let every_s = if self.terminal { 0.2 } else { 10.0 };
        if now_s - self.shown_s < every_s {
            return;
        }
        self.shown_s = now_s;
        let rate = (reached.transitions - self.from.min(reached.transitions)) as f64 / now_s / 1e6;
        let line = format!(
            "depth {}: {} states, {} wait, {rate:.1} M transitions/s, {} MiB",
            reached.depth,
            reached.states,
            reached.waiting,
            reached.bytes >> 20
        );
        let mut err = std::io::stderr().lock();
        // Progress that cannot be shown is no reason to stop.
        let _ = if self.terminal { write!(err, "\r{line:<79}") } else { writeln!(err, "{line}") };
    }

    fn end(&self) {
        if self.terminal && self.shown_s > 0.0 {
            let _ = write!(std::io::stderr().lock(), "\r{:<79}\r", "");
        }
    }
}
