//! All mutants of some modules in one program: `all-mutants LIST PLAIN WOVEN RESULTS [SKIP..]`.
//!
//! LIST is what `cargo mutants --list --json` says of the workspace at PLAIN. WOVEN becomes a copy of it in
//! which each mutant is chosen at run time; so it is compiled once, and may be optimised.
//! RESULTS gets a line for each mutant: `caught`, `timeout` or `missed`, its name, and the test that told.
//! RESULTS.left names those that the compiler does not take as a choice at run time: they are for
//! cargo-mutants itself. What has a line already is not tried again. Tests whose name holds a SKIP are not run. `JOBS` (2) mutants at a time;
//! `EARLY` names tests that notice much before they take their time; `ONLY`, a file of names, limits what is
//! tried.

use std::collections::BTreeSet;
use std::path::Path;

mod build;
mod list;
mod places;
mod trial;
mod weave;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [json, plain, root, results, skip @ ..] = &args[..] else {
        eprintln!("usage: all-mutants LIST PLAIN WOVEN RESULTS [SKIP..]");
        std::process::exit(2);
    };
    let (root, results) = (Path::new(root), Path::new(results));
    let (mutants, sources) = list::read(Path::new(json), Path::new(plain));
    let left = results.with_extension("left");
    let known = std::fs::read_to_string(&left).unwrap_or_default();
    let known: BTreeSet<&str> = known.lines().collect();
    build::copied(Path::new(plain), root, &sources);
    let viable = build::woven(root, &mutants, &sources, &known);
    let not: Vec<usize> = (1..=mutants.len()).filter(|n| !viable.contains(n)).collect();
    let not: String = not.iter().map(|n| mutants[n - 1].name.clone() + "\n").collect();
    std::fs::write(left, not).expect("written");
    println!("{} of {} mutants in one program", viable.len(), mutants.len());
    let programs = build::tests(root);
    let known = std::fs::read_to_string(results).unwrap_or_default();
    let known: BTreeSet<&str> = known.lines().filter_map(|l| l.split('\t').nth(1)).collect();
    let only = std::env::var("ONLY").ok();
    let only = only.map(|path| std::fs::read_to_string(path).expect("a list of names"));
    let only: Option<BTreeSet<&str>> = only.as_ref().map(|text| text.lines().collect());
    let open = |n: &usize| {
        let name = &*mutants[n - 1].name;
        !known.contains(name) && only.as_ref().is_none_or(|only| only.contains(name))
    };
    let mut numbers: Vec<usize> = viable.iter().copied().filter(open).collect();
    // In no order, so that what a run that is cut short has tried is a fair sample.
    numbers.sort_by_key(|n| (*n as u32).wrapping_mul(0x9e37_79b9));
    println!("{} to try", numbers.len());
    if !numbers.is_empty() {
        let jobs = std::env::var("JOBS").map_or(2, |n| n.parse().expect("a number of jobs"));
        let times = results.with_extension("times");
        trial::Suite::new(&programs, skip, &times).try_all(&mutants, &numbers, jobs, results);
    }
}
