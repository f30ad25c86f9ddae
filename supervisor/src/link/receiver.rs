//! Bytes in, messages out. What is not exactly right is counted and dropped; the next zero byte
//! is always a new chance.

use super::cobs;
use super::frame::{MAX_WIRE, NoMessage, Stamp, message_of};
use super::message::Message;

/// Why a frame was dropped.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Bad {
    /// Longer than any frame.
    Long,
    /// No COBS encoding.
    Coding,
    /// Too short.
    Short,
    /// Wrong checksum.
    Crc,
    /// Checksum right, content not: of another protocol.
    Content,
}

/// How many frames of each sort came; they stop at the largest number.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counters {
    /// Good ones.
    pub good: u32,
    /// Longer than any frame.
    pub long: u32,
    /// No COBS encoding.
    pub coding: u32,
    /// Too short.
    pub short: u32,
    /// Wrong checksum.
    pub crc: u32,
    /// Wrong content under a right checksum.
    pub content: u32,
    /// Good, but seen before or older than one that was seen.
    pub stale: u32,
}

impl Counters {
    fn count(&mut self, bad: Bad) {
        let counter = match bad {
            Bad::Long => &mut self.long,
            Bad::Coding => &mut self.coding,
            Bad::Short => &mut self.short,
            Bad::Crc => &mut self.crc,
            Bad::Content => &mut self.content,
        };
        *counter = counter.saturating_add(1);
    }

    /// All that were dropped as bad.
    pub const fn bad(&self) -> u32 {
        let damaged = self.long.saturating_add(self.coding).saturating_add(self.short);
        damaged.saturating_add(self.crc).saturating_add(self.content)
    }
}

/// Collects the bytes of one frame.
#[derive(Clone, Debug)]
pub struct Receiver {
    bytes: [u8; MAX_WIRE],
    length: usize,
    overrun: bool,
    /// What came so far.
    pub counters: Counters,
}

impl Default for Receiver {
    fn default() -> Receiver {
        Receiver { bytes: [0; MAX_WIRE], length: 0, overrun: false, counters: Counters::default() }
    }
}

impl Receiver {
    /// Nothing has come yet.
    pub fn new() -> Receiver {
        Receiver::default()
    }

    /// One byte from the wire; a message when it completes one. Zero bytes between frames are
    /// nothing.
    pub fn byte(&mut self, byte: u8) -> Option<(Stamp, Message)> {
        if byte != 0 {
            match self.bytes.get_mut(self.length) {
                Some(slot) => {
                    *slot = byte;
                    self.length = self.length.saturating_add(1);
                }
                None => self.overrun = true,
            }
            return None;
        }
        let length = core::mem::take(&mut self.length);
        if core::mem::take(&mut self.overrun) {
            self.counters.count(Bad::Long);
            return None;
        }
        if length == 0 {
            return None;
        }
        match self.decode(length) {
            Ok(message) => {
                self.counters.good = self.counters.good.saturating_add(1);
                Some(message)
            }
            Err(bad) => {
                self.counters.count(bad);
                None
            }
        }
    }

    fn decode(&mut self, length: usize) -> Result<(Stamp, Message), Bad> {
        let coded = self.bytes.get_mut(..length).ok_or(Bad::Long)?;
        let body = cobs::decode(coded).ok_or(Bad::Coding)?;
        message_of(body).map_err(|why| match why {
            NoMessage::Short => Bad::Short,
            NoMessage::Crc => Bad::Crc,
            NoMessage::Content => Bad::Content,
        })
    }
}

/// Whether frames come in order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Order {
    /// Newer than all before.
    New,
    /// The last one again.
    Again,
    /// Older than the last one.
    Old,
}

/// Place of `sequence` after `last`: half of the numbers count as newer.
pub const fn order_of(sequence: u16, last: u16) -> Order {
    match sequence.wrapping_sub(last) {
        0 => Order::Again,
        1..=0x7fff => Order::New,
        _ => Order::Old,
    }
}
