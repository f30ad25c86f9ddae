//! A search that was stopped, in a file: what was reached and what waits, so that it can go on.
//!
//! The first line is JSON (`explore_checkpoint` 1) and names what was explored; the rest is the
//! states in words of eight bytes, little end first, and ends with a checksum of all of it.

use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Read, Write};
use std::path::Path;

use serde_json::{Value, json};

use super::always::Always;
use super::codes::{Codes, LockPart, Parts, RestPart};
use super::model::Model;
use super::search::{Breach, Found, Reached, Waiting};
use super::sometimes::{Seen, Sometimes};
use super::store::{Layout, States, Store};
use super::table::{SHARDS, Shard, Word};

const FORMAT: u64 = 1;

/// Why a checkpoint cannot be gone on with.
#[derive(Debug)]
pub enum CheckpointError {
    /// It cannot be read or written.
    Io(io::Error),
    /// It is damaged, cut short, or no checkpoint.
    Damaged(String),
    /// It is of another exploration.
    Other {
        /// What it is of.
        theirs: String,
        /// What was asked for.
        ours: String,
    },
}

impl std::fmt::Display for CheckpointError {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            CheckpointError::Io(error) => write!(f, "{error}"),
            CheckpointError::Damaged(why) => write!(f, "it is no whole checkpoint: {why}"),
            CheckpointError::Other { theirs, ours } => {
                write!(f, "it is of another exploration ({theirs}) and not of this one ({ours})")
            }
        }
    }
}

impl From<io::Error> for CheckpointError {
    fn from(error: io::Error) -> CheckpointError {
        CheckpointError::Io(error)
    }
}

fn damaged(why: &str) -> CheckpointError {
    CheckpointError::Damaged(why.to_string())
}

/// What names an exploration: two with the same name have the same states.
fn identity(model: &Model, driveline: &str) -> String {
    format!(
        "{driveline}, table {:08x}, {:?}, at most {} faults{}",
        model.table.hash,
        model.subject,
        model.budget,
        if model.cells.is_some() { ", guards feasible" } else { "" }
    )
}

/// Writes words and keeps their checksum.
struct Sink<W> {
    out: W,
    sum: u64,
}

impl<W: Write> Sink<W> {
    fn word(&mut self, word: u64) -> io::Result<()> {
        self.sum = step(self.sum, word);
        self.out.write_all(&word.to_le_bytes())
    }

    fn wide(&mut self, word: u128) -> io::Result<()> {
        self.word(word as u64)?;
        self.word((word >> 64) as u64)
    }

    fn parts(&mut self, parts: &Parts) -> io::Result<()> {
        parts.locks.iter().try_for_each(|part| self.lock(part))?;
        self.rest(&parts.rest)
    }

    fn lock(&mut self, part: &LockPart) -> io::Result<()> {
        self.word(part.0)?;
        self.word(u64::from(part.1))
    }

    fn rest(&mut self, part: &RestPart) -> io::Result<()> {
        part.0.iter().try_for_each(|&word| self.word(word))?;
        self.word(u64::from(part.1))
    }
}

/// Reads words and keeps their checksum.
struct Source<R> {
    from: R,
    sum: u64,
}

impl<R: Read> Source<R> {
    fn word(&mut self) -> Result<u64, CheckpointError> {
        let mut bytes = [0; 8];
        self.from.read_exact(&mut bytes).map_err(|_| damaged("it ends too early"))?;
        let word = u64::from_le_bytes(bytes);
        self.sum = step(self.sum, word);
        Ok(word)
    }

    fn wide(&mut self) -> Result<u128, CheckpointError> {
        Ok(u128::from(self.word()?) | u128::from(self.word()?) << 64)
    }

    fn list<T>(
        &mut self,
        mut one: impl FnMut(&mut Self) -> Result<T, CheckpointError>,
    ) -> Result<Vec<T>, CheckpointError> {
        let count = self.word()?;
        // Not reserved at once: a damaged count must not ask for all memory.
        (0..count).map(|_| one(self)).collect()
    }

    fn lock(&mut self) -> Result<LockPart, CheckpointError> {
        Ok((self.word()?, self.word()? as u16))
    }

    fn rest(&mut self) -> Result<RestPart, CheckpointError> {
        Ok(([self.word()?, self.word()?, self.word()?, self.word()?], self.word()? as u8))
    }

    fn parts(&mut self) -> Result<Parts, CheckpointError> {
        let mut parts = Parts::default();
        for slot in &mut parts.locks {
            *slot = self.lock()?;
        }
        parts.rest = self.rest()?;
        Ok(parts)
    }
}

fn step(sum: u64, word: u64) -> u64 {
    (sum.rotate_left(23) ^ word).wrapping_mul(0x9E37_79B9_7F4A_7C15)
}

/// Keep a search in a file. A file that is there is replaced only by a whole one.
///
/// # Errors
/// When the file cannot be written.
pub fn keep(
    path: &Path,
    model: &Model,
    driveline: &str,
    found: &Found,
) -> Result<(), CheckpointError> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let out = BufWriter::new(File::create(&beside)?);
    let mut sink = Sink { out, sum: 0 };
    let head = json!({
        "explore_checkpoint": FORMAT,
        "of": identity(model, driveline),
        "word_bytes": found.store.word_bytes(),
        "states": found.store.len(),
        "transitions": found.reached.transitions,
        "kernel_ticks": found.reached.kernel_ticks,
        "depth": found.reached.depth,
        "steps": found.sometimes.steps.numbers(),
        "arrangements": found.sometimes.arrangements.numbers(),
        "refusals": found.sometimes.refusals.numbers(),
        "reactions": found.sometimes.reactions.numbers(),
    });
    writeln!(sink.out, "{head}")?;
    match &found.store {
        Store::Small(states) => write_states(&mut sink, states)?,
        Store::Large(states) => write_states(&mut sink, states)?,
    }
    for waiting in [&found.waiting.now, &found.waiting.next] {
        sink.word(waiting.len() as u64)?;
        waiting.iter().try_for_each(|&word| sink.wide(word))?;
    }
    sink.word(found.broken.len() as u64)?;
    for (always, breach) in &found.broken {
        sink.word(*always as u64)?;
        sink.word(u64::from(breach.level))?;
        sink.parts(&breach.before)?;
        sink.parts(&breach.after)?;
    }
    let sum = sink.sum;
    sink.word(sum)?;
    sink.out.flush()?;
    drop(sink);
    std::fs::rename(&beside, path)?;
    Ok(())
}

fn write_states<W: Word>(sink: &mut Sink<impl Write>, states: &States<W>) -> io::Result<()>
where
    u128: From<W>,
{
    let (locks, rests) = states.codes.values();
    sink.word(locks.len() as u64)?;
    locks.iter().try_for_each(|part| sink.lock(part))?;
    sink.word(rests.len() as u64)?;
    rests.iter().try_for_each(|part| sink.rest(part))?;
    for shard in &states.shards {
        sink.word(shard.len() as u64)?;
        for &word in shard.slots().iter().filter(|word| **word != W::default()) {
            sink.word(u128::from(word) as u64)?;
            if size_of::<W>() > 8 {
                sink.word((u128::from(word) >> 64) as u64)?;
            }
        }
    }
    Ok(())
}

/// Take up a search from a file.
///
/// # Errors
/// When the file cannot be read, is damaged, or is of another exploration.
pub fn take_up(path: &Path, model: &Model, driveline: &str) -> Result<Found, CheckpointError> {
    let mut from = BufReader::new(File::open(path)?);
    let mut line = String::new();
    from.by_ref()
        .take(1 << 20)
        .read_line(&mut line)
        .map_err(|_| damaged("it has no first line"))?;
    let head: Value = serde_json::from_str(&line).map_err(|_| damaged("it has no first line"))?;
    let number =
        |key: &str| head[key].as_u64().ok_or_else(|| damaged("its first line lacks a number"));
    if number("explore_checkpoint")? != FORMAT {
        return Err(damaged("it is of another version of this program"));
    }
    let ours = identity(model, driveline);
    if head["of"] != ours.as_str() {
        let theirs = head["of"].as_str().unwrap_or("unknown").to_string();
        return Err(CheckpointError::Other { theirs, ours });
    }
    let mut source = Source { from, sum: 0 };
    let locks = usize::from(model.table.lock_count());
    let store = match number("word_bytes")? {
        8 => Store::Small(read_states(&mut source, locks)?),
        16 => Store::Large(read_states(&mut source, locks)?),
        _ => return Err(damaged("its words are of an unknown size")),
    };
    let waiting = Waiting { now: source.list(Source::wide)?, next: source.list(Source::wide)? };
    let broken = source.list(|source| {
        let always = Always::ALL.get(source.word()? as usize);
        let always = *always.ok_or_else(|| damaged("it names an unknown property"))?;
        let level = source.word()? as u32;
        Ok((always, Breach { level, before: source.parts()?, after: source.parts()? }))
    })?;
    let sum = source.sum;
    if source.word()? != sum || source.from.read(&mut [0])? != 0 {
        return Err(damaged("its checksum is wrong"));
    }
    let reached = Reached {
        states: store.len(),
        transitions: number("transitions")?,
        kernel_ticks: number("kernel_ticks")?,
        depth: number("depth")? as u32,
        waiting: waiting.now.len() + waiting.next.len(),
        bytes: store.bytes(),
        broken: broken.len(),
    };
    Ok(Found {
        complete: waiting.now.is_empty() && waiting.next.is_empty(),
        too_wide: false,
        store,
        reached,
        broken: broken.into_iter().collect(),
        sometimes: sometimes(&head),
        waiting,
    })
}

fn sometimes(head: &Value) -> Sometimes {
    let seen = |key: &str| {
        let mut seen = Seen::default();
        let numbers = head[key].as_array().into_iter().flatten().filter_map(Value::as_u64);
        // Numbers of steps, arrangements and kinds are below 65536 by their types.
        numbers.filter(|&n| n < 1 << 16).for_each(|n| seen.put(n as usize));
        seen
    };
    Sometimes {
        steps: seen("steps"),
        arrangements: seen("arrangements"),
        refusals: seen("refusals"),
        reactions: seen("reactions"),
    }
}

fn read_states<W: Word + TryFrom<u128>>(
    source: &mut Source<impl Read>,
    locks: usize,
) -> Result<States<W>, CheckpointError> {
    let lock_parts = source.list(Source::lock)?;
    let rests = source.list(Source::rest)?;
    let mut shards = Vec::new();
    for _ in 0..SHARDS {
        let words = source.list(|source| {
            let low = u128::from(source.word()?);
            let high = if size_of::<W>() > 8 { u128::from(source.word()?) } else { 0 };
            let word = W::try_from(low | high << 64).map_err(|_| damaged("a word is too large"))?;
            if word == W::default() {
                return Err(damaged("a state is missing"));
            }
            Ok(word)
        })?;
        let shard = Shard::of_rising(words).ok_or_else(|| damaged("a state is there twice"))?;
        shards.push(shard);
    }
    Ok(States { layout: Layout::new::<W>(locks), codes: Codes::of(lock_parts, rests), shards })
}
