//! Every generated file of this repository: where it stands and what it must contain.
//!
//! `cargo renew` writes them, and a test compares them, byte by byte.

use crate::driveline::{self, DEMOS, Driveline};
use crate::table::TableData;
use crate::{kinematics, picture, table};

/// One generated file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Generated {
    /// Path from the repository's root, with `/`.
    pub path: String,
    /// All of its text.
    pub text: String,
}

/// All generated files, the same at every call.
///
/// # Errors
/// A demo that cannot be read, surveyed or tabled; a sentence names it.
pub fn files() -> Result<Vec<Generated>, String> {
    let mut files: Vec<Generated> = driveline::generated_docs()
        .into_iter()
        .map(|(path, text)| Generated { path: path.to_string(), text })
        .collect();
    for name in DEMOS {
        let (d, data) = demo_table(name)?;
        files.push(Generated {
            path: format!("tests/src/tables/{name}.rs"),
            text: table::rust_source(&d, &data),
        });
        files.push(Generated {
            path: format!("docs/pictures/{name}.svg"),
            text: picture::diagram::state_diagram(&d, &data),
        });
    }
    Ok(files)
}

/// An embedded demo and its table, built from its file.
///
/// # Errors
/// A sentence that names the demo and says what failed.
pub fn demo_table(name: &str) -> Result<(Driveline, TableData), String> {
    let text = driveline::demo(name).ok_or_else(|| format!("there is no demo {name:?}"))?;
    let d = driveline::parse(name, text).map_err(|e| format!("demo {name}: {e}"))?.driveline;
    let k = kinematics::analyse(&d).map_err(|e| format!("demo {name}: {e}"))?;
    let data = table::build(&d, &k).map_err(|e| format!("demo {name}: {e}"))?;
    Ok((d, data))
}
