//! Changes of what follows from the gears: conflicts, overlaps, lock sets, arrangements.

use supervisor::bits::Bits;
use supervisor::table::{Duty, EngineUse};

use super::list::{List, Part};

const DECIDES: Part = Part::Decides;
const ORDERS: Part = Part::Orders;

pub(super) fn add(list: &mut List) {
    conflicts(list);
    overlaps(list);
    sets(list);
    arrangements(list);
    duties(list);
}

/// Locks of the driveline that are not among these.
fn others(list: &List, bits: Bits) -> Vec<u8> {
    (0..list.d.locks.len() as u8).filter(|&lock| !bits.has(lock)).collect()
}

fn conflicts(list: &mut List) {
    for (i, conflict) in list.good.conflicts.iter().enumerate() {
        let place = format!("conflict {}", list.locks(conflict.locks));
        list.add((DECIDES, "conflict removed"), &place, "removed", move |t| {
            t.conflicts.remove(i);
        });
        for lock in others(list, conflict.locks) {
            let name = format!("with {}", list.lock(lock));
            list.add((DECIDES, "conflict larger"), &place, name, move |t| {
                t.conflicts[i].locks = t.conflicts[i].locks.with(lock, true);
            });
            let name = format!("lets {} go first", list.lock(lock));
            list.add((DECIDES, "conflict release_first"), &place, name, move |t| {
                t.conflicts[i].release_first = lock;
            });
        }
        for lock in conflict.locks.iter() {
            let name = format!("without {}", list.lock(lock));
            list.add((DECIDES, "conflict smaller"), &place, name, move |t| {
                t.conflicts[i].locks = t.conflicts[i].locks.with(lock, false);
            });
        }
    }
}

fn overlaps(list: &mut List) {
    for (i, overlap) in list.good.overlaps.iter().enumerate() {
        let place = format!("overlap {}", list.locks(overlap.locks));
        list.add((DECIDES, "overlap removed"), &place, "removed", move |t| {
            t.overlaps.remove(i);
        });
        for machine in overlap.machines.iter() {
            let name = format!("without {}", list.machine(machine));
            list.add((DECIDES, "overlap machine dropped"), &place, name, move |t| {
                t.overlaps[i].machines = t.overlaps[i].machines.with(machine, false);
            });
        }
        for lock in others(list, overlap.locks) {
            let name = format!("with {}", list.lock(lock));
            list.add((DECIDES, "overlap larger"), &place, name, move |t| {
                t.overlaps[i].locks = t.overlaps[i].locks.with(lock, true);
            });
        }
    }
}

fn sets(list: &mut List) {
    for (i, set) in list.good.sets.iter().enumerate() {
        let place = format!("set {}", list.locks(Bits(i as u8)));
        list.add((DECIDES, "set drives"), &place, "flipped", move |t| {
            t.sets[i].drives = !t.sets[i].drives;
        });
        list.add((DECIDES, "set engine_joined"), &place, "flipped", move |t| {
            t.sets[i].engine_joined = !t.sets[i].engine_joined;
        });
        list.add((DECIDES, "set engine_geared"), &place, "flipped", move |t| {
            t.sets[i].engine_geared = !t.sets[i].engine_geared;
        });
        for machine in set.held_machines.iter() {
            let name = format!("without {}", list.machine(machine));
            list.add((DECIDES, "set held_machines"), &place, name, move |t| {
                t.sets[i].held_machines = t.sets[i].held_machines.with(machine, false);
            });
        }
        let arrangements = list.good.arrangements.len() as u8;
        for fallback in (0..arrangements).chain([u8::MAX]).filter(|&a| a != set.fallback) {
            let arrangement = list.d.arrangements.get(usize::from(fallback));
            let name = arrangement.map_or("none", |a| a.name.as_str()).to_string();
            list.add((DECIDES, "set fallback"), &place, name, move |t| {
                t.sets[i].fallback = fallback;
            });
        }
    }
}

fn arrangements(list: &mut List) {
    for (i, arrangement) in list.good.arrangements.iter().enumerate() {
        let place = format!("arrangement {}", list.d.arrangements[i].name);
        for lock in 0..list.d.locks.len() as u8 {
            let has = arrangement.closed.has(lock);
            let name = format!("{} {}", if has { "without" } else { "with" }, list.lock(lock));
            list.add((DECIDES, "arrangement closed"), &place, name, move |t| {
                t.arrangements[i].closed = t.arrangements[i].closed.with(lock, !has);
            });
        }
        for (engine, name) in
            [(EngineUse::On, "on"), (EngineUse::Off, "off"), (EngineUse::Either, "either")]
        {
            list.add((DECIDES, "arrangement engine"), &place, name, move |t| {
                t.arrangements[i].engine = engine;
            });
        }
    }
}

fn duties(list: &mut List) {
    for (i, arrangement) in list.good.arrangements.iter().enumerate() {
        let place = format!("arrangement {}", list.d.arrangements[i].name);
        for machine in 0..list.d.machines.len() {
            let place = format!("{place} duty of {}", list.d.machines[machine].name);
            let mut duty = |name: &str, duty: Duty| {
                list.add((ORDERS, "arrangement duty"), &place, name, move |t| {
                    t.arrangements[i].duties[machine] = duty;
                });
            };
            duty("free", Duty::Free);
            duty("unload", Duty::Unload);
            if let Duty::Hold { per_output, per_pace } = arrangement.duties[machine] {
                duty("per_output x -1", Duty::Hold { per_output: -per_output, per_pace });
                duty("per_output x2", Duty::Hold { per_output: 2.0 * per_output, per_pace });
                duty("per_pace x -1", Duty::Hold { per_output, per_pace: -per_pace });
                duty("per_pace x2", Duty::Hold { per_output, per_pace: 2.0 * per_pace });
            } else {
                duty("hold at rest", Duty::Hold { per_output: 0.0, per_pace: 0.0 });
            }
        }
        let place = format!("{place} pace");
        for (field, factor) in [
            ("per_output", 2.0),
            ("per_output", -1.0),
            ("min", 0.5),
            ("min", 1.5),
            ("max", 0.5),
            ("max", 1.5),
        ] {
            let name = format!("{field} x{factor}");
            list.add((ORDERS, "arrangement pace"), &place, name, move |t| {
                let pace = &mut t.arrangements[i].pace;
                let value = match field {
                    "per_output" => &mut pace.per_output,
                    "min" => &mut pace.min,
                    _ => &mut pace.max,
                };
                *value *= factor;
            });
        }
    }
}
