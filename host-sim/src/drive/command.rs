//! The command `slipwarden drive FILE SCENARIO`.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::Arc;

use crate::drive::closed_loop::Prepared;
use crate::drive::mdf::MdfTrace;
use crate::drive::record::TickRecord;
use crate::drive::scenario::{self, Scenario};
use crate::drive::simulate::{Outcome, RunError, simulate_seen};
use crate::drive::summary_text::{Heading, json, text};
use crate::driveline::{Purpose, command};
use crate::input::{self, Tabled, print};
use crate::picture::TimelineText;

/// What may be asked besides the summary. A path of `-` is stdout (for one of them).
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Options {
    /// Write the per-tick trace as CSV there.
    pub trace: Option<String>,
    /// Write the same as a measurement file (ASAM MDF 4) there; never stdout.
    pub mdf: Option<String>,
    /// Write every so many-th tick of the trace, 1 or more.
    pub every: u64,
    /// Write the timeline as SVG there.
    pub svg: Option<String>,
    /// Write the summary as JSON there.
    pub json: Option<String>,
    /// Seed of all chance; else the scenario's, else 1.
    pub seed: Option<u64>,
}

/// An output that is open before the run begins, so that nothing is driven in vain.
struct Sink {
    path: String,
    out: Box<dyn Write>,
}

impl Sink {
    fn open(path: &Option<String>) -> Result<Option<Sink>, String> {
        let Some(path) = path else { return Ok(None) };
        if path == "-" {
            let out = Box::new(BufWriter::new(std::io::stdout()));
            return Ok(Some(Sink { path: path.clone(), out }));
        }
        let file = File::create(path).map_err(|error| cannot_create(path, &error))?;
        Ok(Some(Sink { path: path.clone(), out: Box::new(BufWriter::new(file)) }))
    }

    fn put(mut self, text: &str) -> Result<(), String> {
        let written = self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush());
        match written {
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
            Err(e) => Err(format!("{} cannot be written: {e}", self.path)),
            Ok(()) => Ok(()),
        }
    }
}

fn cannot_create(path: &str, error: &std::io::Error) -> String {
    let parent = Path::new(path).parent().filter(|p| !p.as_os_str().is_empty());
    match parent {
        Some(folder) if !folder.exists() => {
            let folder = folder.display();
            format!(
                "{path} cannot be written: there is no folder {folder}\n    fix: make it first, or \
                 choose another path"
            )
        }
        _ => format!("{path} cannot be written: {error}"),
    }
}

/// The measurement file of a run, if one is asked for; what goes wrong with it is told at the end.
pub(crate) struct Mdf<'a> {
    path: String,
    trace: Option<MdfTrace>,
    tabled: &'a Tabled,
    failed: Option<std::io::Error>,
}

impl<'a> Mdf<'a> {
    fn open(options: &Options, tabled: &'a Tabled, about: &str) -> Result<Mdf<'a>, String> {
        Mdf::create(options.mdf.as_deref(), tabled, about, options.every)
    }

    /// Begin it.
    ///
    /// # Errors
    /// A sentence.
    pub(crate) fn create(
        path: Option<&str>,
        tabled: &'a Tabled,
        about: &str,
        every: u64,
    ) -> Result<Mdf<'a>, String> {
        let trace = match path {
            None => None,
            Some("-") => {
                let why = "a measurement file is written back and forth: it cannot go to stdout";
                return Err(format!("{why}\n    fix: give a path"));
            }
            Some(path) => Some(
                MdfTrace::create(Path::new(path), tabled.driveline(), about, every)
                    .map_err(|error| cannot_create(path, &error))?,
            ),
        };
        Ok(Mdf { path: path.unwrap_or_default().to_owned(), trace, tabled, failed: None })
    }

    /// One tick.
    pub(crate) fn add(&mut self, record: &TickRecord) {
        let table = self.tabled.table.table();
        if let Some(trace) = &mut self.trace
            && let Err(error) = trace.add(self.tabled.driveline(), &table, record)
        {
            (self.trace, self.failed) = (None, Some(error));
        }
    }

    /// End it.
    ///
    /// # Errors
    /// A sentence: it could not be written.
    pub(crate) fn finish(self) -> Result<(), String> {
        let ended = match (self.failed, self.trace) {
            (Some(error), _) => Err(error),
            (None, Some(trace)) => trace.finish(),
            (None, None) => Ok(()),
        };
        ended.map_err(|error| format!("{} cannot be written: {error}", self.path))
    }
}

/// Drive a scenario and print its summary. Returns the exit code: 0 all well, 1 a finding of
/// the judges, 2 misuse. `file` and `scenario` are paths or names of embedded ones.
pub fn run(file: &str, scenario: &str, options: &Options) -> i32 {
    let tabled = match input::table(file, Purpose::Plant) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let scenario = match scenario::read(scenario, tabled.driveline()) {
        Ok(scenario) => scenario,
        Err(failure) => {
            command::complain(&failure);
            return 2;
        }
    };
    if !scenario.warnings.is_empty() {
        eprint!("{}", scenario.warnings.render(command::colour()));
    }
    match drive(&tabled, &scenario, options) {
        Ok(told) if told.code != 0 => told.code,
        Ok(told) => i32::from(told.findings > 0),
        Err(sentence) => {
            eprintln!("error: {sentence}");
            2
        }
    }
}

/// How it went, or a sentence that says why it could not be driven.
fn drive(tabled: &Tabled, scenario: &Scenario, options: &Options) -> Result<Told, String> {
    let outputs = [&options.trace, &options.svg, &options.json];
    if outputs.iter().filter(|o| o.as_deref() == Some("-")).count() > 1 {
        return Err("only one output can go to stdout (-)\n    fix: give the others a path".into());
    }
    let to_stdout = outputs.iter().any(|o| o.as_deref() == Some("-"));
    let mut trace = Sink::open(&options.trace)?;
    let svg = Sink::open(&options.svg)?;
    let json_sink = Sink::open(&options.json)?;
    let seed = options.seed.or(scenario.seed).unwrap_or(1);
    let heading = Heading {
        driveline: tabled.driveline().name.clone(),
        scenario: scenario.name.clone(),
        seed,
    };
    eprintln!("seed {seed}");
    let (d, table) = (tabled.driveline(), tabled.table.table());
    let about = format!("{} {} seed {seed}", heading.driveline, heading.scenario);
    let mut mdf = Mdf::open(options, tabled, &about)?;
    let outcome = Prepared::new(d, table)
        .map_err(RunError::from)
        .and_then(|prepared| {
            simulate_seen(
                &Arc::new(prepared),
                &tabled.kinematics,
                &scenario.setup,
                seed,
                trace.as_mut().map(|sink| (&mut *sink.out as &mut dyn Write, options.every)),
                &mut |record| mdf.add(record),
            )
        })
        .map_err(|error| match error {
            RunError::Trace(e) => {
                format!(
                    "{} cannot be written: {e}",
                    options.trace.as_deref().unwrap_or("the trace")
                )
            }
            RunError::CannotRun(e) => e.to_string(),
        })?;
    mdf.finish()?;
    if let Some(sink) = svg {
        sink.put(&outcome.timeline.draw(&words(&heading, scenario), &outcome.summary.findings))?;
    }
    if let Some(sink) = json_sink {
        sink.put(&format!("{:#}\n", json(&heading, &outcome.summary)))?;
    }
    Ok(Told { code: tell(&heading, &outcome, to_stdout), findings: outcome.summary.findings.len() })
}

/// What became of a drive that was driven.
struct Told {
    /// 0 when the summary could be printed, else 2.
    code: i32,
    findings: usize,
}

/// The summary goes to stdout, or out of the way when stdout carries another output.
fn tell(heading: &Heading, outcome: &Outcome, to_stderr: bool) -> i32 {
    let told = text(heading, &outcome.summary);
    if to_stderr {
        eprint!("{told}");
        return 0;
    }
    print(&told)
}

/// Title and subtitle of a drive's timeline.
pub(crate) fn words(heading: &Heading, scenario: &Scenario) -> TimelineText {
    let about = if scenario.about.is_empty() { "" } else { ": " };
    TimelineText {
        title: format!("{}, {}", heading.driveline, heading.scenario),
        subtitle: format!("seed {}{about}{}", heading.seed, scenario.about),
    }
}
