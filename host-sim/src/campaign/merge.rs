//! Putting the shares of a campaign together. The result does not show how it was divided.

use std::path::PathBuf;

use super::header::Header;
use super::results::{Reading, ResultsError, read_results};
use super::run::{BLOCK_CASES, Share};
use super::shard::Shard;
use super::tally::Tally;

/// A campaign as far as its results files go.
#[derive(Clone, Debug)]
pub struct Merged {
    /// What it is of; its shard is the whole.
    pub header: Header,
    /// Sums over all cases.
    pub tally: Tally,
    /// Shares without a file.
    pub missing: Vec<u64>,
    /// Shares whose file lacks cases, and how many.
    pub short: Vec<(u64, u64)>,
}

impl Merged {
    /// Whether every case of the campaign is in.
    pub fn is_whole(&self) -> bool {
        self.missing.is_empty() && self.short.is_empty()
    }

    /// From files that were read, each with its name.
    ///
    /// # Errors
    /// When two are of different campaigns or of the same share.
    pub fn of(files: &[(PathBuf, Reading)]) -> Result<Merged, MergeError> {
        let [(first_path, first), rest @ ..] = files else { return Err(MergeError::Nothing) };
        for (path, reading) in rest {
            if let Some(what) = first.header.differs(&reading.header) {
                return Err(MergeError::Mixed(first_path.clone(), path.clone(), what));
            }
        }
        let of = first.header.shard.of;
        let mut by_share: Vec<Option<&(PathBuf, Reading)>> = vec![None; of as usize];
        for file in files {
            let slot = &mut by_share[file.1.header.shard.index as usize];
            if let Some(other) = slot.replace(file) {
                return Err(MergeError::Twice(other.0.clone(), file.0.clone()));
            }
        }
        let mut merged = Merged {
            header: Header { shard: Shard::WHOLE, ..first.header.clone() },
            tally: Tally::default(),
            missing: Vec::new(),
            short: Vec::new(),
        };
        for (index, file) in by_share.iter().enumerate() {
            match file {
                None => merged.missing.push(index as u64),
                Some((path, reading)) => merged.add(path, reading)?,
            }
        }
        merged.tally.sort();
        Ok(merged)
    }

    fn add(&mut self, path: &std::path::Path, reading: &Reading) -> Result<(), MergeError> {
        let Header { seed, cases, faults, shard, .. } = reading.header;
        let share = Share { seed, cases, faults, shard };
        let mut done = 0;
        for (block, tally) in &reading.blocks {
            let from = block.saturating_mul(BLOCK_CASES);
            let expected = shard.share_of(cases).saturating_sub(from).min(BLOCK_CASES);
            if *block >= share.blocks() || tally.cases + tally.not_run != expected {
                let why = format!("block {block} does not have the cases it should have");
                return Err(MergeError::File(ResultsError::Damaged(path.to_owned(), why)));
            }
            done += expected;
            self.tally.add(tally);
        }
        let missing = shard.share_of(cases) - done;
        if missing > 0 {
            self.short.push((shard.index, missing));
        }
        Ok(())
    }
}

/// Why results files cannot be put together.
#[derive(Debug)]
pub enum MergeError {
    /// There is no file.
    Nothing,
    /// A file cannot be used.
    File(ResultsError),
    /// Two files are of different campaigns.
    Mixed(PathBuf, PathBuf, String),
    /// Two files are of the same share.
    Twice(PathBuf, PathBuf),
}

impl std::fmt::Display for MergeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            MergeError::Nothing => f.write_str(
                "there is no results file\n    fix: name files that `slipwarden campaign` wrote, \
                 or their folder",
            ),
            MergeError::File(error) => error.fmt(f),
            MergeError::Mixed(a, b, what) => write!(
                f,
                "{} and {} are of different campaigns ({what})\n    fix: merge only shares of one \
                 campaign",
                a.display(),
                b.display()
            ),
            MergeError::Twice(a, b) => write!(
                f,
                "{} and {} are of the same share\n    fix: keep one of them",
                a.display(),
                b.display()
            ),
        }
    }
}

impl std::error::Error for MergeError {}

/// Read results files and put them together; `torn` is told of each file whose end was torn.
///
/// # Errors
/// When a file cannot be used, or files do not belong together.
pub fn merge(paths: &[PathBuf], mut torn: impl FnMut(&PathBuf, u64)) -> Result<Merged, MergeError> {
    let mut files = Vec::new();
    for path in paths {
        let reading = read_results(path).map_err(MergeError::File)?;
        if reading.torn_bytes > 0 {
            torn(path, reading.torn_bytes);
        }
        files.push((path.clone(), reading));
    }
    Merged::of(&files)
}
