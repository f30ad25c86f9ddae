//! The file that keeps a trial of planted defects, so that it can be stopped and gone on with:
//! what it is of, and what came of each seed. It is replaced as a whole after each block of cases.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use serde_json::{Map, Value, json};

use super::case::CASE_RULES;
use super::trial::{Hit, OfSeed, State, Trial};
use super::world::World;

/// Version of the format of the file.
const STATE_FORMAT: u64 = 2;

/// What a trial is of: two can be gone on with by each other only where all of it is the same. How
/// many cases there are at most may change.
pub(super) fn header(world: &World, trial: &Trial, chosen: &[usize]) -> Value {
    json!({
        "campaign_defects_state": STATE_FORMAT,
        "driveline": world.driveline().name,
        "file_sha256": world.subject.file_hash(),
        "table_hash": format!("{:08x}", world.table.hash),
        "tool": env!("CARGO_PKG_VERSION"),
        "case_rules": CASE_RULES,
        "seeds": trial.seeds,
        "faults": trial.faults,
        "defects": chosen,
    })
}

/// Writes the file; it is there whole or as it was before.
pub(super) fn write(path: &Path, header: &Value, state: &State) -> io::Result<()> {
    let mut value = header.clone();
    value["by_seed"] = state.seeds.iter().map(seed_json).collect();
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let mut part = fs::File::create(&beside)?;
    part.write_all(format!("{value}\n").as_bytes())?;
    part.sync_all()?;
    fs::rename(&beside, path)
}

/// Reads a file that was written for the same trial.
pub(super) fn read(path: &Path, header: &Value) -> Result<State, String> {
    let shown = path.display();
    let text = fs::read_to_string(path).map_err(|error| format!("{shown}: {error}"))?;
    let value: Value = serde_json::from_str(&text)
        .map_err(|error| format!("{shown}: not the state of a trial of defects: {error}"))?;
    for (key, mine) in header.as_object().into_iter().flatten() {
        if value.get(key) != Some(mine) {
            return Err(format!("{shown}: another trial: its {key} differs"));
        }
    }
    let seeds = value.get("by_seed").and_then(Value::as_array);
    let seeds: Option<Vec<OfSeed>> =
        seeds.and_then(|list| list.iter().map(seed_from).collect::<Option<_>>());
    let expected = header["seeds"].as_array().map_or(0, Vec::len);
    seeds
        .filter(|list| list.len() == expected)
        .map(|seeds| State { seeds })
        .ok_or_else(|| format!("{shown}: damaged: what came of the seeds cannot be read"))
}

fn seed_json(of: &OfSeed) -> Value {
    let found =
        of.found.iter().map(|(n, hit)| (n.to_string(), json!([hit.rule, hit.cases, hit.ticks])));
    let differed = of.differed.iter().map(|(n, count)| (n.to_string(), json!(count)));
    json!({
        "cases": of.cases,
        "ticks": of.ticks,
        "found": found.collect::<Map<_, _>>(),
        "differed": differed.collect::<Map<_, _>>(),
    })
}

fn seed_from(value: &Value) -> Option<OfSeed> {
    let mut of = OfSeed {
        cases: value.get("cases")?.as_u64()?,
        ticks: value.get("ticks")?.as_u64()?,
        ..OfSeed::default()
    };
    for (number, hit) in value.get("found")?.as_object()? {
        let [rule, cases, ticks] = hit.as_array()?.as_slice() else { return None };
        let hit =
            Hit { rule: rule.as_str()?.to_owned(), cases: cases.as_u64()?, ticks: ticks.as_u64()? };
        of.found.insert(number.parse().ok()?, hit);
    }
    for (number, count) in value.get("differed")?.as_object()? {
        of.differed.insert(number.parse().ok()?, count.as_u64()?);
    }
    Some(of)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_reads_back_and_damage_does_not() {
        let hit = Hit { rule: "SW-SLIP".into(), cases: 3, ticks: 21_000 };
        let of = OfSeed {
            cases: 5,
            ticks: 34_000,
            found: [(7, hit)].into(),
            differed: [(2, 4), (11, 1)].into(),
        };
        let value = seed_json(&of);
        assert_eq!(seed_from(&value), Some(of));
        for key in ["cases", "ticks", "found", "differed"] {
            let mut damaged = value.clone();
            damaged[key] = json!("?");
            assert_eq!(seed_from(&damaged), None, "{key}");
        }
        let mut damaged = value;
        damaged["found"]["7"] = json!(["SW-SLIP", 3]);
        assert_eq!(seed_from(&damaged), None);
    }
}
