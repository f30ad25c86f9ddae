//! One frame: head, payload, checksum; as bytes on the wire.

use super::bytes::{Reader, Writer};
use super::cobs;
use super::crc::crc32c;
use super::message::Message;

/// Bytes before the payload: kind, sequence, tick.
pub const HEAD: usize = 7;
/// Bytes of the checksum.
pub const TAIL: usize = 4;
/// Longest body: head, payload and checksum.
pub const MAX_BODY: usize = 192;
/// Longest frame on the wire, closing zero included.
pub const MAX_WIRE: usize = MAX_BODY + 2;

/// What stands in every frame beside its message.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stamp {
    /// Counts the sender's frames, wrapping; an answer repeats that of what it answers.
    pub sequence: u16,
    /// Tick that the message is about, wrapping.
    pub tick: u32,
}

/// A frame as it goes over the wire.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Wire {
    bytes: [u8; MAX_WIRE],
    length: usize,
}

impl Default for Wire {
    fn default() -> Wire {
        Wire { bytes: [0; MAX_WIRE], length: 0 }
    }
}

impl Wire {
    /// Encode a message. Every message fits; were one ever too long, the wire stays empty.
    pub fn new(stamp: Stamp, message: &Message) -> Wire {
        let mut wire = Wire::default();
        wire.length = wire.encode(stamp, message).unwrap_or(0);
        wire
    }

    fn encode(&mut self, stamp: Stamp, message: &Message) -> Option<usize> {
        let mut body = [0; MAX_BODY];
        let room = body.get_mut(..MAX_BODY.saturating_sub(TAIL))?;
        let mut writer = Writer::new(room);
        writer.u8(message.kind());
        writer.u16(stamp.sequence);
        writer.u32(stamp.tick);
        message.write(&mut writer);
        let length = writer.finish()?;
        let crc = crc32c(body.get(..length)?).to_le_bytes();
        let end = length.saturating_add(TAIL);
        for (slot, byte) in body.get_mut(length..end)?.iter_mut().zip(crc) {
            *slot = byte;
        }
        let coded = cobs::encode(body.get(..end)?, &mut self.bytes)?;
        *self.bytes.get_mut(coded)? = 0;
        coded.checked_add(1)
    }

    /// The bytes to send.
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.length).unwrap_or(&[])
    }
}

/// Why a body is no message.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NoMessage {
    /// Too short to have a head.
    Short,
    /// The checksum does not match.
    Crc,
    /// The kind does not exist, the payload has another length, or a value in it does not exist.
    Content,
}

/// Decode a body, checksum first.
///
/// # Errors
/// Why it is no message.
pub fn message_of(body: &[u8]) -> Result<(Stamp, Message), NoMessage> {
    let (content, crc) = body.split_last_chunk::<TAIL>().ok_or(NoMessage::Short)?;
    if content.len() < HEAD {
        return Err(NoMessage::Short);
    }
    if crc32c(content) != u32::from_le_bytes(*crc) {
        return Err(NoMessage::Crc);
    }
    let mut reader = Reader::new(content);
    let read = |reader: &mut Reader| {
        let kind = reader.u8()?;
        let stamp = Stamp { sequence: reader.u16()?, tick: reader.u32()? };
        Some((kind, stamp))
    };
    let (kind, stamp) = read(&mut reader).ok_or(NoMessage::Short)?;
    let message = Message::read(kind, reader).ok_or(NoMessage::Content)?;
    Ok((stamp, message))
}
