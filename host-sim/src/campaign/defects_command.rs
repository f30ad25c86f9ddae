//! The command `slipwarden campaign --defects`.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde_json::{Value, json};

use super::defects::{Ended, Trial, Tried, defects, try_all};
use super::world::World;
use crate::explore::command::{INCONCLUSIVE, Stop};
use crate::explore::defects::run::sample;
use crate::input::print;
use crate::review::Subject;

/// Version of the format of the JSON.
pub const DEFECTS_FORMAT: u64 = 1;
/// Seeds whose median is taken.
const SEEDS: u64 = 3;
/// Share of the defects that must be found.
const FOUND_SHARE: f64 = 0.98;

/// What to try.
#[derive(Clone, Debug)]
pub struct DefectOptions {
    /// Driveline file or demo.
    pub file: String,
    /// Most cases for each defect and seed.
    pub cases: u64,
    /// First seed; two more follow.
    pub seed: u64,
    /// Faults in each case.
    pub faults: u8,
    /// Threads; none for as many as the machine has.
    pub threads: Option<usize>,
    /// Try only so many, spread evenly over the list.
    pub sample: Option<usize>,
    /// JSON for programs.
    pub json: bool,
}

/// Try planted defects. Returns the exit code: 0 at least 98 % were found under every seed, 1
/// fewer, 2 misuse, 3 stopped early.
pub fn campaign_defects(options: &DefectOptions) -> i32 {
    let subject = match Subject::read(&options.file, options.seed) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    eprintln!("seed {}", options.seed);
    let world = World::new(subject);
    let list = defects(&world);
    let chosen = sample(list.len(), options.sample.unwrap_or(list.len()));
    let seeds: Vec<u64> = (0..SEEDS).map(|i| options.seed.wrapping_add(i)).collect();
    let trial = Trial { seeds: &seeds, cases: options.cases, faults: options.faults };
    let all = || std::thread::available_parallelism().map_or(1, |n| n.get());
    let threads = options.threads.unwrap_or_else(all);
    let stop = Stop::new();
    let mut shown = 0;
    let tried = try_all(&world, &list, &chosen, (trial, threads), |done| {
        if done >= shown + chosen.len().div_ceil(20).max(1) {
            shown = done;
            eprintln!("{done} of {} defects", chosen.len());
        }
        !stop.is_asked()
    });
    let tried = match tried {
        Ok(tried) => tried,
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    let whole = tried.len() == chosen.len();
    let score = Score {
        driveline: &world.driveline().name,
        table_hash: world.table.hash,
        trial,
        all: list.len(),
        tried: &tried,
    };
    let out = match options.json {
        true => format!("{:#}\n", score.json(whole)),
        false => score.text(whole),
    };
    match (print(&out), whole, score.share() >= FOUND_SHARE) {
        (0, false, _) => INCONCLUSIVE,
        (0, true, false) => 1,
        (code, ..) => code,
    }
}

pub(crate) struct Score<'a> {
    pub(crate) driveline: &'a str,
    pub(crate) table_hash: u32,
    pub(crate) trial: Trial<'a>,
    pub(crate) all: usize,
    pub(crate) tried: &'a [Tried],
}

/// What came of the defects of one kind.
#[derive(Default)]
struct OfKind<'a> {
    tried: usize,
    found: usize,
    /// Medians of those found.
    cases: Vec<u64>,
    rules: Vec<&'a str>,
}

impl Score<'_> {
    fn found(&self) -> usize {
        self.tried.iter().filter(|t| t.is_found()).count()
    }

    fn share(&self) -> f64 {
        self.found() as f64 / self.tried.len().max(1) as f64
    }

    fn text(&self, whole: bool) -> String {
        let mut out = String::new();
        // Writing to a string cannot fail.
        let _ = self.write(&mut out, whole);
        out
    }

    fn write(&self, out: &mut String, whole: bool) -> std::fmt::Result {
        writeln!(
            out,
            "planted defects of {}: {} of {} tried, {} cases at most under each of {} seeds, {} \
             faults a case{}",
            self.driveline,
            self.tried.len(),
            self.all,
            self.trial.cases,
            self.trial.seeds.len(),
            self.trial.faults,
            if whole { "" } else { " (STOPPED EARLY)" }
        )?;
        writeln!(out, "found under every seed: {} ({:.1} %)", self.found(), 100.0 * self.share())?;
        let mut kinds: BTreeMap<&str, OfKind> = BTreeMap::new();
        for tried in self.tried {
            let kind = kinds.entry(&tried.what[0]).or_default();
            kind.tried += 1;
            kind.found += usize::from(tried.is_found());
            kind.cases.extend(tried.median().map(|m| m.0));
            for ended in &tried.ended {
                let rule = match ended {
                    Ended::Refused => "the board",
                    Ended::Found { rule, .. } => rule,
                    Ended::Missed => continue,
                };
                if !kind.rules.contains(&rule) {
                    kind.rules.push(rule);
                }
            }
        }
        writeln!(
            out,
            "\n  {:<28} {:>5} {:>5} {:>12}  by",
            "kind", "tried", "found", "median cases"
        )?;
        for (kind, OfKind { tried, found, mut cases, rules }) in kinds {
            cases.sort_unstable();
            let median = cases.get(cases.len() / 2).map_or("-".to_string(), u64::to_string);
            writeln!(out, "  {kind:<28} {tried:>5} {found:>5} {median:>12}  {}", rules.join(", "))?;
        }
        let missed: Vec<&Tried> = self.tried.iter().filter(|t| !t.is_found()).collect();
        if !missed.is_empty() {
            writeln!(out, "\nnot found under every seed")?;
        }
        for tried in missed {
            let [kind, place, change] = &tried.what;
            let found = tried.ended.iter().filter(|e| **e != Ended::Missed).count();
            writeln!(out, "  {kind}, {place}, {change}: {found} of {}", tried.ended.len())?;
        }
        Ok(())
    }

    pub(crate) fn json(&self, whole: bool) -> Value {
        let ended = |e: &Ended| match e {
            Ended::Refused => json!({ "by": "board", "cases": 0, "ticks": 0 }),
            Ended::Found { rule, cases, ticks } => {
                json!({ "by": rule, "cases": cases, "ticks": ticks })
            }
            Ended::Missed => Value::Null,
        };
        let tried = self.tried.iter().map(|t| {
            json!({
                "number": t.number,
                "kind": t.what[0], "place": t.what[1], "change": t.what[2],
                "found": t.is_found(),
                "median_cases": t.median().map(|m| m.0),
                "median_ticks": t.median().map(|m| m.1),
                "by_seed": t.ended.iter().map(ended).collect::<Vec<_>>(),
            })
        });
        json!({
            "campaign_defects": DEFECTS_FORMAT,
            "driveline": self.driveline,
            "table_hash": format!("{:08x}", self.table_hash),
            "seeds": self.trial.seeds,
            "cases": self.trial.cases,
            "faults": self.trial.faults,
            "defects": self.all,
            "whole": whole,
            "found": self.found(),
            "found_share": self.share(),
            "tried": tried.collect::<Vec<_>>(),
        })
    }
}
