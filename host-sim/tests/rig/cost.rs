//! What a tick costs on a Cortex-M4F: instructions, flash, state and stack, measured under QEMU and
//! compared with a committed file. `SLIPWARDEN_WRITE=1` rewrites it.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use host_sim::campaign::{World, case};
use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::plant::random::Random;
use host_sim::review::Subject;
use host_sim::rig::Via;
use host_sim::rig::link::Link;
use host_sim::rig::lockstep::Lockstep;
use supervisor::Output;
use supervisor::io::{LockReport, Speed};
use supervisor::link::message::Call;
use supervisor::link::{Begin, Mode};
use supervisor::table::Table;

use crate::covered::Covered;
use crate::elf::Image;
use crate::images::{Demo, image};
use crate::stack_bound::Code;
use crate::tick_bound::{self, FIRST, LATER, Which, entries};
use crate::walk::Walk;

const WALK_SEED: u64 = 3;
/// The walk goes on until everything is covered: at least and at most so long.
const WALK_TICKS: std::ops::Range<u32> = 300_000..1_500_000;

fn code_bytes(profile: &str) -> usize {
    let text = |features| {
        let image = Image::new(std::fs::read(image("size", profile, features)).expect("an image"));
        image.section(".text").expect("code").len()
    };
    text("shuttle") - text("shuttle,empty")
}

/// What the image says at its end, after the recorded set: every ready scenario of the shuttle,
/// cases with two faults each, a walk through the table, and what no plant would give. And how many
/// rows, faults and refusals that covers: all that there are.
fn measured(demo: &Demo, measure: PathBuf) -> (String, usize) {
    let table = demo.table.table();
    let mut covered = Covered::default();
    let mut link = demo.link(measure, Via::Counted).expect("it greets");
    let mut board = Lockstep::new(&mut link);
    for scenario in ["shuttle-tour", "shuttle-stuck-ring-brake", "shuttle-reset"] {
        driven(demo, &mut board, &demo.setup(scenario), &mut covered);
    }
    let world = World::new(Subject::read("shuttle", 1).expect("embedded"));
    for number in 0..12 {
        driven(demo, &mut board, &case(&world, 20, 2, number).setup, &mut covered);
    }
    assert!(board.mismatch.is_none());
    walk(&mut link, &table, &mut covered);
    hostile(&mut link);
    let (missing, all) = covered.missing(&table);
    assert!(missing.is_empty(), "the recorded set does not cover {missing:?}");
    let (code, text) = link.end().expect("it ends by itself");
    assert_eq!(code, 0);
    (text, all)
}

/// A drive on the board, to its end.
fn driven(demo: &Demo, board: &mut Lockstep, setup: &Setup, covered: &mut Covered) {
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let mut run = Run::of(&prepared, setup, 1).expect("it starts");
    board.begin(&run, &table, 1000).expect("the board begins");
    while board.step(&mut run, &table) {
        covered.add(&run.record().status);
    }
    assert!(board.failed.is_none());
}

/// Through the whole table, faults among it.
fn walk(link: &mut Link, table: &Table, covered: &mut Covered) {
    let begin = Begin { mode: Mode::Lockstep, lost_ticks: 1000, trace: None };
    link.begin(begin).expect("the board begins");
    let (mut walk, mut last) = (Walk::new(WALK_SEED), Output::default());
    for tick in 0..WALK_TICKS.end {
        let look = tick >= WALK_TICKS.start && tick.is_multiple_of(10_000);
        if look && covered.missing(table).0.is_empty() {
            break;
        }
        let call = walk.call(table, &last);
        last = link.exchange(tick, &call).expect("an answer").answer.output();
        covered.add(&last.status);
    }
}

/// Inputs of any bits, NaN and infinity among them, resets now and then: what no plant would give.
fn hostile(link: &mut Link) {
    let begin = Begin { mode: Mode::Lockstep, lost_ticks: 1000, trace: None };
    link.begin(begin).expect("the board begins");
    let mut random = Random::new(7);
    for tick in 0..20_000 {
        let mut call = Call { called: true, ..Call::default() };
        for speed in &mut call.inputs.speeds {
            let bits = match random.below(4) {
                0 => random.next_u64() as u32,
                _ => ((random.below(400) as f32) - 200.0).to_bits(),
            };
            *speed = Speed { radps: f32::from_bits(bits), valid: random.below(9) != 0 };
        }
        for report in &mut call.inputs.reports {
            let words = [LockReport::Open, LockReport::Closed, LockReport::Missing];
            *report = words[random.below(3) as usize];
        }
        call.inputs.request = (random.below(3) != 0).then(|| random.below(6) as u8);
        call.inputs.demand_nm = f32::from_bits(random.next_u64() as u32);
        call.inputs.engine_running = random.below(2) == 0;
        call.cold_reset = random.below(500) == 0;
        link.exchange(tick, &call).expect("an answer");
    }
}

/// Equal but for numbers that are two apart at most: the timer's phase is not ours.
fn alike(a: &str, b: &str) -> bool {
    let number = |w: &str| w.trim_end_matches([',', ';']).parse::<i64>().ok();
    let (a, b): (Vec<&str>, Vec<&str>) =
        (a.split_whitespace().collect(), b.split_whitespace().collect());
    let near = |(a, b): (&&str, &&str)| match (number(a), number(b)) {
        (Some(a), Some(b)) => (a - b).abs() <= 2,
        _ => a == b,
    };
    a.len() == b.len() && a.iter().zip(&b).all(near)
}

/// Worst and mean tick of what others would write.
fn compared(profile: &str) -> String {
    let out = Command::new("timeout")
        .args(["60", "qemu-system-arm", "-M", "mps2-an386", "-display", "none", "-monitor", "none"])
        .args(["-icount", "shift=10", "-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image("compare", profile, "shuttle"))
        .stdin(std::process::Stdio::null())
        .output()
        .expect("it runs");
    assert_eq!(out.status.code(), Some(0));
    let text = String::from_utf8(out.stdout).expect("text");
    let of = |line, what| number(&text, line, what);
    format!(
        "     for comparison, four arrangements and three slips without all else: a match by hand\n\
         \x20    worst {} mean {}, a state machine crate worst {} mean {}\n",
        of("hand ", "most "),
        of("hand ", "mean "),
        of("crate ", "most "),
        of("crate ", "mean ")
    )
}

fn number(text: &str, line: &str, after: &str) -> u64 {
    let line = text.lines().find(|l| l.starts_with(line)).expect("a line");
    let word = line.split(after).nth(1).and_then(|rest| rest.split_whitespace().next());
    word.and_then(|w| w.parse().ok()).expect("a number")
}

/// The instruction counting is right: known loops of 4 instructions a round, and 2 around them.
fn counting_is_right(text: &str) {
    let line = text.lines().find(|l| l.starts_with("loops ")).expect("a line");
    let loops: Vec<i64> = line.split(' ').skip(1).map(|w| w.parse().expect("a number")).collect();
    // The timer counts 25.6 for an instruction: either end may be one off.
    for (more, known) in [(loops[1] - loops[0], 4 * 45), (loops[2] - loops[1], 4 * 450)] {
        assert!((more - known).abs() <= 1, "{line}");
    }
}

#[test]
fn what_a_tick_costs_is_as_committed() {
    let mut told = String::from(
        "What the supervisor costs on a Cortex-M4F, shuttle table; written by a test\n\
         (host-sim/tests/rig/cost.rs). Instructions, not cycles; flash without the table;\n\
         stack below the caller: seen in the recorded ticks, and the deepest chain of frames in\n\
         the image's code, a bound for any input. Worst and mean are a search's: drives, a walk\n\
         through the table with every fault (host-sim/tests/rig/walk.rs), random bits; whatever\n\
         the input is a bound, the longest way through the image's code (board-tick-bound.txt).\n\
         Aims: 600 instructions at -O3 and 1000 at -Os for the worst tick, 8192 bytes of code,\n\
         512 of state, 1024 of stack.\n\n",
    );
    let demo = Demo::new("shuttle");
    for (profile, name) in [("fast", "-O3"), ("release", "-Os")] {
        let measure = image("measure", profile, "shuttle");
        let elf = Image::new(std::fs::read(&measure).expect("an image"));
        let (text, rows) = measured(&demo, measure);
        let (stack, bound) =
            (number(&text, "state ", "stack "), Code::of(&elf).stack("7measure4tick"));
        // The painted stack cannot be deeper than any path; nor is the bound idle.
        assert!(stack <= u64::from(bound) && u64::from(bound) < 2 * stack, "{stack} {bound}");
        counting_is_right(&text);
        let tick = |what| number(&text, "tick ", what);
        let most = |which: Which| {
            let bound = tick_bound::bound(&elf, &demo.table.table(), &entries(), which);
            bound.expect("a bound").length()
        };
        let (most, most_first) = (most(LATER), most(FIRST));
        // No tick takes more; nor is the bound idle.
        assert!((tick("most ")..4 * tick("most ")).contains(&most), "{most}");
        assert!(number(&text, "first ", "most ") <= most_first, "{most_first}");
        let _ = writeln!(
            told,
            "{name}: worst tick {} instructions, mean {}, least {}; first tick after a reset at \
             most {}\n     whatever the input at most {most}, the first after a reset {most_first}\n\
             \x20    code {} bytes, state {} bytes, stack {stack} bytes seen, {bound} at most\n\
             \x20    over recorded ticks that cover all {rows} rows, faults and refusals",
            tick("most "),
            tick("mean "),
            tick("least "),
            number(&text, "first ", "most "),
            code_bytes(profile),
            number(&text, "state ", "state "),
        );
        told += &compared(profile);
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/snapshots/board-cost.txt");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        // Only what really changed.
        let old = std::fs::read_to_string(&path).unwrap_or_default();
        let told = if alike(&old, &told) { &old } else { &told };
        std::fs::write(&path, told).expect("it can be written");
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(!alike("a 1000, b", "a 1003, b") && alike("a 1000, b", "a 1002, b"));
    assert!(alike(&committed, &told), "set SLIPWARDEN_WRITE=1 to take the new one:\n{told}");
}
