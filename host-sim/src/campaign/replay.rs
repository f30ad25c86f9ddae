//! The command `slipwarden replay`: one case of a campaign, or a scenario that one was shrunk to.

use std::fs;
use std::path::PathBuf;

use super::case::case;
use super::scenario::scenario_text;
use super::world::World;
use crate::drive::scenario::{self, Scenario};
use crate::drive::simulate::{RunError, simulate};
use crate::drive::summary_text::{Heading, text};
use crate::driveline::command;
use crate::input::print;
use crate::review::Subject;

/// What to replay.
#[derive(Clone, Debug)]
pub struct ReplayOptions {
    /// Driveline file or demo.
    pub file: String,
    /// Scenario file.
    pub scenario: Option<String>,
    /// Case of a campaign: its number, the campaign's seed and its faults a case.
    pub case: Option<(u64, u64, u8)>,
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
                eprintln!("error: {} cannot be written: {error}", path.display());
                return 2;
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

fn run(world: &World, scenario: &Scenario, options: &ReplayOptions) -> i32 {
    let seed = scenario.seed.unwrap_or(1);
    let (d, table) = (world.driveline(), world.table.table());
    let outcome = match simulate(d, world.kinematics(), table, &scenario.setup, seed, None) {
        Ok(outcome) => outcome,
        Err(RunError::CannotRun(error)) => {
            eprintln!("error: {error}");
            return 2;
        }
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    let heading = Heading { driveline: d.name.clone(), scenario: scenario.name.clone(), seed };
    if let Some(path) = &options.svg {
        let words = crate::drive::command::words(&heading, scenario);
        let svg = outcome.timeline.draw(&words, &outcome.summary.findings);
        if let Err(error) = fs::write(path, svg) {
            eprintln!("error: {} cannot be written: {error}", path.display());
            return 2;
        }
    }
    let code = print(&text(&heading, &outcome.summary));
    if code != 0 {
        return code;
    }
    i32::from(!outcome.summary.findings.is_empty())
}
