//! The command `slipwarden campaign --defects`.

use std::path::PathBuf;
use std::time::Instant;

use serde_json::Value;

use super::defects::defects;
use super::defects_report::Score;
use super::trial::{State, Trial, Trials};
use super::trial_file::{header, read, write};
use super::world::World;
use crate::explore::command::{INCONCLUSIVE, Stop};
use crate::explore::defects::run::choose;
use crate::input::print;
use crate::review::Subject;

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

/// Try planted defects. Returns the exit code: 0 campaigns alone found at least 98 % of those that the
/// board runs and that are defects, under every seed; 1 fewer, 2 misuse, 3 stopped early.
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
    let tried = trials.tried(&state, threads, || !stop.is_asked());
    let score = Score {
        driveline: &world.driveline().name,
        table_hash: world.table.hash,
        trial,
        cases_done: state.seeds.iter().map(|of| of.cases).collect(),
        all: list.len(),
        tried: &tried,
    };
    let whole = trials.is_whole(&state) && tried.iter().all(|t| t.examined.is_some());
    tell(&score, whole, options.json)
}

/// Prints the score; returns the exit code.
fn tell(score: &Score, whole: bool, as_json: bool) -> i32 {
    let out = match as_json {
        true => format!("{:#}\n", score.json(whole)),
        false => score.text(whole),
    };
    match (print(&out), whole, score.alone().share() >= FOUND_SHARE) {
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
