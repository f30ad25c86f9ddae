//! The command line: `slipwarden <command>`.

mod energy_args;
mod replay_args;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use self::energy_args::{CycleArgs, EnergyArgs, price_from};
use self::replay_args::ReplayArgs;
use crate::campaign::shard_from;
use crate::campaign::{self, Shard, command::time_from};
use crate::export::{self, ExportArgs};
use crate::rig::command::{RigArgs, WayArgs};
use crate::table::command::Form;
use crate::{drive, driveline, energy, explain, explore, review, rig, survey, table};

/// From one driveline file to a running, checked supervisor.
///
/// FILE is a driveline file, or the name of an embedded demo: shuttle, railcar, axle.
/// Exit codes: 0 all well, 1 a finding, 2 misuse (a faulty file, an impossible request).
#[derive(Parser, Debug)]
#[command(name = "slipwarden", version, arg_required_else_help = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Write a commented driveline file that works, to start from
    New {
        /// File to write
        file: String,
        /// Name of the driveline (default: the file's name)
        #[arg(long)]
        name: Option<String>,
        /// Overwrite the file if it exists
        #[arg(long)]
        force: bool,
    },
    /// Check a driveline file and say what it is enough for
    Check {
        /// Driveline file or demo
        file: String,
    },
    /// Print the JSON Schema of driveline files, for editors
    Schema,
    /// Kinematics of every lock set: ratios, verdicts, conflicts, speed windows
    Survey {
        /// Driveline file or demo
        file: String,
        /// JSON for programs instead of text
        #[arg(long)]
        json: bool,
        /// Write the gearbox as a stick diagram (SVG) there (- is stdout, without the text)
        #[arg(long, value_name = "PATH")]
        svg: Option<String>,
        /// With --svg: the card of this arrangement: power path, and the levers beside it
        #[arg(long, value_name = "ARRANGEMENT", requires = "svg")]
        show: Option<String>,
    },
    /// The supervisor's table: steps between arrangements, limits and margins
    Table(TableArgs),
    /// How one transition goes, in words and numbers, or why it cannot
    Explain(ExplainArgs),
    /// What each arrangement costs and which one is best where: losses, maps, steady cruise
    Energy(EnergyArgs),
    /// A speed trace: energy backward and forward, the best possible choice, the schedule's
    Cycle(CycleArgs),
    /// Which arrangement to ask for: the supervisor's schedule from the energy map
    Schedule {
        /// Driveline file or demo
        file: String,
        /// Fuel that a joule of the battery counts as (default: what making it on board takes)
        #[arg(long, value_name = "J", value_parser = price_from)]
        price: Option<f64>,
        /// Rust module for the board
        #[arg(long)]
        rust: bool,
    },
    /// Every reachable state of decision and interlock against a hostile world
    Explore(ExploreArgs),
    /// Drive a scenario: supervisor and full plant in closed loop, watched by the judges
    Drive(DriveArgs),
    /// Very many random drives with random faults, judged by the plant's truth
    Campaign(CampaignArgs),
    /// Put the shares of a campaign together
    Merge {
        /// Results files, or folders of them
        #[arg(required = true)]
        paths: Vec<PathBuf>,
        /// Driveline file, for the commands that repeat a finding (default: the driveline's name)
        #[arg(long, value_name = "FILE")]
        driveline: Option<String>,
        /// Folder to write into (default: the folder that was named, or here)
        #[arg(long, value_name = "PATH")]
        out: Option<PathBuf>,
    },
    /// One case of a campaign again, or a scenario that one was shrunk to
    Replay(ReplayArgs),
    /// Drive a scenario with the supervisor on a board, over the rig link
    Rig(RigArgs),
    /// The plant or the supervisor as a unit for co-simulation by the standard FMI
    Export(ExportArgs),
    /// The main job: survey, table and judged drives between all arrangements, as a folder
    Review(ReviewArgs),
}

#[derive(Args, Debug)]
struct TableArgs {
    /// Driveline file or demo
    file: String,
    /// Rust module for the board
    #[arg(long, conflicts_with_all = ["json", "diagram"])]
    rust: bool,
    /// JSON for programs
    #[arg(long, conflicts_with = "diagram")]
    json: bool,
    /// State diagram as SVG
    #[arg(long)]
    diagram: bool,
    /// Write the state diagram as SVG there (- is stdout, without the text)
    #[arg(long, value_name = "PATH", conflicts_with = "diagram")]
    svg: Option<String>,
}

#[derive(Args, Debug)]
struct ExplainArgs {
    /// Driveline file or demo
    file: String,
    /// Arrangement to start from
    from: String,
    /// Arrangement to go to
    to: String,
    /// Road speed in km/h (default: half of the highest at which both can stand)
    #[arg(long, allow_negative_numbers = true)]
    speed: Option<f64>,
    /// Torque asked at the output in Nm (default: what holds the speed on the flat)
    #[arg(long, allow_negative_numbers = true)]
    demand: Option<f64>,
}

/// Which answers guards may give in an exploration.
#[derive(clap::ValueEnum, Clone, Copy, Debug, PartialEq, Eq)]
enum Guards {
    /// Any at all.
    Free,
    /// Only those that the kinematics allow together, unless sensors lie by a fault.
    Feasible,
}

#[derive(Args, Debug)]
struct ExploreArgs {
    /// Driveline file or demo
    file: String,
    /// Most faults in one history (default: 1; with --defects 0)
    #[arg(long, value_parser = clap::value_parser!(u8).range(0..=2))]
    faults: Option<u8>,
    /// Break the table, one defect at a time, and show which judge finds each
    #[arg(long, conflicts_with_all = ["interlock_alone", "checkpoint", "resume", "scenario", "excused"])]
    defects: bool,
    /// Try only so many of the defects, spread evenly over their list
    #[arg(long, value_name = "N", requires = "defects", value_parser = clap::value_parser!(u32).range(1..))]
    sample: Option<u32>,
    /// With --defects: try only those of this kind (may be repeated)
    #[arg(long = "kind", value_name = "KIND", requires = "defects")]
    kinds: Vec<String>,
    /// Give up a broken table beyond so many states (default: 20 times as many as unchanged)
    #[arg(long, value_name = "N", requires = "defects")]
    defect_states: Option<usize>,
    /// Guard bits: any at all, or only those that the kinematics allow together
    #[arg(long, value_enum, default_value_t = Guards::Free, conflicts_with = "defects")]
    guards: Guards,
    /// Explore the interlock alone, with anything ordered
    #[arg(long)]
    interlock_alone: bool,
    /// Most states; beyond them the answer is inconclusive (exit code 3)
    #[arg(long, value_name = "N", default_value_t = 400_000_000)]
    states: usize,
    /// Most memory for states in MiB
    #[arg(long, value_name = "MIB", default_value_t = 4096)]
    memory: usize,
    /// Threads (default: as many as the machine has)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
    /// Keep a search that is stopped there
    #[arg(long, value_name = "PATH")]
    checkpoint: Option<PathBuf>,
    /// Go on with a search that was kept
    #[arg(long, value_name = "PATH")]
    resume: Option<PathBuf>,
    /// Write the first counterexample there, as a scenario for `drive`
    #[arg(long, value_name = "PATH")]
    scenario: Option<PathBuf>,
    /// Something that may never occur, with the reason why
    #[arg(long = "excuse", value_name = "NAME=REASON")]
    excused: Vec<String>,
    /// JSON for programs
    #[arg(long)]
    json: bool,
}

#[derive(Args, Debug)]
struct DriveArgs {
    /// Driveline file or demo
    file: String,
    /// Scenario file, or a ready scenario by its name
    scenario: String,
    /// Write the trace of every tick as CSV there (- is stdout)
    #[arg(long, value_name = "PATH")]
    trace: Option<String>,
    /// Write the same as a measurement file (ASAM MDF 4) there
    #[arg(long, value_name = "PATH")]
    mdf: Option<String>,
    /// Write every N-th tick of the trace only
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..))]
    every: u64,
    /// Write the timeline as SVG there (- is stdout)
    #[arg(long, value_name = "PATH")]
    svg: Option<String>,
    /// Write the summary as JSON there (- is stdout)
    #[arg(long, value_name = "PATH")]
    json: Option<String>,
    /// Seed of all chance: sensor errors and noise, dog positions (default: the scenario's, or 1)
    #[arg(long)]
    seed: Option<u64>,
}

#[derive(Args, Debug)]
struct CampaignArgs {
    /// Driveline file or demo
    file: String,
    /// Number of cases of the whole campaign
    #[arg(long, value_name = "N", default_value_t = 10_000, value_parser = clap::value_parser!(u64).range(1..=1_000_000_000_000))]
    cases: u64,
    /// Seed of all chance
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Faults injected in each case; resets come without counting
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(0..=3))]
    faults: u8,
    /// Run only this share, i/n (default: what an array job says, or all)
    #[arg(long, value_name = "I/N", value_parser = shard_from)]
    shard: Option<Shard>,
    /// How many shares there are, where the array job does not say it
    #[arg(long, value_name = "N", conflicts_with = "shard", value_parser = clap::value_parser!(u64).range(1..=100_000))]
    shards: Option<u64>,
    /// Stop after this long, like 10m
    #[arg(long, value_name = "TIME", value_parser = time_from)]
    time: Option<std::time::Duration>,
    /// Threads (default: as many as the machine has)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
    /// Folder to write into (default: campaign- and the driveline's name)
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
    /// Go on with what is in the folder
    #[arg(long)]
    resume: bool,
    /// How many findings of each rule to shrink
    #[arg(long, value_name = "N", default_value_t = 1)]
    shrink: usize,
    /// Break the table, one defect at a time, and show which rule finds each; --cases is then the
    /// most for each defect
    #[arg(long, conflicts_with_all = ["shard", "shards", "time"])]
    defects: bool,
    /// Try only so many of the defects, spread evenly over their list
    #[arg(long, value_name = "N", requires = "defects", value_parser = clap::value_parser!(u32).range(1..))]
    sample: Option<u32>,
    /// With --defects: try only those of this kind (may be repeated)
    #[arg(long = "kind", value_name = "KIND", requires = "defects")]
    kinds: Vec<String>,
    /// With --defects: JSON for programs
    #[arg(long, requires = "defects")]
    json: bool,
    /// Run the same cases with the supervisor on a board (--port or --qemu), one after the other
    #[arg(long, conflicts_with_all = ["shard", "shards", "time", "defects", "threads"])]
    rig: bool,
    #[command(flatten)]
    way: WayArgs,
}

#[derive(Args, Debug)]
struct ReviewArgs {
    /// Driveline file or demo (default: the demo shuttle)
    file: Option<String>,
    /// Folder to write; an earlier review in it is replaced
    #[arg(long, default_value = "review")]
    out: String,
    /// Move a folder of this name aside if it is not a review
    #[arg(long)]
    force: bool,
    /// Seed of all chance
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// How deep to look
    #[arg(long, value_enum, default_value_t = review::Depth::Quick)]
    depth: review::Depth,
    /// Evidence made before: the JSON of explore, campaign, energy or --defects; not made again
    #[arg(long, value_name = "FILE")]
    evidence: Vec<PathBuf>,
    /// Date to state on the page, like 2026-11-26; no clock is read
    #[arg(long, value_name = "DATE", value_parser = review::date_from)]
    date: Option<String>,
}

/// Run the command line; returns the exit code.
pub fn run() -> i32 {
    match Cli::parse().command {
        Command::New { file, name, force } => {
            driveline::command::new(&file, name.as_deref(), force)
        }
        Command::Check { file } => driveline::command::check(&file),
        Command::Schema => driveline::command::schema(),
        Command::Survey { file, json, svg, show } => {
            let picture = svg.map(|path| survey::command::Drawing { path, show });
            survey::command::survey(&file, json, picture.as_ref())
        }
        Command::Table(args) => table::command::table(&args.file, form(&args), args.svg.as_deref()),
        Command::Explain(args) => {
            explain::explain(&args.file, &args.from, &args.to, args.speed, args.demand)
        }
        Command::Energy(args) => run_energy(args),
        Command::Cycle(args) => run_cycle(args),
        Command::Schedule { file, price, rust } => {
            energy::cycle::command::schedule(&file, price, rust)
        }
        Command::Explore(args) => explore(args),
        Command::Drive(args) => {
            let DriveArgs { file, scenario, trace, mdf, every, svg, json, seed } = args;
            let options = drive::command::Options { trace, mdf, every, svg, json, seed };
            drive::command::run(&file, &scenario, &options)
        }
        Command::Campaign(args) => run_campaign(args),
        Command::Rig(args) => rig::command::rig(&args),
        Command::Export(args) => export::export(&args),
        Command::Merge { paths, driveline, out } => {
            campaign::command::merge_command(&paths, driveline.as_deref(), out.as_deref())
        }
        Command::Replay(args) => campaign::replay(&args.options()),
        Command::Review(args) => review::review(&review::Options {
            file: args.file.unwrap_or_else(|| driveline::DEMOS[0].to_owned()),
            out: args.out,
            force: args.force,
            seed: args.seed,
            work: args.depth.work(),
            depth: args.depth,
            evidence: args.evidence,
            date: args.date,
        }),
    }
}

fn run_campaign(args: CampaignArgs) -> i32 {
    if args.defects {
        return campaign::defects_command::campaign_defects(
            &campaign::defects_command::DefectOptions {
                file: args.file,
                cases: args.cases,
                seed: args.seed,
                faults: args.faults,
                threads: args.threads.map(usize::from),
                sample: args.sample.map(|n| n as usize),
                kinds: args.kinds,
                json: args.json,
                out: args.out,
                resume: args.resume,
            },
        );
    }
    let on_board = args.rig.then_some(args.way);
    let options = campaign::command::Options {
        file: args.file,
        cases: args.cases,
        seed: args.seed,
        faults: args.faults,
        shard: args.shard,
        shards: args.shards,
        time: args.time,
        threads: args.threads.map(usize::from),
        out: args.out,
        resume: args.resume,
        shrink: args.shrink,
    };
    match on_board {
        Some(way) => rig::campaign(&rig::CampaignOptions { campaign: options, way }),
        None => campaign::command::campaign(&options),
    }
}

fn run_energy(args: EnergyArgs) -> i32 {
    energy::command::energy(&energy::command::Options {
        file: args.file,
        speeds: args.speeds,
        slopes: args.slopes,
        price: args.price,
        grid: (usize::from(args.columns), usize::from(args.rows)),
        threads: args.threads.map(usize::from),
        json: args.json,
        csv: args.csv,
        svg: args.svg,
    })
}

fn run_cycle(args: CycleArgs) -> i32 {
    energy::cycle::command::cycle(&energy::cycle::command::Options {
        file: args.file,
        trace: args.trace,
        forward: args.forward,
        sustain: args.sustain,
        price: args.price,
        seed: args.seed,
        threads: args.threads.map(usize::from),
        json: args.json,
        svg: args.svg,
    })
}

fn explore(args: ExploreArgs) -> i32 {
    if args.defects {
        return explore::defects::command::explore_defects(&explore::defects::command::Options {
            file: args.file,
            faults: args.faults.unwrap_or(0),
            states: args.states,
            memory_mib: args.memory,
            threads: args.threads.map(usize::from),
            sample: args.sample.map(|n| n as usize),
            kinds: args.kinds,
            defect_states: args.defect_states,
            json: args.json,
        });
    }
    explore::command::explore(&explore::command::Options {
        file: args.file,
        faults: args.faults.unwrap_or(1),
        interlock_alone: args.interlock_alone,
        states: args.states,
        memory_mib: args.memory,
        threads: args.threads.map(usize::from),
        json: args.json,
        checkpoint: args.checkpoint,
        resume: args.resume,
        scenario: args.scenario,
        feasible_guards: args.guards == Guards::Feasible,
        excused: args.excused,
    })
}

fn form(args: &TableArgs) -> Form {
    match args {
        TableArgs { rust: true, .. } => Form::Rust,
        TableArgs { json: true, .. } => Form::Json,
        TableArgs { diagram: true, .. } => Form::Diagram,
        _ => Form::Text,
    }
}
