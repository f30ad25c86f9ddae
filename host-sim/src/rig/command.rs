//! The command `slipwarden rig FILE SCENARIO`.

use std::fmt::Write as _;
use std::fs::File;
use std::io::BufWriter;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use supervisor::link::node::{build_name, hello};
use supervisor::link::receiver::Receiver;
use supervisor::link::{Hello, Message, Role};
use supervisor::table::Table;

use super::address::{Address, Via, address_from};
use super::capture::{self, Capture, Frame, Way};
use super::error::{RigError, build_text};
use super::link::Link;
use super::lockstep::Lockstep;
use super::real_time::{Pace, drive};
use crate::checkers;
use crate::drive::closed_loop::{Prepared, Run};
use crate::drive::command::Mdf;
use crate::drive::record::TickRecord;
use crate::drive::scenario::{self, Scenario};
use crate::drive::summary::Gatherer;
use crate::drive::summary_text::{Heading, text};
use crate::drive::trace::TraceWriter;
use crate::driveline::{Purpose, command};
use crate::input::{self, Tabled, print};

/// Exit code when the link was lost for good.
pub(super) const EXIT_LOST: i32 = 3;
/// After so many ticks without a call a board in lockstep takes its torque away.
pub(super) const LOST_TICKS: u16 = 50;

/// Where the board is.
#[derive(Args, Clone, Debug, Default)]
pub struct WayArgs {
    /// Board at tcp:HOST:PORT, unix:PATH, serial:PATH or serial:PATH@BAUD
    #[arg(long, value_name = "ADDRESS", value_parser = address_from, conflicts_with = "qemu")]
    pub port: Option<Address>,
    /// Start QEMU with this image
    #[arg(long, value_name = "IMAGE")]
    pub qemu: Option<PathBuf>,
    /// Talk to QEMU over its serial port (an image `uart`), not over pipes (`pipes`)
    #[arg(long, requires = "qemu")]
    pub uart: bool,
}

/// Arguments of `rig`.
#[derive(Args, Clone, Debug)]
pub struct RigArgs {
    /// Driveline file or demo
    file: String,
    /// Scenario file, or a ready scenario by its name
    #[arg(required_unless_present = "replay")]
    scenario: Option<String>,
    #[command(flatten)]
    way: WayArgs,
    /// Let time go on by itself, instead of waiting for every answer
    #[arg(long)]
    real_time: bool,
    /// In real time: send every N-th tick only
    #[arg(long, value_name = "N", default_value_t = 1, requires = "real_time", value_parser = clap::value_parser!(u32).range(1..=1000))]
    every: u32,
    /// After so many ticks without a word each side goes to its safe state
    #[arg(long, value_name = "TICKS", default_value_t = LOST_TICKS, value_parser = clap::value_parser!(u16).range(1..))]
    lost: u16,
    /// Seed of all chance (default: the scenario's, or 1)
    #[arg(long)]
    seed: Option<u64>,
    /// Write the trace of every tick as CSV there
    #[arg(long, value_name = "PATH")]
    trace: Option<PathBuf>,
    /// Write the same as a measurement file (ASAM MDF 4) there
    #[arg(long, value_name = "PATH")]
    mdf: Option<String>,
    /// Write every frame as it went over the wire there
    #[arg(long, value_name = "PATH")]
    capture: Option<PathBuf>,
    /// Send the frames of a capture again, and compare the answers
    #[arg(long, value_name = "PATH", conflicts_with_all = ["scenario", "real_time", "trace", "mdf", "capture"])]
    replay: Option<PathBuf>,
}

/// The board's address.
pub(super) fn way_of(way: &WayArgs) -> Result<Address, String> {
    match (&way.port, &way.qemu) {
        (Some(address), _) => Ok(address.clone()),
        (None, Some(image)) => {
            let via = if way.uart { Via::Uart } else { Via::Pipes };
            Ok(Address::Qemu(image.clone(), via))
        }
        (None, None) => {
            Err("where is the board?\n    fix: give --port ADDRESS or --qemu IMAGE".into())
        }
    }
}

/// What this side says of itself.
pub fn own_hello(table: &Table) -> Hello {
    hello(table, Role::Host, build_name(concat!("slipwarden ", env!("CARGO_PKG_VERSION"))))
}

/// Who answered.
pub(super) fn greeting(link: &Link) -> String {
    let name = link.board().map(build_text).unwrap_or_default();
    let hash = link.board().map_or(0, |board| board.table_hash);
    format!("board: {name}, table {hash:08x}\n")
}

/// Run. Returns the exit code: 0 all well, 1 a finding or a mismatch, 2 misuse, 3 the link was
/// lost.
pub fn rig(args: &RigArgs) -> i32 {
    let tabled = match input::table(&args.file, Purpose::Plant) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let ran = match (&args.scenario, &args.replay) {
        (_, Some(path)) => way_of(&args.way)
            .map_err(RigError::Other)
            .and_then(|address| replay(&tabled, &address, path)),
        (Some(name), None) => match scenario::read(name, tabled.driveline()) {
            Ok(scenario) => way_of(&args.way)
                .map_err(RigError::Other)
                .and_then(|address| run(args, &tabled, &scenario, &address)),
            Err(failure) => {
                command::complain(&failure);
                return 2;
            }
        },
        (None, None) => Err(RigError::Other("name a scenario, or a capture by --replay".into())),
    };
    match ran {
        Ok((told, code)) => match print(&told) {
            0 => code,
            other => other,
        },
        Err(error) => {
            eprintln!("error: {error}");
            if matches!(error, RigError::Lost(_) | RigError::Silent(_)) { EXIT_LOST } else { 2 }
        }
    }
}

/// The trace, written as ticks come.
struct Trace<'a> {
    writer: Option<TraceWriter<BufWriter<File>>>,
    mdf: Mdf<'a>,
    tabled: &'a Tabled,
    failed: Option<String>,
}

impl<'a> Trace<'a> {
    fn new(args: &RigArgs, tabled: &'a Tabled, about: &str) -> Result<Trace<'a>, RigError> {
        let mdf = Mdf::create(args.mdf.as_deref(), tabled, about, 1).map_err(RigError::Other)?;
        let Some(path) = &args.trace else {
            return Ok(Trace { writer: None, mdf, tabled, failed: None });
        };
        let made = File::create(path)
            .and_then(|file| TraceWriter::new(BufWriter::new(file), tabled.driveline(), 1));
        match made {
            Ok(writer) => Ok(Trace { writer: Some(writer), mdf, tabled, failed: None }),
            Err(error) => {
                Err(RigError::Other(format!("{} cannot be written: {error}", path.display())))
            }
        }
    }

    fn add(&mut self, record: &TickRecord) {
        let (tabled, table) = (self.tabled, self.tabled.table.table());
        self.mdf.add(record);
        if let Some(writer) = &mut self.writer
            && let Err(error) = writer.add(tabled.driveline(), &table, record)
        {
            self.failed = Some(error.to_string());
            self.writer = None;
        }
    }

    fn finish(mut self) -> Result<(), RigError> {
        self.mdf.finish().map_err(RigError::Other)?;
        let ended = self.writer.take().map_or(Ok(()), TraceWriter::finish);
        let failed = self.failed.or(ended.err().map(|error| error.to_string()));
        failed.map_or(Ok(()), |why| {
            Err(RigError::Other(format!("the trace cannot be written: {why}")))
        })
    }
}

fn run(
    args: &RigArgs,
    tabled: &Tabled,
    scenario: &Scenario,
    address: &Address,
) -> Result<(String, i32), RigError> {
    let cannot = |error: &dyn std::fmt::Display| RigError::Other(error.to_string());
    let (d, table) = (tabled.driveline(), tabled.table.table());
    let prepared = Arc::new(Prepared::new(d, table).map_err(|e| cannot(&e))?);
    let seed = args.seed.or(scenario.seed).unwrap_or(1);
    let mut run = Run::of(&prepared, &scenario.setup, seed).map_err(|e| cannot(&e))?;
    let capture = match &args.capture {
        Some(path) => Some(Capture::create(path).map_err(|error| {
            RigError::Other(format!("{} cannot be written: {error}", path.display()))
        })?),
        None => None,
    };
    let about = format!("{} {} seed {seed}, on a board", d.name, scenario.name);
    let mut trace = Trace::new(args, tabled, &about)?;
    let mut gatherer = Gatherer::new(d, table, checkers::all(d, &tabled.kinematics));
    eprintln!("seed {seed}");
    let mut link = Link::open(address, own_hello(&table), capture)?;
    eprint!("{}", greeting(&link));
    let mut told = String::new();
    let mut last = None;
    let mut see = |record: &TickRecord| {
        gatherer.add(record);
        trace.add(record);
        last = Some(*record);
    };
    let differs = if args.real_time {
        let pace = Pace { every: args.every, lost_ticks: args.lost };
        let done = drive(&mut link, &mut run, &table, pace, &mut see)?;
        real_time_text(&mut told, &done, link.events.reopened);
        false
    } else {
        let mut board = Lockstep::new(&mut link);
        board.begin(&run, &table, args.lost)?;
        while board.step(&mut run, &table) {
            see(run.record());
        }
        let (ticks, mismatch, failed) = (board.ticks, board.mismatch.take(), board.failed.take());
        if let Some(error) = failed {
            // What was recorded until then is kept.
            trace.finish()?;
            return Err(error);
        }
        lockstep_text(&mut told, &link, ticks, mismatch.as_ref().map(|m| m.text()));
        mismatch.is_some()
    };
    trace.finish()?;
    link.end();
    let heading = Heading { driveline: d.name.clone(), scenario: scenario.name.clone(), seed };
    let summary = gatherer.finish(last.as_ref());
    let found = !summary.findings.is_empty();
    Ok((format!("{}\n{told}", text(&heading, &summary)), i32::from(found || differs)))
}

fn real_time_text(told: &mut String, done: &super::real_time::Told, reopened: u64) {
    let _ = writeln!(told, "Link, in real time");
    let _ = writeln!(told, "  calls {}, answers {}", done.calls, done.fresh);
    let _ = writeln!(told, "  round trip: {}", done.delays.text());
    let _ = writeln!(told, "  ticks {}, {} of them began too late", done.ticks, done.missed);
    let _ = writeln!(
        told,
        "  link lost {} times, back {} times, {} ticks without torque; opened anew {}, board begun \
         anew {}",
        done.losses, done.back, done.lost, reopened, done.begun_anew
    );
}

fn lockstep_text(told: &mut String, link: &Link, ticks: u64, mismatch: Option<String>) {
    let _ = writeln!(told, "Link, in lockstep");
    let _ = writeln!(told, "  ticks {ticks}");
    let _ = writeln!(told, "  round trip: {}", link.delays.text());
    let events = link.events;
    let _ = writeln!(
        told,
        "  sent again {}, link opened anew {}, board begun anew {}, bad frames {}",
        events.again,
        events.reopened,
        events.begun_anew,
        link.counters().bad()
    );
    match mismatch {
        None => told.push_str("  board and host: orders, status and memory equal bit for bit\n"),
        Some(text) => told.push_str(&text),
    }
}

/// Send a capture's frames again; each answer must be the captured one.
fn replay(
    tabled: &Tabled,
    address: &Address,
    path: &std::path::Path,
) -> Result<(String, i32), RigError> {
    let frames = capture::read(path).map_err(RigError::Other)?;
    let mut link = Link::open(address, own_hello(&tabled.table.table()), None)?;
    eprint!("{}", greeting(&link));
    let mut receiver = Receiver::new();
    let mut message = |frame: &Frame| frame.bytes.iter().find_map(|b| receiver.byte(*b));
    let decoded: Vec<_> = frames.iter().map(|f| (f.way, message(f))).collect();
    let (mut sent, mut same) = (0u64, 0u64);
    for (at, (way, heard)) in decoded.iter().enumerate() {
        let Some((stamp, Message::Begin(_) | Message::Call(_))) = heard else { continue };
        if *way != Way::ToBoard {
            continue;
        }
        let answer = decoded[at..].iter().find(|(way, heard)| {
            *way == Way::FromBoard && heard.as_ref().is_some_and(|h| h.0.sequence == stamp.sequence)
        });
        let Some((_, Some(expected))) = answer else { continue };
        link.port().send(&frames[at].bytes).map_err(RigError::Lost)?;
        sent += 1;
        let got = link.hear(Duration::from_secs(5)).map_err(RigError::Lost)?;
        let Some(got) = got else { return Err(RigError::Silent("a captured frame")) };
        // A counter of earlier frames is no part of an answer's meaning.
        if format!("{:?}", plain(&got.1)) != format!("{:?}", plain(&expected.1)) {
            let told = format!(
                "frame {} of the capture is answered otherwise\n  then {:?}\n  now  {:?}\n",
                at + 1,
                expected.1,
                got.1
            );
            return Ok((told, 1));
        }
        same += 1;
    }
    if sent == 0 {
        return Err(RigError::Other(format!("{}: nothing to send again", path.display())));
    }
    Ok((format!("{same} frames sent again, each answered as captured\n"), 0))
}

fn plain(message: &Message) -> Message {
    match message {
        Message::Answer(answer) => {
            let mut answer = *answer;
            (answer.bad_frames, answer.stale_frames, answer.was_lost) = (0, 0, false);
            Message::Answer(answer)
        }
        other => *other,
    }
}
