//! Open points: everything that this review leaves unshown, as far as it can be worked out.

use serde_json::Value;

use super::evidence::{
    CampaignScore, Evidence, Kind, Origin, campaign_score, count, is_same_defect, list, text,
};
use super::report::Report;
use super::trace::{Says, requirements};

/// Names that are listed of a longer list; the sections and the JSON have all.
const NAMED: usize = 6;

/// "a, b, c and 4 more".
fn some_of(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(NAMED).map(String::as_str).collect();
    match names.len().saturating_sub(NAMED) {
        0 => shown.join("; "),
        more => format!("{}; and {more} more", shown.join("; ")),
    }
}

/// Every open point, in words; the worst first.
pub(super) fn open_points(report: &Report) -> Vec<String> {
    let mut points = Vec::new();
    for (kind, why) in report.evidence.findings() {
        points.push(format!("Finding in the {}: {why}.", kind.title()));
    }
    for (kind, why) in report.evidence.inconclusive() {
        points.push(format!("Inconclusive: {}: {why}.", kind.title()));
    }
    rules(report, &mut points);
    for part in &report.evidence.parts {
        match part.kind {
            Kind::Explore => exploration(&part.value, &mut points),
            Kind::Campaign => campaign(&part.value, &mut points),
            Kind::Defects => defects(&part.value, &mut points),
            Kind::PlantDefects => plant_defects(&part.value, &report.evidence, &mut points),
            Kind::Energy => energy(&part.value, &mut points),
        }
        if let Origin::Read { name, .. } = &part.origin {
            points.push(format!(
                "Read from {name} and not made in this run: {}. Its SHA-256 stands beside it.",
                part.kind.title()
            ));
        }
    }
    not_made(report, &mut points);
    let surprises = report.surprises().len();
    if surprises > 0 {
        let (drives, star) = if surprises == 1 { ("drive", "it") } else { ("drives", "them") };
        points.push(format!(
            "{surprises} {drives} ended otherwise than the table foretells; a star marks {star} in \
             the list of drives."
        ));
    }
    let warnings = report.subject.warnings.len();
    if warnings > 0 {
        let s = if warnings == 1 { "" } else { "s" };
        points
            .push(format!("The file reader gave {warnings} warning{s} about the driveline file."));
    }
    points
}

fn rules(report: &Report, points: &mut Vec<String>) {
    let all = requirements(report);
    let ids = |want: Says| -> Vec<String> {
        let list = all.iter().filter(|r| r.result() == want);
        list.map(|r| r.section.id.clone()).collect()
    };
    let groups = [
        (Says::Broken, "Rules that were broken"),
        (Says::Inconclusive, "Rules about which some evidence is inconclusive"),
        (Says::Unseen, "Rules about which nothing was measured (nothing occurred that they limit)"),
        (Says::Elsewhere, "Rules that only tests outside this review are about"),
    ];
    for (want, words) in groups {
        let list = ids(want);
        if !list.is_empty() {
            points.push(format!("{words}: {}.", list.join(", ")));
        }
    }
    points.push(
        "The canonical tests and the whole-input test of the interlock were not run by this \
         review; `cargo test --workspace` in the sources runs them."
            .to_owned(),
    );
}

fn exploration(value: &Value, points: &mut Vec<String>) {
    let faults = count(&value["faults"]);
    if faults == 0 {
        points.push(
            "The exploration allowed no lock fault; `slipwarden review --depth full` or \
             `slipwarden explore` allows one."
                .to_owned(),
        );
    } else {
        let s = if faults == 1 { "" } else { "s" };
        points.push(format!(
            "The exploration allowed at most {faults} lock fault{s} in one history."
        ));
    }
    let dead = list(&value["sometimes"]["dead"]);
    let named = |excused: bool| -> Vec<String> {
        let list = dead.iter().filter(|d| d["excuse"].is_null() != excused);
        list.map(|d| text(&d["name"]).to_owned()).collect()
    };
    let (excused, unexcused) = (named(true), named(false));
    if !unexcused.is_empty() {
        points.push(format!("Never occurs, without an excuse: {}.", some_of(&unexcused)));
    }
    if !excused.is_empty() {
        points.push(format!(
            "Never occurs in the exploration, excused by the table itself: {}.",
            some_of(&excused)
        ));
    }
}

fn campaign(value: &Value, points: &mut Vec<String>) {
    let not_run = count(&value["not_run"]);
    if not_run > 0 {
        points.push(format!(
            "{not_run} case{} of the campaign could not start: lock set, speed and engine \
             contradicted each other.",
            if not_run == 1 { "" } else { "s" }
        ));
    }
    for group in list(&value["coverage"]) {
        let never: Vec<String> = list(&group["never"]).iter().map(|n| text(n).to_owned()).collect();
        if !never.is_empty() {
            points.push(format!(
                "Never hit in the campaign, of {} cells of the group \u{201c}{}\u{201d}: {} ({}).",
                count(&group["of"]),
                text(&group["group"]),
                never.len(),
                some_of(&never)
            ));
        }
    }
}

fn defects(value: &Value, points: &mut Vec<String>) {
    let (chosen, all) = (count(&value["chosen"]), count(&value["defects"]));
    if chosen < all {
        points.push(format!(
            "Of {all} planted defects of the table {chosen} were tried, evenly spread over the list."
        ));
    }
    let given_up = count(&value["total"]["inconclusive"]);
    if given_up > 0 {
        points.push(format!(
            "With {given_up} planted defects the exploration was given up; what else found them \
             stands in the list."
        ));
    }
}

/// What campaigns alone find is a figure of that method; what the others say of the rest is told
/// beside it.
fn plant_defects(value: &Value, evidence: &Evidence, points: &mut Vec<String>) {
    let tried = list(&value["tried"]);
    let CampaignScore { found, missed, .. } = campaign_score(value);
    if missed > 0 {
        let rows = || evidence.of(Kind::Defects).flat_map(|part| list(&part.value["rows"]));
        let (mut elsewhere, mut nowhere) = (0, 0);
        let is_missed =
            |t: &&Value| t["found"] != true && t["refused"] != true && !t["excused"].is_string();
        for one in tried.iter().filter(is_missed) {
            match rows().find(|row| is_same_defect(row, one)) {
                Some(row) if row["outcome"] == "survived" => nowhere += 1,
                Some(_) => elsewhere += 1,
                None => {}
            }
        }
        points.push(format!(
            "Campaigns alone found {found} of {} planted defects under every seed ({:.0} %). That \
             is a figure of the method, no finding: most changes of a table alter nothing that a \
             drive shows. Of the {missed} others, {elsewhere} were found by board, exploration, \
             audit or drives, {nowhere} were tried and not found there, and {} were not tried \
             there.",
            found + missed,
            100.0 * found as f64 / (found + missed) as f64,
            missed - elsewhere - nowhere,
        ));
    }
    if (tried.len() as u64) < count(&value["defects"]) {
        points.push(format!(
            "Of {} planted defects {} were tried by campaigns.",
            count(&value["defects"]),
            tried.len()
        ));
    }
}

fn energy(value: &Value, points: &mut Vec<String>) {
    for note in list(&value["notes"]) {
        points.push(format!("Energy figures: {}.", text(note).trim_end_matches('.')));
    }
}

/// Kinds of evidence that are neither there nor asked for.
fn not_made(report: &Report, points: &mut Vec<String>) {
    let evidence = &report.evidence;
    for kind in Kind::ALL {
        let missing = evidence.missing.iter().any(|(of, _)| *of == kind);
        if evidence.of(kind).next().is_none() && !missing {
            points.push(format!(
                "Not part of this review: {}; `{}` makes it, and `--evidence` adds it.",
                kind.title(),
                kind.command()
            ));
        }
    }
}
