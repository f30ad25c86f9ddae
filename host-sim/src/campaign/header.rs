//! What a results file is of.

use serde_json::{Value, json};

use super::axes::Axes;
use super::case::CASE_RULES;
use super::shard::Shard;
use super::world::World;

/// Version of the format of results files.
pub const RESULTS_FORMAT: u64 = 2;

/// Most cases of a campaign.
const MOST_CASES: u64 = 1_000_000_000_000;

/// The head of a results file: two files belong together when all but the shard is the same.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// Name of the driveline.
    pub driveline: String,
    /// SHA-256 of the driveline file.
    pub file_sha256: String,
    /// Checksum of the table that the supervisor ran.
    pub table_hash: u32,
    /// Version of this program.
    pub tool: String,
    /// How cases follow from their seeds: [`CASE_RULES`].
    pub case_rules: u64,
    /// Seed of the campaign.
    pub seed: u64,
    /// Number of cases of the whole campaign.
    pub cases: u64,
    /// Faults injected in each case.
    pub faults: u8,
    /// Which share of the campaign.
    pub shard: Shard,
    /// What coverage counts.
    pub axes: Axes,
}

impl Header {
    /// Of a campaign that is about to run.
    pub fn new(world: &World, seed: u64, cases: u64, faults: u8, shard: Shard) -> Header {
        Header {
            driveline: world.driveline().name.clone(),
            file_sha256: world.subject.file_hash(),
            table_hash: world.table.hash,
            tool: env!("CARGO_PKG_VERSION").to_string(),
            case_rules: CASE_RULES,
            seed,
            cases,
            faults,
            shard,
            axes: world.axes.clone(),
        }
    }

    /// What this and another campaign differ in, in words; `None` when they are shares of one.
    pub fn differs(&self, other: &Header) -> Option<String> {
        let pairs = [
            ("driveline", self.driveline.clone(), other.driveline.clone()),
            ("driveline file", self.file_sha256.clone(), other.file_sha256.clone()),
            ("table", hex(self.table_hash), hex(other.table_hash)),
            ("tool version", self.tool.clone(), other.tool.clone()),
            ("rules of the cases", self.case_rules.to_string(), other.case_rules.to_string()),
            ("seed", self.seed.to_string(), other.seed.to_string()),
            ("number of cases", self.cases.to_string(), other.cases.to_string()),
            ("faults a case", self.faults.to_string(), other.faults.to_string()),
            ("number of shards", self.shard.of.to_string(), other.shard.of.to_string()),
        ];
        for (what, ours, theirs) in pairs {
            if ours != theirs {
                return Some(format!("{what}: {ours} and {theirs}"));
            }
        }
        (self.axes != other.axes).then(|| "what coverage counts".to_string())
    }

    /// As the first line of a results file.
    pub fn json(&self) -> Value {
        json!({
            "campaign_results": RESULTS_FORMAT,
            "driveline": self.driveline,
            "file_sha256": self.file_sha256,
            "table_hash": hex(self.table_hash),
            "tool": self.tool,
            "case_rules": self.case_rules,
            "seed": self.seed,
            "cases": self.cases,
            "faults": self.faults,
            "shard": self.shard.index,
            "shards": self.shard.of,
            "axes": self.axes.json(),
        })
    }

    /// From the first line of a results file; a sentence where it is none.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn from_json(value: &Value) -> Result<Header, String> {
        match value["campaign_results"].as_u64() {
            Some(RESULTS_FORMAT) => {}
            Some(other) => {
                return Err(format!(
                    "it is of format {other}; this program reads {RESULTS_FORMAT}"
                ));
            }
            None => return Err("its first line is not that of a results file".to_string()),
        }
        let lacks = |key: &str| format!("its first line lacks `{key}`");
        let text = |key: &str| value[key].as_str().map(str::to_string).ok_or_else(|| lacks(key));
        let number = |key: &str| value[key].as_u64().ok_or_else(|| lacks(key));
        let hash = text("table_hash")?;
        let (index, of) = (number("shard")?, number("shards")?);
        Ok(Header {
            driveline: text("driveline")?,
            file_sha256: text("file_sha256")?,
            table_hash: u32::from_str_radix(&hash, 16).map_err(|_| lacks("table_hash"))?,
            tool: text("tool")?,
            case_rules: number("case_rules")?,
            seed: number("seed")?,
            cases: number("cases")
                .ok()
                .filter(|n| *n <= MOST_CASES)
                .ok_or_else(|| lacks("cases"))?,
            faults: u8::try_from(number("faults")?).map_err(|_| lacks("faults"))?,
            shard: Shard::new(index, of).ok_or_else(|| lacks("shard"))?,
            axes: Axes::from_json(&value["axes"]).ok_or_else(|| lacks("axes"))?,
        })
    }
}

pub(super) fn hex(hash: u32) -> String {
    format!("{hash:08x}")
}
