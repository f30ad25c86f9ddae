//! Little-endian numbers into and out of byte slices, without a way to run over an end.

/// Writes one value after the other; remembers when there was no room.
#[derive(Debug)]
pub struct Writer<'a> {
    left: &'a mut [u8],
    written: usize,
    full: bool,
}

impl<'a> Writer<'a> {
    /// From the beginning of `out`.
    pub fn new(out: &'a mut [u8]) -> Writer<'a> {
        Writer { left: out, written: 0, full: false }
    }

    /// Bytes as they are.
    pub fn bytes(&mut self, bytes: &[u8]) {
        let left = core::mem::take(&mut self.left);
        match left.split_at_mut_checked(bytes.len()) {
            Some((slot, rest)) => {
                for (to, from) in slot.iter_mut().zip(bytes) {
                    *to = *from;
                }
                self.written = self.written.saturating_add(bytes.len());
                self.left = rest;
            }
            None => self.full = true,
        }
    }

    /// One byte.
    pub fn u8(&mut self, x: u8) {
        self.bytes(&[x]);
    }

    /// Two bytes.
    pub fn u16(&mut self, x: u16) {
        self.bytes(&x.to_le_bytes());
    }

    /// Four bytes.
    pub fn u32(&mut self, x: u32) {
        self.bytes(&x.to_le_bytes());
    }

    /// Four bytes, all bits of the number.
    pub fn f32(&mut self, x: f32) {
        self.u32(x.to_bits());
    }

    /// An index, 255 for none.
    pub fn index(&mut self, x: Option<u8>) {
        self.u8(x.unwrap_or(u8::MAX));
    }

    /// How many bytes were written; `None` when there was no room for all.
    pub fn finish(self) -> Option<usize> {
        (!self.full).then_some(self.written)
    }
}

/// Reads one value after the other.
#[derive(Clone, Copy, Debug)]
pub struct Reader<'a> {
    left: &'a [u8],
}

impl<'a> Reader<'a> {
    /// From the beginning of `bytes`.
    pub fn new(bytes: &'a [u8]) -> Reader<'a> {
        Reader { left: bytes }
    }

    /// So many bytes; `None` when there are fewer.
    pub fn bytes<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (bytes, rest) = self.left.split_first_chunk()?;
        self.left = rest;
        Some(*bytes)
    }

    /// One byte.
    pub fn u8(&mut self) -> Option<u8> {
        self.bytes().map(|[x]| x)
    }

    /// Two bytes.
    pub fn u16(&mut self) -> Option<u16> {
        self.bytes().map(u16::from_le_bytes)
    }

    /// Four bytes.
    pub fn u32(&mut self) -> Option<u32> {
        self.bytes().map(u32::from_le_bytes)
    }

    /// Four bytes, all bits of the number.
    pub fn f32(&mut self) -> Option<f32> {
        self.u32().map(f32::from_bits)
    }

    /// An index, or none.
    pub fn index(&mut self) -> Option<Option<u8>> {
        self.u8().map(|x| (x != u8::MAX).then_some(x))
    }

    /// `value`, if everything was read.
    pub fn end<T>(self, value: T) -> Option<T> {
        self.left.is_empty().then_some(value)
    }
}
