//! Raw frames as they went over the wire, with their time: a file to look at and to play again.
//!
//! A line for each frame: microseconds since the beginning, `>` to the board or `<` from it, the
//! bytes in hexadecimal with the closing zero.

use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::time::Instant;

/// Which way a frame went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From us.
    ToBoard,
    /// To us.
    FromBoard,
}

/// A capture being written.
pub struct Capture {
    out: BufWriter<File>,
    begun: Instant,
    /// Bytes from the board that no zero has ended yet.
    open: Vec<u8>,
}

impl Capture {
    /// Begin a file.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn create(path: &Path) -> io::Result<Capture> {
        let out = BufWriter::new(File::create(path)?);
        Ok(Capture { out, begun: Instant::now(), open: Vec::new() })
    }

    fn line(&mut self, way: char, bytes: &[u8]) -> io::Result<()> {
        write!(self.out, "{} {way} ", self.begun.elapsed().as_micros())?;
        for byte in bytes {
            write!(self.out, "{byte:02x}")?;
        }
        self.out.write_all(b"\n")
    }

    /// A frame that was sent.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn sent(&mut self, frame: &[u8]) -> io::Result<()> {
        self.line('>', frame)
    }

    /// Bytes that came, good or not.
    ///
    /// # Errors
    /// They cannot be written.
    pub fn came(&mut self, bytes: &[u8]) -> io::Result<()> {
        for byte in bytes {
            self.open.push(*byte);
            if *byte == 0 {
                let frame = std::mem::take(&mut self.open);
                self.line('<', &frame)?;
            }
        }
        Ok(())
    }

    /// Everything to the disk.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn finish(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl Drop for Capture {
    fn drop(&mut self) {
        let _ = self.finish();
    }
}

/// A captured frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Microseconds since the beginning.
    pub at_us: u64,
    /// Which way.
    pub way: Way,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

fn frame_from(line: &str) -> Option<Frame> {
    let mut words = line.split(' ');
    let at_us = words.next()?.parse().ok()?;
    let way = match words.next()? {
        ">" => Way::ToBoard,
        "<" => Way::FromBoard,
        _ => return None,
    };
    let hex = words.next()?;
    if words.next().is_some() || !hex.len().is_multiple_of(2) || !hex.is_ascii() {
        return None;
    }
    let byte = |i: usize| u8::from_str_radix(hex.get(i..i + 2)?, 16).ok();
    let bytes = (0..hex.len()).step_by(2).map(byte).collect::<Option<Vec<u8>>>()?;
    Some(Frame { at_us, way, bytes })
}

/// Read a capture. A last line that was not finished is left out.
///
/// # Errors
/// A sentence with the line that is none.
pub fn read(path: &Path) -> Result<Vec<Frame>, String> {
    let name = path.display();
    let file = File::open(path).map_err(|error| format!("{name} cannot be read: {error}"))?;
    let mut frames = Vec::new();
    let mut torn: Option<usize> = None;
    for (number, line) in BufReader::new(file).lines().enumerate() {
        let line = line.map_err(|error| format!("{name} cannot be read: {error}"))?;
        if let Some(number) = torn {
            return Err(format!("{name}:{}: no captured frame", number + 1));
        }
        match frame_from(&line) {
            Some(frame) => frames.push(frame),
            None => torn = Some(number),
        }
    }
    if frames.is_empty() {
        return Err(format!("{name}: no captured frame"));
    }
    Ok(frames)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read() {
        let frame = Frame { at_us: 12, way: Way::ToBoard, bytes: vec![1, 255, 0] };
        assert_eq!(frame_from("12 > 01ff00"), Some(frame));
        for wrong in ["", "12 > 01f", "12 ? 01", "x > 01", "12 > 0g", "12 > 01 02", "1 > \u{e9}1"] {
            assert_eq!(frame_from(wrong), None, "{wrong}");
        }
    }
}
