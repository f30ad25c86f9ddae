//! A walked transition in words.

use supervisor::table::Why;

use super::walk::{Blocked, Explained, StepExplained};
use crate::driveline::Driveline;
use crate::table::{TableData, why_word};
use crate::text::{labelled, paragraph};
use supervisor::table::{Action, Step};

/// A way in words, at most `width` columns.
pub fn text(d: &Driveline, data: &TableData, way: &Explained, width: usize) -> String {
    let mut out = String::new();
    for (i, step) in way.steps.iter().enumerate() {
        out += &one_step(d, data, step, i + 1, width);
    }
    match &way.blocked {
        Some(blocked) => out += &paragraph(&blocked_text(d, data, blocked), 2, width),
        None => {
            let gap = way.gap_s();
            let push = if gap > 0.0 {
                format!("{gap:.2} s of it without push at the wheels")
            } else {
                "without a gap in the push at the wheels".to_string()
            };
            let work: f64 = way.steps.iter().map(|s| s.work_j).sum();
            out += &paragraph(
                &format!(
                    "Arrives after about {:.2} s, {push}; friction work about {work:.0} J \
                     (estimates; `slipwarden drive` simulates it).",
                    way.time_s()
                ),
                2,
                width,
            );
        }
    }
    out
}

fn one_step(
    d: &Driveline,
    data: &TableData,
    step: &StepExplained,
    number: usize,
    width: usize,
) -> String {
    let row = &data.steps[usize::from(step.number)];
    let lock = &d.locks[usize::from(row.lock)].name;
    let mut sentences = Vec::new();
    if step.starts_engine {
        sentences.push("The engine is started first.".to_string());
    }
    sentences.extend(match row.action {
        Action::Close => closing(d, row, step, lock),
        Action::Open => opening(d, step, lock),
    });
    let push = if step.gap_s > 0.0 { ", no push at the wheels" } else { "" };
    sentences.push(format!("About {:.2} s{push}.", step.time_s));
    let speeds: Vec<String> = d
        .shafts
        .iter()
        .zip(&step.speeds_rpm)
        .map(|(s, rpm)| format!("{} {:.0}", s.name, rpm + 0.0))
        .collect();
    let verb = if row.action == Action::Close { "close" } else { "open" };
    labelled(&format!("{number}. "), &format!("{verb} {lock}"), 2, width)
        + &paragraph(&sentences.join(" "), 5, width)
        + &paragraph(&format!("Then, in rpm: {}.", speeds.join(", ")), 5, width)
}

fn closing(d: &Driveline, row: &Step, step: &StepExplained, lock: &str) -> Vec<String> {
    let mut sentences = Vec::new();
    match step.sync {
        Some((machine, before, after)) => sentences.push(format!(
            "{} goes from {before:.0} to {after:.0} rpm and brings the slip of {lock} \
             from {:.0} rpm to zero; then {lock} closes.",
            d.machines[machine].name, step.slip_rpm
        )),
        None => sentences.push(format!(
            "Nothing can bring the slip of {lock} to zero: it closes only where the slip \
             is zero by itself, at standstill (now {:.0} rpm).",
            step.slip_rpm
        )),
    }
    if !row.rest.is_empty() {
        let held: Vec<&str> =
            row.rest.iter().map(|m| d.machines[usize::from(m)].name.as_str()).collect();
        sentences.push(format!(
            "An overlap: {} must be at rest, and for a short time only.",
            held.join(" and ")
        ));
    }
    sentences
}

fn opening(d: &Driveline, step: &StepExplained, lock: &str) -> Vec<String> {
    let mut sentences = Vec::new();
    if step.takes_nm.is_empty() {
        sentences.push("All machines go to no torque.".to_string());
    } else {
        let takes: Vec<String> = step
            .takes_nm
            .iter()
            .map(|(m, nm)| format!("{} takes {nm:.0} Nm", d.machines[*m].name))
            .collect();
        sentences.push(format!("{}.", takes.join(", ")));
    }
    sentences.push(format!("{lock} is without load then and opens."));
    sentences
}

/// Why a way ends before its target, one or two sentences.
pub fn blocked_text(d: &Driveline, data: &TableData, blocked: &Blocked) -> String {
    let verb = |step: u16| {
        let row = &data.steps[usize::from(step)];
        let verb = if row.action == Action::Close { "close" } else { "open" };
        format!("{verb} {}", d.locks[usize::from(row.lock)].name)
    };
    match blocked {
        Blocked::NoWay(Why::Stuck | Why::Impossible) | Blocked::NoWay(Why::Arrived) => {
            "Refused: no step leads on from here.".to_string()
        }
        Blocked::NoWay(why) => format!("Refused: {}.", why_word(*why).replace('-', " ")),
        Blocked::ArrangementSpeed { min_kmh, max_kmh } => format!(
            "Refused: the arrangement asked for can stand between {min_kmh:.1} and \
             {max_kmh:.1} km/h only (`slipwarden survey` names the shaft that ends it)."
        ),
        Blocked::RoadSpeed { step, min_kmh, max_kmh, by } => {
            let by = by.as_ref().map_or(String::new(), |s| format!(" (limit of {s})"));
            format!(
                "Refused: to {}, the road speed must be between {min_kmh:.1} and {max_kmh:.1} \
                 km/h{by}.",
                verb(*step)
            )
        }
        Blocked::Speed { step, what, rpm, min_rpm, max_rpm } => format!(
            "Refused: to {}, {what} would have to turn at {rpm:.0} rpm; allowed are {min_rpm:.0} \
             to {max_rpm:.0} rpm.",
            verb(*step)
        ),
        Blocked::Torque { step, demand_nm, max_nm, by } => {
            let by = by.as_ref().map_or(String::new(), |s| format!(" ({s})"));
            format!(
                "Refused: to {}, {demand_nm:.0} Nm at the output are asked and at most \
                 {max_nm:.0} Nm can be handed over{by}.",
                verb(*step)
            )
        }
    }
}
