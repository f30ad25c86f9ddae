//! The command `slipwarden explore FILE`.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use serde_json::json;

use super::live::{Liveness, liveness};
use super::model::{Always, Model, Subject};
use super::path::words;
use super::search::{Bounds, Found, search};
use super::senses::Forced;
use super::shrink::shrunk;
use crate::driveline::{Driveline, Purpose};
use crate::input::{self, print};
use crate::table::TableData;
use crate::text::{Table, labelled, paragraph};

const TEXT_WIDTH: usize = 80;
/// Version of the JSON's format.
const JSON_FORMAT: u32 = 1;
/// Exit code of a search that ended at a bound: neither a pass nor a finding.
pub const INCONCLUSIVE: i32 = 3;

/// What to explore, and how far.
#[derive(Clone, Debug)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Most faults in one history.
    pub faults: u8,
    /// The interlock alone, with anything ordered.
    pub interlock_alone: bool,
    /// Most states.
    pub states: usize,
    /// Most memory for states, MiB.
    pub memory_mib: usize,
    /// JSON for programs.
    pub json: bool,
}

/// Explore. Returns the exit code: 0 everything was explored and nothing is broken, 1 a finding,
/// 2 misuse, 3 a bound was reached before everything was explored.
pub fn explore(options: &Options) -> i32 {
    let tabled = match input::table(&options.file, Purpose::Table) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let d = tabled.driveline();
    let small = shrunk(&tabled.table);
    let forced = Forced::new(d, &tabled.kinematics);
    let subject = if options.interlock_alone { Subject::InterlockAlone } else { Subject::Kernel };
    let model = Model { table: small.table(), forced: &forced, budget: options.faults, subject };
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let bounds = Bounds { states: options.states, bytes: options.memory_mib << 20, threads };
    let mut progress = Progress::new();
    let found = search(&model, &bounds, |store, transitions, depth, frontier| {
        progress.show(store.len(), transitions, depth, frontier, store.bytes() >> 20);
        true
    });
    progress.end();
    // Nothing can be said of all states where not all were reached.
    let whole = found.complete && found.broken.is_empty() && !options.interlock_alone;
    let live = whole.then(|| liveness(&model, &found));
    let stuck = live.as_ref().is_some_and(|l| l.stuck.is_some());
    let result = Result { small: &small, found: &found, live };
    let out = if options.json {
        format!("{:#}\n", report_json(d, &model, &result, options))
    } else {
        report_text(d, &model, &result, options)
    };
    match print(&out) {
        0 if !found.broken.is_empty() || stuck => 1,
        0 if !found.complete => INCONCLUSIVE,
        code => code,
    }
}

/// Everything that is reported.
struct Result<'a> {
    small: &'a TableData,
    found: &'a Found,
    live: Option<Liveness>,
}

/// Progress: one line rewritten on a terminal, a line now and then elsewhere.
struct Progress {
    terminal: bool,
    begun: Instant,
    shown_s: f64,
}

impl Progress {
    fn new() -> Progress {
        Progress { terminal: std::io::stderr().is_terminal(), begun: Instant::now(), shown_s: 0.0 }
    }

    fn show(&mut self, states: usize, transitions: u64, depth: u32, frontier: usize, mib: usize) {
        let now_s = self.begun.elapsed().as_secs_f64();
        let every_s = if self.terminal { 0.2 } else { 10.0 };
        if now_s - self.shown_s < every_s {
            return;
        }
        self.shown_s = now_s;
        let rate = transitions as f64 / now_s.max(1e-3) / 1e6;
        let line = format!(
            "depth {depth}: {states} states, {frontier} new, {rate:.1} M transitions/s, {mib} MiB"
        );
        let mut err = std::io::stderr().lock();
        // Progress that cannot be shown is no reason to stop.
        let _ = if self.terminal { write!(err, "\r{line:<79}") } else { writeln!(err, "{line}") };
    }

    fn end(&self) {
        if self.terminal && self.shown_s > 0.0 {
            let _ = write!(std::io::stderr().lock(), "\r{:<79}\r", "");
        }
    }
}

/// Steps of the table that no state takes.
fn dead_steps(small: &TableData, found: &Found) -> Vec<u16> {
    (0..small.steps.len() as u16).filter(|s| !found.sometimes.steps.contains(s)).collect()
}

fn verdict(found: &Found) -> &'static str {
    match (found.broken.is_empty(), found.complete) {
        (false, _) => "broken",
        (true, true) => "holds",
        (true, false) => "inconclusive",
    }
}

fn assumptions(options: &Options) -> Vec<String> {
    let mut list = vec![
        format!(
            "lock faults in one history: at most {}, each a lock stuck open or closed, a lock that opens \
             by itself, or a switch that always says open or closed",
            options.faults
        ),
        "every other answer is free in every tick (sensors missing or implausible, slips, loads, \
         speeds, demand, heat, engine, request), and the supervisor may be reset in any tick; slips \
         and rest that the exact kinematics force are forced"
            .to_string(),
        "a closing lock may take any time; a lock that lets go takes at most its stated time"
            .to_string(),
        "timers are shrunk in order (docs/exploration.md)".to_string(),
    ];
    if options.interlock_alone {
        list.push("the decision is replaced by any orders at all".to_string());
    }
    list
}

fn report_text(d: &Driveline, model: &Model, result: &Result, options: &Options) -> String {
    let (small, found) = (result.small, result.found);
    let subject = if options.interlock_alone { "interlock alone" } else { "kernel" };
    let mut out = paragraph(
        &format!(
            "{}: {subject}, {}: {} states, {} transitions, depth {}{}",
            d.name,
            ["no lock fault", "at most 1 lock fault", "at most 2 lock faults"]
                [usize::from(options.faults.min(2))],
            found.store.len(),
            found.transitions,
            found.depth,
            if found.complete { ", everything explored" } else { ", stopped at a bound" }
        ),
        0,
        TEXT_WIDTH,
    );
    let mut table = Table::new(&["property", "verdict", "meaning"]);
    for always in Always::ALL {
        let verdict = match (found.broken.contains_key(&always), found.complete) {
            (true, _) => "BROKEN",
            (false, true) => "holds",
            (false, false) => "not broken so far",
        };
        table.row(vec![always.id().into(), verdict.into(), always.text().into()]);
    }
    out.push('\n');
    out += &table.titled("Always", TEXT_WIDTH);
    if let Some(live) = &result.live {
        out.push('\n');
        out += &live_text(d, live);
    }
    if !options.interlock_alone {
        out.push('\n');
        out += &sometimes_text(d, small, found);
    }
    for (always, (parent, last)) in &found.broken {
        out.push('\n');
        out += &paragraph(&format!("The shortest way to {} broken", always.id()), 0, TEXT_WIDTH);
        for line in words(d, model, found, *parent, last) {
            out += &paragraph(&line, 2, TEXT_WIDTH);
        }
    }
    out.push('\n');
    out += &paragraph("Assumptions", 0, TEXT_WIDTH);
    for assumption in assumptions(options) {
        out += &labelled("- ", &assumption, 2, TEXT_WIDTH);
    }
    out
}

fn live_text(d: &Driveline, live: &Liveness) -> String {
    let text = match live.stuck {
        None => format!(
            "from every state, once the world helps, every arrangement stands or is refused within \
             {} ticks of the shrunk table ({} pairs of state and arrangement end in the \
             arrangement, {} in a refusal)",
            live.bound, live.arrived, live.refused
        ),
        Some((state, arrangement)) => format!(
            "BROKEN: from state {state}, {} is neither reached nor refused, however the world helps",
            d.arrangements[usize::from(arrangement)].name
        ),
    };
    paragraph("Liveness", 0, TEXT_WIDTH) + &labelled("EX-LIVE  ", &text, 2, TEXT_WIDTH)
}

fn sometimes_text(d: &Driveline, small: &TableData, found: &Found) -> String {
    let seen = &found.sometimes;
    let mut out = paragraph("Sometimes", 0, TEXT_WIDTH);
    let dead: Vec<String> =
        dead_steps(small, found).iter().map(|&s| crate::table::step_word(d, small, s)).collect();
    let mut steps = format!("{} of {} are taken", seen.steps.len(), small.steps.len());
    if !dead.is_empty() {
        steps += &format!("; never: {}", dead.join(", "));
    }
    out += &labelled("steps         ", &steps, 2, TEXT_WIDTH);
    let names: Vec<&str> =
        seen.arrangements.iter().map(|&a| d.arrangements[usize::from(a)].name.as_str()).collect();
    out += &labelled("arrangements  ", &names.join(", "), 2, TEXT_WIDTH);
    let refusals: Vec<&str> = seen.refusals.iter().copied().collect();
    out += &labelled("refusals      ", &refusals.join(", "), 2, TEXT_WIDTH);
    let let_go = if seen.let_go { "yes" } else { "never" };
    out += &labelled("let go        ", &format!("{let_go} (to end a conflict)"), 2, TEXT_WIDTH);
    out
}

fn report_json(
    d: &Driveline,
    model: &Model,
    result: &Result,
    options: &Options,
) -> serde_json::Value {
    let (small, found) = (result.small, result.found);
    let live = result.live.as_ref().map(|l| {
        json!({ "bound_ticks": l.bound, "arrived": l.arrived, "refused": l.refused,
                "holds": l.stuck.is_none() })
    });
    let always: Vec<_> = Always::ALL
        .iter()
        .map(|always| {
            let path = found
                .broken
                .get(always)
                .map(|(parent, last)| words(d, model, found, *parent, last));
            json!({ "id": always.id(), "text": always.text(), "broken": path.is_some(), "path": path })
        })
        .collect();
    let arrangements: Vec<&str> = found
        .sometimes
        .arrangements
        .iter()
        .map(|&a| d.arrangements[usize::from(a)].name.as_str())
        .collect();
    json!({
        "explore_format": JSON_FORMAT,
        "driveline": d.name,
        "subject": if options.interlock_alone { "interlock-alone" } else { "kernel" },
        "faults": options.faults,
        "verdict": verdict(found),
        "complete": found.complete,
        "states": found.store.len(),
        "transitions": found.transitions,
        "depth": found.depth,
        "always": always,
        "live": live,
        "sometimes": {
            "steps": found.sometimes.steps,
            "dead_steps": dead_steps(small, found),
            "arrangements": arrangements,
            "refusals": found.sometimes.refusals,
            "let_go": found.sometimes.let_go,
        },
        "assumptions": assumptions(options),
    })
}
