//! The cases of a campaign with the supervisor on a board, in lockstep, compared and judged.

use std::fmt::Write as _;

use super::command::{WayArgs, way_of};
use super::error::RigError;
use super::link::Link;
use super::lockstep::Lockstep;
use crate::campaign::{Court, World, case};
use crate::input::print;
use crate::review::Subject;
use crate::rig::command::{EXIT_LOST, LOST_TICKS, greeting, own_hello};

/// What to run.
#[derive(Clone, Debug)]
pub struct CampaignOptions {
    /// Driveline file or demo.
    pub file: String,
    /// Number of cases.
    pub cases: u64,
    /// Seed of the campaign.
    pub seed: u64,
    /// Faults in each case.
    pub faults: u8,
    /// Where the board is.
    pub way: WayArgs,
}

/// What came of it.
#[derive(Debug, Default)]
struct Told {
    cases: u64,
    not_run: u64,
    findings: Vec<String>,
}

/// Run the cases. Returns the exit code: 0 nothing found, 1 a finding or a mismatch, 2 misuse, 3
/// the link was lost.
pub fn campaign(options: &CampaignOptions) -> i32 {
    let subject = match Subject::read(&options.file, 1) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    let world = World::new(subject);
    let address = match way_of(&options.way) {
        Ok(address) => address,
        Err(why) => return complain(&why, 2),
    };
    eprintln!("seed {}", options.seed);
    let mut link = match Link::open(&address, own_hello(&world.table.table()), None) {
        Ok(link) => link,
        Err(error) => return complain(&error.to_string(), 2),
    };
    eprint!("{}", greeting(&link));
    let told = match cases(options, &world, &mut link) {
        Ok(told) => told,
        Err(error) => return complain(&error.to_string(), EXIT_LOST),
    };
    link.end();
    let (text, code) = told;
    match print(&text) {
        0 => code,
        other => other,
    }
}

fn complain(why: &str, code: i32) -> i32 {
    eprintln!("error: {why}");
    code
}

/// All cases; what to say, and the exit code.
fn cases(
    options: &CampaignOptions,
    world: &World,
    link: &mut Link,
) -> Result<(String, i32), RigError> {
    let prepared = world.prepared().map_err(|error| RigError::Other(error.to_string()))?;
    let mut court = Court::new(world, &prepared);
    let table = *prepared.table();
    let mut told = Told::default();
    let mut board = Lockstep::new(link);
    for number in 0..options.cases {
        let case = case(world, options.seed, options.faults, number);
        let mut begun = Ok(());
        let board = std::cell::RefCell::new(&mut board);
        let judged = court.judge_by(
            &case,
            |run| begun = board.borrow_mut().begin(run, &table, LOST_TICKS),
            |run| board.borrow_mut().step(run, &table),
        );
        begun?;
        let board = board.into_inner();
        if let Some(error) = board.failed.take() {
            return Err(error);
        }
        if let Some(mismatch) = &board.mismatch {
            return Ok((format!("case {number}: {}", mismatch.text()), 1));
        }
        match judged {
            Ok(judged) => {
                told.cases += 1;
                let found = judged.findings.iter();
                told.findings.extend(
                    found.map(|f| {
                        format!("case {number}: {} at {:.3} s: {}", f.rule, f.t_s, f.text)
                    }),
                );
            }
            Err(_) => told.not_run += 1,
        }
    }
    let ticks = board.ticks;
    let mut text = format!(
        "{} cases on the board ({} could not start), {ticks} ticks: orders, status and memory equal \
         bit for bit\n",
        told.cases, told.not_run
    );
    let _ = writeln!(text, "round trip: {}", link.delays.text());
    let _ = writeln!(text, "findings of the judges: {}", told.findings.len());
    told.findings.iter().for_each(|f| {
        let _ = writeln!(text, "  {f}");
    });
    Ok((text, i32::from(!told.findings.is_empty())))
}
