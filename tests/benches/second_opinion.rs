//! How fast our search is beside general-purpose model checkers on the same states.
//!
//! `cargo bench -p slipwarden-tests --bench second_opinion`. Each run is a process of its own, so
//! that memory is its own too; medians of some runs. Rates are per second of processor time; what
//! several threads save shows in the time of the clock, on a machine that is idle. Memory is the
//! peak of the process above what it had before (freed memory that is used again is not seen). It
//! prints figures and checks none: machines differ. With `SLIPWARDEN_BENCH_STATES` searches end at
//! that many states (default 1000000), stateright's too.
//!
//! States are what searches have in common, and the ratio is of states a second. Transitions are
//! not: ours are different pairs of what the world and the kernel did, stateright's are all
//! combinations of answers, spin's those of a model that asks less. stateright keeps hashes of states only, and
//! for each waiting state the way to it; spin keeps states in full, searches depth first, and asks
//! a model that is written by hand.

use std::path::Path;
use std::process::Command;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use ::stateright::{Checker, Model as _};
use host_sim::driveline::{demo, parse};
use host_sim::explore::model::Subject;
use host_sim::explore::search::{Bounds, search};
use host_sim::explore::senses::Forced;
use host_sim::explore::shrink::shrunk;
use host_sim::kinematics::analyse;
use host_sim::table::build;

#[path = "../second-opinion/spin.rs"]
mod spin;
#[path = "../second-opinion/stateright.rs"]
mod stateright;

use stateright::Second;

const RUNS: usize = 3;
/// States at which a search ends that would not end by itself.
const MOST_STATES: usize = 1_000_000;

/// Who searches.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Who {
    Ours(usize),
    StaterightBfs,
    StaterightDfs,
    Spin,
}

/// What is searched: driveline, subject, faults.
type What = (&'static str, Subject, u8);

const INTERLOCK: What = ("shuttle", Subject::InterlockAlone, 1);
const KERNEL: What = ("shuttle", Subject::Kernel, 1);
const LARGE: What = ("railcar", Subject::Kernel, 1);

/// The first of each model is what the others are compared with.
const CASES: [(What, Who); 13] = [
    (INTERLOCK, Who::Ours(1)),
    (INTERLOCK, Who::Ours(2)),
    (INTERLOCK, Who::StaterightBfs),
    (INTERLOCK, Who::StaterightDfs),
    (INTERLOCK, Who::Spin),
    (KERNEL, Who::Ours(1)),
    (KERNEL, Who::Ours(2)),
    (KERNEL, Who::StaterightBfs),
    (KERNEL, Who::StaterightDfs),
    (LARGE, Who::Ours(1)),
    (LARGE, Who::Ours(2)),
    (LARGE, Who::StaterightBfs),
    (LARGE, Who::StaterightDfs),
];

/// One search.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    states: f64,
    transitions: f64,
    cpu_s: f64,
    clock_s: f64,
    bytes: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, one, number] = &arguments[..]
        && one == "--one"
    {
        let run = measure(CASES[number.parse::<usize>().expect("a number")]);
        let Run { states, transitions, cpu_s, clock_s, bytes } = run;
        println!("{states} {transitions} {cpu_s} {clock_s} {bytes}");
        return;
    }
    println!(
        "{:<24} {:<14} {:>7} {:>9} {:>7} {:>7} {:>9} {:>9} {:>6} {:>8}",
        "model",
        "search",
        "states",
        "trans.",
        "clock s",
        "cpu s",
        "states/s",
        "trans./s",
        "ratio",
        "B/state"
    );
    let mut first: Option<(What, f64)> = None;
    for (number, (what, who)) in CASES.iter().enumerate() {
        let run = median(number);
        let rate = run.states / run.cpu_s;
        let base = first.filter(|(model, _)| model == what).map_or(rate, |(_, rate)| rate);
        first = Some((*what, base));
        println!(
            "{:<24} {:<14} {:>7} {:>9} {:>7.2} {:>7.2} {rate:>9.0} {:>9.0} {:>6.2} {:>8.0}",
            format!("{} {:?} {}", what.0, what.1, what.2),
            format!("{who:?}"),
            run.states,
            run.transitions,
            run.clock_s,
            run.cpu_s,
            run.transitions / run.cpu_s,
            rate / base,
            run.bytes / run.states,
        );
    }
}

fn most_states() -> usize {
    let given = std::env::var("SLIPWARDEN_BENCH_STATES").ok();
    given.map_or(MOST_STATES, |text| text.parse().expect("a number of states"))
}

/// Medians over some runs, each figure by itself.
fn median(number: usize) -> Run {
    let runs: Vec<Vec<f64>> = (0..RUNS).map(|_| one(number)).collect();
    let of = |figure: usize| {
        let mut all: Vec<f64> = runs.iter().map(|run| run[figure]).collect();
        all.sort_by(f64::total_cmp);
        all[RUNS / 2]
    };
    Run { states: of(0), transitions: of(1), cpu_s: of(2), clock_s: of(3), bytes: of(4) }
}

fn one(number: usize) -> Vec<f64> {
    let program = std::env::current_exe().expect("this program");
    let out = Command::new(program).args(["--one", &number.to_string()]).output().expect("it runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let said = String::from_utf8_lossy(&out.stdout);
    said.split_whitespace().map(|word| word.parse().expect("a figure")).collect()
}

fn measure((what, who): (What, Who)) -> Run {
    let (name, subject, budget) = what;
    let d = parse(name, demo(name).expect("a demo")).expect("it reads").driveline;
    let k = analyse(&d).expect("the output turns");
    let data = shrunk(&build(&d, &k).expect("a table"));
    let forced = Forced::new(&d, &k);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("second-opinion/bench");
    if who == Who::Spin {
        let faults = format!("-DFAULTS={budget}");
        spin::make(&folder, &spin::header(&d, &k, &data), &[&faults]);
    }
    let second = Second::new(data, forced, subject, budget);
    let most = most_states();
    let (cpu, clock, memory) = (cpu_s(), Instant::now(), kib("VmRSS:"));
    let (states, transitions, bytes) = match who {
        Who::Ours(threads) => {
            let bounds = Bounds { states: most, bytes: 8 << 30, threads };
            let found = search(&second.model(), &bounds, |_| true);
            (found.store.len(), found.reached.transitions, None)
        }
        Who::StaterightBfs => counted(second.checker().spawn_bfs(), most),
        Who::StaterightDfs => counted(second.checker().spawn_dfs(), most),
        Who::Spin => {
            let pan = spin::search(&folder);
            // Its table of hashes has a size of its own choice.
            (pan.stored as usize, pan.transitions, Some(pan.stored * (pan.state_bytes + 16)))
        }
    };
    Run {
        states: states as f64,
        transitions: transitions as f64,
        cpu_s: cpu_s() - cpu,
        clock_s: clock.elapsed().as_secs_f64(),
        bytes: bytes.map_or((kib("VmHWM:") - memory) * 1024.0, |bytes| bytes as f64),
    }
}

/// Its own bound is one on transitions, so it is watched.
fn counted(theirs: impl Checker<Second>, most: usize) -> (usize, u64, Option<u64>) {
    while !theirs.is_done() {
        if theirs.unique_state_count() >= most {
            theirs.model().stop.store(true, Ordering::Relaxed);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    let theirs = theirs.join();
    (theirs.unique_state_count(), theirs.state_count() as u64, None)
}

/// Processor time of this process and of the children that it waited for, s.
fn cpu_s() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    // After the name in brackets: user, system, and both of the children, in hundredths.
    let rest = text.rsplit(')').next().expect("a name");
    let ticks = rest.split_whitespace().skip(11).take(4);
    ticks.map(|t| t.parse::<f64>().expect("a number")).sum::<f64>() / 100.0
}

/// A figure of this process's memory, KiB.
fn kib(what: &str) -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = text.lines().find_map(|line| line.strip_prefix(what)).expect("a figure");
    line.split_whitespace().next().and_then(|n| n.parse().ok()).expect("a number")
}
