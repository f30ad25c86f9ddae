//! The driveline: its file, its checks, its checked form.
//!
//! bytes -> text -> TOML with spans ([`source`]) -> values checked along the one
//! description of all keys ([`keys`], [`walk`]) -> what parts mean together
//! (`cross`) -> [`Driveline`]. Every fault becomes a diagnostic; all are
//! reported at once.

mod assembly;
mod build;
pub mod command;
mod cross;
mod cross_use;
pub mod diagnostics;
mod entries;
pub mod fields;
pub mod format_doc;
pub mod keys;
mod keys_machines;
mod keys_parts;
mod keys_use;
mod keys_vehicle;
pub mod model;
mod model_parts;
pub mod ratio;
pub mod schema;
mod sensors;
mod show;
pub mod source;
pub mod spec;
mod starter;
pub mod suggest;
pub mod values;
mod values_lists;
pub mod walk;

use std::collections::BTreeMap;
use std::io::Read;

pub use diagnostics::{Diagnostic, Diagnostics, Severity, Span};
pub use model::*;
pub use model_parts::*;
pub use spec::Purpose;
pub use starter::starter;

use fields::{Fields, Names};

/// Names of the embedded demo drivelines, the default first.
pub const DEMOS: [&str; 3] = ["shuttle", "railcar", "axle"];

/// Text of an embedded demo driveline (all data in it is invented).
pub fn demo(name: &str) -> Option<&'static str> {
    Some(match name {
        "shuttle" => include_str!("../../drivelines/shuttle.toml"),
        "railcar" => include_str!("../../drivelines/railcar.toml"),
        "axle" => include_str!("../../drivelines/axle.toml"),
        _ => return None,
    })
}

/// The JSON Schema of the driveline file (draft 2020-12), made from the key list.
pub fn schema() -> serde_json::Value {
    schema::of(&keys::DRIVELINE)
}

/// The reference page of the driveline file (Markdown), made from the key list.
pub fn format_doc() -> String {
    format_doc::of(&keys::DRIVELINE)
}

/// A driveline that passed, what a person should look at, and where everything stands.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The driveline.
    pub driveline: Driveline,
    /// Warnings; never errors.
    pub warnings: Diagnostics,
    gaps: Vec<walk::Gap>,
    tables: BTreeMap<&'static str, Vec<Fields>>,
}

impl Checked {
    /// What `purpose` still needs: errors that point at the tables that lack it. Ok when nothing.
    pub fn ready_for(&self, purpose: Purpose) -> Result<(), Diagnostics> {
        let mut found = self.warnings.fresh();
        for gap in self.gaps.iter().filter(|g| g.purpose <= purpose) {
            match &gap.at {
                Some(at) => found.error(at.clone(), gap.message.clone(), gap.fix.clone()),
                None => found.whole(gap.message.clone(), gap.fix.clone()),
            }
        }
        if found.has_errors() { Err(found) } else { Ok(()) }
    }

    /// Where entry `index` of a table stands ("lock", 2): its header. `None` when the file has none.
    pub fn place(&self, table: &str, index: usize) -> Option<Span> {
        self.tables.get(table)?.get(index).map(|f| f.at.clone())
    }

    /// Where the value of a key stands; its table's header when the key was left out.
    pub fn place_of(&self, table: &str, index: usize, key: &str) -> Option<Span> {
        self.tables.get(table)?.get(index).map(|f| f.span(key))
    }

    /// An empty collector over the file, for commands that find faults of their own in it.
    pub fn diagnostics(&self) -> Diagnostics {
        self.warnings.fresh()
    }
}

/// Why a file could not be read.
#[derive(Clone, Debug)]
pub enum Failure {
    /// The file cannot be opened or read; a sentence with what to do.
    Unreadable(String),
    /// The file has faults.
    Faulty(Diagnostics),
}

impl Failure {
    /// As a person reads it.
    pub fn render(&self, colour: bool) -> String {
        match self {
            Failure::Unreadable(sentence) => format!("error: {sentence}\n"),
            Failure::Faulty(found) => found.render(colour),
        }
    }
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for Failure {}

/// Read a driveline file, or an embedded demo by its name when no such file exists.
pub fn read(path_or_name: &str) -> Result<Checked, Failure> {
    if let (Some(text), false) = (demo(path_or_name), std::path::Path::new(path_or_name).exists()) {
        return parse(&format!("{path_or_name}.toml"), text).map_err(Failure::Faulty);
    }
    let hint = format!("the embedded demos are {}", DEMOS.join(", "));
    let bytes = bytes_of(path_or_name, &hint).map_err(Failure::Unreadable)?;
    let text = source::text_of(path_or_name, &bytes).map_err(Failure::Faulty)?;
    parse(path_or_name, &text).map_err(Failure::Faulty)
}

/// The bytes of a file, one more than allowed at most; a sentence when it cannot be read, with
/// `hint` when there is no such file.
pub fn bytes_of(path: &str, hint: &str) -> Result<Vec<u8>, String> {
    let cannot = |error: std::io::Error| {
        let shown = suggest::quoted(path);
        match error.kind() {
            std::io::ErrorKind::NotFound => {
                format!("there is no file {shown}; {hint}")
            }
            _ => format!("{shown} cannot be read: {error}"),
        }
    };
    let file = std::fs::File::open(path).map_err(cannot)?;
    let mut bytes = Vec::new();
    file.take(source::MOST_BYTES as u64 + 1).read_to_end(&mut bytes).map_err(cannot)?;
    Ok(bytes)
}

/// Check the text of a driveline file; `name` is how messages call the file.
pub fn parse(name: &str, text: &str) -> Result<Checked, Diagnostics> {
    let text = source::text_of(name, text.as_bytes())?;
    let mut found = Diagnostics::new(name, &text);
    if text.trim().is_empty() {
        found.whole("the file is empty", "write a commented starter file by `slipwarden new`");
        return Err(found);
    }
    let Some(parsed) = source::parse(&text, &mut found) else { return Err(found) };
    if !walk::version_is_known(&keys::DRIVELINE, &parsed.document, &mut found) {
        return Err(found);
    }
    let spec = &keys::DRIVELINE;
    let walked = walk::walk(spec, &parsed.document, &parsed.gaps, Names::new(), &mut found);
    cross::check(&walked, &mut found);
    assembly::check(walked.all("planetary"), &mut found);
    if found.has_errors() {
        return Err(found);
    }
    let Some(driveline) = build::driveline(&walked) else {
        found.whole("the file cannot be made into a driveline", "please report this file");
        return Err(found);
    };
    Ok(Checked { driveline, warnings: found, gaps: walked.gaps, tables: walked.tables })
}

/// The files in `docs/` that are generated from the key list: path from the repository's root, text.
pub fn generated_docs() -> Vec<(&'static str, String)> {
    vec![
        ("docs/driveline.schema.json", format!("{:#}\n", schema())),
        ("docs/file-format.md", format_doc()),
    ]
}
