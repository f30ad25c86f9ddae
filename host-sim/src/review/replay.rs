//! Findings of a campaign, driven again here: a case is a pure function of seed and number.

use std::sync::Arc;

use super::evidence::{Kind, count, list, text};
use super::motion::{Motion, motion};
use super::report::Report;
use super::rules::RULES;
use crate::campaign::{World, case, scenario_text};
use crate::checkers::Finding;
use crate::drive::closed_loop::{Prepared, Setup};
use crate::drive::simulate::simulate;
use crate::picture::TimelineText;

/// Most findings that are driven again, one of each rule.
const MOST: usize = 6;
/// Shown before and after the finding, s.
const AROUND_S: (f64, f64) = (1.5, 0.5);

/// One finding of a campaign, driven again.
#[derive(Clone, Debug)]
pub(super) struct Replay {
    /// Number of the case.
    pub(super) case: u64,
    /// The rule.
    pub(super) rule: String,
    /// When, s.
    pub(super) t_s: f64,
    /// What happened.
    pub(super) text: String,
    /// Whether it was found here too.
    pub(super) repeats: bool,
    /// A close look at it, where it could be driven.
    pub(super) motion: Option<Motion>,
    /// The case as a scenario file.
    pub(super) scenario: String,
    /// Path of that file in the folder.
    pub(super) path: String,
    /// Seed of the plant in that case.
    pub(super) seed: u64,
}

/// The first finding of each rule in the campaigns of the evidence.
pub(super) fn replays(report: &Report) -> Vec<Replay> {
    let mut found: Vec<Replay> = Vec::new();
    for part in report.evidence.of(Kind::Campaign) {
        let value = &part.value;
        let (seed, faults) = (count(&value["seed"]), count(&value["faults"]));
        for finding in list(&value["findings"]) {
            let rule = text(&finding["rule"]);
            if found.iter().any(|r| r.rule == rule) || found.len() >= MOST {
                continue;
            }
            let Ok(faults) = u8::try_from(faults) else { continue };
            let told = Told {
                case: count(&finding["case"]),
                rule,
                t_s: finding["t_s"].as_f64().unwrap_or(0.0),
                text: text(&finding["text"]),
            };
            found.extend(replayed(report, (seed, faults), told));
        }
    }
    found
}

/// A finding as the campaign tells it.
struct Told<'a> {
    case: u64,
    rule: &'a str,
    t_s: f64,
    text: &'a str,
}

fn replayed(report: &Report, (seed, faults): (u64, u8), told: Told) -> Option<Replay> {
    let subject = &report.subject;
    let rule = RULES.iter().find(|r| r.id == told.rule)?.id;
    let world = World::new(subject.clone());
    let case = case(&world, seed, faults, told.case);
    let (d, k, table) = (&subject.driveline, &subject.kinematics, subject.table.table());
    let outcome = simulate(d, k, table, &case.setup, case.plant_seed, None);
    let findings = outcome.map(|o| o.summary.findings).unwrap_or_default();
    let found = |f: &Finding| f.rule == rule && (f.t_s - told.t_s).abs() < 1e-6;
    let repeats = findings.iter().any(found);
    let prepared = Prepared::new(d, subject.table.table()).map(Arc::new).ok()?;
    let end = (told.t_s + AROUND_S.1).min(case.setup.duration_s);
    let setup = Setup { duration_s: end, ..case.setup.clone() };
    let from_s = (told.t_s - AROUND_S.0).max(0.0);
    let words = TimelineText {
        title: format!("Case {}: {} at {:.2} s", told.case, told.rule, told.t_s),
        subtitle: format!(
            "{}, seed {}; 0 s here is {from_s:.2} s of the case",
            d.name, case.plant_seed
        ),
    };
    let seed_of_plant = case.plant_seed;
    let motion = motion(d, &prepared, (&setup, seed_of_plant), from_s, (&words, &findings));
    let name = format!("case-{}-{}", told.case, told.rule.to_lowercase());
    Some(Replay {
        case: told.case,
        rule: told.rule.to_owned(),
        t_s: told.t_s,
        text: told.text.to_owned(),
        repeats,
        motion,
        scenario: scenario_text(d, &case, &name, told.text),
        path: format!("scenarios/{name}.toml"),
        seed: seed_of_plant,
    })
}
