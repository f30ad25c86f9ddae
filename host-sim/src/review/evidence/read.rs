//! Reading evidence that was made before; what is of another driveline is refused.

use std::fmt;
use std::path::{Path, PathBuf};

use serde_json::Value;

use super::{Kind, Origin, Part};
use crate::review::Subject;
use crate::review::sha256::sha256_hex;

/// Largest file that is read, bytes.
const MOST_BYTES: u64 = 256 << 20;

/// Why a file cannot be evidence.
#[derive(Debug)]
pub enum ReadError {
    /// It cannot be read.
    Io(PathBuf, std::io::Error),
    /// It is larger than anything that this program writes.
    Large(PathBuf),
    /// It is no JSON.
    Json(PathBuf, serde_json::Error),
    /// It is not what any of the commands writes.
    Unknown(PathBuf),
    /// Another version wrote it.
    Version(PathBuf, Kind, String),
    /// A key is missing or of another kind.
    Lacks(PathBuf, Kind, &'static str),
    /// It is of another driveline: what, in the file, here.
    Other(PathBuf, Kind, &'static str, String, String),
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let again = |kind: &Kind| format!("make it again: {}", kind.command());
        match self {
            ReadError::Io(path, error) => write!(
                f,
                "evidence {} cannot be read: {error}\n    fix: name a file that one of the \
                 commands wrote with --json",
                path.display()
            ),
            ReadError::Large(path) => write!(
                f,
                "evidence {} is larger than {} MiB\n    fix: name a file that one of the commands \
                 wrote with --json",
                path.display(),
                MOST_BYTES >> 20
            ),
            ReadError::Json(path, error) => write!(
                f,
                "{}:{}:{}: no JSON: {error}\n    fix: write the output of the command there \
                 unchanged",
                path.display(),
                error.line(),
                error.column()
            ),
            ReadError::Unknown(path) => {
                let commands: Vec<&str> = Kind::ALL.iter().map(|k| k.command()).collect();
                write!(
                    f,
                    "evidence {} is not what a command of this tool writes\n    fix: name the \
                     output of one of: {}",
                    path.display(),
                    commands.join("; ")
                )
            }
            ReadError::Version(path, kind, found) => write!(
                f,
                "evidence {} ({}) is of version {found}, this tool reads {}\n    fix: {}",
                path.display(),
                kind.word(),
                kind.version().1,
                again(kind)
            ),
            ReadError::Lacks(path, kind, key) => write!(
                f,
                "evidence {} ({}) has no `{key}` as it should\n    fix: {}",
                path.display(),
                kind.word(),
                again(kind)
            ),
            ReadError::Other(path, kind, what, theirs, ours) => write!(
                f,
                "evidence {} ({}) is of another driveline: its {what} is {theirs}, that of the \
                 file under review is {ours}\n    fix: {}",
                path.display(),
                kind.word(),
                again(kind)
            ),
        }
    }
}

impl std::error::Error for ReadError {}

/// What must be there: a key, and whether its value is of the right kind.
type Needed = (&'static str, fn(&Value) -> bool);

fn needed(kind: Kind) -> &'static [Needed] {
    match kind {
        Kind::Explore => &[
            ("complete", Value::is_boolean),
            ("states", Value::is_u64),
            ("faults", Value::is_u64),
            ("always", Value::is_array),
            ("sometimes", Value::is_object),
            ("assumptions", Value::is_array),
        ],
        Kind::Campaign => &[
            ("whole", Value::is_boolean),
            ("ran", Value::is_u64),
            ("seed", Value::is_u64),
            ("faults", Value::is_u64),
            ("rules", Value::is_array),
            ("margins", Value::is_array),
            ("coverage", Value::is_array),
            ("findings", Value::is_array),
        ],
        Kind::Defects => &[
            ("complete", Value::is_boolean),
            ("defects", Value::is_u64),
            ("chosen", Value::is_u64),
            ("kinds", Value::is_array),
            ("rows", Value::is_array),
        ],
        Kind::PlantDefects => {
            &[("whole", Value::is_boolean), ("defects", Value::is_u64), ("tried", Value::is_array)]
        }
        Kind::Energy => &[
            ("arrangements", Value::is_array),
            ("maps", Value::is_array),
            ("cruise", Value::is_array),
        ],
    }
}

/// Read one file as evidence about `subject`.
///
/// # Errors
/// When it cannot be read, is not what a command writes, or is of another driveline.
pub fn read(path: &Path, subject: &Subject) -> Result<Part, ReadError> {
    let io = |error| ReadError::Io(path.to_owned(), error);
    if std::fs::metadata(path).map_err(io)?.len() > MOST_BYTES {
        return Err(ReadError::Large(path.to_owned()));
    }
    let bytes = std::fs::read(path).map_err(io)?;
    let value: Value =
        serde_json::from_slice(&bytes).map_err(|error| ReadError::Json(path.to_owned(), error))?;
    let kind = Kind::ALL.into_iter().find(|kind| !value[kind.version().0].is_null());
    let kind = kind.ok_or_else(|| ReadError::Unknown(path.to_owned()))?;
    let (key, version) = kind.version();
    if value[key].as_u64() != Some(version) {
        return Err(ReadError::Version(path.to_owned(), kind, value[key].to_string()));
    }
    for (key, fits) in needed(kind) {
        if !fits(&value[*key]) {
            return Err(ReadError::Lacks(path.to_owned(), kind, key));
        }
    }
    belongs(path, kind, &value, subject)?;
    let name = path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
    Ok(Part { kind, origin: Origin::Read { name, sha256: sha256_hex(&bytes) }, value })
}

/// Whether it is about this driveline. Energy figures depend on the file alone, explorations on
/// the table alone, campaigns on both.
fn belongs(path: &Path, kind: Kind, value: &Value, subject: &Subject) -> Result<(), ReadError> {
    let hashes = [
        ("table_hash", "table hash", format!("{:08x}", subject.table.hash)),
        ("file_sha256", "SHA-256", subject.file_hash()),
    ];
    let asked: &[&str] = match kind {
        Kind::Explore | Kind::Defects | Kind::PlantDefects => &["table_hash"],
        Kind::Campaign => &["table_hash", "file_sha256"],
        Kind::Energy => &["file_sha256"],
    };
    for (key, what, ours) in hashes.iter().filter(|h| asked.contains(&h.0)) {
        let Some(theirs) = value[*key].as_str() else {
            return Err(ReadError::Lacks(path.to_owned(), kind, key));
        };
        if theirs != ours {
            let (theirs, ours) = (theirs.to_owned(), ours.clone());
            return Err(ReadError::Other(path.to_owned(), kind, what, theirs, ours));
        }
    }
    Ok(())
}
