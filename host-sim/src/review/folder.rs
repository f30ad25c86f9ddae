//! Writing the review's folder so that an interrupted run is never mistaken for a whole one.
//!
//! Everything is written into a sibling, `OUT.incomplete`, that holds a marker from its first
//! moment; the sibling then takes the folder's place by renaming, and the marker goes last.

use std::fmt;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::files::ReviewFile;

/// File that stands in a folder as long as it is not whole.
pub const MARKER: &str = "INCOMPLETE.txt";

const MARKER_TEXT: &str =
    "This review is being written, or its writing was interrupted. It is no evidence.\n";

/// Names that a review puts into its folder.
const OURS: [&str; 13] = [
    "index.html",
    "survey.json",
    "table.json",
    "review.json",
    "driveline.toml",
    "scenarios",
    "timelines",
    "traces",
    "evidence",
    "review.xml",
    "margins.csv",
    "requirements.csv",
    MARKER,
];

/// Why the folder cannot be written.
#[derive(Debug)]
pub enum FolderError {
    /// The path names no folder that could be made ("/", "..").
    NoName(PathBuf),
    /// Something is in the way that is not a review of ours.
    Foreign(PathBuf),
    /// It is not a folder.
    NotAFolder(PathBuf),
    /// Reading or writing failed.
    Io(PathBuf, io::Error),
}

impl fmt::Display for FolderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FolderError::NoName(path) => write!(
                f,
                "{} cannot become the review's folder\n    fix: name a folder, as in --out review",
                path.display()
            ),
            FolderError::Foreign(path) => write!(
                f,
                "{} exists and is not a review of this tool\n    fix: choose another folder by \
                 --out, or move this one aside by --force",
                path.display()
            ),
            FolderError::NotAFolder(path) => write!(
                f,
                "{} exists and is not a folder\n    fix: choose another folder by --out",
                path.display()
            ),
            FolderError::Io(path, error) => {
                write!(f, "{} cannot be written: {error}", path.display())
            }
        }
    }
}

impl std::error::Error for FolderError {}

/// `path` with `ending` after its last part.
fn sibling(path: &Path, ending: &str) -> Result<PathBuf, FolderError> {
    let name = path.file_name().ok_or_else(|| FolderError::NoName(path.to_owned()))?;
    let mut name = name.to_owned();
    name.push(ending);
    Ok(path.with_file_name(name))
}

/// What stands where the review is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum There {
    Nothing,
    Empty,
    Ours,
    Foreign,
}

fn look(path: &Path) -> Result<There, FolderError> {
    let failed = |error| FolderError::Io(path.to_owned(), error);
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(There::Nothing),
        Err(error) => return Err(failed(error)),
        Ok(meta) if !meta.is_dir() => return Err(FolderError::NotAFolder(path.to_owned())),
        Ok(_) => {}
    }
    let mut names = Vec::new();
    for entry in fs::read_dir(path).map_err(failed)? {
        names.push(entry.map_err(failed)?.file_name());
    }
    let known = |name: &std::ffi::OsString| OURS.iter().any(|ours| name == ours);
    let has = |name: &str| names.iter().any(|n| n == name);
    Ok(match () {
        () if names.is_empty() => There::Empty,
        () if names.iter().all(known) && (has("review.json") || has(MARKER)) => There::Ours,
        () => There::Foreign,
    })
}

/// Whether a review may be written to `out`, before any work is done.
///
/// # Errors
/// When something of someone else's is there and `force` is not given.
pub fn check_free(out: &Path, force: bool) -> Result<(), FolderError> {
    sibling(out, "")?;
    match look(out)? {
        There::Foreign if !force => Err(FolderError::Foreign(out.to_owned())),
        _ => Ok(()),
    }
}

/// Write the files as the folder `out`. An earlier review is replaced; a foreign folder is moved
/// aside when `force` is given: its new name is returned.
///
/// # Errors
/// When something of someone else's is there and `force` is not given, or writing fails. What
/// was written then stays in `OUT.incomplete` with the marker in it.
pub fn write(
    out: &Path,
    files: &[ReviewFile],
    force: bool,
) -> Result<Option<PathBuf>, FolderError> {
    check_free(out, force)?;
    let staging = sibling(out, ".incomplete")?;
    match look(&staging)? {
        There::Foreign => return Err(FolderError::Foreign(staging)),
        There::Nothing => {}
        There::Empty | There::Ours => remove(&staging)?,
    }
    fill(&staging, files)?;
    let mut moved = None;
    match look(out)? {
        There::Nothing => {}
        There::Empty | There::Ours => remove(out)?,
        There::Foreign => {
            let aside = free_name(out)?;
            rename(out, &aside)?;
            moved = Some(aside);
        }
    }
    rename(&staging, out)?;
    let marker = out.join(MARKER);
    fs::remove_file(&marker).map_err(|e| FolderError::Io(marker, e))?;
    Ok(moved)
}

fn fill(folder: &Path, files: &[ReviewFile]) -> Result<(), FolderError> {
    let make =
        |path: &Path| fs::create_dir_all(path).map_err(|e| FolderError::Io(path.to_owned(), e));
    let put = |path: PathBuf, bytes: &[u8]| {
        fs::write(&path, bytes).map_err(|e| FolderError::Io(path.clone(), e))
    };
    make(folder)?;
    put(folder.join(MARKER), MARKER_TEXT.as_bytes())?;
    for file in files {
        let path = folder.join(&file.path);
        if let Some(parent) = path.parent() {
            make(parent)?;
        }
        put(path, &file.bytes)?;
    }
    Ok(())
}

fn remove(path: &Path) -> Result<(), FolderError> {
    // What is half removed must not look whole.
    if path.join("review.json").exists() {
        let marker = path.join(MARKER);
        fs::write(&marker, MARKER_TEXT).map_err(|e| FolderError::Io(marker, e))?;
    }
    fs::remove_dir_all(path).map_err(|e| FolderError::Io(path.to_owned(), e))
}

fn rename(from: &Path, to: &Path) -> Result<(), FolderError> {
    fs::rename(from, to).map_err(|e| FolderError::Io(to.to_owned(), e))
}

/// `OUT.before-1`, or the next number that is free.
fn free_name(out: &Path) -> Result<PathBuf, FolderError> {
    for number in 1..1000 {
        let path = sibling(out, &format!(".before-{number}"))?;
        if look(&path)? == There::Nothing {
            return Ok(path);
        }
    }
    Err(FolderError::Foreign(out.to_owned()))
}
