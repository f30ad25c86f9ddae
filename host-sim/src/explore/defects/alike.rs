//! Changes of a table that the supervisor cannot tell: it does the same with both, whatever it is told.
//!
//! Both tables are brought to one form in which only that differs which the supervisor's code reads
//! in a way that matters. Each rule of that form says what of the code it rests on; a test runs the
//! supervisor with every table that is excused so.

use supervisor::table::{Action, Duty, NO_STEP, Pace, Step, StepDuty, Window};

use crate::table::TableData;

/// Pace beyond which a product with nothing might not be nothing, rad/s.
const PACE_SANE: f32 = 1e6;

/// One rule: what it says, and how it brings a table to the form.
type Rule = (&'static str, fn(&mut TableData));

const RULES: [Rule; 9] = [
    ("only the magnitude of what this row gives is compared", signs),
    ("a step that closes asks for no load", loads_of_closings),
    ("a step that opens brings nothing to a speed", targets_of_openings),
    ("without a limit no heat is reckoned", heat_without_limit),
    ("no engine is known, or no lowest speed of it", engine_without_limit),
    ("no duty holds a share of the pace", pace_without_duty),
    (
        "every window reaches as far back as forward, and neither a duty nor an engine follows the output",
        output_sign,
    ),
    ("no entry of the ways leads to this step", steps_without_entry),
    ("no step reads this limit", limits_without_step),
];

/// Why the supervisor does the same with both tables, whatever it is told: `None` where that is not
/// shown.
pub fn read_alike(good: &TableData, broken: &TableData) -> Option<String> {
    let same = |without: Option<usize>| {
        let form = |table: &TableData| {
            let mut table = table.clone();
            let rules = RULES.iter().enumerate().filter(|(i, _)| Some(*i) != without);
            rules.for_each(|(_, (_, rule))| rule(&mut table));
            table.hash = 0;
            table
        };
        form(good) == form(broken)
    };
    if !same(None) {
        return None;
    }
    if (TableData { hash: good.hash, ..broken.clone() }) == *good {
        return Some("nothing is another".to_string());
    }
    let needed = (0..RULES.len()).filter(|&i| !same(Some(i))).map(|i| RULES[i].0);
    let needed: Vec<&str> = needed.collect();
    // Where either of two rules is enough, neither is needed by itself.
    Some(if needed.is_empty() { "it is not read".to_string() } else { needed.join("; ") })
}

/// The same row with its first number above zero.
fn forward(row: &mut [f32]) {
    if row.iter().find(|c| **c != 0.0).is_some_and(|c| *c < 0.0) {
        row.iter_mut().for_each(|c| *c = -*c);
    }
}

/// `observe`: a slip, its change, a load and what is left of a relation are compared by magnitude; and
/// what a relation tells of an engine is a quotient of two of its numbers.
fn signs(t: &mut TableData) {
    t.locks.iter_mut().for_each(|lock| forward(&mut lock.slip_row));
    t.parities.iter_mut().for_each(|parity| forward(&mut parity.row));
    t.steps.iter_mut().for_each(|step| forward(&mut step.load_row));
}

/// `decide::moves`: only an opening waits until its lock is unloaded.
fn loads_of_closings(t: &mut TableData) {
    for step in t.steps.iter_mut().filter(|step| step.action == Action::Close) {
        (step.load_row, step.load_max) = (Default::default(), 0.0);
    }
}

/// `choose`: only of a closing is the target looked at, and `plan` reads it for who synchronises.
fn targets_of_openings(t: &mut TableData) {
    let synchronises = |step: &Step| step.duties.contains(&StepDuty::Sync);
    let opens = |step: &&mut Step| step.action == Action::Open && !synchronises(step);
    for step in t.steps.iter_mut().filter(opens) {
        (step.target_row, step.target_offset) = (Default::default(), 0.0);
        (step.target_min, step.target_max) = (0.0, 0.0);
        (step.limits_from, step.limits_count) = (0, 0);
    }
}

/// `heat`: plates without a limit count as cool and gain nothing.
fn heat_without_limit(t: &mut TableData) {
    for lock in t.locks.iter_mut().filter(|lock| lock.rise_max_k <= 0.0) {
        (lock.rise_max_k, lock.heat_k_per_radps_tick, lock.cooling_ticks) = (0.0, 0.0, 0.0);
        lock.drag_k_per_radps_tick = 0.0;
    }
}

/// `observe::engine`: the least speed is read only of an engine, and where it is above zero.
fn engine_without_limit(t: &mut TableData) {
    if t.engine.is_none() || t.engine_min <= 0.0 {
        t.engine_min = 0.0;
    }
}

/// `plan`: the pace is multiplied with what each duty has of it.
fn pace_without_duty(t: &mut TableData) {
    for arrangement in &mut t.arrangements {
        let Pace { per_output, min, max } = arrangement.pace;
        let sane = [per_output, min, max].iter().all(|x| x.abs() < PACE_SANE);
        let reads = |duty: &Duty| matches!(duty, Duty::Hold { per_pace, .. } if *per_pace != 0.0);
        if sane && !arrangement.duties.iter().any(reads) {
            arrangement.pace = Pace::default();
        }
    }
}

/// `observe` and `plan`: the output's speed is held against windows, its change by magnitude, and
/// duties follow it; the power that is asked for has its sign, which is held against an engine's.
fn output_sign(t: &mut TableData) {
    let even = |window: &Window| window.min == -window.max;
    let follows = |duty: &Duty| matches!(duty, Duty::Hold { per_output, per_pace } if *per_output != 0.0 || *per_pace != 0.0);
    let blind = t
        .arrangements
        .iter()
        .all(|a| even(&a.window) && even(&a.keep) && !a.duties.iter().any(follows));
    if blind && t.engine.is_none() && t.steps.iter().all(|step| even(&step.window)) {
        forward(&mut t.output_row);
    }
}

/// `table`: a step is known by its number in the entries, and by nothing else.
fn steps_without_entry(t: &mut TableData) {
    let Some(first) = t.steps.first().copied() else { return };
    let mut led_to = vec![false; t.steps.len()];
    for entry in t.next.iter().filter(|entry| **entry & NO_STEP == 0) {
        if let Some(slot) = led_to.get_mut(usize::from(*entry)) {
            *slot = true;
        }
    }
    let steps = t.steps.iter_mut().zip(led_to).skip(1);
    steps.filter(|(_, led_to)| !led_to).for_each(|(step, _)| *step = first);
}

/// `table`: limits are read by the steps that they belong to.
fn limits_without_step(t: &mut TableData) {
    let mut read = vec![false; t.limits.len()];
    for step in &t.steps {
        let from = step.limits_from as usize;
        let of_step = read.iter_mut().skip(from).take(usize::from(step.limits_count));
        of_step.for_each(|slot| *slot = true);
    }
    for (limit, _) in t.limits.iter_mut().zip(read).filter(|(_, read)| !read) {
        (limit.row, limit.min, limit.max) = (Default::default(), 0.0, 0.0);
    }
    t.steps.iter_mut().filter(|step| step.limits_count == 0).for_each(|step| step.limits_from = 0);
}
