//! A whole exploration in one call, for callers that gather evidence.

use std::collections::BTreeMap;

use serde_json::Value;

use super::excuses::dead;
use super::live::liveness;
use super::model::{Model, Subject};
use super::path::{way_to, words};
use super::report::Report;
use super::search::{Bounds, Reached, search};
use super::senses::Forced;
use super::shrink::shrunk;
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;
use crate::table::TableData;

/// Explore the kernel with at most `faults` lock faults in one history, within `bounds`: the JSON
/// that `slipwarden explore --json` prints, less its figure of memory. `progress` may stop it; what comes back then says
/// that it is inconclusive.
pub fn explored(
    d: &Driveline,
    k: &Kinematics,
    table: &TableData,
    (faults, bounds): (u8, &Bounds),
    progress: impl FnMut(&Reached) -> bool,
) -> Value {
    let (small, forced) = (shrunk(table), Forced::new(d, k));
    let model = Model::new(small.table(), &forced, faults, Subject::Kernel);
    let found = search(&model, bounds, progress);
    let ways = found.broken.iter().map(|(always, breach)| {
        (*always, words(d, &model, &way_to(&model, &found, breach, bounds.threads)))
    });
    let whole = found.complete && found.broken.is_empty();
    let (dead, idle) = match whole {
        true => dead(d, &small, &found, faults, &BTreeMap::new()),
        false => Default::default(),
    };
    let report = Report {
        driveline: d,
        table: &small,
        table_hash: table.hash,
        interlock_alone: false,
        feasible_guards: false,
        faults,
        live: whole.then(|| liveness(&model, &found, bounds.threads)),
        dead,
        idle,
        ways: ways.collect(),
        found: &found,
    };
    let mut value = report.json();
    if let Value::Object(figures) = &mut value {
        // What a state takes in memory depends on the number of threads, nothing else does.
        figures.shift_remove("bytes_per_state");
    }
    value
}
