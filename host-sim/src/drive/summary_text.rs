//! A summary as text for a person (80 columns) and as JSON for a program.

use std::fmt::Write;

use serde_json::{Value, json};

use crate::drive::summary::Summary;

/// Version of the JSON.
pub const SUMMARY_FORMAT: u32 = 1;
const WIDTH: usize = 80;

/// What a run was made of, to head its summary.
#[derive(Clone, Debug, PartialEq)]
pub struct Heading {
    /// Name of the driveline.
    pub driveline: String,
    /// Name of the scenario.
    pub scenario: String,
    /// Seed of all chance.
    pub seed: u64,
}

/// Write `text` after `lead`, broken at spaces so that no line passes 80 columns (a longer
/// word stands alone); further lines are indented as wide as `lead`.
fn wrapped(out: &mut String, lead: &str, text: &str) {
    let indent = lead.chars().count();
    let mut line = lead.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        let more = word.chars().count() + usize::from(!empty);
        if !empty && line.chars().count() + more > WIDTH {
            let _ = writeln!(out, "{}", line.trim_end());
            line = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{}", line.trim_end());
}

/// The summary for a person.
pub fn text(heading: &Heading, s: &Summary) -> String {
    let mut out = String::new();
    let head = format!(
        "{}, {}: {:.1} s, {:.2} km, seed {}",
        heading.driveline,
        heading.scenario,
        s.duration_s,
        s.distance_m / 1e3,
        heading.seed
    );
    wrapped(&mut out, "", &head);
    transitions(&mut out, s);
    closings(&mut out, s);
    locks(&mut out, s);
    if !s.refusals.is_empty() {
        let _ = writeln!(out, "\nRefusals");
        for r in &s.refusals {
            let lead = format!("  {:8.2} s  ", r.t_s);
            let text = format!("{}: {} (stood {:.2} s)", r.asked, r.reason, r.stood_s);
            wrapped(&mut out, &lead, &text);
        }
    }
    if !s.faults.is_empty() {
        let _ = writeln!(out, "\nFaults that the supervisor stated");
        stated_faults(&mut out, &s.faults);
    }
    findings(&mut out, s);
    out
}

/// Each fault once, with how often it came: one that flickers would fill pages.
fn stated_faults(out: &mut String, faults: &[(f64, String)]) {
    for (i, (t_s, text)) in faults.iter().enumerate() {
        if faults[..i].iter().any(|earlier| earlier.1 == *text) {
            continue;
        }
        let again: Vec<f64> =
            faults[i + 1..].iter().filter(|f| f.1 == *text).map(|f| f.0).collect();
        let text = match again.last() {
            Some(last) => format!("{text} ({} times, last at {last:.2} s)", again.len() + 1),
            None => text.clone(),
        };
        wrapped(out, &format!("  {t_s:8.2} s  "), &text);
    }
}

fn transitions(out: &mut String, s: &Summary) {
    let _ = writeln!(out, "\nTransitions");
    if s.transitions.is_empty() {
        let _ = writeln!(out, "  none");
    }
    for t in &s.transitions {
        let lead = format!("  {:8.2} s  ", t.start_s);
        let told = match t.attempts {
            0 => format!("{} -> {} in {:.2} s", t.from, t.to, t.took_s),
            1 => format!("left {} and came back in {:.2} s", t.to, t.took_s),
            n => format!("{n} attempts to leave {} in {:.2} s came back", t.to, t.took_s),
        };
        wrapped(out, &lead, &told);
        let pad = " ".repeat(lead.len());
        wrapped(out, &pad, &t.steps.join(", "));
        if t.gap_s > 0.0 {
            let gap = format!(
                "wheels short of torque for {:.2} s, up to {:.0} Nm at the output",
                t.gap_s, t.gap_depth_nm
            );
            wrapped(out, &pad, &gap);
        }
    }
    let ends = if s.ends_in.is_empty() { "no arrangement" } else { &s.ends_in };
    wrapped(out, "  ", &format!("ends in {ends}; torque gaps in all {:.2} s", s.gap_s));
}

fn closings(out: &mut String, s: &Summary) {
    if s.closings.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nClosings (true slip when the lock began to carry torque)");
    let _ = writeln!(
        out,
        "  {:>8}  {:<24} {:>10} {:>10} {:>12}",
        "time", "lock", "slip", "limit", "work"
    );
    for c in &s.closings {
        let limit = c.limit_rpm.map_or("-".to_owned(), |l| format!("{l:.0} rpm"));
        let _ = writeln!(
            out,
            "  {:>8}  {:<24} {:>10} {:>10} {:>12}",
            format!("{:.2} s", c.t_s),
            cut(&c.lock, 24),
            format!("{:.1} rpm", c.slip_rpm),
            limit,
            heat(c.work_j),
        );
    }
}

fn locks(out: &mut String, s: &Summary) {
    let _ = writeln!(out, "\nHeat in the locks");
    let _ = writeln!(
        out,
        "  {:<24} {:>8} {:>13} {:>13} {:>12}",
        "lock", "closings", "whole run", "worst closing", "budget"
    );
    for l in &s.locks {
        let budget = l.budget_kj.map_or("-".to_owned(), |b| format!("{b:.1} kJ"));
        let _ = writeln!(
            out,
            "  {:<24} {:>8} {:>13} {:>13} {:>12}",
            cut(&l.lock, 24),
            l.closings,
            heat(l.total_j),
            heat(l.largest_closing_j),
            budget,
        );
    }
}

fn findings(out: &mut String, s: &Summary) {
    let _ = writeln!(out, "\nFindings of the judges");
    if s.findings.is_empty() {
        let _ = writeln!(out, "  none");
    }
    for f in &s.findings {
        wrapped(out, &format!("  {:8.2} s  {:<12} ", f.t_s, f.rule), &f.text);
    }
    if s.margins.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nNearest to the limits (true values; * is a lowest allowed value)");
    let _ = writeln!(
        out,
        "  {:<12} {:>9} {:>9} {:<4} {:>10}  what",
        "rule", "worst", "limit", "", "at"
    );
    for m in &s.margins {
        let star = if m.at_least { "*" } else { "" };
        let limit = format!("{star}{}", short(m.limit));
        let lead = format!(
            "  {:<12} {:>9} {limit:>9} {:<4} {:>10}  ",
            m.rule,
            short(m.worst),
            m.unit,
            format!("{:.2} s", m.t_s),
        );
        wrapped(out, &lead, &m.subject);
    }
}

/// J up to 100, kJ beyond.
fn heat(joule: f64) -> String {
    if joule.abs() < 100.0 {
        format!("{:.1} J", joule.max(0.0))
    } else {
        format!("{:.2} kJ", joule / 1e3)
    }
}

/// A name that fits a column.
fn cut(name: &str, width: usize) -> String {
    if name.chars().count() <= width {
        return name.to_owned();
    }
    name.chars().take(width - 1).chain(['\u{2026}']).collect()
}

/// Three or four significant figures.
fn short(value: f64) -> String {
    match value.abs() {
        a if a < 0.005 => "0".to_owned(),
        a if a >= 100.0 => format!("{value:.0}"),
        a if a >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

/// The summary for a program.
pub fn json(heading: &Heading, s: &Summary) -> Value {
    json!({
        "format": SUMMARY_FORMAT,
        "driveline": heading.driveline,
        "scenario": heading.scenario,
        "seed": heading.seed,
        "duration_s": s.duration_s,
        "distance_m": s.distance_m,
        "ends_in": if s.ends_in.is_empty() { Value::Null } else { json!(s.ends_in) },
        "torque_gap_s": s.gap_s,
        "transitions": s.transitions.iter().map(|t| json!({
            "from": t.from,
            "to": t.to,
            "start_s": t.start_s,
            "took_s": t.took_s,
            "attempts_that_came_back": t.attempts,
            "steps": t.steps,
            "torque_gap_s": t.gap_s,
            "torque_gap_nm": t.gap_depth_nm,
        })).collect::<Vec<_>>(),
        "closings": s.closings.iter().map(|c| json!({
            "t_s": c.t_s,
            "lock": c.lock,
            "slip_rpm": c.slip_rpm,
            "limit_rpm": c.limit_rpm,
            "work_j": c.work_j,
        })).collect::<Vec<_>>(),
        "locks": s.locks.iter().map(|l| json!({
            "lock": l.lock,
            "closings": l.closings,
            "heat_j": l.total_j,
            "largest_closing_j": l.largest_closing_j,
            "budget_kj": l.budget_kj,
        })).collect::<Vec<_>>(),
        "refusals": s.refusals.iter().map(|r| json!({
            "t_s": r.t_s,
            "asked": r.asked,
            "reason": r.reason,
            "stood_s": r.stood_s,
        })).collect::<Vec<_>>(),
        "faults": s.faults.iter().map(|(t_s, text)| json!({ "t_s": t_s, "fault": text }))
            .collect::<Vec<_>>(),
        "findings": s.findings.iter().map(|f| json!({
            "rule": f.rule,
            "t_s": f.t_s,
            "text": f.text,
        })).collect::<Vec<_>>(),
        "margins": s.margins.iter().map(|m| json!({
            "rule": m.rule,
            "subject": m.subject,
            "worst": m.worst,
            "limit": m.limit,
            "kind": if m.at_least { "at least" } else { "at most" },
            "unit": m.unit,
            "t_s": m.t_s,
        })).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::stated_faults;

    #[test]
    fn a_fault_that_flickers_is_told_once_with_its_count() {
        let at = |t_s: f64, text: &str| (t_s, text.to_string());
        let mut out = String::new();
        stated_faults(&mut out, &[at(1.0, "sensor:a"), at(1.1, "sensor:b"), at(1.2, "sensor:a")]);
        let lines: Vec<&str> = out.lines().map(str::trim).collect();
        assert_eq!(lines, ["1.00 s  sensor:a (2 times, last at 1.20 s)", "1.10 s  sensor:b"]);
    }
}
