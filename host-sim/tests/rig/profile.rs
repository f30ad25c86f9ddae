//! Where the instructions of a tick go: of recorded ticks, and of the longest way.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;

use host_sim::plant::random::Random;
use supervisor::io::{LockReport, Speed};
use supervisor::link::message::Call;
use supervisor::table::Table;
use supervisor::{Output, Supervisor};

use crate::elf::Image;
use crate::images::{Demo, image};
use crate::loops::Entry;
use crate::named::own_file;
use crate::places::Places;
use crate::tick_bound::{Bound, FIRST, LATER, Which, bound, entries};
use crate::trace::{Trace, follow};
use crate::walk::{PERIOD, Walk};

/// How many are shown.
const SHOWN: usize = 10;
/// Periods of the walk, each from a cold reset on, how many ticks of each are recorded, and how
/// many of random bits.
const PERIODS: u32 = 29;
const RECORDED: u32 = 2_600;
const RANDOM: u32 = 2_000;

/// Instructions by function of the source, when each block is carried out so often.
fn by_function(
    bound: &Bound,
    places: &Places,
    times: impl Fn(u32, usize) -> u64,
) -> BTreeMap<String, u64> {
    let mut all = BTreeMap::new();
    for (start, function) in &bound.functions {
        for (number, block) in function.graph.blocks.iter().enumerate() {
            let times = times(*start, number);
            for at in block.steps.iter().filter(|_| times > 0) {
                *all.entry(function_of(places, *at)).or_insert(0) += times;
            }
        }
    }
    all
}

/// The innermost function of the supervisor that an instruction comes from; sets count as their
/// user's.
fn function_of(places: &Places, at: u32) -> String {
    let chain = places.of_instruction(at);
    let mut own = chain.iter().filter_map(|p| Some((own_file(p)?, p.function.as_str())));
    let closure = |name: &str| name.starts_with("_$u7b$");
    let found = own.rfind(|(file, name)| *file != "bits.rs" && !closure(name));
    found.map_or("elsewhere".into(), |(file, name)| format!("{file}, {name}"))
}

/// Instructions of the longest way by loop, with all that is in it.
fn by_loop(bound: &Bound) -> BTreeMap<String, u64> {
    let (calls, mut all) = (bound.calls(), BTreeMap::new());
    for (start, function) in &bound.functions {
        let own = calls.get(start).copied().unwrap_or(0);
        let loops = function.loops.iter().zip(&function.graph.loops);
        for (named, loop_) in loops.filter(|(named, _)| !named.shared) {
            let of = |b: &usize| own * function.way.times[*b] * function.weights[*b];
            *all.entry(named.shown.clone()).or_insert(0) +=
                loop_.blocks.iter().map(of).sum::<u64>();
        }
    }
    all
}

/// The same by file.
fn by_file(functions: &BTreeMap<String, u64>) -> BTreeMap<String, u64> {
    let mut all = BTreeMap::new();
    for (name, instructions) in functions {
        let file = name.split(',').next().unwrap_or_default();
        *all.entry(file.into()).or_insert(0) += instructions;
    }
    all
}

/// The largest first, each divided by `by` and shown with its share of the whole.
fn most(all: &BTreeMap<String, u64>, by: u64, whole: u64) -> String {
    let mut all: Vec<(u64, &str)> = all.iter().map(|(name, n)| (*n, name.as_str())).collect();
    all.sort_unstable_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
    let mut told = String::new();
    for (number, name) in all.iter().take(SHOWN) {
        let _ = writeln!(told, "  {:6} {:3} %  {name}", number / by, 100 * number / whole);
    }
    told
}

/// Calls of a walk through the table, then of random bits, with what a supervisor here answers.
fn calls(table: &Table) -> Vec<Call> {
    let (mut own, mut last) = (Supervisor::new(), Output::default());
    let mut walk = Walk::new(3);
    let mut all = Vec::new();
    for tick in 1..PERIODS * PERIOD {
        let call = walk.call(table, &last);
        if call.cold_reset {
            own = Supervisor::new();
        } else if call.warm_reset {
            own = Supervisor::after_reset(own.trace());
        }
        last = own.tick(table, &call.inputs);
        // The board takes nothing over from one period to the next.
        if tick % PERIOD < RECORDED {
            all.push(call);
        }
    }
    let mut random = Random::new(7);
    for _ in 0..RANDOM {
        let mut call = Call { called: true, ..Call::default() };
        for speed in &mut call.inputs.speeds {
            let radps = f32::from_bits(random.next_u64() as u32);
            *speed = Speed { radps, valid: random.below(9) != 0 };
        }
        for report in &mut call.inputs.reports {
            let words = [LockReport::Open, LockReport::Closed, LockReport::Missing];
            *report = words[random.below(3) as usize];
        }
        call.inputs.request = Some(random.below(6) as u8);
        call.inputs.engine_running = random.below(2) == 0;
        call.warm_reset = random.below(50) == 0;
        all.push(call);
    }
    all
}

/// Loops that went round more often than they may.
fn too_often(trace: &Trace, bound: &Bound) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for (start, function) in &bound.functions {
        let loops = function.loops.iter().zip(&trace.seen[start].rounds);
        let more = loops.filter(|(named, seen)| !named.shared && **seen > named.rounds);
        all.extend(more.map(|(named, seen)| format!("{} times: {}", seen, named.shown)));
    }
    all
}

/// Loops that were not met, loops that went round as often as they may, and all.
fn as_often(trace: &Trace, bound: &Bound) -> (Vec<String>, usize, usize) {
    let (mut never, mut full, mut all) = (Vec::new(), 0, 0);
    for (start, function) in &bound.functions {
        let seen = &trace.seen[start];
        for (number, named) in function.loops.iter().enumerate().filter(|(_, l)| !l.shared) {
            let met = seen.times[function.graph.loops[number].header] > 0;
            all += 1;
            if !met {
                never.push(named.shown.clone());
            }
            full += usize::from(met && seen.rounds[number] == named.rounds);
        }
    }
    never.sort();
    (never, full, all)
}

/// What is said of one profile.
fn told(name: &str, image: &Image, bound_of: &dyn Fn(Which) -> Bound, trace: &Trace) -> String {
    let (later, first) = (bound_of(LATER), bound_of(FIRST));
    let any = bound_of(Which { any_members: true, ..LATER });
    let (ticks, places) = (trace.ticks, Places::of(image));
    let seen = by_function(&first, &places, |start, block| trace.seen[&start].times[block]);
    let calls = later.calls();
    let way = by_function(&later, &places, |start, block| {
        calls.get(&start).map_or(0, |calls| calls * later.functions[&start].way.times[block])
    });
    // Every instruction of the bound is in one of its parts.
    assert_eq!(way.values().sum::<u64>(), later.length());
    let whole: u64 = seen.values().sum();
    let (never, full, loops) = as_often(trace, &first);
    let [longest, longest_first] = trace.longest;
    format!(
        "{name}: at most {} instructions whatever the input; {} with any bits in the sets that it keeps;\n\
         \x20    {} in the first tick after a reset, which checks the table\n\
         \x20    the longest of {ticks} recorded ticks {longest}, first after a reset {longest_first}\n\
         \x20    {loops} loops in {} functions; {full} of them went round as often as they may,\n\
         \x20    {} were not met{}\n\n\
         recorded ticks, {} instructions in the mean, by file:\n{}\nthe same, by function:\n{}\n\
         the longest way, by file:\n{}\nthe same, by function:\n{}\n\
         the longest way, by loop with all in it:\n{}\n",
        later.length(),
        any.length(),
        first.length(),
        first.functions.len(),
        never.len(),
        never.iter().map(|shown| format!("\n       {shown}")).collect::<String>(),
        whole / ticks,
        most(&by_file(&seen), ticks, whole),
        most(&seen, ticks, whole),
        most(&by_file(&way), 1, later.length()),
        most(&way, 1, later.length()),
        most(&by_loop(&later), 1, later.length()),
    )
}

#[test]
fn a_tick_takes_a_bounded_number_of_instructions() {
    let demo = Demo::new("shuttle");
    let table = demo.table.table();
    let calls = calls(&table);
    let (mut text, mut used) = (String::from(HEAD), BTreeSet::new());
    for (profile, name) in [("fast", "-O3"), ("release", "-Os")] {
        let path = image("measure", profile, "shuttle");
        let image = Image::new(std::fs::read(&path).expect("an image"));
        let of = |which| bound(&image, &table, &entries(), which).expect("a bound");
        let first = of(FIRST);
        let mut trace = Trace::new(&first);
        follow(&path, &calls, &mut trace).expect("ways of the graph");
        let more = too_often(&trace, &first);
        assert!(more.is_empty(), "loops that go round more often than they may: {more:#?}");
        let [longest, longest_first] = trace.longest;
        assert!(trace.ticks >= calls.len() as u64 && longest > 0 && longest <= of(LATER).length());
        assert!(longest < longest_first && longest_first <= first.length());
        text += &told(name, &image, &of, &trace);
        used.extend(first.used.iter().copied());
        planted(&image, &table, &trace);
    }
    let idle: Vec<&str> =
        (0..entries().len()).filter(|n| !used.contains(n)).map(|n| entries()[n].text).collect();
    assert!(idle.is_empty(), "entries of no loop: {idle:?}");
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/snapshots/board-tick-bound.txt");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        std::fs::write(&path, &text).expect("it can be written");
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(committed, text, "set SLIPWARDEN_WRITE=1 to take the new one");
}

const HEAD: &str = "\
How many instructions a tick of the shuttle's table takes on a Cortex-M4F at most, and where they\n\
go; written by a test (host-sim/tests/rig/profile.rs). The longest way through the machine code of\n\
the linked image, each loop as often as host-sim/tests/rig/loops.rs says. Elsewhere: library code.\n\n";

/// A loop that goes round as often as it may at both optimisations.
const LOOKS: &str = "for ((lock, report), told) in locks";

/// Faults of the list are noticed: an entry that is missing, and one that is one too small.
fn planted(image: &Image, table: &Table, trace: &Trace) {
    let all = entries();
    for (number, entry) in all.iter().enumerate().filter(|(_, e)| e.text == LOOKS) {
        let mut fewer = all.clone();
        fewer.remove(number);
        let error = bound(image, table, &fewer, FIRST).err().expect("no bound");
        assert!(error.starts_with("0 entries for the loop of observe.rs:"), "{error}");
        let small = Entry { times: |table| table.locks.len() - 1, ..**entry };
        let mut smaller = all.clone();
        smaller[number] = &small;
        let smaller = bound(image, table, &smaller, FIRST).expect("a bound");
        let more = too_often(trace, &smaller);
        assert!(more.len() == 1 && more.iter().all(|l| l.contains("look_at_locks")), "{more:?}");
    }
}
