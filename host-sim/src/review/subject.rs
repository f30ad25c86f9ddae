//! What is reviewed: one driveline file with everything derived from it.

use std::path::Path;

use crate::driveline::{self, Driveline, Purpose, command, source};
use crate::kinematics::Kinematics;
use crate::survey::command::kinematics_of;
use crate::table::{TableData, build};

use super::sha256::sha256_hex;

/// A driveline with its kinematics and the table under review.
#[derive(Clone, Debug)]
pub struct Subject {
    /// Name of the file without its folder; never a path, so that the pages say nothing of the
    /// machine they were made on.
    pub file_name: String,
    /// The file's bytes.
    pub file_bytes: Vec<u8>,
    /// The driveline: what the plant and the judges take as the truth.
    pub driveline: Driveline,
    /// Kinematics of all lock sets.
    pub kinematics: Kinematics,
    /// The table that the supervisor runs.
    pub table: TableData,
    /// Warnings of the file reader, in its words.
    pub warnings: Vec<String>,
    /// Seed of all chance.
    pub seed: u64,
}

impl Subject {
    /// SHA-256 of the file, 64 hexadecimal digits.
    pub fn file_hash(&self) -> String {
        sha256_hex(&self.file_bytes)
    }

    /// Read a file, or an embedded demo by its name, and derive everything; complaints go to
    /// stderr.
    ///
    /// # Errors
    /// The exit code, 2: the file is missing, faulty, or lacks what the plant needs.
    pub fn read(path_or_name: &str, seed: u64) -> Result<Subject, i32> {
        let (label, bytes) = bytes_of(path_or_name)?;
        let refused = |found: &driveline::Diagnostics| {
            eprint!("{}", found.render(command::colour()));
            2
        };
        let text = source::text_of(&label, &bytes).map_err(|found| refused(&found))?;
        let checked = driveline::parse(&label, &text).map_err(|found| refused(&found))?;
        if !checked.warnings.is_empty() {
            eprint!("{}", checked.warnings.render(command::colour()));
        }
        let kinematics = kinematics_of(&checked).map_err(|found| refused(&found))?;
        checked.ready_for(Purpose::Plant).map_err(|missing| refused(&missing))?;
        let table = build(&checked.driveline, &kinematics).map_err(|error| {
            eprint!("{error}");
            2
        })?;
        let warnings = checked.warnings.sorted().iter().map(|w| w.message.clone()).collect();
        let name = Path::new(&label).file_name().and_then(|name| name.to_str());
        Ok(Subject {
            file_name: name.unwrap_or("driveline.toml").to_owned(),
            file_bytes: bytes,
            driveline: checked.driveline,
            kinematics,
            table,
            warnings,
            seed,
        })
    }
}

/// SHA-256 of a file, or of an embedded demo when no such file exists; `None` where it cannot be read.
pub fn file_hash(path_or_name: &str) -> Option<String> {
    bytes_of(path_or_name).ok().map(|(_, bytes)| sha256_hex(&bytes))
}

/// The bytes of a file, or of an embedded demo when no such file exists, and what messages call it.
fn bytes_of(path_or_name: &str) -> Result<(String, Vec<u8>), i32> {
    if let (Some(text), false) = (driveline::demo(path_or_name), Path::new(path_or_name).exists()) {
        return Ok((format!("{path_or_name}.toml"), text.as_bytes().to_vec()));
    }
    let hint = format!("the embedded demos are {}", driveline::DEMOS.join(", "));
    match driveline::bytes_of(path_or_name, &hint) {
        Ok(bytes) => Ok((path_or_name.to_owned(), bytes)),
        Err(sentence) => {
            eprintln!("error: {sentence}");
            Err(2)
        }
    }
}
