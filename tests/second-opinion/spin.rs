//! Running the model checker spin on `interlock.pml`: it writes a program in C, gcc makes it,
//! and it searches. Both must be installed.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;
use std::process::Command;

use host_sim::driveline::{Driveline, Lock};
use host_sim::exact::{Matrix, Row};
use host_sim::explore::always::Always;
use host_sim::kinematics::{Kinematics, LockSet};
use host_sim::table::TableData;
use num_traits::Zero;

const MODEL: &str = include_str!("interlock.pml");

/// What a run of spin's checker says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Pan {
    /// States that it stored.
    pub(crate) stored: u64,
    /// Transitions: to stored and to known states.
    pub(crate) transitions: u64,
    /// Size of its state vector, bytes.
    pub(crate) state_bytes: u64,
    /// Memory that it took, MB.
    pub(crate) megabytes: f64,
    /// Properties of ours that are broken.
    pub(crate) broken: BTreeSet<Always>,
}

/// What the gears say of a driveline, as `driveline.h`: straight from the kinematics, but for the
/// host's choice of the lock that is let go first, and the times, which are the table's.
///
/// # Panics
/// When the driveline has a lock that the model does not have: a dog, or one without a switch.
pub(crate) fn header(d: &Driveline, k: &Kinematics, data: &TableData) -> String {
    assert!(data.locks.iter().all(|l| l.has_switch && !l.dog), "friction locks with a switch");
    let release = data.locks[0].release_ticks;
    assert!(data.locks.iter().all(|l| l.release_ticks == release), "one time for all");
    let mut out = String::new();
    let mut define = |name: &str, value: String| {
        writeln!(out, "#define {name} {value}").expect("writing to a string");
    };
    define("LOCKS", d.locks.len().to_string());
    define("MACHINES", d.machines.len().to_string());
    define("RELEASE", release.to_string());
    define("DEBOUNCE", data.timing.debounce.to_string());
    define("CONFLICTS", k.conflicts.len().to_string());
    // Of every lock set, from its own motions and not from the smallest sets.
    let forbidden = |set: usize| u8::from(k.sets[set].verdict.is_forbidden());
    define("FORBIDDEN(s)", by_number("s", k.sets.len(), |set| forbidden(set).to_string()));
    let sets: Vec<u8> = k.conflicts.iter().map(|c| c.locks).collect();
    define("CONFLICT(c)", by_number("c", sets.len(), |c| sets[c].to_string()));
    let first = |c: usize| data.conflicts[c].release_first.to_string();
    define("RELEASE_FIRST(c)", by_number("c", sets.len(), first));
    let with = sets.iter().map(|set| format!("(((f) & {set}) && within({set}, s))"));
    define("FORBIDDEN_WITH(f, s)", any(with));
    let joined = |set| u8::from(engine_joined(d, &k.sets[set])).to_string();
    define("ENGINE_JOINED(s)", by_number("s", k.sets.len(), joined));
    define("OVERLAPS(s)", any(k.overlaps.iter().map(|o| format!("within({}, s)", o.locks))));
    let held = k.overlaps.iter().map(|o| {
        let machines = o.machines.iter().fold(0, |bits, m| bits | 1u32 << m);
        format!("(((f) & {0}) && within({0}, s) -> {machines} : 0)", o.locks)
    });
    let held: Vec<String> = std::iter::once("0".to_string()).chain(held).collect();
    define("HELD_BY(f, s)", format!("({})", held.join(" | ")));
    define("NO_SLIP(s)", by_number("s", k.sets.len(), |set| no_slip(d, &k.sets[set]).to_string()));
    define("AT_REST(s)", by_number("s", k.sets.len(), |set| at_rest(d, &k.sets[set]).to_string()));
    out
}

/// Whether the engine's speed follows from those of the output and of the other machines: it adds
/// no independent row to theirs.
fn engine_joined(d: &Driveline, set: &LockSet) -> bool {
    let Some((engine, _)) = d.engine() else { return false };
    let row = |shaft: usize| -> Row { set.basis.iter().map(|n| n[shaft].clone()).collect() };
    let others = (0..d.machines.len()).filter(|m| *m != engine).map(|m| d.machines[m].shaft);
    let others = others.chain([d.output.shaft]).map(row).collect();
    let mut rows = Matrix::new(set.basis.len(), others);
    let rank = rows.rank();
    rows.push(row(d.machines[engine].shaft));
    rows.rank() == rank
}

/// Locks whose two sides turn alike in every motion, a bit each.
fn no_slip(d: &Driveline, set: &LockSet) -> u8 {
    let still = |lock: &Lock| {
        set.basis.iter().all(|speeds| match lock.b {
            Some(b) => speeds[lock.a] == speeds[b],
            None => speeds[lock.a].is_zero(),
        })
    };
    bits(d.locks.iter().map(still))
}

/// Machines whose shafts turn in no motion, a bit each.
fn at_rest(d: &Driveline, set: &LockSet) -> u8 {
    bits(d.machines.iter().map(|m| set.basis.iter().all(|speeds| speeds[m.shaft].is_zero())))
}

fn bits(members: impl Iterator<Item = bool>) -> u8 {
    members.enumerate().fold(0, |bits, (i, member)| bits | u8::from(member) << i)
}

/// Whether one of these holds, as an expression; none does not.
fn any(of: impl Iterator<Item = String>) -> String {
    format!("({})", std::iter::once("0".to_string()).chain(of).collect::<Vec<_>>().join(" || "))
}

/// One of `count` values by a number, as an expression.
fn by_number(number: &str, count: usize, value: impl Fn(usize) -> String) -> String {
    (0..count)
        .rev()
        .fold("0".to_string(), |rest, n| format!("(({number}) == {n} -> {} : {rest})", value(n)))
}

/// Make the checker in `folder`, with these definitions.
///
/// # Panics
/// When spin or gcc is missing or fails.
pub(crate) fn make(folder: &Path, header: &str, defines: &[&str]) {
    std::fs::create_dir_all(folder).expect("a folder");
    std::fs::write(folder.join("driveline.h"), header).expect("a header");
    std::fs::write(folder.join("interlock.pml"), MODEL).expect("a model");
    call(folder, "spin", &[&["-a"], defines, &["interlock.pml"]].concat());
    // The warnings are about C that spin wrote.
    call(folder, "gcc", &["-w", "-O2", "-DSAFETY", "-DNOREDUCE", "-o", "pan", "pan.c"]);
}

/// Run the checker that was made in `folder`.
///
/// # Panics
/// When the run does not search everything.
pub(crate) fn search(folder: &Path) -> Pan {
    let pan = folder.join("pan");
    // No limit on errors; a search that is cut off says so and is no result.
    let said = call(folder, pan.to_str().expect("a path in UTF-8"), &["-c0", "-m1000000", "-w20"]);
    assert!(said.contains("Full statespace search"), "{said}");
    for cut in ["max search depth too small", "Search not completed", "out of memory"] {
        assert!(!said.contains(cut), "{cut}:\n{said}");
    }
    parsed(&said)
}

fn call(folder: &Path, program: &str, arguments: &[&str]) -> String {
    let out = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e} (install spin and gcc)"));
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{program} {arguments:?}: {}\n{said}{errors}", out.status);
    said
}

fn parsed(said: &str) -> Pan {
    // The number before, or after, some words.
    let before = |words: &str| number(said, words, |line| line.split(words).next());
    let after = |words: &str| number(said, words, |line| line.split(words).nth(1));
    let is_broken =
        |always: &Always| said.contains(&format!("violated  !((verdict&{}))", always.bit()));
    let broken: BTreeSet<Always> = Always::ALL.into_iter().filter(is_broken).collect();
    assert_eq!(
        after("errors:") > 0.0,
        !broken.is_empty(),
        "an error that is none of ours:\n{said}"
    );
    Pan {
        stored: before(" states, stored") as u64,
        transitions: before(" transitions (=") as u64,
        state_bytes: after("State-vector ") as u64,
        megabytes: before("total actual memory usage"),
        broken,
    }
}

fn number<'a>(said: &'a str, words: &str, part: impl Fn(&'a str) -> Option<&'a str>) -> f64 {
    let line = said.lines().find(|line| line.contains(words));
    let word = line.and_then(part).and_then(|text| text.split_whitespace().next());
    let found = word.and_then(|word| word.parse().ok());
    found.unwrap_or_else(|| panic!("no number at {words:?} in\n{said}"))
}
