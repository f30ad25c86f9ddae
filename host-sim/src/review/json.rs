//! The review as JSON, for programs; described in `docs/review-json.md`.

use serde_json::{Value, json};

use crate::checkers::Margin;
use crate::drive::summary_text::{self, Heading};

use super::cases::{Case, window_kmh};
use super::depth::Depth;
use super::evidence::Origin;
use super::files::{Kept, scenario_path, timeline_path, trace_path};
use super::forecast::Forecast;
use super::open::open_points;
use super::report::{PairFinding, Report};
use super::rules::RULES;
use super::run::{Answer, trace_every};
use super::sections::excerpt;
use super::trace::{Requirement, part_word, requirements};

/// Version of this format; grows when a key changes its meaning or goes away.
pub const REVIEW_FORMAT: u32 = 2;

/// The whole review as one JSON object.
pub fn json(report: &Report) -> Value {
    let subject = &report.subject;
    let d = &subject.driveline;
    let kept = Kept::of(report);
    let (reached, refused, other) = report.counts();
    json!({
        "review_format": REVIEW_FORMAT,
        "tool": format!("slipwarden {}", env!("CARGO_PKG_VERSION")),
        "driveline": d.name,
        "file": subject.file_name,
        "file_sha256": subject.file_hash(),
        "table_hash": format!("{:08x}", subject.table.hash),
        "seed": subject.seed,
        "date": report.date,
        "depth": report.depth.map(Depth::word),
        "verdict": report.outcome().word(),
        "verdict_text": report.verdict(),
        "counts": {
            "drives": report.drives.len(),
            "reached": reached,
            "refused": refused,
            "other": other,
            "findings": report.findings.len(),
        },
        "warnings": subject.warnings,
        "arrangements": (0..d.arrangements.len()).map(|a| {
            let (low, high) = window_kmh(subject, a);
            json!({ "name": d.arrangements[a].name, "window_kmh": [low, high] })
        }).collect::<Vec<_>>(),
        "cases": Case::ALL.iter()
            .map(|c| json!({ "case": c.word(), "about": c.about() }))
            .collect::<Vec<_>>(),
        "trace_every": trace_every(subject),
        "rules": RULES.iter()
            .map(|r| json!({ "rule": r.id, "says": r.says }))
            .collect::<Vec<_>>(),
        "requirements": requirements(report).iter().map(requirement).collect::<Vec<_>>(),
        "evidence": evidence(report),
        "open_points": open_points(report),
        "findings": report.findings.iter().map(|f| finding(report, f)).collect::<Vec<_>>(),
        "margins": report.margins.iter().map(|m| {
            let mut value = margin(&m.margin);
            value["drive"] = json!(m.drive + 1);
            value["measured_in"] = json!(m.measured_in);
            value
        }).collect::<Vec<_>>(),
        "refusals": report.refusals.iter().map(|r| json!({
            "asked": d.arrangements[r.asked].name,
            "reason": r.reason,
            "drives": r.drives.iter().map(|i| i + 1).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "otherwise_than_foretold": report.surprises().iter().map(|i| i + 1).collect::<Vec<_>>(),
        "drives": (0..report.drives.len()).map(|i| drive(report, &kept, i)).collect::<Vec<_>>(),
    })
}

fn requirement(r: &Requirement) -> Value {
    let s = &r.section;
    let pieces = r.pieces.iter().map(|p| {
        let near = p.nearest.as_ref().map(|n| {
            json!({ "subject": n.subject, "worst": n.worst, "limit": n.limit, "unit": n.unit,
                    "used_share": n.used })
        });
        json!({ "by": p.by, "what": p.what, "result": p.says.word(), "nearest": near })
    });
    json!({
        "rule": s.id,
        "says": s.says,
        "hazard": s.hazard,
        "limit_from": s.limit,
        "code": s.code,
        "code_line": excerpt(s).map(|code| code.line),
        "code_sha256": excerpt(s).map(|code| code.sha256),
        "test": s.test,
        "test_file": s.test_file,
        "result": r.result().word(),
        "evidence": pieces.collect::<Vec<_>>(),
    })
}

/// Every part of the evidence by its file in the folder, and what should have been made.
fn evidence(report: &Report) -> Value {
    let parts = report.evidence.with_paths().into_iter().map(|(part, path)| {
        let (state, why) = part_word(&report.evidence, part);
        let (command, name, sha256) = match &part.origin {
            Origin::Made(command) => (Some(command), None, None),
            Origin::Read { name, sha256 } => (None, Some(name), Some(sha256)),
        };
        json!({
            "kind": part.kind.word(), "path": path, "result": state, "why": why,
            "made_by": command, "read_from": name, "read_sha256": sha256,
        })
    });
    let missing = report
        .evidence
        .missing
        .iter()
        .map(|(kind, why)| json!({ "kind": kind.word(), "why": why }));
    json!({ "parts": parts.collect::<Vec<_>>(), "missing": missing.collect::<Vec<_>>() })
}

fn margin(m: &Margin) -> Value {
    json!({
        "rule": m.rule,
        "subject": m.subject,
        "worst": m.worst,
        "limit": m.limit,
        "kind": if m.at_least { "at least" } else { "at most" },
        "unit": m.unit,
        "t_s": m.t_s,
    })
}

fn finding(report: &Report, f: &PairFinding) -> Value {
    json!({
        "rule": f.rule,
        "t_s": f.t_s,
        "text": f.text,
        "drive": f.drive + 1,
        "seed": report.drives[f.drive].seed,
        "scenario": scenario_path(report, f.drive),
    })
}

fn drive(report: &Report, kept: &Kept, index: usize) -> Value {
    let d = &report.subject.driveline;
    let (drive, result) = (&report.drives[index], &report.results[index]);
    let refusal = match &result.answer {
        Answer::Refused(reason) | Answer::NotRun(reason) => json!(reason),
        Answer::Reached | Answer::Unanswered => Value::Null,
    };
    let forecast = match &drive.forecast {
        Forecast::Goes { time_s, gap_s } => {
            json!({ "goes": true, "time_s": time_s, "gap_s": gap_s, "reason": null })
        }
        Forecast::Refused(reason) => {
            json!({ "goes": false, "time_s": null, "gap_s": null, "reason": reason })
        }
    };
    let heading = Heading {
        driveline: d.name.clone(),
        scenario: format!("drive-{:03}", drive.number),
        seed: drive.seed,
    };
    json!({
        "number": drive.number,
        "from": d.arrangements[drive.from].name,
        "to": d.arrangements[drive.to].name,
        "case": drive.case.word(),
        "road_kmh": drive.speed_kmh,
        "slope_percent": drive.slope_percent,
        "demand_nm": drive.demand_nm,
        "hand_over_limit_nm": drive.limit_nm,
        "seed": drive.seed,
        "asked": d.arrangements[drive.asked()].name,
        "asked_at_s": drive.asked_at_s(),
        "answer": result.answer.word(),
        "reason": refusal,
        "took_s": result.took_s,
        "duration_s": result.duration_s,
        "forecast": forecast,
        "digest": format!("{:016x}", result.digest),
        "repeats": result.repeats,
        "scenario": scenario_path(report, index),
        "timeline": kept.timelines[index].then(|| timeline_path(report, index)),
        "trace": kept.traces[index].then(|| trace_path(report, index)),
        "summary": summary_text::json(&heading, &result.summary),
    })
}
