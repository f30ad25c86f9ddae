//! The cases of a campaign with the supervisor on a board, in lockstep, compared and judged; the
//! results go into a folder as those of any campaign do.

use std::cell::RefCell;
use std::fs;
use std::path::{Path, PathBuf};

use super::command::{WayArgs, way_of};
use super::error::RigError;
use super::link::Link;
use super::lockstep::{Lockstep, Mismatch};
use crate::campaign::command::{Options, conclude, results_name};
use crate::campaign::{
    BLOCK_CASES, Case, Court, Header, Results, ResultsError, Shard, Share, Tally, World, case,
    scenario_text,
};
use crate::explore::command::Stop;
use crate::input::print;
use crate::review::Subject;
use crate::rig::command::{EXIT_LOST, LOST_TICKS, greeting, own_hello};
use crate::text::shell_word;

/// Driven on after a mismatch, s.
const TAIL_S: f64 = 0.1;

/// What to run.
#[derive(Clone, Debug)]
pub struct CampaignOptions {
    /// Driveline, cases, seed, faults, folder, what to shrink. There is one share and one thread.
    pub campaign: Options,
    /// Where the board is.
    pub way: WayArgs,
}

/// Why it ended before every case was run.
enum End {
    Lost(RigError),
    Mismatch(Box<Mismatch>, Box<Case>),
    Results(ResultsError),
    Asked,
}

/// Run the cases. Returns the exit code: 0 nothing found, 1 a finding or a mismatch, 2 misuse, 3
/// the link was lost or it was stopped; what was done by then is kept.
pub fn campaign(options: &CampaignOptions) -> i32 {
    let of = &options.campaign;
    let subject = match Subject::read(&of.file, of.seed) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    let world = World::new(subject);
    let address = match way_of(&options.way) {
        Ok(address) => address,
        Err(why) => return complain(&why, 2),
    };
    eprintln!("seed {}", of.seed);
    let mut link = match Link::open(&address, own_hello(&world.table.table()), None) {
        Ok(link) => link,
        Err(error) => return complain(&error.to_string(), 2),
    };
    eprint!("{}", greeting(&link));
    let name = format!("campaign-{}", world.driveline().name);
    let out = of.out.clone().unwrap_or_else(|| PathBuf::from(name));
    let (path, stop) = (out.join(results_name(Shard::WHOLE)), Stop::new());
    let ended = run(of, &world, &mut link, (&path, &stop));
    let ticks = link.delays.count();
    let told = format!(
        "on the board: {ticks} ticks, orders, status and memory equal bit for bit\nround trip: {}\n\n",
        link.delays.text()
    );
    link.end();
    match ended {
        Ok(()) | Err(End::Asked) => match print(&told) {
            // The board did what the supervisor here does: what is shrunk here is shrunk there.
            0 => conclude(of, &world, &path, (&out, &stop)),
            code => code,
        },
        Err(End::Results(error)) => complain(&error.to_string(), 2),
        Err(End::Lost(error)) => {
            let kept = format!("{error}\n    what was done is kept: go on with --resume");
            complain(&kept, EXIT_LOST)
        }
        Err(End::Mismatch(mismatch, case)) => differs(&world, of, &out, (&mismatch, &case)),
    }
}

fn complain(why: &str, code: i32) -> i32 {
    eprintln!("error: {why}");
    code
}

/// Tell a mismatch, and leave its case as a scenario that ends soon after it.
fn differs(world: &World, of: &Options, out: &Path, (m, case): (&Mismatch, &Case)) -> i32 {
    let tick_s = world.driveline().timing.tick_ms / 1e3;
    let mut small = case.clone();
    let end_s = (f64::from(m.tick) * tick_s + TAIL_S).min(small.setup.duration_s);
    small.setup.duration_s = (1e3 * end_s).round() / 1e3;
    small.setup.faults.retain(|f| f.from_s < end_s);
    small.setup.requests.retain(|r| r.0 < end_s);
    let stem = format!("mismatch-{}", case.number);
    let about = format!("Board and host differ first at tick {}.", m.tick);
    let text = scenario_text(world.driveline(), &small, &stem, &about);
    let (folder, mut told) = (out.join("findings"), format!("case {}: {}", case.number, m.text()));
    let path = folder.join(format!("{stem}.toml"));
    match fs::create_dir_all(&folder).and_then(|()| fs::write(&path, text)) {
        Ok(()) => {
            let scenario = shell_word(&path.display().to_string());
            told += &format!("again: slipwarden rig {} {scenario} ...\n", shell_word(&of.file));
        }
        Err(error) => eprintln!("warning: {} cannot be written: {error}", path.display()),
    }
    match print(&told) {
        0 => 1,
        code => code,
    }
}

/// All blocks that are left, each kept as soon as it is whole.
fn run(of: &Options, world: &World, link: &mut Link, out: (&Path, &Stop)) -> Result<(), End> {
    let (path, stop) = out;
    let other = |error: String| End::Results(ResultsError::Other(path.to_owned(), error));
    let prepared = world.prepared().map_err(|error| other(error.to_string()))?;
    let mut court = Court::new(world, &prepared);
    let share = Share { seed: of.seed, cases: of.cases, faults: of.faults, shard: Shard::WHOLE };
    if let Some(folder) = path.parent() {
        let cannot = |error| End::Results(ResultsError::Io(folder.to_owned(), error));
        fs::create_dir_all(folder).map_err(cannot)?;
    }
    let header = Header::new(world, share.seed, share.cases, share.faults, share.shard);
    let mut left: Vec<u64> = (0..share.blocks()).collect();
    let mut results = if of.resume && path.exists() {
        let (results, reading) = Results::go_on(path, &header).map_err(End::Results)?;
        left.retain(|b| reading.blocks.binary_search_by_key(b, |(block, _)| *block).is_err());
        results
    } else {
        Results::begin(path, &header).map_err(End::Results)?
    };
    let mut board = Lockstep::new(link);
    for block in left {
        let mut tally = Tally::default();
        let from = block * BLOCK_CASES;
        for number in from..(from + BLOCK_CASES).min(share.cases) {
            if stop.is_asked() {
                return Err(End::Asked);
            }
            let case = case(world, share.seed, share.faults, number);
            judge(&mut court, &mut board, case, &mut tally)?;
        }
        results.append(block, &tally).map_err(End::Results)?;
    }
    Ok(())
}

/// One case, its orders from the board.
fn judge(
    court: &mut Court,
    board: &mut Lockstep,
    case: Case,
    tally: &mut Tally,
) -> Result<(), End> {
    let table = court.world().table.table();
    let (mut begun, shared) = (Ok(()), RefCell::new(&mut *board));
    let judged = court.judge_by(
        &case,
        |run| begun = shared.borrow_mut().begin(run, &table, LOST_TICKS),
        |run| shared.borrow_mut().step(run, &table),
    );
    begun.map_err(End::Lost)?;
    if let Some(error) = board.failed.take() {
        return Err(End::Lost(error));
    }
    if let Some(mismatch) = board.mismatch.take() {
        return Err(End::Mismatch(Box::new(mismatch), Box::new(case)));
    }
    match judged {
        Ok(judged) => tally.take(case.number, &judged),
        Err(_) => tally.take_not_run(),
    }
    Ok(())
}
