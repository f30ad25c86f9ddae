//! Tries mutant after mutant against the tests, one process each, until one fails or hangs.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use crate::build::Program;
use crate::list::Mutant;

/// Longest that a run may take beside what it takes without a mutant.
const PATIENCE_S: f64 = 20.0;
/// And how many times that: others work on the machine too.
const PATIENCE: f64 = 8.0;
/// Tests that take no longer are run in one process.
const SHORT_S: f64 = 1.0;
/// A mutant may ask for memory without end.
const MEMORY_KB: usize = 6_000_000;

/// One test and what it takes.
struct Test {
    program: usize,
    name: String,
    seconds: f64,
}

/// What came of a mutant.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// A test failed.
    Caught,
    /// A test did not end.
    Hangs,
    /// All tests passed.
    Missed,
}

impl Outcome {
    /// As it stands in the file of results.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Caught => "caught",
            Outcome::Hangs => "hangs",
            Outcome::Missed => "missed",
        }
    }
}

/// All tests, with the time that each takes when no mutant is active.
pub struct Suite<'a> {
    programs: &'a [Program],
    tests: Vec<Test>,
    /// By file: how many mutants each test was the first to notice.
    telling: Mutex<BTreeMap<String, Vec<usize>>>,
}

impl<'a> Suite<'a> {
    /// Lists the tests and runs each; all must pass.
    pub fn new(programs: &'a [Program], skip: &[String]) -> Suite<'a> {
        let mut suite = Suite { programs, tests: Vec::new(), telling: Mutex::default() };
        for (number, program) in programs.iter().enumerate() {
            let list = Command::new(&program.path).args(["--list", "--format", "terse"]).output();
            let list = String::from_utf8(list.expect("a list").stdout).expect("text");
            for name in list.lines().filter_map(|l| l.strip_suffix(": test")) {
                if !skip.iter().any(|s| name.contains(&**s)) {
                    let name = name.to_string();
                    suite.tests.push(Test { program: number, name, seconds: 0.0 });
                }
            }
        }
        for i in 0..suite.tests.len() {
            let begin = Instant::now();
            let outcome = suite.run(0, &[i], Duration::from_secs(600));
            assert!(outcome.is_none(), "{} fails without a mutant", suite.tests[i].name);
            suite.tests[i].seconds = begin.elapsed().as_secs_f64();
        }
        suite.tests.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
        let all: f64 = suite.tests.iter().map(|t| t.seconds).sum();
        println!("{} tests pass without a mutant, in {all:.0} s", suite.tests.len());
        suite
    }

    /// Runs some tests of one program, one after the other, until one fails or the time is over.
    fn run(&self, mutant: usize, tests: &[usize], limit: Duration) -> Option<(Outcome, String)> {
        let program = &self.programs[self.tests[tests[0]].program];
        let mut child = Command::new("sh")
            .args(["-c", &format!("ulimit -v {MEMORY_KB}; exec \"$0\" \"$@\"")])
            .arg(&program.path)
            .args(["--test-threads=1", "--exact"])
            .args(tests.iter().map(|t| &self.tests[*t].name))
            .env("MUTANT", mutant.to_string())
            .env("RUST_BACKTRACE", "0")
            .current_dir(&program.folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("a test runs");
        let (send, lines) = channel();
        let out = BufReader::new(child.stdout.take().expect("piped"));
        std::thread::spawn(move || {
            out.split(b'\n').map_while(Result::ok).all(|line| send.send(line).is_ok())
        });
        let end = Instant::now() + limit;
        let mut running = String::new();
        let found = loop {
            match lines.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(line) => {
                    let line = String::from_utf8_lossy(&line).into_owned();
                    if let Some(test) = line.strip_prefix("test ") {
                        running = test.split(' ').next().unwrap_or("").to_string();
                        if line.ends_with("FAILED") {
                            break Some((Outcome::Caught, running));
                        }
                    }
                }
                Err(RecvTimeoutError::Timeout) => {
                    break Some((Outcome::Hangs, format!("after {running}")));
                }
                Err(RecvTimeoutError::Disconnected) => {
                    let status = child.wait().expect("it ends");
                    break (!status.success())
                        .then(|| (Outcome::Caught, format!("after {running}")));
                }
            }
        };
        child.kill().ok();
        child.wait().ok();
        found
    }

    /// First what has noticed others in this file, each by itself; then the short ones together, then
    /// the long ones.
    fn turns(&self, file: &str) -> Vec<Vec<usize>> {
        let telling = self.telling.lock().expect("not poisoned");
        let mut first: Vec<(usize, usize)> = Vec::new();
        if let Some(counts) = telling.get(file) {
            first = counts.iter().copied().enumerate().filter(|(_, n)| *n > 0).collect();
            let rate = |&(t, n): &(usize, usize)| n as f64 / (0.2 + self.tests[t].seconds);
            first.sort_by(|a, b| rate(b).total_cmp(&rate(a)));
        }
        let mut turns: Vec<Vec<usize>> = first.iter().take(8).map(|(t, _)| vec![*t]).collect();
        let tried: BTreeSet<usize> = turns.iter().flatten().copied().collect();
        for program in 0..self.programs.len() {
            let short: Vec<usize> = (0..self.tests.len())
                .filter(|t| self.tests[*t].program == program && self.tests[*t].seconds <= SHORT_S)
                .filter(|t| !tried.contains(t))
                .collect();
            if !short.is_empty() {
                turns.push(short);
            }
        }
        let long = |t: &usize| self.tests[*t].seconds > SHORT_S && !tried.contains(t);
        turns.extend((0..self.tests.len()).filter(long).map(|t| vec![t]));
        turns
    }

    /// What all tests make of one mutant.
    fn judge(&self, number: usize, file: &str) -> (Outcome, String) {
        for tests in self.turns(file) {
            let usual: f64 = tests.iter().map(|t| self.tests[*t].seconds).sum();
            let limit = Duration::from_secs_f64(PATIENCE_S + PATIENCE * usual);
            if let Some((outcome, test)) = self.run(number, &tests, limit) {
                let known = self.tests.iter().position(|t| t.name == test);
                if let (Outcome::Caught, Some(t)) = (outcome, known) {
                    let mut telling = self.telling.lock().expect("not poisoned");
                    let none = || vec![0; self.tests.len()];
                    telling.entry(file.to_string()).or_insert_with(none)[t] += 1;
                }
                return (outcome, test);
            }
        }
        (Outcome::Missed, String::new())
    }

    /// Tries the mutants of these numbers, and adds what comes of each to the file at `results`.
    pub fn try_all(&self, mutants: &[Mutant], numbers: &[usize], jobs: usize, results: &Path) {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(results);
        let file = Mutex::new(file.expect("a file for the results"));
        let (next, missed) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let begin = Instant::now();
        std::thread::scope(|scope| {
            for _ in 0..jobs {
                scope.spawn(|| {
                    while let Some(&n) = numbers.get(next.fetch_add(1, Ordering::Relaxed)) {
                        let m = &mutants[n - 1];
                        let (outcome, test) = self.judge(n, &m.file);
                        missed
                            .fetch_add(usize::from(outcome == Outcome::Missed), Ordering::Relaxed);
                        let line = format!("{}\t{}\t{test}\n", outcome.word(), m.name);
                        let mut file = file.lock().expect("not poisoned");
                        file.write_all(line.as_bytes()).expect("written");
                        let done = next.load(Ordering::Relaxed).min(numbers.len());
                        if outcome == Outcome::Missed || done.is_multiple_of(50) {
                            let at = begin.elapsed().as_secs();
                            let missed = missed.load(Ordering::Relaxed);
                            println!("{at:5} s  {done}/{}, {missed} missed: {line}", numbers.len());
                        }
                    }
                });
            }
        });
    }
}
