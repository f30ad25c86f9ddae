//! Changes of what a step says.

use supervisor::bits::{Bits, MAX_MACHINES, MAX_SENSORS};
use supervisor::table::{Action, EngineNeed, Step, StepDuty};

use super::list::{List, Part};
use super::list_numbers::{beyond, read_by, signs_and_bits, widened};

const DECIDES: Part = Part::Decides;
const MEASURES: Part = Part::Measures;

pub(super) fn add(list: &mut List) {
    for number in 0..list.good.steps.len() {
        let step = list.good.steps[number];
        decides(list, number, &step);
        measures(list, number, &step);
        limits(list, number, &step);
        duties(list, number, &step);
    }
}

/// A machine's name; some rows have room for more machines than there are.
fn machine(list: &List, machine: usize) -> String {
    list.d.machines.get(machine).map_or_else(|| format!("machine {machine}"), |m| m.name.clone())
}

fn decides(list: &mut List, number: usize, step: &Step) {
    let place = format!("step {number}");
    let locks = list.d.locks.len() as u8;
    for lock in (0..locks).filter(|&lock| lock != step.lock) {
        let name = format!("moves {}", list.lock(lock));
        list.add((DECIDES, "step lock"), &place, name, move |t| t.steps[number].lock = lock);
    }
    for lock in 0..locks {
        let from = step.from.with(lock, !step.from.has(lock));
        let name = format!("starts from {}", list.locks(from));
        list.add((DECIDES, "step from"), &place, name, move |t| t.steps[number].from = from);
    }
    let other = match step.action {
        Action::Close => Action::Open,
        Action::Open => Action::Close,
    };
    list.add((DECIDES, "step action"), &place, "flipped", move |t| {
        t.steps[number].action = other;
    });
    for machine in step.rest.iter() {
        let name = format!("without {}", list.machine(machine));
        list.add((DECIDES, "step rest dropped"), &place, name, move |t| {
            let rest = &mut t.steps[number].rest;
            *rest = rest.with(machine, false);
        });
    }
    for (engine, kind) in [
        (EngineNeed::Any, "step engine need dropped"),
        (EngineNeed::Running, "step engine need added"),
    ] {
        list.add((DECIDES, kind), &place, "flipped", move |t| t.steps[number].engine = engine);
    }
}

fn measures(list: &mut List, number: usize, step: &Step) {
    let place = format!("step {number}");
    let kinds = ["step target sign", "step sensor dropped"];
    signs_and_bits(list, kinds, &place, &step.target_row, step.sensors, move |t| {
        let step = &mut t.steps[number];
        (&mut step.target_row, &mut step.sensors)
    });
    for m in read_by(&step.load_row) {
        let name = format!("of {} flipped", machine(list, m.into()));
        list.add((MEASURES, "step load sign"), &place, name, move |t| {
            let c = &mut t.steps[number].load_row[usize::from(m)];
            *c = -*c;
        });
    }
    list.add((MEASURES, "step target_offset"), &place, "x -1", move |t| {
        t.steps[number].target_offset *= -1.0;
    });
    for (kind, of) in [
        ("step demand_max", (|s| &mut s.demand_max) as fn(&mut Step) -> &mut f32),
        ("step load_max", |s| &mut s.load_max),
    ] {
        list.add((MEASURES, kind), &place, "x2", move |t| {
            let most = of(&mut t.steps[number]);
            // The largest number is no limit; so would twice of it be.
            *most = if *most < f32::MAX { 2.0 * *most } else { *most };
        });
    }
    list.add((MEASURES, "step target range"), &place, "min lower", move |t| {
        let min = &mut t.steps[number].target_min;
        *min = beyond(*min, false);
    });
    list.add((MEASURES, "step target range"), &place, "max higher", move |t| {
        let max = &mut t.steps[number].target_max;
        *max = beyond(*max, true);
    });
    widened(list, "step window", &place, move |t| &mut t.steps[number].window);
}

fn limits(list: &mut List, number: usize, step: &Step) {
    let place = format!("step {number}");
    list.add((MEASURES, "step limit dropped"), &place, "the last", move |t| {
        let count = &mut t.steps[number].limits_count;
        *count = count.saturating_sub(1);
    });
    list.add((MEASURES, "step limit dropped"), &place, "the first", move |t| {
        let step = &mut t.steps[number];
        if step.limits_count > 0 {
            step.limits_from += 1;
            step.limits_count -= 1;
        }
    });
    let from = step.limits_from as usize;
    for at in from..from + usize::from(step.limits_count) {
        let place = format!("{place} limit {}", at - from);
        list.add((MEASURES, "step limit widened"), &place, "min lower", move |t| {
            t.limits[at].min = beyond(t.limits[at].min, false);
        });
        list.add((MEASURES, "step limit widened"), &place, "max higher", move |t| {
            t.limits[at].max = beyond(t.limits[at].max, true);
        });
        let row = list.good.limits.get(at).map_or([0.0; MAX_SENSORS], |limit| limit.row);
        for sensor in read_by(&row) {
            let name = format!("of {} flipped", list.sensor(sensor));
            list.add((MEASURES, "step limit sign"), &place, name, move |t| {
                let c = &mut t.limits[at].row[usize::from(sensor)];
                *c = -*c;
            });
        }
    }
}

fn duties(list: &mut List, number: usize, step: &Step) {
    let place = format!("step {number}");
    list.add((Part::Orders, "step keeps_push"), &place, "flipped", move |t| {
        t.steps[number].keeps_push = !t.steps[number].keeps_push;
    });
    for m in 0..list.d.machines.len().min(MAX_MACHINES) {
        let place = format!("{place} duty of {}", machine(list, m));
        let mut duty = |name: &str, duty: StepDuty| {
            list.add((Part::Orders, "step duty"), &place, name, move |t| {
                t.steps[number].duties[m] = duty;
            });
        };
        duty("free", StepDuty::Free);
        duty("unload", StepDuty::Unload);
        duty("sync", StepDuty::Sync);
        if let StepDuty::Take { share } = step.duties[m] {
            duty("share x -1", StepDuty::Take { share: -share });
            duty("share x2", StepDuty::Take { share: 2.0 * share });
        }
    }
}

/// Lock sets before and after a step.
pub(super) fn ends(step: &Step) -> (Bits, Bits) {
    (step.from, step.from.with(step.lock, step.action == Action::Close))
}
