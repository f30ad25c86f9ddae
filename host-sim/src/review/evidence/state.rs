//! What a part of the evidence comes to, worked out from its content, not from its own verdict.

use serde_json::Value;

use super::{Kind, Part};

/// Share of the defects tried by campaigns that must be found, as the command has it.
const FOUND_SHARE: f64 = 0.98;

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
    /// What it comes to.
    pub fn state(&self) -> State {
        match self.kind {
            Kind::Explore => explored(&self.value),
            Kind::Campaign => driven(&self.value),
            Kind::Defects => planted(&self.value),
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

fn planted(value: &Value) -> State {
    let all = list(&value["rows"]);
    let (survived, rows) = (all.iter().filter(|r| r["outcome"] == "survived").count(), all.len());
    let undecided = all.iter().filter(|r| is_undecided(r)).count();
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

/// Whether nothing found a planted defect, but its exploration was given up before its end.
pub(crate) fn is_undecided(row: &Value) -> bool {
    row["outcome"] == "survived" && text(&row["explore"]).starts_with("inconclusive")
}

fn planted_in_plant(value: &Value) -> State {
    let tried = list(&value["tried"]);
    // As in the command: what was not found and is shown to be no defect does not count.
    let open = |t: &&Value| t["found"] != true && !t["excused"].is_string();
    let missed = tried.iter().filter(open).count();
    let found = tried.iter().filter(|t| t["found"] == true).count();
    let share = found as f64 / (found + missed).max(1) as f64;
    match () {
        () if value["whole"] != true || tried.is_empty() => {
            State::Inconclusive("not every chosen defect was tried".into())
        }
        () if share < FOUND_SHARE => State::Finding(format!(
            "{missed} of {} planted defects were not found under every seed",
            found + missed
        )),
        () => State::Holds,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn what_is_shown_to_be_no_defect_is_not_missed() {
        let of = |excused: Value| {
            let mut tried = vec![json!({ "found": true, "excused": null }); 49];
            tried.push(json!({ "found": false, "excused": null }));
            tried.extend(vec![json!({ "found": false, "excused": excused }); 2]);
            planted_in_plant(&json!({ "whole": true, "tried": tried }))
        };
        assert_eq!(of(json!("still proved")), State::Holds);
        assert!(matches!(of(json!(null)), State::Finding(words) if words.starts_with("3 of 52 ")));
    }
}
