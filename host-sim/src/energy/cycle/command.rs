//! The commands `slipwarden cycle FILE TRACE` and `slipwarden schedule FILE`.

use std::sync::Arc;

use supervisor::table::Stuck;

use super::built_in::{BUILT_IN, built_in};
use super::choice::{alone, free_j, optimum, scheduled, sum};
use super::report::{Told, json, text};
use super::trace::Trace;
use super::{backward, forward, held_report, sustain};
use crate::drive::closed_loop::Prepared;
use crate::driveline::Driveline;
use crate::energy::command::{Modelled, model, tell, threads};
use crate::energy::map::price_on_board;
use crate::energy::model::Model;
use crate::energy::schedule::{self, ScheduleData};
use crate::energy::stop;
use crate::input::print;
use crate::table::{TableData, build};

/// What the command line says of `cycle`.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Trace file, or the name of a built-in one.
    pub trace: String,
    /// Drive it forward too.
    pub forward: bool,
    /// Bring the charge back over the trace.
    pub sustain: bool,
    /// Price of battery energy; `None`: what making it on board takes.
    pub price: Option<f64>,
    /// Seed of the forward run.
    pub seed: u64,
    /// Threads; `None`: as many as the machine has.
    pub threads: Option<usize>,
    /// JSON instead of text.
    pub json: bool,
    /// Folder for the picture.
    pub svg: Option<std::path::PathBuf>,
}

fn read_trace(name: &str) -> Result<Trace, i32> {
    if let (Some(trace), false) = (built_in(name), std::path::Path::new(name).exists()) {
        return Ok(trace);
    }
    let names: Vec<&str> = BUILT_IN.iter().map(|b| b.0).collect();
    let hint = format!("the built-in traces are {}", names.join(", "));
    Trace::read(name, &hint).map_err(|message| {
        eprint!("{message}");
        2
    })
}

/// Model, table and price of a command, or the exit code.
fn prepare(file: &str, price: Option<f64>) -> Result<(Modelled, TableData, f64), i32> {
    let m = model(file)?;
    if m.driveline().arrangements.is_empty() {
        eprintln!("error: {file} has no arrangement\n    fix: add [[arrangement]] tables");
        return Err(2);
    }
    let table = build(m.driveline(), &m.surveyed.kinematics).map_err(|error| {
        eprint!("{error}");
        2
    })?;
    let price = price.unwrap_or_else(|| price_on_board(&m.model));
    Ok((m, table, price))
}

/// Run `schedule`; returns the exit code.
pub fn schedule(file: &str, price: Option<f64>, rust: bool) -> i32 {
    let (m, _, price) = match prepare(file, price) {
        Ok(p) => p,
        Err(code) => return code,
    };
    let data = schedule::build(m.driveline(), &m.model, price, threads(None), &tell("schedule"));
    match rust {
        true => print(&schedule::rust_source(m.driveline(), &data)),
        false => print(&schedule::text(m.driveline(), &m.model, &data)),
    }
}

/// Run `cycle`; returns the exit code.
pub fn cycle(options: &Options) -> i32 {
    let prepared = read_trace(&options.trace)
        .and_then(|trace| Ok((trace, prepare(&options.file, options.price)?)));
    let (trace, (m, table, price)) = match prepared {
        Ok(p) => p,
        Err(code) => return code,
    };
    let d = m.driveline();
    let top = m.model.road.max_mps * 3.6;
    if trace.max_kmh() > top {
        eprintln!(
            "error: the trace goes up to {:.0} km/h, the vehicle to {top:.0}\n    fix: choose \
             another trace, or correct `max_speed_kmh`",
            trace.max_kmh()
        );
        return 2;
    }
    let n = threads(options.threads);
    stop::listen();
    let mut data = schedule::build(d, &m.model, price, n, &tell("schedule"));
    let (sums, free_j) = sums(d, &m.model, &table, &trace, &data, n, &tell("backward"));
    let held = options.sustain.then(|| held(&m, &table, &trace, &mut data, n));
    let driven = match options.forward.then(|| drive(&m, &table, &data, &trace, options)) {
        Some(Err(code)) => return code,
        Some(Ok(driven)) => Some(driven),
        None => None,
    };
    let _whole = stop::deliver();
    let told = Told { d, model: &m.model, trace: &trace, price, sums, driven, free_j, held };
    if let Some(folder) = &options.svg {
        let name = format!("cycle-{}.svg", file_name(&trace.name));
        let files = [(name, super::picture::trace_picture(&told))];
        if let Err(code) = crate::energy::pictures::write_files(folder, &files) {
            return code;
        }
    }
    match options.json {
        true => print(&format!("{:#}\n", json(&told))),
        false => print(&text(&told)),
    }
}

/// The charge brought back: by the best possible choice, and by a schedule that is made for the
/// price at which that one does.
fn held(
    m: &Modelled,
    table: &TableData,
    trace: &Trace,
    data: &mut ScheduleData,
    threads: usize,
) -> Vec<held_report::Named> {
    let (d, model) = (m.driveline(), &m.model);
    let n = d.arrangements.len();
    let tell = tell("charge");
    let mut steps = |price: f64| backward::steps(model, n, trace, price, threads, &tell);
    let allowed = |a: usize, b: usize| knows_way(d, table, a, b);
    let best = |steps: &[backward::Step], price: f64| optimum(model, steps, price, &allowed);
    let first = sustain::sustained(model, data.price, &mut steps, &best);
    if let Ok(h) = &first {
        *data = schedule::build(d, model, h.price, threads, &tell);
    }
    let per_step = (backward::STEP_S * 1e3 / d.timing.tick_ms).round() as u32;
    let asked = |steps: &[backward::Step], _: f64| scheduled(steps, &data.schedule(), per_step).0;
    let second = match &first {
        Ok(h) => sustain::sustained(model, h.price, &mut steps, &asked),
        Err(cannot) => Err(*cannot),
    };
    vec![("best possible".to_string(), first), ("schedule".to_string(), second)]
}

fn file_name(name: &str) -> String {
    let stem = std::path::Path::new(name).file_stem();
    stem.map_or_else(|| "trace".into(), |s| s.to_string_lossy().into_owned())
}

fn drive(
    m: &Modelled,
    table: &TableData,
    data: &ScheduleData,
    trace: &Trace,
    options: &Options,
) -> Result<forward::Driven, i32> {
    let d = m.driveline();
    let run = Prepared::new(d, table.table()).and_then(|prepared| {
        let tell = tell("drive");
        let drive = if options.sustain { forward::laps } else { forward::drive };
        drive(d, &m.model, &Arc::new(prepared), data.schedule(), trace, options.seed, &tell)
    });
    run.map_err(|error| {
        eprintln!("error: {error}");
        2
    })
}

/// Whether the supervisor's table knows a way from one arrangement to another.
fn knows_way(d: &Driveline, table: &TableData, from: usize, to: usize) -> bool {
    let table = table.table();
    let goal = table.arrangements.get(to).map(|a| a.closed);
    let Some(mut set) = table.arrangements.get(from).map(|a| a.closed) else { return false };
    for _ in 0..1 << d.locks.len() {
        if Some(set) == goal {
            return true;
        }
        let Ok(step) = table.next_step(0, Stuck::None, set, to as u8) else { return false };
        let Some(step) = table.steps.get(usize::from(step)) else { return false };
        set = set.with(step.lock, !set.has(step.lock));
    }
    false
}

/// The picture of a backward run, for those who have all that it needs.
pub fn picture(
    d: &Driveline,
    model: &Model,
    table: &TableData,
    trace: &Trace,
    data: &ScheduleData,
    threads: usize,
) -> String {
    let (sums, free_j) = sums(d, model, table, trace, data, threads, &|_, _| {});
    let told = Told { d, model, trace, price: data.price, sums, driven: None, free_j, held: None };
    super::picture::trace_picture(&told)
}

fn sums(
    d: &Driveline,
    model: &Model,
    table: &TableData,
    trace: &Trace,
    data: &ScheduleData,
    threads: usize,
    tell: &(dyn Fn(usize, usize) + Sync),
) -> (Vec<(String, super::choice::Sum)>, f64) {
    let price = data.price;
    let n = d.arrangements.len();
    let steps = backward::steps(model, n, trace, price, threads, tell);
    let allowed = |a: usize, b: usize| knows_way(d, table, a, b);
    let best = optimum(model, &steps, price, &allowed);
    let per_step = (backward::STEP_S * 1e3 / d.timing.tick_ms).round() as u32;
    let (path, refused_s) = scheduled(&steps, &data.schedule(), per_step);
    let mut list = vec![
        ("best possible".to_string(), sum(model, &steps, &best, price)),
        ("schedule".to_string(), sum(model, &steps, &path, price)),
    ];
    list[1].1.refused_s = refused_s;
    for (a, arrangement) in d.arrangements.iter().enumerate() {
        let (path, refused_s) = alone(&steps, a);
        let mut one = sum(model, &steps, &path, price);
        one.refused_s = refused_s;
        list.push((format!("{} alone", arrangement.name), one));
    }
    (list, free_j(&steps))
}
