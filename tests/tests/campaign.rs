//! Campaigns from inside: where chance comes from, cases as scenario files, damaged results,
//! a planted defect that is found, told and shrunk.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use host_sim::campaign::{
    Case, Court, Header, Results, ResultsError, Shard, Share, Stream, Tally, World, case,
    case_seed, kinds, merge, read_results, run, scenario_text, shrink,
};
use host_sim::drive::scenario;
use host_sim::driveline::DEMOS;
use host_sim::review::Subject;
use slipwarden_tests::random::Dice;
use supervisor::hash::table_hash;

fn world(demo: &str) -> World {
    World::new(Subject::read(demo, 1).expect("an embedded demo"))
}

/// A second SplitMix64, written apart from the plant's.
#[test]
fn seeds_come_from_the_published_generator() {
    let first = |seed: u64| Dice::new(seed).bits();
    for seed in [0, 1, 2, 0x1234_5678_9abc_def0, u64::MAX] {
        for number in [0, 1, 2, 127, 128, 1 << 40, u64::MAX] {
            let mixed = first(seed) ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
            let own = first(mixed) / 2048;
            assert_eq!(case_seed(seed, number), own, "{seed} {number}");
            assert!(own < 1 << 53, "a number of JSON holds it");
            let parts =
                [Stream::Drive, Stream::Requests, Stream::Faults, Stream::Plant, Stream::Aim];
            for (part, stream) in (1..).zip(parts) {
                let mut expected = Dice::new(first(own ^ (part << 56)));
                let mut given = stream.of(own);
                assert_eq!(
                    (given.next_u64(), given.next_u64()),
                    (expected.bits(), expected.bits())
                );
            }
        }
    }
}

/// Cases side by side come to the same as each by itself, whatever their number: plants to the bit,
/// findings, margins, cells.
#[test]
fn cases_side_by_side_come_to_what_each_comes_to_by_itself() {
    let go_on = AtomicBool::new(false);
    for (demo, faults) in DEMOS.into_iter().zip([1, 2, 3]) {
        let world = world(demo);
        let prepared = world.prepared().expect("complete");
        let short = |number| {
            let mut case = case(&world, 11, faults, number);
            // Different lengths: a place that is free is taken by the next case.
            case.setup.duration_s = case.setup.duration_s.min(1.0 + number as f64 * 0.3);
            case
        };
        let cases: Vec<Case> = (0..12).map(short).collect();
        let mut court = Court::new(&world, &prepared);
        let alone: Vec<_> = cases.iter().map(|case| court.judge(case)).collect();
        assert!(alone.iter().flatten().any(|judged| !judged.cells.is_empty()), "{demo}");
        for at_once in [1, 3, 5, 64] {
            let beside = court.judge_each(&cases, at_once, &go_on).expect("goes to its end");
            assert_eq!(beside, alone, "{demo}, {at_once} at once");
        }
        let stop = AtomicBool::new(true);
        assert_eq!(court.judge_each(&cases, 3, &stop), None, "{demo}");
    }
}

/// Every part of a case is what its scenario file says: same drive, same plant.
#[test]
fn cases_read_back_from_their_scenarios_as_they_were() {
    for demo in DEMOS {
        let world = world(demo);
        let d = world.driveline();
        let mut said = BTreeSet::new();
        for number in 0..1500 {
            let case = case(&world, 7, 3, number);
            let text = scenario_text(d, &case, "a-case", "A case.");
            let read = scenario::parse("case.toml", &text, d)
                .unwrap_or_else(|e| panic!("{demo} {number}:\n{}\n{text}", e.render(false)));
            assert_eq!(read.setup, case.setup, "{demo} {number}:\n{text}");
            assert_eq!(read.seed, Some(case.plant_seed), "{demo} {number}");
            let kind = |l: &str| l.strip_prefix("kind = ").map(|w| w.trim_matches('"').to_string());
            said.extend(text.lines().filter_map(kind));
        }
        let mut all: BTreeSet<String> = kinds(d).iter().map(|k| k.word.to_string()).collect();
        all.extend(["reset".to_string(), "cold-reset".to_string()]);
        assert_eq!(said, all, "{demo}: every kind of fault is drawn and written");
    }
}

/// A margin is held against one limit in all cases, or sums would depend on their order.
#[test]
fn a_limit_is_the_same_in_every_case() {
    for demo in DEMOS {
        let world = world(demo);
        let prepared = world.prepared().expect("demos have all");
        let mut court = Court::new(&world, &prepared);
        let mut limits = BTreeMap::new();
        for number in 0..60 {
            let case = case(&world, 3, 2, number);
            for m in court.judge(&case).map_or(Vec::new(), |j| j.margins) {
                let key = (m.rule, m.subject, m.unit);
                let limit = *limits.entry(key.clone()).or_insert((m.limit, m.at_least));
                assert_eq!(limit, (m.limit, m.at_least), "{demo} {number}: {key:?}");
            }
        }
        assert!(limits.len() > 10, "{demo}: {limits:?}");
    }
}

/// A folder that goes when it is dropped.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("slipwarden-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder");
        Folder(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A results file of three small blocks; what the cases did does not matter here.
fn results_file(folder: &Folder) -> PathBuf {
    let world = world("axle");
    let header = Header::new(&world, 1, 300, 0, Shard::WHOLE);
    let path = folder.0.join("small.results");
    let mut results = Results::begin(&path, &header).expect("begun");
    for (block, cases) in [(0, 128), (2, 44), (1, 128)] {
        let tally = Tally { cases, ticks: 1000 + block, digest: block, ..Tally::default() };
        results.append(block, &tally).expect("appended");
    }
    path
}

/// No flipped bit and no cut anywhere gives a wrong sum: it is refused, or the end is left out.
#[test]
fn damage_anywhere_is_refused_or_left_out() {
    let folder = Folder::new("damage");
    let path = results_file(&folder);
    let good = std::fs::read(&path).expect("it is there");
    let whole = read_results(&path).expect("it is whole");
    assert_eq!((whole.blocks.len(), whole.torn_bytes), (3, 0));
    let ends: Vec<usize> = (0..good.len()).filter(|&i| good[i] == b'\n').map(|i| i + 1).collect();
    let [head, first, second, _] = ends[..] else { panic!("four lines: {ends:?}") };
    let read = |bytes: &[u8]| {
        std::fs::write(&path, bytes).expect("written");
        read_results(&path)
    };
    for at in 0..good.len() {
        let mut bad = good.clone();
        bad[at] ^= 1 << (at % 8);
        match read(&bad) {
            Err(ResultsError::Damaged(..)) => assert!(at < second, "{at}"),
            Err(error) => panic!("{at}: {error}"),
            Ok(reading) => {
                // Without the line feed between them the last two lines are one.
                let from = if at == second - 1 { first } else { second };
                assert!(at >= second - 1, "{at}: a flipped bit went unseen");
                assert_eq!(reading.torn_bytes, (good.len() - from) as u64, "{at}");
                assert_eq!(reading.whole_bytes, from as u64);
            }
        }
    }
    for at in 0..good.len() {
        match read(&good[..at]) {
            Err(ResultsError::Damaged(..)) => assert!(at < head, "{at}"),
            Err(error) => panic!("{at}: {error}"),
            Ok(reading) => {
                let from = *ends.iter().rev().find(|&&end| end <= at).expect("the head is whole");
                assert_eq!(
                    (reading.whole_bytes, reading.torn_bytes),
                    (from as u64, (at - from) as u64)
                );
            }
        }
    }
}

/// A head that no campaign has is refused, whole though its checksum is.
#[test]
fn a_head_that_cannot_be_is_refused() {
    let folder = Folder::new("heads");
    let world = world("axle");
    for (name, cases) in [("most", 1_000_000_000_000), ("more", u64::MAX)] {
        let path = folder.0.join(name);
        Results::begin(&path, &Header::new(&world, 1, cases, 0, Shard::WHOLE)).expect("begun");
        let read = read_results(&path);
        match name {
            "most" => assert_eq!(read.expect("it is whole").header.cases, cases),
            _ => assert!(matches!(read, Err(ResultsError::Damaged(..))), "{read:?}"),
        }
    }
}

/// Shares add up to the whole, whatever the order in which they are named and blocks were done.
#[test]
fn shares_add_up() {
    let folder = Folder::new("shares");
    let world = world("axle");
    let sums = |of: u64, threads: usize| {
        let mut paths = Vec::new();
        for index in 0..of {
            let shard = Shard::new(index, of).expect("a share");
            let share = Share { seed: 9, cases: 135, faults: 2, shard };
            let path = folder.0.join(format!("{index}-{of}-{threads}.results"));
            let header = Header::new(&world, share.seed, share.cases, share.faults, shard);
            let mut results = Results::begin(&path, &header).expect("begun");
            // From the last block to the first.
            let left: Vec<u64> = (0..share.blocks()).rev().collect();
            run(&world, &share, &left, threads, |block| {
                if let Some((number, tally)) = block {
                    results.append(number, tally).expect("appended");
                }
                true
            })
            .expect("demos have all");
            paths.insert(0, path);
        }
        let merged = merge(&paths, |_, _| panic!("nothing is torn")).expect("they belong together");
        assert!(merged.is_whole());
        merged.tally
    };
    let one = sums(1, 1);
    assert_eq!(one.cases + one.not_run, 135);
    assert_eq!(one, sums(2, 2));
}

/// The first case that a supervisor with this table breaks a rule in.
fn first_finding(world: &World, rule: &str, most: u64) -> Option<(Case, String)> {
    let prepared = world.prepared().expect("demos have all");
    let mut court = Court::new(world, &prepared);
    (0..most).find_map(|number| {
        let case = case(world, 1, 1, number);
        let judged = court.judge(&case).ok()?;
        let found = judged.findings.into_iter().find(|f| f.rule == rule)?;
        Some((case, found.text))
    })
}

/// A table that aims beside zero slip and lets locks close there: found, and shrunk to a
/// scenario that still shows it.
#[test]
fn a_planted_defect_is_found_and_shrunk() {
    let sound = world("shuttle");
    let mut table = sound.table.clone();
    for lock in &mut table.locks {
        (lock.slip_max, lock.begin_max) = (20.0 * lock.slip_max, 20.0 * lock.begin_max);
    }
    table.steps.iter_mut().for_each(|step| step.target_offset += 30.0);
    table.hash = table_hash(&table.table());
    let broken = sound.with_table(table);
    assert_eq!(first_finding(&sound, "SW-SLIP", 40), None, "without the defect nothing is found");
    let (whole, text) = first_finding(&broken, "SW-SLIP", 40).expect("it is found");
    let (small, finding) = shrink(&broken, &whole, "SW-SLIP", &|| true).expect("it repeats");
    assert_eq!(finding.rule, "SW-SLIP");
    let size = |case: &Case| {
        let setup = &case.setup;
        (setup.faults.len(), setup.requests.len(), (setup.duration_s * 1e3) as u64)
    };
    let (before, after) = (size(&whole), size(&small));
    assert!(
        after.0 == 0 && after.1 <= before.1 && after.2 < before.2,
        "{before:?} {after:?}: {text}"
    );
    // What is left reads back as itself and breaks the rule in the very same way.
    let d = broken.driveline();
    let written = scenario_text(d, &small, "small", &finding.text);
    let read = scenario::parse("small.toml", &written, d).expect("a scenario");
    assert_eq!((&read.setup, read.seed), (&small.setup, Some(small.plant_seed)));
    let again = Case { setup: read.setup, ..small.clone() };
    let judged = |world: &World| {
        let prepared = world.prepared().expect("demos have all");
        Court::new(world, &prepared).judge(&again).expect("it starts").findings
    };
    assert!(judged(&broken).contains(&finding), "{:?}", judged(&broken));
    // It is the defect: the sound table has nothing to answer for in the same drive.
    assert!(judged(&sound).iter().all(|f| f.rule != "SW-SLIP"), "{:?}", judged(&sound));
    assert!(shrink(&sound, &whole, "SW-SLIP", &|| true).is_none(), "nothing to shrink");
}

/// What the page says of each kind of fault is what is drawn.
#[test]
fn the_page_names_every_kind_of_fault_with_its_range() {
    let page = slipwarden_tests::source::read("docs/campaign.md");
    for demo in DEMOS {
        for kind in kinds(world(demo).driveline()) {
            let row = format!("| `{}` |", kind.word);
            let row = page.lines().find(|l| l.starts_with(&row));
            let row = row.unwrap_or_else(|| panic!("{} is not on the page", kind.word));
            // Drag is a share of each lock's own torque.
            let range = match (kind.word, kind.values) {
                ("lock-drag", _) => "1 to 30 %".to_string(),
                (_, Some((low, high))) => format!("{low} to {high}"),
                (_, None) => "–".to_string(),
            };
            assert!(row.contains(&format!("| {range}")), "{row}: {range}");
            assert_eq!(row.contains("either sign"), kind.signed, "{row}");
        }
    }
}
