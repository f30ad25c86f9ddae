//! The command `slipwarden explore FILE --defects`.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use super::drives::Drives;
use super::explored::{Explorer, Unfit};
use super::list::all;
use super::report::Report;
use super::run::{Judges, choose, run};
use crate::audit::{Scope, examine};
use crate::driveline::Purpose;
use crate::explore::command::{INCONCLUSIVE, Stop};
use crate::explore::search::Bounds;
use crate::input::{self, print};

/// What to plant, and how far to look.
#[derive(Clone, Debug)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Most lock faults in one history of an exploration.
    pub faults: u8,
    /// Most states of one exploration.
    pub states: usize,
    /// Most memory for the states of one exploration, MiB.
    pub memory_mib: usize,
    /// Threads; none for as many as the machine has.
    pub threads: Option<usize>,
    /// How many defects to try; none for all.
    pub sample: Option<usize>,
    /// Try only defects of these kinds; none named: of every kind.
    pub kinds: Vec<String>,
    /// Most states of the exploration of a broken table, where fewer than of the unchanged one.
    pub defect_states: Option<usize>,
    /// JSON for programs.
    pub json: bool,
}

/// Plant every defect. Returns the exit code: 0 every one was found or shown to be none, 1 some
/// survived, 2 misuse, 3 not everything that was chosen was tried.
pub fn explore_defects(options: &Options) -> i32 {
    let tabled = match input::table(&options.file, Purpose::Table) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let (d, k, good) = (tabled.driveline(), &tabled.kinematics, &tabled.table);
    // A wrong word is told before the long look at the unchanged table.
    let defects = all(d, good);
    let chosen = match choose(&defects, &options.kinds, options.sample) {
        Ok(chosen) => chosen,
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    let cores = || std::thread::available_parallelism().map_or(1, |n| n.get());
    let threads = options.threads.unwrap_or_else(cores);
    let bounds = Bounds { states: options.states, bytes: options.memory_mib << 20, threads };
    let stop = Stop::new();
    let explorer = match Explorer::new(d, k, good, options.faults, &bounds, |_| !stop.is_asked()) {
        Ok(explorer) => explorer.at_most(options.defect_states.unwrap_or(usize::MAX)),
        Err(unfit) => return unmeasured(unfit, options.faults),
    };
    let audited = examine(d, k, good, Scope { timing: true });
    if !audited.findings.is_empty() {
        eprintln!("error: the audit has findings of the unchanged table, so it is no measure");
        eprintln!("    fix: see them with `slipwarden table` first");
        return 1;
    }
    let judges = Judges { d, k, good, explorer, audited, drives: Drives::new(&tabled) };
    let mut progress = Progress::new(chosen.len());
    let judged = run(&judges, &defects, &chosen, threads, |done| {
        progress.show(done);
        !stop.is_asked()
    });
    progress.end(judged.len());
    let report = Report {
        driveline: d,
        faults: options.faults,
        table_hash: good.hash,
        states: judges.explorer.states,
        all: defects.len(),
        chosen: chosen.len(),
        judged,
    };
    let out = match options.json {
        true => format!("{:#}\n", report.json()),
        false => report.text(),
    };
    match (print(&out), report.total().survived) {
        (0, _) if !report.complete() => INCONCLUSIVE,
        (0, 0) => 0,
        (0, _) => 1,
        (code, _) => code,
    }
}

fn unmeasured(unfit: Unfit, faults: u8) -> i32 {
    match unfit {
        Unfit::Unfinished => {
            eprintln!(
                "error: the unchanged table was not explored to its end, so it is no measure"
            );
            eprintln!(
                "    fix: allow fewer faults with --faults, or more with --states and --memory"
            );
        }
        Unfit::Broken => {
            eprintln!("error: the unchanged table does not hold with {faults} faults allowed");
            eprintln!("    fix: see what is broken without --defects, or allow fewer faults");
        }
    }
    INCONCLUSIVE
}

/// Progress: one line rewritten on a terminal, a line now and then elsewhere.
struct Progress {
    terminal: bool,
    begun: Instant,
    shown_s: f64,
    all: usize,
}

impl Progress {
    fn new(all: usize) -> Progress {
        let terminal = std::io::stderr().is_terminal();
        Progress { terminal, begun: Instant::now(), shown_s: 0.0, all }
    }

    fn show(&mut self, done: usize) {
        let now_s = self.begun.elapsed().as_secs_f64();
        let every_s = if self.terminal { 0.2 } else { 10.0 };
        if now_s - self.shown_s >= every_s {
            self.shown_s = now_s;
            self.write(done, now_s);
        }
    }

    fn write(&self, done: usize, now_s: f64) {
        let line = format!("defects {done} of {}, {:.1}/s", self.all, done as f64 / now_s);
        let mut err = std::io::stderr().lock();
        // Progress that cannot be shown is no reason to stop.
        let _ = if self.terminal { write!(err, "\r{line:<79}") } else { writeln!(err, "{line}") };
    }

    fn end(&self, done: usize) {
        if self.shown_s > 0.0 {
            self.write(done, self.begun.elapsed().as_secs_f64());
            if self.terminal {
                eprintln!();
            }
        }
    }
}
