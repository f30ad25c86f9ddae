//! The command `slipwarden campaign --defects`.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;
use std::time::Instant;

use serde_json::{Value, json};

use super::defects::{Ended, Tried, defects};
use super::trial::{State, Trial, Trials};
use super::trial_file::{header, read, write};
use super::world::World;
use crate::explore::command::{INCONCLUSIVE, Stop};
use crate::explore::defects::run::choose;
use crate::input::print;
use crate::review::Subject;

/// Version of the format of the JSON.
pub const DEFECTS_FORMAT: u64 = 2;
/// Seeds whose median is taken.
const SEEDS: u64 = 3;
/// Progress is told so often, s.
const SHOW_EVERY_S: u64 = 10;
/// Share of the defects that must be found.
const FOUND_SHARE: f64 = 0.98;

/// Name of the file in the folder that keeps a trial.
const STATE_FILE: &str = "defects.json";

/// What to try.
#[derive(Clone, Debug)]
pub struct DefectOptions {
    /// Driveline file or demo.
    pub file: String,
    /// Most cases for each defect and seed.
    pub cases: u64,
    /// First seed; two more follow.
    pub seed: u64,
    /// Faults in each case.
    pub faults: u8,
    /// Threads; none for as many as the machine has.
    pub threads: Option<usize>,
    /// Try only so many, spread evenly over the list.
    pub sample: Option<usize>,
    /// Try only defects of these kinds; none named: of every kind.
    pub kinds: Vec<String>,
    /// JSON for programs.
    pub json: bool,
    /// Folder that keeps the trial, so that it can be gone on with; none: nothing is kept.
    pub out: Option<PathBuf>,
    /// Go on with what is in the folder.
    pub resume: bool,
}

/// Try planted defects. Returns the exit code: 0 at least 98 % of those that are none were found
/// under every seed, 1 fewer, 2 misuse, 3 stopped early.
pub fn campaign_defects(options: &DefectOptions) -> i32 {
    let subject = match Subject::read(&options.file, options.seed) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    eprintln!("seed {}", options.seed);
    let world = World::new(subject);
    let list = defects(&world);
    let chosen = match choose(&list, &options.kinds, options.sample) {
        Ok(chosen) => chosen,
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    let seeds: Vec<u64> = (0..SEEDS).map(|i| options.seed.wrapping_add(i)).collect();
    let trial = Trial { seeds: &seeds, cases: options.cases, faults: options.faults };
    let header = header(&world, &trial, &chosen);
    let (path, mut state) = match begin(options, &header, &trial) {
        Ok(begun) => begun,
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    let all = || std::thread::available_parallelism().map_or(1, |n| n.get());
    let threads = options.threads.unwrap_or_else(all);
    let trials = Trials::new(&world, &list, &chosen, trial);
    let stop = Stop::new();
    let (mut shown, mut lost) = (Instant::now(), None);
    let ran = trials.go_on(&mut state, threads, |after_block| {
        if let Some(state) = after_block {
            lost = path.as_deref().and_then(|path| write(path, &header, state).err());
            if shown.elapsed().as_secs() >= SHOW_EVERY_S {
                shown = Instant::now();
                eprintln!("{}", progress(&trial, state, chosen.len()));
            }
        }
        !stop.is_asked() && lost.is_none()
    });
    if let Err(error) = ran {
        eprintln!("error: {error}");
        return 2;
    }
    if let (Some(error), Some(path)) = (lost, &path) {
        eprintln!("error: {}: {error}", path.display());
        return 2;
    }
    let tried = trials.tried(&state, || !stop.is_asked());
    let score = Score {
        driveline: &world.driveline().name,
        table_hash: world.table.hash,
        trial,
        cases_done: state.seeds.iter().map(|of| of.cases).collect(),
        all: list.len(),
        tried: &tried,
    };
    tell(&score, trials.is_whole(&state), options.json)
}

/// Prints the score; returns the exit code.
fn tell(score: &Score, whole: bool, as_json: bool) -> i32 {
    let out = match as_json {
        true => format!("{:#}\n", score.json(whole)),
        false => score.text(whole),
    };
    match (print(&out), whole, score.share() >= FOUND_SHARE) {
        (0, false, _) => INCONCLUSIVE,
        (0, true, false) => 1,
        (code, ..) => code,
    }
}

/// Where a trial is kept, if it is, and how far it is.
fn begin(
    options: &DefectOptions,
    header: &Value,
    trial: &Trial,
) -> Result<(Option<PathBuf>, State), String> {
    let Some(folder) = &options.out else {
        return match options.resume {
            true => Err("--resume needs the folder with --out".into()),
            false => Ok((None, State::new(trial))),
        };
    };
    let path = folder.join(STATE_FILE);
    match (options.resume, path.exists()) {
        (true, true) => {
            let state = read(&path, header)?;
            eprintln!("goes on after {} cases", state.done());
            Ok((Some(path), state))
        }
        (false, true) => Err(format!(
            "{}: there is a trial already; go on with it (--resume) or choose another folder",
            path.display()
        )),
        (_, false) => {
            std::fs::create_dir_all(folder)
                .map_err(|error| format!("{}: {error}", folder.display()))?;
            Ok((Some(path), State::new(trial)))
        }
    }
}

fn progress(trial: &Trial, state: &State, chosen: usize) -> String {
    let of = trial.seeds.iter().zip(&state.seeds).rfind(|(_, of)| of.cases > 0);
    let (seed, cases, found) = of.map_or((0, 0, 0), |(s, of)| (*s, of.cases, of.found.len()));
    format!("seed {seed}: {cases} of {} cases, {found} of {chosen} defects found", trial.cases)
}

pub(crate) struct Score<'a> {
    pub(crate) driveline: &'a str,
    pub(crate) table_hash: u32,
    pub(crate) trial: Trial<'a>,
    /// By seed, how many cases were run.
    pub(crate) cases_done: Vec<u64>,
    pub(crate) all: usize,
    pub(crate) tried: &'a [Tried],
}

/// What came of the defects of one kind.
#[derive(Default)]
struct OfKind<'a> {
    tried: usize,
    found: usize,
    /// Medians of those found.
    cases: Vec<u64>,
    rules: Vec<&'a str>,
}

impl Score<'_> {
    fn found(&self) -> usize {
        self.tried.iter().filter(|t| t.is_found()).count()
    }

    /// Not found, and shown to be no defects.
    fn excused(&self) -> usize {
        self.tried.iter().filter(|t| !t.is_found() && t.excused.is_some()).count()
    }

    /// Of those that are defects.
    fn share(&self) -> f64 {
        self.found() as f64 / (self.tried.len() - self.excused()).max(1) as f64
    }

    fn text(&self, whole: bool) -> String {
        let mut out = String::new();
        // Writing to a string cannot fail.
        let _ = self.write(&mut out, whole);
        out
    }

    fn write(&self, out: &mut String, whole: bool) -> std::fmt::Result {
        writeln!(
            out,
            "planted defects of {}: {} of {} tried, {} cases at most under each of {} seeds, {} \
             faults a case{}",
            self.driveline,
            self.tried.len(),
            self.all,
            self.trial.cases,
            self.trial.seeds.len(),
            self.trial.faults,
            if whole { "" } else { " (STOPPED EARLY)" }
        )?;
        let cases: Vec<String> = self.cases_done.iter().map(u64::to_string).collect();
        writeln!(out, "cases run, by seed: {}", cases.join(", "))?;
        writeln!(
            out,
            "found under every seed: {} of {} ({:.1} %); shown to be no defect: {}",
            self.found(),
            self.tried.len() - self.excused(),
            100.0 * self.share(),
            self.excused()
        )?;
        let mut kinds: BTreeMap<&str, OfKind> = BTreeMap::new();
        for tried in self.tried {
            let kind = kinds.entry(&tried.what[0]).or_default();
            kind.tried += 1;
            kind.found += usize::from(tried.is_found());
            kind.cases.extend(tried.median().map(|m| m.0));
            for ended in &tried.ended {
                let rule = match ended {
                    Ended::Refused => "the board",
                    Ended::Found { rule, .. } => rule.as_str(),
                    Ended::Missed { .. } => continue,
                };
                if !kind.rules.contains(&rule) {
                    kind.rules.push(rule);
                }
            }
        }
        writeln!(
            out,
            "\n  {:<28} {:>5} {:>5} {:>12}  by",
            "kind", "tried", "found", "median cases"
        )?;
        for (kind, OfKind { tried, found, mut cases, rules }) in kinds {
            cases.sort_unstable();
            let median = cases.get(cases.len() / 2).map_or("-".to_string(), u64::to_string);
            writeln!(out, "  {kind:<28} {tried:>5} {found:>5} {median:>12}  {}", rules.join(", "))?;
        }
        self.write_missed(out)
    }

    fn write_missed(&self, out: &mut String) -> std::fmt::Result {
        let missed: Vec<&Tried> = self.tried.iter().filter(|t| !t.is_found()).collect();
        let all = self.cases_done.iter().sum::<u64>();
        let (excused, open): (Vec<&Tried>, _) = missed.iter().partition(|t| t.excused.is_some());
        let (idle, differ): (Vec<&Tried>, Vec<_>) = open.iter().partition(|t| t.is_idle());
        if !differ.is_empty() {
            writeln!(out, "\nnot found under every seed; cases in which anything differed")?;
        }
        for tried in differ {
            let [kind, place, change] = &tried.what;
            let found = tried.ended.iter().filter(|e| e.is_found()).count();
            let differed = tried.ended.iter().map(|ended| match ended {
                Ended::Missed { differed } => *differed,
                Ended::Refused | Ended::Found { .. } => 0,
            });
            let differed = differed.sum::<u64>();
            writeln!(
                out,
                "  {kind}, {place}, {change}: found {found} of {}, differed {differed}",
                tried.ended.len()
            )?;
        }
        if !idle.is_empty() {
            writeln!(out, "\nnot one order or word differed in all {all} cases")?;
        }
        for tried in idle {
            let [kind, place, change] = &tried.what;
            writeln!(out, "  {kind}, {place}, {change}")?;
        }
        if !excused.is_empty() {
            writeln!(out, "\nnot found, and shown to be no defect")?;
        }
        for tried in excused {
            let [kind, place, change] = &tried.what;
            let why = tried.excused.as_deref().unwrap_or_default();
            writeln!(out, "  {kind}, {place}, {change}: {why}")?;
        }
        Ok(())
    }

    pub(crate) fn json(&self, whole: bool) -> Value {
        let ended = |e: &Ended| match e {
            Ended::Refused => json!({ "by": "board", "cases": 0, "ticks": 0 }),
            Ended::Found { rule, cases, ticks } => {
                json!({ "by": rule, "cases": cases, "ticks": ticks })
            }
            Ended::Missed { differed } => json!({ "by": null, "differed": differed }),
        };
        let tried = self.tried.iter().map(|t| {
            json!({
                "number": t.number,
                "kind": t.what[0], "place": t.what[1], "change": t.what[2],
                "found": t.is_found(),
                "excused": t.excused,
                "median_cases": t.median().map(|m| m.0),
                "median_ticks": t.median().map(|m| m.1),
                "by_seed": t.ended.iter().map(ended).collect::<Vec<_>>(),
            })
        });
        json!({
            "campaign_defects": DEFECTS_FORMAT,
            "driveline": self.driveline,
            "table_hash": format!("{:08x}", self.table_hash),
            "seeds": self.trial.seeds,
            "cases": self.trial.cases,
            "cases_done": self.cases_done,
            "faults": self.trial.faults,
            "excused": self.excused(),
            "defects": self.all,
            "whole": whole,
            "found": self.found(),
            "found_share": self.share(),
            "tried": tried.collect::<Vec<_>>(),
        })
    }
}
