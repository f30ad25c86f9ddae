//! Results files: a head and then a line for each finished block of cases, only ever appended to.
//!
//! Each line is the CRC-32C of its JSON text as eight hexadecimal digits, a blank, the text and a
//! line feed. A process that is killed leaves a torn last line at most; it is found and dropped.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufRead, BufReader, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde_json::Value;
use supervisor::hash::Crc32c;

use super::header::Header;
use super::tally::Tally;

/// Why a results file cannot be used.
#[derive(Debug)]
pub enum ResultsError {
    /// It cannot be read or written.
    Io(PathBuf, io::Error),
    /// It is damaged before its end, or no results file.
    Damaged(PathBuf, String),
    /// It is there already.
    Exists(PathBuf),
    /// It is of another campaign.
    Other(PathBuf, String),
}

impl std::fmt::Display for ResultsError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ResultsError::Io(path, error) => write!(f, "{}: {error}", path.display()),
            ResultsError::Damaged(path, why) => write!(
                f,
                "{} is no whole results file: {why}\n    fix: run this share again into an empty \
                 folder",
                path.display()
            ),
            ResultsError::Exists(path) => write!(
                f,
                "{} is there already\n    fix: go on with --resume, or name another folder with \
                 --out",
                path.display()
            ),
            ResultsError::Other(path, what) => write!(
                f,
                "{} is of another campaign ({what})\n    fix: give the options that it was begun \
                 with, or name another folder with --out",
                path.display()
            ),
        }
    }
}

impl std::error::Error for ResultsError {}

/// What a results file holds.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The head.
    pub header: Header,
    /// Each finished block of the share with its sums, rising.
    pub blocks: Vec<(u64, Tally)>,
    /// Length of the whole lines, bytes.
    pub whole_bytes: u64,
    /// Bytes behind them that are no whole line.
    pub torn_bytes: u64,
}

/// A results file that is being appended to.
#[derive(Debug)]
pub struct Results {
    path: PathBuf,
    file: File,
}

fn line_of(text: &str) -> String {
    let mut crc = Crc32c::default();
    crc.bytes(text.as_bytes());
    format!("{:08x} {text}\n", crc.finish())
}

/// The JSON of a line without its line feed; `None` where its checksum is wrong.
fn value_of(line: &str) -> Option<Value> {
    let (sum, text) = line.split_at_checked(8)?;
    let text = text.strip_prefix(' ')?;
    let mut crc = Crc32c::default();
    crc.bytes(text.as_bytes());
    (sum == format!("{:08x}", crc.finish())).then_some(())?;
    serde_json::from_str(text).ok()
}

impl Results {
    /// Begin a file that does not exist; it appears with its head or not at all.
    ///
    /// # Errors
    /// When it exists or cannot be written.
    pub fn begin(path: &Path, header: &Header) -> Result<Results, ResultsError> {
        let io = |error| ResultsError::Io(path.to_owned(), error);
        if path.exists() {
            return Err(ResultsError::Exists(path.to_owned()));
        }
        let mut beside = path.as_os_str().to_owned();
        beside.push(".part");
        let mut part = File::create(&beside).map_err(io)?;
        part.write_all(line_of(&header.json().to_string()).as_bytes()).map_err(io)?;
        part.sync_all().map_err(io)?;
        fs::rename(&beside, path).map_err(io)?;
        let file = OpenOptions::new().append(true).open(path).map_err(io)?;
        Ok(Results { path: path.to_owned(), file })
    }

    /// Go on with a file: what is there is read, a torn end is cut off.
    ///
    /// # Errors
    /// When it cannot be read or written, is damaged, or is of another campaign.
    pub fn go_on(path: &Path, header: &Header) -> Result<(Results, Reading), ResultsError> {
        let io = |error| ResultsError::Io(path.to_owned(), error);
        let reading = read_results(path)?;
        let differs = reading.header.differs(header);
        if let Some(what) = differs {
            return Err(ResultsError::Other(path.to_owned(), what));
        }
        if reading.header.shard != header.shard {
            let what = format!("shard: {} and {}", reading.header.shard.index, header.shard.index);
            return Err(ResultsError::Other(path.to_owned(), what));
        }
        let mut file = OpenOptions::new().read(true).append(true).open(path).map_err(io)?;
        if reading.torn_bytes > 0 {
            file.set_len(reading.whole_bytes).map_err(io)?;
        }
        file.seek(SeekFrom::End(0)).map_err(io)?;
        Ok((Results { path: path.to_owned(), file }, reading))
    }

    /// Append a finished block; it is on the disk when this returns.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn append(&mut self, block: u64, tally: &Tally) -> Result<(), ResultsError> {
        let mut map = serde_json::Map::new();
        map.insert("block".into(), block.into());
        map.extend(tally.json());
        let line = line_of(&Value::Object(map).to_string());
        let written = self.file.write_all(line.as_bytes()).and_then(|()| self.file.sync_data());
        written.map_err(|error| ResultsError::Io(self.path.clone(), error))
    }
}

/// Read a results file. What is behind the last whole line is counted, not used.
///
/// # Errors
/// When it cannot be read, or a line before its end is damaged.
pub fn read_results(path: &Path) -> Result<Reading, ResultsError> {
    let io = |error| ResultsError::Io(path.to_owned(), error);
    let damaged = |why: String| ResultsError::Damaged(path.to_owned(), why);
    let mut from = BufReader::new(File::open(path).map_err(io)?);
    let mut line = Vec::new();
    let mut next = |line: &mut Vec<u8>| -> Result<usize, ResultsError> {
        line.clear();
        from.read_until(b'\n', line).map_err(io)
    };
    let bytes = next(&mut line)?;
    let head = text_of(&line).and_then(value_of).ok_or_else(|| damaged("no head".into()))?;
    let header = Header::from_json(&head).map_err(damaged)?;
    let mut reading =
        Reading { header, blocks: Vec::new(), whole_bytes: bytes as u64, torn_bytes: 0 };
    let mut number = 1;
    let mut torn_line = None;
    loop {
        let bytes = next(&mut line)?;
        if bytes == 0 {
            break;
        }
        number += 1;
        match text_of(&line).and_then(value_of) {
            Some(value) => {
                if let Some(torn) = torn_line {
                    return Err(damaged(format!("line {torn} is damaged")));
                }
                let block = value["block"].as_u64().zip(Tally::from_json(&value));
                let block = block.ok_or_else(|| damaged(format!("line {number} is no block")))?;
                reading.blocks.push(block);
                reading.whole_bytes += bytes as u64;
            }
            // Only the end may be torn; what is torn may hold line feeds.
            None => {
                torn_line = torn_line.or(Some(number));
                reading.torn_bytes += bytes as u64;
            }
        }
    }
    reading.blocks.sort_by_key(|(block, _)| *block);
    if let Some(twice) = reading.blocks.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        return Err(damaged(format!("block {} is there twice", twice[0].0)));
    }
    Ok(reading)
}

/// A whole line as text, without its line feed.
fn text_of(line: &[u8]) -> Option<&str> {
    std::str::from_utf8(line.strip_suffix(b"\n")?).ok()
}
