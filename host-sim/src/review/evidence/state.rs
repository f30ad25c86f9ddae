//! What a part of the evidence comes to, worked out from its content, not from its own verdict.
//!
//! A planted defect that no part found is a finding. How many of them campaigns find by
//! themselves is a figure of that method, told as an open point: most changes of a table alter
//! nothing that a drive shows, and exploration and audit are there for those.

use serde_json::Value;

use super::{Kind, Part};

/// What a part comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// Whole, and nothing found.
    Holds,
    /// Something was found: what.
    Finding(String),
    /// Nothing was found, but it is not whole: why.
    Inconclusive(String),
}

impl State {
    /// The word in JSON and tables.
    pub fn word(&self) -> &'static str {
        match self {
            State::Holds => "holds",
            State::Finding(_) => "finding",
            State::Inconclusive(_) => "inconclusive",
        }
    }
}

/// The members of a list; none where there is no list.
pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// A text; empty where there is none.
pub(crate) fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

/// A count; 0 where there is none.
pub(crate) fn count(value: &Value) -> u64 {
    value.as_u64().unwrap_or(0)
}

impl Part {
    /// What it comes to by itself; [`super::Evidence::state_of`] asks the other parts as well.
    pub fn state(&self) -> State {
        match self.kind {
            Kind::Explore => explored(&self.value),
            Kind::Campaign => driven(&self.value),
            Kind::Defects => planted(&self.value, &|_| false),
            Kind::PlantDefects => planted_in_plant(&self.value),
            Kind::Energy => State::Holds,
        }
    }
}

fn explored(value: &Value) -> State {
    let broken: Vec<&str> = list(&value["always"])
        .iter()
        .filter(|a| a["broken"] != false)
        .map(|a| text(&a["id"]))
        .collect();
    if !broken.is_empty() {
        return State::Finding(format!("broken: {}", broken.join(", ")));
    }
    if value["complete"] != true {
        let states = count(&value["states"]);
        let why = format!("stopped after {states} states; nothing is shown of the others");
        return State::Inconclusive(why);
    }
    match value["live"]["holds"].as_bool() {
        Some(true) => {}
        Some(false) => {
            return State::Finding("broken: EX-LIVE, a request may never be answered".into());
        }
        None if value["subject"] != "interlock-alone" => {
            return State::Inconclusive("whether requests are answered was not explored".into());
        }
        None => {}
    }
    let unexcused = list(&value["sometimes"]["dead"]).iter().filter(|d| d["excuse"].is_null());
    match unexcused.count() {
        0 => State::Holds,
        n => State::Finding(format!("{n} that should occur never do, and nothing excuses them")),
    }
}

fn driven(value: &Value) -> State {
    let findings = list(&value["findings"]).len();
    let broken: u64 = list(&value["rules"]).iter().map(|r| count(&r["broken"])).sum();
    match () {
        () if findings > 0 || broken > 0 => {
            let rules: Vec<String> = list(&value["rules"])
                .iter()
                .filter(|r| count(&r["broken"]) > 0)
                .map(|r| match count(&r["broken"]) {
                    1 => format!("{} in 1 case", text(&r["rule"])),
                    n => format!("{} in {n} cases", text(&r["rule"])),
                })
                .collect();
            State::Finding(format!("broken: {}", rules.join(", ")))
        }
        () if value["whole"] != true => State::Inconclusive("not every case ran".into()),
        () if count(&value["ran"]) == 0 => State::Inconclusive("no case ran".into()),
        () => State::Holds,
    }
}

/// What the planted defects of the table come to, where `elsewhere` says which of them another
/// part found.
pub(super) fn planted(value: &Value, elsewhere: &dyn Fn(&Value) -> bool) -> State {
    let all = list(&value["rows"]);
    let rows = all.len();
    let left: Vec<&Value> =
        all.iter().filter(|r| r["outcome"] == "survived" && !elsewhere(r)).collect();
    let survived = left.len();
    let undecided = left.iter().filter(|r| is_undecided(r)).count();
    match () {
        () if survived > undecided => State::Finding(format!(
            "{} of {rows} planted defects were found by nothing",
            survived - undecided
        )),
        () if undecided > 0 => State::Inconclusive(format!(
            "{undecided} of {rows} planted defects were found by nothing, but the exploration was \
             given up at its bound of states"
        )),
        () if value["complete"] != true || rows == 0 => {
            State::Inconclusive("not every chosen defect was tried".into())
        }
        () => State::Holds,
    }
}

/// Whether the worst case of a campaign's margin went beyond its limit without breaking the rule:
/// after a fault the rule forgives, for a time or for good.
pub(crate) fn is_forgiven(value: &Value, margin: &Value) -> bool {
    let beyond = margin["left_share"].as_f64().is_some_and(|left| left < 0.0);
    let same = |f: &&Value| f["rule"] == margin["rule"] && f["case"] == margin["case"];
    beyond && !list(&value["findings"]).iter().any(|f| same(&f))
}

/// Whether nothing found a planted defect, but its exploration was given up before its end.
pub(crate) fn is_undecided(row: &Value) -> bool {
    row["outcome"] == "survived" && text(&row["explore"]).starts_with("inconclusive")
}

/// Never a finding by itself: see the head of this file.
fn planted_in_plant(value: &Value) -> State {
    match value["whole"] == true && !list(&value["tried"]).is_empty() {
        true => State::Holds,
        false => State::Inconclusive("not every chosen defect was tried".into()),
    }
}

/// Whether two rows of planted defects are of one and the same change, whichever judges tried it.
pub(crate) fn is_same_defect(a: &Value, b: &Value) -> bool {
    ["kind", "place", "change"].iter().all(|key| a[key].is_string() && a[key] == b[key])
}

/// Planted defects that campaigns tried: found under every seed, not found, shown to be none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct CampaignScore {
    pub(crate) found: usize,
    pub(crate) missed: usize,
    pub(crate) none: usize,
}

/// The score of campaigns alone.
pub(crate) fn campaign_score(value: &Value) -> CampaignScore {
    let mut score = CampaignScore::default();
    // What the board refuses no campaign can run.
    for tried in list(&value["tried"]).iter().filter(|t| t["refused"] != true) {
        match (tried["found"] == true, tried["excused"].is_string()) {
            (true, _) => score.found += 1,
            (false, true) => score.none += 1,
            (false, false) => score.missed += 1,
        }
    }
    score
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn the_score_of_campaigns_is_a_figure_and_no_finding() {
        let mut tried = vec![json!({ "found": true, "excused": null }); 3];
        tried.extend(vec![json!({ "found": false, "excused": null }); 40]);
        tried.extend(vec![json!({ "found": false, "excused": "still proved" }); 2]);
        tried.extend(vec![json!({ "found": false, "refused": true, "excused": null }); 5]);
        let of = |whole: bool| json!({ "whole": whole, "tried": tried });
        assert_eq!(planted_in_plant(&of(true)), State::Holds);
        assert!(matches!(planted_in_plant(&of(false)), State::Inconclusive(_)));
        let score = CampaignScore { found: 3, missed: 40, none: 2 };
        assert_eq!(campaign_score(&of(true)), score);
    }

    #[test]
    fn a_planted_defect_that_no_part_finds_is_a_finding() {
        let row = |place: &str, outcome: &str, explore: &str| {
            json!({ "kind": "step duty", "place": place, "change": "free",
                    "outcome": outcome, "explore": explore })
        };
        let value = json!({ "complete": true, "rows": [
            row("step 1", "found", "EX-SLIP"),
            row("step 2", "survived", "holds"),
        ]});
        let here = row("step 2", "", "");
        let nowhere = planted(&value, &|_| false);
        assert!(matches!(nowhere, State::Finding(words) if words.starts_with("1 of 2 ")));
        assert_eq!(planted(&value, &|r| is_same_defect(r, &here)), State::Holds);
        let other = row("step 1", "", "");
        assert!(matches!(planted(&value, &|r| is_same_defect(r, &other)), State::Finding(_)));
        // Without an end of its exploration it is not decided.
        let open = json!({ "complete": true, "rows": [row("step 2", "survived", "inconclusive")] });
        assert!(matches!(planted(&open, &|_| false), State::Inconclusive(_)));
        // Two rows without any words are not the same.
        assert!(!is_same_defect(&json!({}), &json!({})));
    }
}
