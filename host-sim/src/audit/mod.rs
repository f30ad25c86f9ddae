//! The table against the driveline by a second method: every guard is proved, every list redone.
//!
//! The builder computes limits in f64 and takes margins from them. The audit starts at the other
//! end: it takes the numbers that the board compares (f32, as exact fractions) and proves, with
//! exact fractions and a bound of the board's own rounding, that whoever is measured within them
//! is truly within the limits of the driveline file. It shares no code with the builder. The
//! formulas and assumptions are in `docs/guard-soundness.md`.

mod accelerations;
mod arrangements;
mod closings;
mod context;
mod duties;
mod forms;
mod locks;
mod numbers;
mod openings;
mod page;
mod push;
mod relations;
mod sets;
mod steps;
mod text;
mod timing;
mod ways;
mod windows;

pub use page::page;
pub use text::{explained, json, text};

use crate::driveline::Driveline;
use crate::kinematics::Kinematics;
use crate::table::TableData;

use context::Context;

/// Something in a table that does not follow from its driveline.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable identifier, `AU-...`; `docs/guard-soundness.md` lists them.
    pub id: &'static str,
    /// Where: "lock ring-clutch slip_max", "step 12 window".
    pub place: String,
    /// One sentence.
    pub sentence: String,
}

/// One guard row: what it compares with, what measuring can miss, and what it must keep.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// Identifier of the finding that it is when nothing is left.
    pub id: &'static str,
    /// Where the limit stands in the table.
    pub place: String,
    /// What "measured within" implies, in words.
    pub implies: String,
    /// Unit of the figures.
    pub unit: &'static str,
    /// The number in the table.
    pub limit: f64,
    /// Largest part that a measurement can miss, with everything against it.
    pub margin: f64,
    /// What must truly be kept.
    pub true_limit: f64,
    /// What is left between the two, rounded down. Not negative: it holds.
    pub left: f64,
    /// Decided by exact fractions.
    pub holds: bool,
}

/// What to look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scope {
    /// Whether the table's times are those of the file. An exploration shrinks them; the rates
    /// are then judged by the file's times.
    pub timing: bool,
}

/// All that the audit of one table found out.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Audited {
    /// What is wrong; empty: the table is sound.
    pub findings: Vec<Finding>,
    /// Every guard row.
    pub proofs: Vec<Proof>,
}

/// What is wrong with a table; nothing when it is sound.
#[must_use]
pub fn audit(d: &Driveline, k: &Kinematics, table: &TableData) -> Vec<Finding> {
    examine(d, k, table, Scope { timing: true }).findings
}

/// Every guard row of a table with what is left of it.
#[must_use]
pub fn proofs(d: &Driveline, k: &Kinematics, table: &TableData) -> Vec<Proof> {
    examine(d, k, table, Scope { timing: true }).proofs
}

/// The whole audit.
#[must_use]
pub fn examine(d: &Driveline, k: &Kinematics, table: &TableData, scope: Scope) -> Audited {
    let mut out = Audited::default();
    if let Some(finding) = wrong_shape(d, table) {
        out.findings.push(finding);
        return out;
    }
    let context = Context::new(d, k, table, scope);
    sets::examine(&context, &mut out);
    locks::examine(&context, &mut out);
    relations::examine(&context, &mut out);
    arrangements::examine(&context, &mut out);
    steps::examine(&context, &mut out);
    ways::examine(&context, &mut out);
    if scope.timing {
        timing::examine(&context, &mut out);
    }
    let failed: Vec<Finding> = out.proofs.iter().filter(|p| !p.holds).map(Proof::finding).collect();
    out.findings.extend(failed);
    out
}

/// A table whose lists do not even have the driveline's lengths cannot be audited.
fn wrong_shape(d: &Driveline, table: &TableData) -> Option<Finding> {
    use supervisor::check::{TableFault, check};
    let lengths = [
        ("locks", table.locks.len(), d.locks.len()),
        ("sensors", table.sensors.len(), d.sensors.len()),
        ("rest tests", table.rests.len(), d.machines.len()),
        ("arrangements", table.arrangements.len(), d.arrangements.len()),
    ];
    let odd = lengths.iter().find(|(_, has, wants)| has != wants);
    let sentence = match (odd, check(&table.table())) {
        (Some((what, has, wants)), _) => format!("it has {has} {what}, the driveline {wants}"),
        (None, Err(fault @ (TableFault::Format | TableFault::Size))) => {
            format!("the supervisor refuses it: {fault:?}")
        }
        _ => return None,
    };
    Some(Finding { id: "AU-SHAPE", place: "table".to_string(), sentence })
}

impl Proof {
    fn finding(&self) -> Finding {
        let Proof { implies, unit, limit, margin, true_limit, left, .. } = self;
        let sentence = format!(
            "not proved: {implies}; the limit {limit:.4} {unit} with a margin of {margin:.4} \
             passes {true_limit:.4} by {:.3e}",
            -left
        );
        Finding { id: self.id, place: self.place.clone(), sentence }
    }
}

impl Audited {
    fn find(&mut self, id: &'static str, place: impl Into<String>, sentence: impl Into<String>) {
        self.findings.push(Finding { id, place: place.into(), sentence: sentence.into() });
    }
}
