//! What came of a campaign: for a person, as JSON and as CSV.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde_json::{Value, json};

use super::axes::{Cell, GROUPS};
use super::header::hex;
use super::merge::Merged;
use super::seed::case_seed;
use super::tally::{BINS, MarginTally};
use crate::drive::trace::field;
use crate::review::RULES;
use crate::text::{labelled, paragraph, shell_word};

/// Version of the format of `campaign.json`.
pub const CAMPAIGN_FORMAT: u64 = 1;
/// Columns of a terminal.
const WIDTH: usize = 80;
/// Findings of one rule that the text shows.
const SHOWN: usize = 3;
/// Cells of one group that were never hit and that the text names.
const NAMED: usize = 6;

/// The command that repeats a case.
pub(super) fn replay_command(merged: &Merged, file: &str, case: u64) -> String {
    let Merged { header, .. } = merged;
    format!(
        "slipwarden replay {} --case {case} --seed {} --faults {}",
        shell_word(file),
        header.seed,
        header.faults
    )
}

/// Upper bound at 95 % for the chance that a case breaks a rule, from `n` cases without one.
///
/// -ln(0.05)/n, IEC 61508-7 Annex D (from memory: there for failure-free tests).
pub(super) fn chance_bound(n: u64) -> f64 {
    -(0.05f64.ln()) / n as f64
}

/// Rules in order, with the number of cases that broke each.
pub(super) fn rules(merged: &Merged) -> Vec<(String, u64)> {
    let count = |rule: &str| merged.tally.broken.get(rule).copied().unwrap_or(0);
    RULES.iter().map(|rule| (rule.id.to_string(), count(rule.id))).collect()
}

/// By group: cells that were hit, all that count, and those never hit.
fn coverage(merged: &Merged) -> Vec<(usize, usize, Vec<Cell>)> {
    let axes = &merged.header.axes;
    let mut groups = vec![(0, 0, Vec::new()); GROUPS.len()];
    for cell in (0..axes.count() as Cell).filter(|&c| axes.counts(c)) {
        let group = &mut groups[axes.group(cell)];
        group.1 += 1;
        match merged.tally.cells.contains_key(&cell) {
            true => group.0 += 1,
            false => group.2.push(cell),
        }
    }
    groups
}

/// For a person, at most 80 columns wide where names allow it.
pub(super) fn text(merged: &Merged, file: &str) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_text(&mut out, merged, file);
    out
}

fn write_text(out: &mut String, merged: &Merged, file: &str) -> std::fmt::Result {
    let Merged { header, tally, .. } = merged;
    writeln!(
        out,
        "campaign of {}: {} cases, {} fault{} each, seed {}",
        header.driveline,
        header.cases,
        header.faults,
        if header.faults == 1 { "" } else { "s" },
        header.seed
    )?;
    writeln!(
        out,
        "  {} ran, {} could not start; {} ticks\n  table {}, digest {:016x}",
        tally.cases,
        tally.not_run,
        tally.ticks,
        hex(header.table_hash),
        tally.digest
    )?;
    write_incomplete(out, merged)?;
    writeln!(out, "\nrules")?;
    for (rule, broken) in rules(merged) {
        let nearest = tally
            .margins
            .iter()
            .filter(|((r, ..), _)| *r == rule)
            .min_by(|a, b| a.1.left_share().total_cmp(&b.1.left_share()));
        let nearest = match nearest {
            Some(((_, subject, _), m)) => {
                let found = tally.findings.iter().any(|f| f.rule == rule && f.case == m.case);
                nearest_text(subject, m, (found, header.faults))
            }
            None => "nothing to measure occurred".to_string(),
        };
        let verdict = if broken == 0 { "holds".to_string() } else { format!("{broken} broken") };
        out.push_str(&labelled(&format!("{rule:<13} {verdict:<12} "), &nearest, 2, WIDTH));
    }
    write_coverage(out, merged)?;
    write_findings(out, merged, file)?;
    writeln!(out)?;
    out.push_str(&paragraph(&bound_text(merged), 0, WIDTH));
    Ok(())
}

fn write_incomplete(out: &mut String, merged: &Merged) -> std::fmt::Result {
    if !merged.missing.is_empty() {
        writeln!(out, "  NOT WHOLE: no results of shares {}", numbers(&merged.missing))?;
    }
    for (share, cases) in &merged.short {
        writeln!(out, "  NOT WHOLE: share {share} lacks {cases} cases")?;
    }
    Ok(())
}

/// "0-3, 7".
pub(super) fn numbers(list: &[u64]) -> String {
    let mut spans: Vec<(u64, u64)> = Vec::new();
    for &n in list {
        match spans.last_mut() {
            Some(span) if span.1 + 1 == n => span.1 = n,
            _ => spans.push((n, n)),
        }
    }
    let text = |(a, b): &(u64, u64)| if a == b { a.to_string() } else { format!("{a}-{b}") };
    spans.iter().map(text).collect::<Vec<_>>().join(", ")
}

/// The worst of a rule's cases; beyond the limit it is told whether that case is a finding.
fn nearest_text(subject: &str, m: &MarginTally, (found, faults): (bool, u8)) -> String {
    let bound = if m.at_least { "at least" } else { "at most" };
    // A limit of nothing leaves no share.
    let beyond = m.left_share() < 0.0 && m.left_share().is_finite();
    let told = match (beyond, found, faults) {
        (false, ..) => "",
        (true, true, _) => ", a finding",
        (true, false, 0) => ", beyond the limit and no finding",
        (true, false, _) => ", beyond the limit after a fault, which the rule forgives",
    };
    format!(
        "{subject}: {} {}, {bound} {} (case {}){told}",
        figures(m.worst),
        m.unit,
        crate::drive::trace::number(m.limit),
        m.case
    )
}

/// At most four significant figures, as far as they stand behind the point.
fn figures(value: f64) -> String {
    let decimals = match value.abs() {
        a if a >= 1000.0 => 0,
        a if a >= 100.0 => 1,
        a if a >= 10.0 => 2,
        _ => 3,
    };
    format!("{:.decimals$}", value + 0.0)
}

fn write_coverage(out: &mut String, merged: &Merged) -> std::fmt::Result {
    writeln!(out, "\ncoverage (cells that at least one case hit)")?;
    for (name, (hit, all, never)) in GROUPS.iter().zip(coverage(merged)) {
        writeln!(out, "  {name:<19} {hit:>5} of {all}")?;
        if never.is_empty() {
            continue;
        }
        let names: Vec<String> =
            never.iter().take(NAMED).map(|&c| merged.header.axes.name(c)).collect();
        let more = never.len().saturating_sub(NAMED);
        let more = if more > 0 { format!("; and {more} more") } else { String::new() };
        out.push_str(&paragraph(&format!("never: {}{more}", names.join("; ")), 4, WIDTH));
    }
    Ok(())
}

fn write_findings(out: &mut String, merged: &Merged, file: &str) -> std::fmt::Result {
    let mut shown: BTreeMap<&str, usize> = BTreeMap::new();
    for found in &merged.tally.findings {
        let count = shown.entry(&found.rule).or_default();
        *count += 1;
        if *count > SHOWN {
            continue;
        }
        if *count == 1 {
            writeln!(out, "\n{}", found.rule)?;
        }
        let line = format!("case {}, {:.3} s: {}", found.case, found.t_s, found.text);
        out.push_str(&paragraph(&line, 2, WIDTH));
        writeln!(out, "    {}", replay_command(merged, file, found.case))?;
    }
    Ok(())
}

fn bound_text(merged: &Merged) -> String {
    let n = merged.tally.cases;
    let broken = !merged.tally.findings.is_empty();
    let first = match (broken, n) {
        (_, 0) => "No case ran, so nothing is shown.".to_string(),
        (true, _) => "Rules were broken, so no bound is stated.".to_string(),
        (false, _) => format!(
            "In {n} cases no rule was broken. If these cases were drawn like those of service, the \
             chance that a case breaks a rule would be at most {:.1e} at 95 % confidence (IEC \
             61508-7 Annex D, failure-free tests).",
            chance_bound(n)
        ),
    };
    format!(
        "{first} That needs inputs that follow the operating profile; these are drawn to be \
         hostile instead, so the figure is no failure rate. It is evidence for people who judge \
         it; it certifies nothing."
    )
}

/// For programs; the same bytes however the campaign was divided.
pub(crate) fn campaign_json(merged: &Merged) -> Value {
    let Merged { header, tally, .. } = merged;
    let seed = |case: u64| case_seed(header.seed, case);
    let margins = tally.margins.iter().map(|((rule, subject, _), m)| {
        json!({
            "rule": rule, "subject": subject, "unit": m.unit,
            "limit_is": if m.at_least { "lowest" } else { "highest" },
            "limit": m.limit, "worst": m.worst, "left_share": m.left_share(),
            "case": m.case, "case_seed": seed(m.case), "t_s": m.t_s, "bins": m.bins,
        })
    });
    let findings = tally.findings.iter().map(|f| {
        json!({
            "case": f.case, "case_seed": seed(f.case), "rule": f.rule, "t_s": f.t_s, "text": f.text,
        })
    });
    let groups = coverage(merged);
    let coverage = GROUPS.iter().zip(&groups).map(|(name, (hit, all, never))| {
        let never: Vec<String> = never.iter().map(|&c| header.axes.name(c)).collect();
        let cells = tally.cells.iter().filter(|(c, _)| GROUPS[header.axes.group(**c)] == *name);
        let cells: Vec<Value> =
            cells.map(|(c, n)| json!({ "cell": header.axes.name(*c), "cases": n })).collect();
        json!({ "group": name, "hit": hit, "of": all, "cells": cells, "never": never })
    });
    let rules = rules(merged).into_iter().map(|(rule, n)| json!({ "rule": rule, "broken": n }));
    json!({
        "campaign": CAMPAIGN_FORMAT,
        "driveline": header.driveline,
        "file_sha256": header.file_sha256,
        "table_hash": hex(header.table_hash),
        "tool": header.tool,
        "case_rules": header.case_rules,
        "seed": header.seed,
        "cases": header.cases,
        "faults": header.faults,
        "ran": tally.cases,
        "not_run": tally.not_run,
        "ticks": tally.ticks,
        "digest": format!("{:016x}", tally.digest),
        "whole": merged.is_whole(),
        "chance_bound_95": (tally.findings.is_empty() && tally.cases > 0)
            .then(|| chance_bound(tally.cases)),
        "rules": rules.collect::<Vec<_>>(),
        "margins": margins.collect::<Vec<_>>(),
        "coverage": coverage.collect::<Vec<_>>(),
        "findings": findings.collect::<Vec<_>>(),
    })
}

/// Margins as CSV (RFC 4180), one line for each rule and subject.
pub(super) fn margins_csv(merged: &Merged) -> String {
    let mut out = String::from(
        "rule,subject,unit,limit_is,limit,worst,left_share,case,case_seed,t_s,cases,beyond",
    );
    for i in 1..BINS {
        let _ = write!(out, ",left_{}", (i - 1) * 5);
    }
    out.push_str("\r\n");
    for ((rule, subject, _), m) in &merged.tally.margins {
        let bound = if m.at_least { "lowest" } else { "highest" };
        let (left, seed) = (m.left_share(), case_seed(merged.header.seed, m.case));
        let cases: u64 = m.bins.iter().sum();
        let _ = write!(
            out,
            "{rule},{},{},{bound},{},{},{left},{},{seed},{},{cases}",
            field(subject),
            m.unit,
            m.limit,
            m.worst,
            m.case,
            m.t_s
        );
        for bin in m.bins {
            let _ = write!(out, ",{bin}");
        }
        out.push_str("\r\n");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bound_is_the_rule_of_three() {
        // Rule of three: 3/n at 95 % (as in IEC 61508-7 Annex D; from memory).
        assert!((chance_bound(3000) * 1000.0 - 1.0).abs() < 0.002);
    }

    #[test]
    fn numbers_are_told_in_spans() {
        assert_eq!(numbers(&[0, 1, 2, 5, 7, 8]), "0-2, 5, 7-8");
    }
}
