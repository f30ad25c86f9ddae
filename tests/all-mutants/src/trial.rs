//! Tries mutant after mutant against the tests, one process each, until one fails or hangs.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use crate::build::Program;
use crate::list::Mutant;

/// Most time of a processor, s, that a run may take beside so many times what it takes without a mutant.
const PATIENCE_S: f64 = 10.0;
const PATIENCE: f64 = 5.0;
/// Signals that end a process which has had its time.
const OUT_OF_TIME: [i32; 2] = [9, 24];
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
    /// A test did not end in several times its time.
    Timeout,
    /// All tests passed.
    Missed,
}

impl Outcome {
    /// As it stands in the file of results.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Caught => "caught",
            Outcome::Timeout => "timeout",
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
    /// Lists the tests and runs each, but for those with a line in the file of times; all must pass.
    pub fn new(programs: &'a [Program], skip: &[String], times: &Path) -> Suite<'a> {
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
        let known = std::fs::read_to_string(times).unwrap_or_default();
        let known: BTreeMap<&str, f64> = known.lines().filter_map(time_of).collect();
        for i in 0..suite.tests.len() {
            let known = known.get(&*suite.tests[i].name).copied();
            suite.tests[i].seconds = known.unwrap_or_else(|| suite.usual(&suite.tests[i]));
        }
        suite.tests.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
        let all: f64 = suite.tests.iter().map(|t| t.seconds).sum();
        println!("{} tests pass without a mutant, in {all:.0} s", suite.tests.len());
        let lines = suite.tests.iter().map(|t| format!("{}\t{}\n", t.name, t.seconds));
        std::fs::write(times, lines.collect::<String>()).expect("written");
        suite
    }

    /// Time of a processor that a test takes without a mutant; it must pass.
    fn usual(&self, test: &Test) -> f64 {
        let program = &self.programs[test.program];
        let out = Command::new("bash")
            .args(["-c", "TIMEFORMAT=%U; time \"$0\" \"$@\""])
            .arg(&program.path)
            .args(["--exact", &test.name])
            .current_dir(&program.folder)
            .output()
            .expect("a test runs");
        assert!(out.status.success(), "{} fails without a mutant", test.name);
        let told = String::from_utf8_lossy(&out.stderr);
        told.lines().last().and_then(|l| l.parse().ok()).expect("a number of seconds")
    }

    /// Runs some tests of one program, one after the other, until one fails or the time is over.
    fn run(&self, mutant: usize, tests: &[usize]) -> Option<(Outcome, String)> {
        let program = &self.programs[self.tests[tests[0]].program];
        let usual: f64 = tests.iter().map(|t| self.tests[*t].seconds).sum();
        let limit_s = (PATIENCE_S + PATIENCE * usual).ceil();
        let limits = format!("ulimit -v {MEMORY_KB} -t {limit_s}");
        let mut child = Command::new("bash")
            .args(["-c", &format!("{limits}; exec \"$0\" \"$@\"")])
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
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let mut running = String::new();
        for line in out.split(b'\n').map_while(Result::ok) {
            let line = String::from_utf8_lossy(&line).into_owned();
            let Some(test) = line.strip_prefix("test ") else { continue };
            running = test.split(' ').next().unwrap_or("").to_string();
            if line.ends_with("FAILED") {
                child.kill().ok();
                child.wait().ok();
                return Some((Outcome::Caught, running));
            }
        }
        let status = child.wait().expect("it ends");
        let outcome = match status.signal() {
            Some(signal) if OUT_OF_TIME.contains(&signal) => Outcome::Timeout,
            _ => Outcome::Caught,
        };
        (!status.success()).then(|| (outcome, format!("after {running}")))
    }

    /// First what has noticed others in this file, each by itself; then the short ones together.
    fn short(&self, file: &str) -> Vec<Vec<usize>> {
        let telling = self.telling.lock().expect("not poisoned");
        let mut first: Vec<(usize, usize)> = Vec::new();
        if let Some(counts) = telling.get(file) {
            first = counts.iter().copied().enumerate().filter(|(_, n)| *n > 0).collect();
            let rate = |&(t, n): &(usize, usize)| n as f64 / (0.2 + self.tests[t].seconds);
            first.retain(|(t, _)| self.tests[*t].seconds <= SHORT_S);
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
        turns
    }

    /// The long ones, each by itself.
    fn long(&self) -> Vec<Vec<usize>> {
        let long = |t: &usize| self.tests[*t].seconds > SHORT_S;
        (0..self.tests.len()).filter(long).map(|t| vec![t]).collect()
    }

    /// What some tests make of one mutant.
    fn judge(&self, number: usize, file: &str, turns: Vec<Vec<usize>>) -> (Outcome, String) {
        for tests in turns {
            if let Some((outcome, test)) = self.run(number, &tests) {
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

    /// Tries the mutants of these numbers, and adds what comes of each to the file at `results`: all of
    /// them against the short tests, then what is left against the long ones.
    pub fn try_all(&self, mutants: &[Mutant], numbers: &[usize], jobs: usize, results: &Path) {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(results);
        let file = Mutex::new(file.expect("a file for the results"));
        let tell = |number: usize, (outcome, test): (Outcome, String)| {
            let line = format!("{}\t{}\t{test}\n", outcome.word(), mutants[number - 1].name);
            file.lock().expect("not poisoned").write_all(line.as_bytes()).expect("written");
        };
        let left = Mutex::new(Vec::new());
        each(jobs, numbers, |n| {
            let file = &mutants[n - 1].file;
            match self.judge(n, file, self.short(file)) {
                (Outcome::Missed, _) => left.lock().expect("not poisoned").push(n),
                noticed => tell(n, noticed),
            }
        });
        let mut left = left.into_inner().expect("not poisoned");
        left.sort_unstable();
        println!("{} are left for the long tests:", left.len());
        for n in &left {
            println!("    {}", mutants[n - 1].name);
        }
        each(jobs, &left, |n| tell(n, self.judge(n, &mutants[n - 1].file, self.long())));
    }
}

fn time_of(line: &str) -> Option<(&str, f64)> {
    let (name, seconds) = line.split_once('\t')?;
    Some((name, seconds.parse().ok()?))
}

/// Does it for each number, `jobs` at a time, and says now and then how far it is.
fn each(jobs: usize, numbers: &[usize], act: impl Fn(usize) + Sync) {
    let (next, begin) = (AtomicUsize::new(0), Instant::now());
    let work = || {
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(&n) = numbers.get(at) else { return };
            act(n);
            if (at + 1).is_multiple_of(20) {
                println!("{:6} s {}/{}", begin.elapsed().as_secs(), at + 1, numbers.len());
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..jobs {
            scope.spawn(work);
        }
    });
}
