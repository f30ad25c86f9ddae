//! The command `slipwarden table FILE [--rust | --json | --diagram] [--svg PATH]`.

use super::{json, rust_source, text};
use crate::audit::{self, Scope, examine, explained};
use crate::driveline::Purpose;
use crate::input::{self, print};

/// Columns of the text: those of a plain terminal, wherever it goes.
const TEXT_WIDTH: usize = 80;

/// What to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// For a person.
    Text,
    /// Generated Rust module.
    Rust,
    /// For programs.
    Json,
    /// State diagram as SVG.
    Diagram,
}

/// Print the table, unless its audit finds something. Returns the exit code: 0 all well, 1 a
/// finding of the audit, 2 misuse. With `svg` the state diagram goes to that file as well.
pub fn table(path_or_name: &str, form: Form, svg: Option<&str>) -> i32 {
    let tabled = match input::table(path_or_name, Purpose::Table) {
        Ok(tabled) => tabled,
        Err(code) => return code,
    };
    let (d, data) = (tabled.driveline(), &tabled.table);
    let audited = examine(d, &tabled.kinematics, data, Scope { timing: true });
    if !audited.findings.is_empty() {
        eprint!("{}", explained(&audited));
        return 1;
    }
    if let Some(path) = svg {
        let picture = crate::picture::diagram::state_diagram(d, data);
        match input::write_picture(path, &picture) {
            Ok(()) if path != "-" => {}
            Ok(()) => return 0,
            Err(code) => return code,
        }
    }
    match form {
        Form::Text => {
            let guards = audit::text(&audited.proofs, TEXT_WIDTH);
            print(&format!("{}\n{guards}", text(d, data, TEXT_WIDTH)))
        }
        Form::Rust => print(&rust_source(d, data)),
        Form::Json => print(&format!("{:#}\n", json(d, data, &audit::json(&audited.proofs)))),
        Form::Diagram => print(&crate::picture::diagram::state_diagram(d, data)),
    }
}
