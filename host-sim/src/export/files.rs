//! The files of a unit's archive, written and read again.

use std::path::Path;

use super::archive::archive;
use super::describe::{IDENTIFIER, Standard, description};
use super::session::Session;
use super::source::{Part, Source};

/// The driveline, as it was given.
pub const DRIVELINE_FILE: &str = "driveline.toml";
/// The scenario, if there is one.
pub const SCENARIO_FILE: &str = "scenario.toml";
/// Which half the unit is, in one word.
pub const UNIT_FILE: &str = "unit.txt";

/// Folder of the library in the archive, by the standard's name of this platform; `None` on one
/// that nobody has tried.
pub(super) fn folder(standard: Standard) -> Option<&'static str> {
    if !cfg!(all(target_os = "linux", target_arch = "x86_64")) {
        return None;
    }
    Some(match standard {
        Standard::Two => "linux64",
        Standard::Three => "x86_64-linux",
    })
}

/// The whole archive of a unit.
///
/// # Errors
/// A sentence.
pub(super) fn packed(
    standard: Standard,
    source: &Source,
    texts: (&str, Option<&str>),
    library: Vec<u8>,
) -> Result<Vec<u8>, String> {
    let folder = folder(standard)
        .ok_or("units are made on x86-64 Linux only: no other platform has been tried")?;
    let session = Session::new(source)?;
    let xml = description(standard, source, session.variables());
    let mut files = vec![
        ("modelDescription.xml".to_owned(), xml.into_bytes()),
        (format!("binaries/{folder}/{IDENTIFIER}.so"), library),
        (format!("resources/{DRIVELINE_FILE}"), texts.0.as_bytes().to_vec()),
        (format!("resources/{UNIT_FILE}"), format!("{}\n", source.part.word()).into_bytes()),
    ];
    if let Some(text) = texts.1 {
        files.push((format!("resources/{SCENARIO_FILE}"), text.as_bytes().to_vec()));
    }
    archive(&files).ok_or_else(|| "the archive is larger than 4 GiB".to_owned())
}

/// What a unit is made from, out of the folder `resources` of its unpacked archive.
///
/// # Errors
/// A sentence: a file is missing or faulty.
pub fn read_resources(folder: &Path) -> Result<Source, String> {
    let read = |name: &str| {
        let path = folder.join(name);
        std::fs::read_to_string(&path)
            .map_err(|error| format!("{} cannot be read: {error}", path.display()))
    };
    let word = read(UNIT_FILE)?;
    let part = Part::from_word(word.trim())
        .ok_or_else(|| format!("{UNIT_FILE} names no unit: {:?}", word.trim()))?;
    let scenario = match folder.join(SCENARIO_FILE).exists() {
        true => Some(read(SCENARIO_FILE)?),
        false => None,
    };
    Source::new(part, &read(DRIVELINE_FILE)?, scenario.as_deref())
}
