//! The command `slipwarden export FILE`.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::describe::Standard;
use super::files::packed;
use super::source::{Part, Source};
use crate::drive::scenario;
use crate::driveline::{self, command, source::text_of};
use crate::input::{self, print};

/// Name of the library that a unit carries, as the build leaves it.
const LIBRARY: &str = "libslipwarden_fmi.so";

/// Versions of the standard, as they are asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Version {
    #[value(name = "2")]
    Two,
    #[value(name = "3")]
    Three,
}

/// Arguments of `export`.
#[derive(Args, Clone, Debug)]
pub struct ExportArgs {
    /// Driveline file or demo
    file: String,
    /// Version of the standard FMI: 2 (2.0) or 3 (3.0)
    #[arg(long, value_name = "VERSION")]
    fmi: Version,
    /// Which half of the closed loop
    #[arg(long, value_name = "UNIT")]
    unit: Part,
    /// The plant drives itself: driver, requests and faults of this scenario (file, or a ready one)
    #[arg(long, value_name = "SCENARIO")]
    scenario: Option<String>,
    /// File to write
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    /// The library that the unit carries (default: beside this program)
    #[arg(long, value_name = "PATH")]
    library: Option<PathBuf>,
}

/// The bytes of the library.
fn library(named: Option<&Path>) -> Result<Vec<u8>, String> {
    let beside = || {
        let program = std::env::current_exe().ok()?;
        Some(program.parent()?.join(LIBRARY))
    };
    let path = named.map(Path::to_path_buf).or_else(beside);
    let path = path.ok_or("this program cannot say where it is\n    fix: give --library PATH")?;
    std::fs::read(&path).map_err(|error| {
        format!(
            "the library of the units, {}, cannot be read: {error}\n    fix: build it with \
             `cargo build --release -p slipwarden-fmi`, which leaves it beside the program of the \
             same build, or give --library PATH",
            path.display()
        )
    })
}

/// The text of a driveline that was read before.
fn text(path_or_name: &str) -> Result<String, String> {
    if let (Some(text), false) = (driveline::demo(path_or_name), Path::new(path_or_name).exists()) {
        return Ok(text.to_owned());
    }
    let bytes = driveline::bytes_of(path_or_name, "")?;
    text_of(path_or_name, &bytes).map_err(|found| found.render(false))
}

/// The text of a scenario, checked against the driveline; an error is told already.
fn scenario_text(path_or_name: &str, tabled: &input::Tabled) -> Result<String, i32> {
    let told = scenario::read(path_or_name, tabled.driveline()).map_err(|failure| {
        command::complain(&failure);
        2
    })?;
    if !told.warnings.is_empty() {
        eprint!("{}", told.warnings.render(command::colour()));
    }
    if let (Some(ready), false) =
        (scenario::by_name(path_or_name), Path::new(path_or_name).exists())
    {
        return Ok(ready.text.to_owned());
    }
    let read = driveline::bytes_of(path_or_name, "").and_then(|bytes| {
        text_of(path_or_name, &bytes).map_err(|found| found.render(false)).map(|t| t.to_string())
    });
    read.map_err(|why| complain(&why))
}

fn complain(why: &str) -> i32 {
    eprintln!("error: {why}");
    2
}

/// Write a unit. Returns the exit code: 0 written, 2 misuse.
pub fn export(args: &ExportArgs) -> i32 {
    let tabled = match input::table(&args.file, args.unit.purpose()) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    if args.scenario.is_some() && args.unit != Part::Plant {
        return complain("a scenario drives the plant\n    fix: leave --scenario out");
    }
    let scenario = match args.scenario.as_deref().map(|s| scenario_text(s, &tabled)).transpose() {
        Ok(scenario) => scenario,
        Err(code) => return code,
    };
    match write(args, scenario.as_deref()) {
        Ok(told) => print(&told),
        Err(why) => complain(&why),
    }
}

fn write(args: &ExportArgs, scenario: Option<&str>) -> Result<String, String> {
    let standard = match args.fmi {
        Version::Two => Standard::Two,
        Version::Three => Standard::Three,
    };
    let library = library(args.library.as_deref())?;
    let text = text(&args.file)?;
    let source = Source::new(args.unit, &text, scenario)?;
    let bytes = packed(standard, &source, (&text, scenario), library)?;
    let path = args.out.display();
    std::fs::write(&args.out, &bytes)
        .map_err(|error| format!("{path} cannot be written: {error}"))?;
    Ok(format!(
        "{path}: {} of {}, FMI {}, table {:08x}, a tick of {} s\n",
        args.unit.word(),
        source.driveline.name,
        if standard == Standard::Two { "2.0" } else { "3.0" },
        source.table.hash,
        source.tick_s()
    ))
}
