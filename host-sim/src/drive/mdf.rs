//! The per-tick trace as a measurement file by the standard ASAM MDF 4 (4.10): the columns of the
//! CSV as channels, numbers in full. `docs/trace-format.md` says what is where.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter};
use std::path::Path;

use mf4_rs::blocks::common::{BlockHeader, DataType};
use mf4_rs::blocks::text_block::TextBlock;
use mf4_rs::error::MdfError;
use mf4_rs::writer::MdfWriter;
use supervisor::table::Table;

use crate::drive::record::TickRecord;
use crate::drive::trace::{Cell, Column, Sort, cells, described};
use crate::driveline::Driveline;

/// Where links stand in their blocks (ASAM MDF 4.1: 24 bytes of head, then 8 a link).
const UNIT_OF_CHANNEL: u64 = 72;
const HISTORY_OF_HEADER: u64 = 32;
const COMMENT_OF_HISTORY: u64 = 32;
/// Most words in one column; the format counts them in 16 bits.
const MOST_WORDS: usize = 60_000;

/// A measurement file being written. Needs no memory for ticks, only for each word once.
pub struct MdfTrace {
    writer: MdfWriter,
    group: String,
    channels: Vec<String>,
    columns: Vec<Column>,
    /// Of each column of words: the words and their numbers.
    words: Vec<BTreeMap<String, u32>>,
    record: Vec<u8>,
    every: u64,
    tick: u64,
}

fn failed(error: MdfError) -> io::Error {
    match error {
        MdfError::IOError(error) => error,
        other => io::Error::other(other.to_string()),
    }
}

/// A block of text: `##TX`, or `##MD` for XML. Both end with a zero and are filled to 8 bytes.
fn text_block(id: &str, text: &str) -> Result<Vec<u8>, MdfError> {
    if id == "##TX" {
        return TextBlock::new(text).to_bytes();
    }
    let mut body = text.as_bytes().to_vec();
    body.push(0);
    body.resize(body.len().next_multiple_of(8), 0);
    let header = BlockHeader {
        id: id.to_owned(),
        reserved0: 0,
        block_len: 24 + body.len() as u64,
        links_nr: 0,
    };
    let mut bytes = header.to_bytes()?;
    bytes.extend(body);
    Ok(bytes)
}

/// Who wrote the file: the format wants one entry of history. Without a time, so that the same
/// drive gives the same bytes.
fn history(writer: &mut MdfWriter) -> Result<(), MdfError> {
    let header = BlockHeader { id: "##FH".to_owned(), reserved0: 0, block_len: 56, links_nr: 2 };
    let mut bytes = header.to_bytes()?;
    bytes.extend([0; 32]);
    writer.write_block_with_id(&bytes, "history")?;
    writer.update_block_link("hd_block", HISTORY_OF_HEADER, "history")?;
    let text = concat!(
        "<FHcomment><TX>Trace of a simulated drive</TX><tool_id>slipwarden</tool_id>",
        "<tool_vendor>slipwarden</tool_vendor><tool_version>",
        env!("CARGO_PKG_VERSION"),
        "</tool_version></FHcomment>"
    );
    writer.write_block_with_id(&text_block("##MD", text)?, "history comment")?;
    writer.update_block_link("history", COMMENT_OF_HISTORY, "history comment")
}

/// One channel for each column, the first the time.
fn channels(
    writer: &mut MdfWriter,
    group: &str,
    columns: &[Column],
) -> Result<Vec<String>, MdfError> {
    let mut made: Vec<String> = Vec::new();
    let mut offset = 0;
    for column in columns {
        let (data_type, bits) = match column.sort {
            Sort::Number => (DataType::FloatLE, 64),
            Sort::Flag => (DataType::UnsignedIntegerLE, 8),
            Sort::Word => (DataType::UnsignedIntegerLE, 32),
        };
        let last = made.last().cloned();
        let id = writer.add_channel_preserving_offsets(group, last.as_deref(), |channel| {
            channel.name = Some(column.name.clone());
            channel.data_type = data_type;
            channel.bit_count = bits;
            channel.byte_offset = offset;
        })?;
        offset += bits / 8;
        if !column.unit.is_empty() {
            let unit = format!("unit of {id}");
            writer.write_block_with_id(&text_block("##TX", column.unit)?, &unit)?;
            writer.update_block_link(&id, UNIT_OF_CHANNEL, &unit)?;
        }
        made.push(id);
    }
    if let Some(time) = made.first() {
        writer.set_time_channel(time)?;
    }
    Ok(made)
}

impl MdfTrace {
    /// Begin a file; every `every`-th tick is written, the first one always.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn create(
        path: &Path,
        driveline: &Driveline,
        about: &str,
        every: u64,
    ) -> io::Result<MdfTrace> {
        let file = BufWriter::with_capacity(1 << 16, File::create(path)?);
        let columns = described(driveline);
        let mut writer = MdfWriter::new_from_writer(file);
        let mut begin = || -> Result<(String, Vec<String>), MdfError> {
            writer.init_mdf_file()?;
            // A simulated drive has no date.
            writer.set_start_time(0, 0, 0, 0, 0)?;
            history(&mut writer)?;
            let group = writer.add_channel_group(None, |_| {})?;
            writer.set_channel_group_name(&group, about)?;
            let channels = channels(&mut writer, &group, &columns)?;
            writer.start_data_block_for_cg(&group, 0)?;
            Ok((group, channels))
        };
        let (group, channels) = begin().map_err(failed)?;
        Ok(MdfTrace {
            writer,
            group,
            channels,
            words: vec![BTreeMap::new(); columns.len()],
            columns,
            record: Vec::new(),
            every: every.max(1),
            tick: 0,
        })
    }

    /// Write one tick if its turn has come.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn add(
        &mut self,
        driveline: &Driveline,
        table: &Table,
        record: &TickRecord,
    ) -> io::Result<()> {
        let due = self.tick.is_multiple_of(self.every);
        self.tick += 1;
        if !due {
            return Ok(());
        }
        self.record.clear();
        for (cell, words) in cells(driveline, table, record).iter().zip(&mut self.words) {
            match cell {
                Cell::Number(value) => self.record.extend(value.to_le_bytes()),
                Cell::Nothing => self.record.extend(f64::NAN.to_le_bytes()),
                Cell::Flag(yes) => self.record.push(u8::from(*yes)),
                Cell::Word(word) => self.record.extend(number(words, word)?.to_le_bytes()),
            }
        }
        self.writer.write_raw_record(&self.group, &self.record).map_err(failed)
    }

    /// End the file. Words get their place only now, because not all are known before.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn finish(mut self) -> io::Result<()> {
        let mut end = || -> Result<(), MdfError> {
            self.writer.finish_data_block(&self.group)?;
            let columns = self.columns.iter().zip(&self.channels).zip(&self.words);
            for ((_, id), words) in columns.filter(|((c, _), _)| c.sort == Sort::Word) {
                let mut list: Vec<(i64, &str)> =
                    words.iter().map(|(word, n)| (i64::from(*n), word.as_str())).collect();
                list.sort_unstable();
                self.writer.add_value_to_text_conversion(&list, "", Some(id))?;
            }
            Ok(())
        };
        end().map_err(failed)?;
        self.writer.finalize().map_err(failed)
    }
}

/// The number of a word, a new one for a new word.
fn number(words: &mut BTreeMap<String, u32>, word: &str) -> io::Result<u32> {
    if let Some(n) = words.get(word) {
        return Ok(*n);
    }
    if words.len() >= MOST_WORDS {
        return Err(io::Error::other("more different words in a column than the format can count"));
    }
    let n = words.len() as u32;
    words.insert(word.to_owned(), n);
    Ok(n)
}
