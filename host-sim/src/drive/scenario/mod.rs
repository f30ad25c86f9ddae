//! The scenario file: what happens in a drive, with every name resolved.
//!
//! Described, checked and documented in the same way as the driveline file; names
//! of arrangements, locks, sensors and machines are those of the driveline.

pub mod keys;
mod read;
pub(crate) mod words;

use std::path::Path;

use serde_json::Value;

use crate::drive::closed_loop::Setup;
use crate::driveline::diagnostics::Diagnostics;
use crate::driveline::{self, Driveline, Failure, bytes_of, source};

/// A checked scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    /// Short name.
    pub name: String,
    /// One sentence for a person.
    pub about: String,
    /// What happens, ready to run.
    pub setup: Setup,
    /// Seed of all chance, if the file says it.
    pub seed: Option<u64>,
    /// What a person should look at; never errors.
    pub warnings: Diagnostics,
}

/// A scenario that comes with the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ready {
    /// Its name.
    pub name: &'static str,
    /// The embedded driveline that it belongs to.
    pub driveline: &'static str,
    /// Its text.
    pub text: &'static str,
}

/// The scenarios that come with the program (all data in them is invented).
pub static READY: &[Ready] = &[
    ready("shuttle-tour", "shuttle", include_str!("../../../scenarios/shuttle-tour.toml")),
    ready(
        "shuttle-stuck-ring-brake",
        "shuttle",
        include_str!("../../../scenarios/shuttle-stuck-ring-brake.toml"),
    ),
    ready("shuttle-reset", "shuttle", include_str!("../../../scenarios/shuttle-reset.toml")),
    ready("railcar-tour", "railcar", include_str!("../../../scenarios/railcar-tour.toml")),
    ready("railcar-climb", "railcar", include_str!("../../../scenarios/railcar-climb.toml")),
    ready("axle-shift", "axle", include_str!("../../../scenarios/axle-shift.toml")),
];

const fn ready(name: &'static str, driveline: &'static str, text: &'static str) -> Ready {
    Ready { name, driveline, text }
}

/// The ready scenario of that name.
pub fn by_name(name: &str) -> Option<&'static Ready> {
    READY.iter().find(|r| r.name == name)
}

/// Check the text of a scenario file against a driveline; `name` is how messages call the file.
///
/// # Errors
/// Every fault of the file, each with its place and what to do.
pub fn parse(name: &str, text: &str, driveline: &Driveline) -> Result<Scenario, Diagnostics> {
    read::parse(name, text, driveline)
}

/// Read a scenario file, or a ready scenario by its name when no such file exists.
///
/// # Errors
/// When the file cannot be read or has faults.
pub fn read(path_or_name: &str, driveline: &Driveline) -> Result<Scenario, Failure> {
    if let (Some(ready), false) = (by_name(path_or_name), Path::new(path_or_name).exists()) {
        let fits = parse(&format!("{path_or_name}.toml"), ready.text, driveline);
        return fits.map_err(|faults| match ready.driveline == driveline.name {
            true => Failure::Faulty(faults),
            false => Failure::Unreadable(does_not_fit(ready, driveline)),
        });
    }
    let names: Vec<&str> = READY.iter().map(|r| r.name).collect();
    let hint = format!("the ready scenarios are {}", names.join(", "));
    let bytes = bytes_of(path_or_name, &hint).map_err(Failure::Unreadable)?;
    let text = source::text_of(path_or_name, &bytes).map_err(Failure::Faulty)?;
    parse(path_or_name, &text, driveline).map_err(Failure::Faulty)
}

/// A ready scenario names arrangements and locks that only its own driveline has.
fn does_not_fit(ready: &Ready, driveline: &Driveline) -> String {
    let fit = READY.iter().filter(|r| r.driveline == driveline.name).map(|r| r.name);
    let fit: Vec<&str> = fit.collect();
    let instead = match fit.is_empty() {
        true => "write one of your own (docs/scenario-format.md)".to_string(),
        false => format!("take {}", fit.join(" or ")),
    };
    format!(
        "the ready scenario {} is for the driveline {} and does not fit {}\n    fix: {instead}",
        ready.name, ready.driveline, driveline.name
    )
}

/// The JSON Schema of the scenario file (draft 2020-12), made from the key list.
pub fn schema() -> Value {
    driveline::schema::of(&keys::SCENARIO)
}

/// The files in `docs/` that are generated from the key list: path from the repository's root, text.
pub fn generated_docs() -> Vec<(&'static str, String)> {
    vec![
        ("docs/scenario.schema.json", format!("{:#}\n", schema())),
        ("docs/scenario-format.md", driveline::format_doc::of(&keys::SCENARIO)),
    ]
}
