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
const PATIENCE: f64 = 3.0;
/// Signals that end a process which has had its time.
const OUT_OF_TIME: [i32; 2] = [9, 24];
/// Tests that take no longer are run in one process.
const SHORT_S: f64 = 1.0;
/// Tests that are asked of each mutant by themselves, where they have noticed others, take no longer.
const QUICK_S: f64 = 0.3;
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
    /// Parts of the names of tests that are asked early.
    early: Vec<String>,
    /// By file: how many mutants each test was the first to notice.
    telling: Mutex<BTreeMap<String, Vec<usize>>>,
}

impl<'a> Suite<'a> {
    /// Lists the tests and runs each, but for those with a line in the file of times; all must pass.
    pub fn new(programs: &'a [Program], skip: &[String], times: &Path) -> Suite<'a> {
        let early = std::env::var("EARLY").unwrap_or_default();
        let early = early.split_whitespace().map(str::to_string).collect();
        let mut suite = Suite { programs, tests: Vec::new(), early, telling: Mutex::default() };
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

    /// What is asked at one of the stages: what has noticed others in this file, each by itself; once more, when
    /// more is known of that, with what has noticed most in all files; then those that are to be asked early,
    /// one a stage; then the short ones and the long ones, together.
    fn turns(&self, stage: usize, file: &str) -> Vec<Vec<usize>> {
        let named = |t: usize, part: &String| self.tests[t].name.contains(&**part);
        let early = |t: usize| self.early.iter().any(|part| named(t, part));
        match stage {
            0 => self.telling(&[file]),
            1 => self.telling(&[file, ""]),
            _ if stage - 2 < self.early.len() => {
                let part = &self.early[stage - 2];
                (0..self.tests.len()).filter(|&t| named(t, part)).map(|t| vec![t]).collect()
            }
            _ if stage + 1 < self.stages() => {
                self.each_program(|t| self.tests[t].seconds <= SHORT_S && !early(t))
            }
            _ => self.each_program(|t| self.tests[t].seconds > SHORT_S && !early(t)),
        }
    }

    fn stages(&self) -> usize {
        4 + self.early.len()
    }

    fn telling(&self, files: &[&str]) -> Vec<Vec<usize>> {
        let telling = self.telling.lock().expect("not poisoned");
        let mut turns: Vec<Vec<usize>> = Vec::new();
        for file in files {
            let Some(counts) = telling.get(*file) else { continue };
            let quick = |t: &usize| self.tests[*t].seconds <= QUICK_S && counts[*t] > 0;
            let mut found: Vec<usize> = (0..self.tests.len()).filter(quick).collect();
            let rate = |t: usize| counts[t] as f64 / (0.05 + self.tests[t].seconds);
            found.sort_by(|a, b| rate(*b).total_cmp(&rate(*a)));
            found.retain(|t| !turns.contains(&vec![*t]));
            turns.extend(found.into_iter().take(4).map(|t| vec![t]));
        }
        turns
    }

    /// These tests in one process a program, since they share what they build.
    fn each_program(&self, wanted: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
        let of = |program: usize| -> Vec<usize> {
            let own = (0..self.tests.len()).filter(|t| self.tests[*t].program == program);
            own.filter(|t| wanted(*t)).collect()
        };
        (0..self.programs.len()).map(of).filter(|tests| !tests.is_empty()).collect()
    }

    /// The test has noticed a mutant of the file.
    fn tells(&self, file: &str, test: usize) {
        let mut telling = self.telling.lock().expect("not poisoned");
        for file in [file, ""] {
            let none = || vec![0; self.tests.len()];
            telling.entry(file.to_string()).or_insert_with(none)[test] += 1;
        }
    }

    /// The same of what an earlier run has written down.
    fn recalls(&self, results: &str) {
        for line in results.lines() {
            let mut words = line.split('\t').skip(1);
            let (Some(mutant), Some(test)) = (words.next(), words.next()) else { continue };
            let file = mutant.split(':').next().unwrap_or_default();
            if let Some(test) = self.tests.iter().position(|t| t.name == test) {
                self.tells(file, test);
            }
        }
    }

    /// What some tests make of one mutant.
    fn judge(&self, number: usize, file: &str, stage: usize) -> (Outcome, String) {
        for tests in self.turns(stage, file) {
            if let Some((outcome, test)) = self.run(number, &tests) {
                let known = self.tests.iter().position(|t| t.name == test);
                if let (Outcome::Caught, Some(t)) = (outcome, known) {
                    self.tells(file, t);
                }
                return (outcome, test);
            }
        }
        (Outcome::Missed, String::new())
    }

    /// Tries the mutants of these numbers, and adds what comes of each to the file at `results`: all of
    /// them against the short tests, then what is left against the long ones.
    pub fn try_all(&self, mutants: &[Mutant], numbers: &[usize], jobs: usize, results: &Path) {
        self.recalls(&std::fs::read_to_string(results).unwrap_or_default());
        let append = |path: &Path, line: String| {
            let file = std::fs::OpenOptions::new().create(true).append(true).open(path);
            file.and_then(|mut file| file.write_all(line.as_bytes())).expect("written");
        };
        let tell = |number: usize, (outcome, test): (Outcome, String)| {
            let name = &mutants[number - 1].name;
            append(results, format!("{}\t{name}\t{test}\n", outcome.word()));
        };
        // What the earlier stages did not notice is known when a run goes on.
        let path = results.with_extension("passed");
        let known = std::fs::read_to_string(&path).unwrap_or_default();
        let known: BTreeSet<&str> = known.lines().collect();
        for stage in 0..self.stages() {
            let passed = |n: &usize| format!("{stage}\t{}", mutants[n - 1].name);
            let is_open = |n: &&usize| !known.contains(&*passed(n));
            let noticed = std::fs::read_to_string(results).unwrap_or_default();
            let noticed: BTreeSet<&str> =
                noticed.lines().filter_map(|l| l.split('\t').nth(1)).collect();
            let is_left = |n: &&usize| !noticed.contains(&*mutants[**n - 1].name);
            let open: Vec<usize> =
                numbers.iter().filter(is_open).filter(is_left).copied().collect();
            println!("stage {stage}: {} to try", open.len());
            each(jobs, &open, |n| match self.judge(n, &mutants[n - 1].file, stage) {
                (Outcome::Missed, _) if stage + 1 < self.stages() => {
                    append(&path, passed(&n) + "\n")
                }
                told => tell(n, told),
            });
        }
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
