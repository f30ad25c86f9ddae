//! The way that the processor really went in recorded ticks, told by QEMU block by block: each
//! must be a way of the graph that the bound is reckoned with, and no loop may go round more often.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use supervisor::link::frame::{Stamp, Wire};
use supervisor::link::message::Call;
use supervisor::link::{Begin, Message, Mode};

use crate::thumb::Flow;
use crate::tick_bound::{Bound, Function};

/// What was seen of each function.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    /// How often each loop went back to its header, at most.
    pub(crate) rounds: Vec<u64>,
    /// How often each block was carried out.
    pub(crate) times: Vec<u64>,
    /// The same of each loop since it was entered, and the block that came last.
    running: Vec<i64>,
    last: Option<usize>,
}

/// Where a run of instructions that QEMU tells of begins: in a function, and the blocks that begin
/// in it, one after the other.
struct Run {
    function: u32,
    enters: bool,
    blocks: Vec<usize>,
    instructions: u64,
}

/// What all the ticks went through.
pub(crate) struct Trace<'a> {
    bound: &'a Bound,
    root: u32,
    runs: BTreeMap<u32, Run>,
    pub(crate) seen: BTreeMap<u32, Seen>,
    pub(crate) ticks: u64,
    /// Instructions of the present tick, and whether it checks the table.
    now: u64,
    checks: bool,
    /// Instructions of the longest tick, and of the longest that checks the table.
    pub(crate) longest: [u64; 2],
}

impl<'a> Trace<'a> {
    pub(crate) fn new(bound: &'a Bound) -> Trace<'a> {
        let root = bound.root();
        let mut seen = BTreeMap::new();
        let mut runs = BTreeMap::new();
        for (&start, function) in &bound.functions {
            let (loops, blocks) = (function.graph.loops.len(), function.graph.blocks.len());
            let (rounds, times) = (vec![0; loops], vec![0; blocks]);
            let running = vec![0; loops];
            seen.insert(start, Seen { rounds, times, running, last: None });
            for (number, block) in function.graph.blocks.iter().enumerate().filter(|(_, b)| !b.copy)
            {
                for (place, &at) in block.steps.iter().enumerate() {
                    runs.insert(at, run(start, function, number, place));
                }
            }
        }
        Trace { bound, root, runs, seen, ticks: 0, now: 0, checks: false, longest: [0; 2] }
    }

    /// Take in that the processor went on at this address, up to its next branch.
    fn take(&mut self, at: u32) -> Result<(), String> {
        let Some(run) = self.runs.get(&at) else { return Ok(()) };
        let seen = self.seen.get_mut(&run.function).expect("of a known function");
        let function = &self.bound.functions[&run.function];
        if run.enters {
            seen.last = None;
        }
        if run.enters && run.function == self.root {
            self.ticks += 1;
            (self.now, self.checks) = (0, false);
        }
        self.checks |= run.function == self.bound.check;
        self.now += run.instructions;
        let longest = &mut self.longest[usize::from(self.checks)];
        *longest = self.now.max(*longest);
        for &block in &run.blocks {
            seen.times[block] += 1;
            if let Some(last) = seen.last {
                if !function.graph.blocks[last].real.contains(&block) {
                    let from = function.graph.blocks[last].steps.first().expect("a step");
                    return Err(format!("{at:x}: no way of the graph leads here from {from:x}"));
                }
                count(function, seen, last, block);
            } else if block != 0 {
                return Err(format!("{at:x}: a function that begins in its middle"));
            } else {
                seen.running.fill(0);
            }
            seen.last = Some(block);
        }
        Ok(())
    }
}

/// Count the rounds of loops on the way from one block to the next.
fn count(function: &Function, seen: &mut Seen, last: usize, block: usize) {
    for (number, loop_) in function.graph.loops.iter().enumerate() {
        // What shares its rounds with the loop around it counts there.
        let mut counted = number;
        while function.loops[counted].shared {
            counted = function.graph.loops[counted].parent.expect("a loop around it");
        }
        match (loop_.blocks.contains(&last), loop_.blocks.contains(&block)) {
            // Entered in its middle, it does not go back when it comes to its header.
            (false, true) if counted == number => {
                seen.running[number] = if block == loop_.header { 0 } else { -1 };
            }
            (true, true) if block == loop_.header => {
                seen.running[counted] += 1;
                let running = u64::try_from(seen.running[counted]).unwrap_or(0);
                seen.rounds[counted] = seen.rounds[counted].max(running);
            }
            _ => {}
        }
    }
}

/// QEMU ends a run of instructions at the end of a page of this processor as well.
const PAGE: u32 = 1024;

/// What is carried out from an instruction on, up to the next branch or the end of the page.
fn run(start: u32, function: &Function, number: usize, place: usize) -> Run {
    let graph = &function.graph;
    let (mut number, mut place) = (number, place);
    let first = graph.blocks[number].steps[place];
    let enters = number == 0 && place == 0;
    let mut run = Run { function: start, enters, blocks: Vec::new(), instructions: 0 };
    loop {
        let block = &graph.blocks[number];
        let at = block.steps[place];
        let step = graph.steps[&at];
        if run.instructions > 0 && (at + step.size - 1) / PAGE != first / PAGE {
            return run;
        }
        if place == 0 {
            run.blocks.push(number);
        }
        run.instructions += 1;
        if step.flow != Flow::Next {
            return run;
        }
        (number, place) = match (place + 1 < block.steps.len(), &block.real[..]) {
            (true, _) => (number, place + 1),
            (false, [next]) => (*next, 0),
            _ => return run,
        };
    }
}

/// Let an image take these calls and follow what it does.
pub(crate) fn follow(image: &Path, calls: &[Call], trace: &mut Trace) -> Result<(), String> {
    let folder = Folder::new();
    let mut bytes = Vec::new();
    let begin = Begin { mode: Mode::Lockstep, lost_ticks: 1000, trace: None };
    let stamp = |number: usize| Stamp { sequence: number as u16, tick: number as u32 };
    bytes.extend(Wire::new(stamp(1), &Message::Begin(begin)).bytes());
    for (number, call) in (2..).zip(calls) {
        bytes.extend(Wire::new(stamp(number), &Message::Call(*call)).bytes());
    }
    std::fs::write(folder.0.join("to-board"), bytes).expect("it can be written");
    let ranges: Vec<String> =
        trace.bound.ranges().map(|r| format!("{:#x}..{:#x}", r.start, r.end - 1)).collect();
    let mut child = Command::new("timeout")
        .args([
            "500",
            "qemu-system-arm",
            "-M",
            "mps2-an386",
            "-display",
            "none",
            "-monitor",
            "none",
        ])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image)
        .args(["-d", "exec,nochain", "-dfilter", &ranges.join(",")])
        .current_dir(&folder.0)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    // Trace 0: HOST [..../ADDRESS/..../....] name
    let mut told = BufReader::with_capacity(1 << 16, child.stderr.take().expect("a pipe"));
    let mut line = Vec::new();
    let mut followed = Ok(());
    while told.read_until(b'\n', &mut line).expect("readable") > 0 {
        let address = line.split(|b| *b == b'/').nth(1).and_then(|a| std::str::from_utf8(a).ok());
        let address = address.and_then(|a| u32::from_str_radix(a, 16).ok());
        if let Some(at) = address.filter(|_| line.starts_with(b"Trace ")) {
            followed = followed.and_then(|()| trace.take(at));
        }
        line.clear();
    }
    let status = child.wait().expect("it ends");
    assert_eq!(status.code(), Some(0), "the image ends by itself");
    followed
}

/// A folder of our own.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Folder {
        let path = std::env::temp_dir().join(format!("slipwarden-trace-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder");
        Folder(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
