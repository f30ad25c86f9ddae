//! The interlock over its whole input space, against the rule as the kinematics state it.
//!
//! The oracle reads no conflict table: it asks the exact kinematics of every lock set. For
//! three locks every input is tried. For the railcar's five the space (2^33) is split: what
//! passes is the union of what is kept, which depends on (wanted, granted, surely held,
//! releasing), and of what begins, which depends on (wanted, granted, maybe closed, ready,
//! at rest). The full enumeration for three locks shows that split, random samples of the
//! whole space confirm it for five, and each part is enumerated whole.

use host_sim::driveline::{self, Driveline};
use host_sim::kinematics::{self, Kinematics};
use host_sim::table::{self, TableData};
use slipwarden_tests::random::Dice;
use supervisor::bits::Bits;
use supervisor::interlock::{Seen, pass};
use supervisor::table::Table;

struct Demo {
    data: TableData,
    rule: Rule,
    locks: u32,
    machines: u32,
}

fn demo(name: &str) -> Demo {
    let d = driveline::parse(name, driveline::demo(name).expect("embedded")).expect("valid");
    let d = d.driveline;
    let k = kinematics::analyse(&d).expect("moves");
    let data = table::build(&d, &k).expect("has a table");
    let (locks, machines) = (d.locks.len() as u32, d.machines.len() as u32);
    Demo { data, rule: Rule::new(&d, &k, locks), locks, machines }
}

/// The rule, from the verdicts of all lock sets alone.
struct Rule {
    /// `[lock][set]`: whether closing `lock` completes a forbidden set among `set`.
    completes: Vec<Vec<bool>>,
    /// `[lock][set]`: machines that closing `lock` comes to hold among `set`.
    holds: Vec<Vec<u8>>,
    /// `[set]`: whether it holds a machine while the engine is joined to a lock or gear.
    strains: Vec<bool>,
    /// Minimal forbidden sets.
    minimal: Vec<u8>,
}

impl Rule {
    fn new(d: &Driveline, k: &Kinematics, locks: u32) -> Rule {
        let joined = |s: u8| {
            let engine = d.engine().map(|(machine, _)| d.machines[machine].shaft);
            let in_gear = d
                .planetaries
                .iter()
                .any(|p| [p.sun, p.ring, p.carrier].iter().any(|&shaft| Some(shaft) == engine))
                || d.gear_pairs.iter().any(|g| Some(g.a) == engine || Some(g.b) == engine);
            let by_lock = |l: u32| {
                let row = kinematics::lock_row(d, l as usize);
                engine.is_some_and(|shaft| *row[shaft].numer() != 0.into())
            };
            engine.is_some() && (in_gear || (0..locks).any(|l| s >> l & 1 == 1 && by_lock(l)))
        };
        let sets = 0..1u8 << locks;
        let forbidden = |s: u8| k.set(s).verdict.is_forbidden();
        let held = |s: u8| k.set(s).held_machines.iter().fold(0u8, |b, &m| b | 1 << m);
        let per_lock = |lock: u32, set: u8| {
            let with = set | 1 << lock;
            let subsets = sets.clone().filter(move |t| t & !with == 0 && t >> lock & 1 == 1);
            subsets.fold((false, 0u8), |(completes, holds), t| {
                let before = t & !(1 << lock);
                let new = held(t) & !held(before);
                (
                    completes || forbidden(t) && !forbidden(before),
                    holds | if forbidden(t) { 0 } else { new },
                )
            })
        };
        let minimal = sets.clone().filter(|&s| {
            forbidden(s) && (0..locks).all(|l| s >> l & 1 == 0 || !forbidden(s & !(1 << l)))
        });
        Rule {
            completes: (0..locks)
                .map(|l| sets.clone().map(|s| per_lock(l, s).0).collect())
                .collect(),
            holds: (0..locks).map(|l| sets.clone().map(|s| per_lock(l, s).1).collect()).collect(),
            strains: sets
                .clone()
                .map(|s| {
                    let holds = |t: u8| t & !s == 0 && !forbidden(t) && held(t) != 0;
                    joined(s) && sets.clone().any(holds)
                })
                .collect(),
            minimal: minimal.collect(),
        }
    }

    /// What is wrong with `passed`, if anything.
    fn judge(&self, seen: &Seen, passed: Bits) -> Option<&'static str> {
        let (wanted, granted, passed) = (seen.wanted.0, seen.granted.0, passed.0);
        let new = wanted & !granted;
        if passed & !wanted != 0 {
            return Some("it closed what nobody wanted");
        }
        // What begins.
        let may = new.count_ones() == 1 && {
            let lock = new.trailing_zeros() as usize;
            let around = usize::from(seen.maybe_closed.0 | granted | new);
            seen.ready.0 & new == new
                && !self.completes[lock][around]
                && self.holds[lock][around] & !seen.at_rest.0 == 0
                && !self.strains[around]
        };
        if passed & new != if may { new } else { 0 } {
            return Some(if may {
                "it denied what the rule permits"
            } else {
                "it began a closing"
            });
        }
        // What is kept.
        let dropped = wanted & granted & !passed;
        let held = |t: u8| t & !seen.surely_held.0 == 0;
        let mut excess = dropped;
        for &t in self.minimal.iter().filter(|&&t| held(t)) {
            let going_anyway = t & (granted & !wanted | seen.releasing.0 & !(wanted & granted));
            if going_anyway == 0 {
                if t & wanted & granted != 0 && t & dropped == 0 {
                    return Some("it kept a conflict");
                }
                excess &= !t;
            }
        }
        if excess != 0 {
            return Some("it let go of a lock without need");
        }
        // One a conflict: never more than there are conflicts.
        let conflicts = self.minimal.iter().filter(|&&t| held(t)).count() as u32;
        (dropped.count_ones() > conflicts).then_some("it let go of more than one a conflict")
    }
}

type Gate = fn(&Table, &Seen) -> Bits;

/// The whole space for a driveline of three locks; returns how many inputs, and what the oracle
/// has against the gate.
fn whole_of_three(demo: &Demo, gate: Gate) -> (u64, Option<String>) {
    assert_eq!(demo.locks, 3);
    let table = demo.data.table();
    let total = 1u64 << (18 + demo.machines);
    for x in 0..total {
        let part = |n: u32| Bits((x >> (3 * n) & 7) as u8);
        let seen = Seen {
            wanted: part(0),
            granted: part(1),
            maybe_closed: part(2),
            surely_held: part(3),
            releasing: part(4),
            ready: part(5),
            at_rest: Bits((x >> 18) as u8),
        };
        let passed = gate(&table, &seen);
        if let Some(what) = demo.rule.judge(&seen, passed) {
            return (x, Some(format!("{what}: {seen:?} -> {passed:?}")));
        }
        // The split that the five-lock enumeration rests on.
        let kept = gate(&table, &Seen { maybe_closed: Bits(0), ready: Bits(0), ..seen });
        let begun = gate(&table, &Seen { surely_held: Bits(0), releasing: Bits(0), ..seen });
        let new = seen.wanted.without(seen.granted);
        if passed != kept.without(new).or(begun.and(new)) {
            return (x, Some(format!("the two parts are not independent: {seen:?}")));
        }
    }
    (total, None)
}

/// Both parts of the five-lock space, each whole.
fn parts_of_five(demo: &Demo, gate: Gate) -> (u64, Option<String>) {
    assert_eq!(demo.locks, 5);
    let table = demo.data.table();
    let mut count = 0;
    let judge = |seen: Seen| {
        let passed = gate(&table, &seen);
        let wrong = demo.rule.judge(&seen, passed);
        wrong.map(|what| format!("{what}: {seen:?} -> {passed:?}"))
    };
    for x in 0..1u32 << 20 {
        let part = |n: u32| Bits((x >> (5 * n) & 31) as u8);
        for y in 0..1u8 << demo.machines {
            let base = Seen { wanted: part(0), granted: part(1), ..Seen::default() };
            let begin = Seen { maybe_closed: part(2), ready: part(3), at_rest: Bits(y), ..base };
            // The other part's inputs at their two extremes each.
            let all = |bit: u8| if y >> bit & 1 == 1 { Bits(31) } else { Bits(0) };
            let keep = Seen {
                surely_held: part(2),
                releasing: part(3),
                maybe_closed: all(0),
                ready: all(1),
                at_rest: all(2),
                ..base
            };
            count += 2;
            if let Some(wrong) = judge(begin).or_else(|| judge(keep)) {
                return (count, Some(wrong));
            }
        }
    }
    let mut dice = Dice::new(20_260_101);
    for _ in 0..4_000_000 {
        let mut five = || Bits((dice.bits() & 31) as u8);
        let seen = Seen {
            wanted: five(),
            granted: five(),
            maybe_closed: five(),
            surely_held: five(),
            releasing: five(),
            ready: five(),
            at_rest: five(),
        };
        count += 1;
        if let Some(wrong) = judge(seen) {
            return (count, Some(wrong));
        }
    }
    (count, None)
}

#[test]
fn the_whole_space_of_the_three_lock_demos() {
    for name in ["shuttle", "axle"] {
        let (count, wrong) = whole_of_three(&demo(name), pass);
        println!("{name}: {count} inputs");
        assert_eq!(wrong, None, "{name}");
    }
}

#[test]
fn both_parts_of_the_railcars_space() {
    let (count, wrong) = parts_of_five(&demo("railcar"), pass);
    println!("railcar: {count} inputs");
    assert_eq!(wrong, None);
}

/// The gate again, with one rule left out or bent: the planted defects.
fn defective(table: &Table, seen: &Seen, defect: u8) -> Bits {
    let mut keep = seen.wanted.and(seen.granted);
    for conflict in table.conflicts {
        let going = seen.releasing.or(seen.granted).without(keep).and(conflict.locks);
        let waits = !going.is_empty() && defect != 6;
        if !seen.surely_held.contains(conflict.locks) || waits || defect == 5 {
            continue;
        }
        let mine = keep.and(conflict.locks);
        match conflict.first_of(mine) {
            Some(_) if defect == 7 => keep = keep.without(mine),
            Some(lock) => keep = keep.with(lock, false),
            None => {}
        }
    }
    let new = seen.wanted.without(seen.granted);
    if new.count() != 1 && defect != 4 || new.is_empty() {
        return keep;
    }
    let lock = new.lowest().expect("not empty");
    if !seen.ready.has(lock) && defect != 1 {
        return keep;
    }
    let with = match defect {
        // Forgets what may still be closed; forgets what was granted but is being let go.
        8 => seen.granted.or(new),
        9 => keep.or(seen.maybe_closed.without(seen.granted)).or(new),
        _ => seen.maybe_closed.or(seen.granted).or(new),
    };
    let completes = |c: Bits| c.has(lock) && with.contains(c);
    if table.conflicts.iter().any(|c| completes(c.locks)) && defect != 2 {
        return keep;
    }
    let held = table.overlaps.iter().filter(|o| completes(o.locks));
    let held = held.fold(Bits::EMPTY, |held, o| held.or(o.machines));
    if !seen.at_rest.contains(held) && defect != 3 {
        return keep;
    }
    let strains =
        table.set(with).engine_joined && table.overlaps.iter().any(|o| with.contains(o.locks));
    if strains && defect != 11 {
        return keep;
    }
    if defect == 10 { new } else { keep.or(new) }
}

/// SW-I1 to SW-I6 each have a planted defect that the oracle finds; without one, the copy is
/// sound, so that it is the defect that is found.
#[test]
fn the_oracle_finds_every_planted_defect() {
    let gates: [(&str, Gate); 11] = [
        ("none", |t, s| defective(t, s, 0)),
        ("SW-I1: closes without slip", |t, s| defective(t, s, 1)),
        ("SW-I2: ignores conflicts", |t, s| defective(t, s, 2)),
        ("SW-I3: overlaps while turning", |t, s| defective(t, s, 3)),
        ("SW-I4: two at a time", |t, s| defective(t, s, 4)),
        ("SW-I5: keeps conflicts", |t, s| defective(t, s, 5)),
        ("SW-I5: does not wait for the first to come out", |t, s| defective(t, s, 6)),
        ("SW-I5: lets all go", |t, s| defective(t, s, 7)),
        ("SW-I2: forgets what may be closed", |t, s| defective(t, s, 8)),
        ("SW-I2: forgets what is being let go", |t, s| defective(t, s, 9)),
        ("drops what stands", |t, s| defective(t, s, 10)),
    ];
    // On the shuttle, SW-I6 alone denies what SW-I2 does: its one conflict is an overlap with the
    // engine joined.
    let axle = demo("axle");
    for (name, gate) in gates {
        let (count, found) = whole_of_three(&axle, gate);
        println!("{name}: {count} inputs, {found:?}");
        assert_eq!(found.is_some(), name != "none", "{name}");
    }
    // The shuttle has no overlap that the engine could be joined to.
    let (_, found) = parts_of_five(&demo("railcar"), |t, s| defective(t, s, 11));
    assert!(found.is_some(), "SW-I6: joins the engine to an overlap");
}

/// A conflict left out of the table, or one that is not minimal, is found too.
#[test]
fn the_oracle_finds_a_defect_in_the_table() {
    let mut railcar = demo("railcar");
    let conflicts = railcar.data.conflicts.clone();
    for i in 0..conflicts.len() {
        railcar.data.conflicts.remove(i);
        assert!(parts_of_five(&railcar, pass).1.is_some(), "without conflict {i}");
        railcar.data.conflicts = conflicts.clone();
        let more = (0..5).find(|&l| !conflicts[i].locks.has(l)).expect("not all five");
        railcar.data.conflicts[i].locks = conflicts[i].locks.with(more, true);
        assert!(parts_of_five(&railcar, pass).1.is_some(), "conflict {i} made larger");
        railcar.data.conflicts = conflicts.clone();
    }
    let overlaps = railcar.data.overlaps.clone();
    for i in 0..overlaps.len() {
        railcar.data.overlaps.remove(i);
        assert!(parts_of_five(&railcar, pass).1.is_some(), "without overlap {i}");
        railcar.data.overlaps = overlaps.clone();
    }
}

/// Each rule's identifier stands once at its branch and once at its canonical test.
#[test]
fn every_rule_has_its_branch_and_its_test() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../supervisor/src/interlock.rs");
    let source = std::fs::read_to_string(path).expect("the source is there");
    for n in 1..=6 {
        let count = |line: &str| source.lines().filter(|l| l.trim() == line).count();
        assert_eq!(count(&format!("// SW-I{n}")), 1, "SW-I{n} at its branch");
        let canonical = format!("/// The canonical test of SW-I{n}.");
        assert_eq!(count(&canonical), 1, "SW-I{n} at its test");
        assert!(source.contains(&format!("/// - SW-I{n}: ")), "SW-I{n} is told");
    }
}
