//! The command `slipwarden replay`: one case of a campaign, or a scenario that one was shrunk to.

use std::fs;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::case::case;
use super::defects::defects;
use super::scenario::scenario_text;
use super::world::World;
use crate::drive::scenario::{self, Scenario};
use crate::drive::simulate::{RunError, simulate};
use crate::drive::summary_text::{Heading, text};
use crate::driveline::command;
use crate::input::print;
use crate::review::Subject;
use crate::table::TableData;

/// What to replay.
#[derive(Clone, Debug)]
pub struct ReplayOptions {
    /// Driveline file or demo.
    pub file: String,
    /// Scenario file.
    pub scenario: Option<String>,
    /// Case of a campaign: its number, the campaign's seed and its faults a case.
    pub case: Option<(u64, u64, u8)>,
    /// Number of a planted defect that the table has.
    pub defect: Option<usize>,
    /// Where to write every tick as CSV.
    pub trace: Option<PathBuf>,
    /// Where to write the timeline.
    pub svg: Option<PathBuf>,
    /// Where to write the case as a scenario.
    pub write: Option<PathBuf>,
}

/// Replay. Returns the exit code: 0 nothing found, 1 a finding, 2 misuse.
pub fn replay(options: &ReplayOptions) -> i32 {
    let subject = match Subject::read(&options.file, 1) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    let world = World::new(subject);
    let (scenario, written) = match (&options.scenario, options.case) {
        (Some(path), _) => match scenario::read(path, world.driveline()) {
            Ok(scenario) => (scenario, None),
            Err(failure) => {
                command::complain(&failure);
                return 2;
            }
        },
        (None, Some((number, seed, faults))) => {
            let case = case(&world, seed, faults, number);
            let name = format!("case-{number}");
            let about = format!("Case {number} of the campaign with seed {seed}, {faults} faults.");
            let written = scenario_text(world.driveline(), &case, &name, &about);
            let scenario = Scenario {
                name,
                about,
                setup: case.setup,
                seed: Some(case.plant_seed),
                warnings: crate::driveline::diagnostics::Diagnostics::new("", ""),
            };
            (scenario, Some(written))
        }
        (None, None) => {
            eprintln!("error: nothing to replay");
            eprintln!("    fix: name a scenario file, or a case with --case K");
            return 2;
        }
    };
    match (written, &options.write) {
        (Some(text), Some(path)) => {
            if let Err(error) = fs::write(path, text) {
                return cannot_write(Some(path), &error);
            }
        }
        (None, Some(_)) => {
            eprintln!("error: --write is for cases; a scenario file is written already");
            return 2;
        }
        _ => {}
    }
    run(&world, &scenario, options)
}

/// The world's table, with a defect or without; says which on standard error.
fn table(world: &World, number: Option<usize>) -> Result<TableData, String> {
    let Some(number) = number else { return Ok(world.table.clone()) };
    let list = defects(world);
    let Some(defect) = list.get(number) else {
        return Err(format!("--defect {number}: there are {}, from 0 on", list.len()));
    };
    let data = defect.planted(&world.table);
    eprintln!("planted: {}, {}, {}", defect.kind, defect.place, defect.name);
    match supervisor::check::check_all(&data.table()) {
        Ok(()) => Ok(data),
        Err(fault) => Err(format!("--defect {number}: the board refuses this table: {fault:?}")),
    }
}

fn run(world: &World, scenario: &Scenario, options: &ReplayOptions) -> i32 {
    let seed = scenario.seed.unwrap_or(1);
    let data = match table(world, options.defect) {
        Ok(data) => data,
        Err(error) => {
            eprintln!("error: {error}");
            eprintln!("    fix: `slipwarden campaign FILE --defects` tells the numbers");
            return 2;
        }
    };
    let d = world.driveline();
    let mut file = match options.trace.as_ref().map(fs::File::create).transpose() {
        Ok(file) => file.map(BufWriter::new),
        Err(error) => return cannot_write(options.trace.as_deref(), &error),
    };
    let trace = file.as_mut().map(|file| (file as &mut dyn Write, 1));
    let ran = simulate(d, world.kinematics(), data.table(), &scenario.setup, seed, trace);
    let outcome = match ran {
        Ok(outcome) => outcome,
        Err(RunError::Trace(error)) => return cannot_write(options.trace.as_deref(), &error),
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    if let Some(Err(error)) = file.as_mut().map(Write::flush) {
        return cannot_write(options.trace.as_deref(), &error);
    }
    let heading = Heading { driveline: d.name.clone(), scenario: scenario.name.clone(), seed };
    if let Some(path) = &options.svg {
        let words = crate::drive::command::words(&heading, scenario);
        let svg = outcome.timeline.draw(&words, &outcome.summary.findings);
        if let Err(error) = fs::write(path, svg) {
            return cannot_write(Some(path), &error);
        }
    }
    let code = print(&text(&heading, &outcome.summary));
    if code != 0 {
        return code;
    }
    i32::from(!outcome.summary.findings.is_empty())
}

fn cannot_write(path: Option<&Path>, error: &std::io::Error) -> i32 {
    eprintln!("error: {} cannot be written: {error}", path.unwrap_or(Path::new("-")).display());
    2
}
