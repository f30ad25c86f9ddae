//! A linked image: sections, functions by address, and where data lies between the instructions
//! (System V ABI, chapter 4; mapping symbols: ELF for the Arm Architecture, 5.5.5).

use std::collections::BTreeMap;
use std::ops::Range;

/// An ELF file of 32 bits, little end first.
pub(crate) struct Image {
    bytes: Vec<u8>,
    /// Type, address, offset, size, link and name of each section.
    sections: Vec<([u32; 5], String)>,
    /// Where each function ends, by its start.
    functions: BTreeMap<u32, u32>,
    names: BTreeMap<String, u32>,
    /// Whether data begins there, or instructions.
    data: BTreeMap<u32, bool>,
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four bytes"))
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(bytes[at..at + 2].try_into().expect("two bytes"))
}

fn text_at(bytes: &[u8], at: usize) -> String {
    let text = bytes[at..].split(|b| *b == 0).next();
    String::from_utf8_lossy(text.unwrap_or_default()).into_owned()
}

impl Image {
    pub(crate) fn new(bytes: Vec<u8>) -> Image {
        let (table, size) = (u32_at(&bytes, 32) as usize, usize::from(u16_at(&bytes, 46)));
        let of = |n: u16| table + usize::from(n) * size;
        let names = u32_at(&bytes, of(u16_at(&bytes, 50)) + 16) as usize;
        let sections: Vec<_> = (0..u16_at(&bytes, 48))
            .map(|n| {
                let fields = [4, 12, 16, 20, 24].map(|field| u32_at(&bytes, of(n) + field));
                (fields, text_at(&bytes, names + u32_at(&bytes, of(n)) as usize))
            })
            .collect();
        let mut image = Image {
            bytes,
            sections,
            functions: BTreeMap::new(),
            names: BTreeMap::new(),
            data: BTreeMap::new(),
        };
        image.read_symbols();
        image
    }

    fn read_symbols(&mut self) {
        let bytes = &self.bytes;
        let table = self.sections.iter().find(|(fields, _)| fields[0] == 2);
        let ([_, _, symbols, size, names], _) = *table.expect("symbols");
        let names = self.sections[names as usize].0[2] as usize;
        for at in (symbols..symbols + size).step_by(16).map(|at| at as usize) {
            let name = text_at(bytes, names + u32_at(bytes, at) as usize);
            let (value, size, kind) =
                (u32_at(bytes, at + 4), u32_at(bytes, at + 8), bytes[at + 12] & 15);
            if name.starts_with("$d") || name.starts_with("$t") {
                self.data.insert(value, name.starts_with("$d"));
            } else if kind == 2 && size > 0 {
                self.functions.insert(value & !1, (value & !1) + size);
                self.names.insert(name, value & !1);
            }
        }
    }

    /// Bytes of a section.
    pub(crate) fn section(&self, name: &str) -> Option<&[u8]> {
        let (fields, _) = self.sections.iter().find(|(_, own)| own == name)?;
        Some(&self.bytes[fields[2] as usize..][..fields[3] as usize])
    }

    /// Code of these halves from address 0 on, for tests; each function begins where the one
    /// before it ends.
    pub(crate) fn of_code(halves: &[u16], ends: &[u32]) -> Image {
        let bytes: Vec<u8> = halves.iter().flat_map(|half| half.to_le_bytes()).collect();
        let sections = vec![([1, 0, 0, bytes.len() as u32, 0], ".text".into())];
        let starts = std::iter::once(0).chain(ends.iter().copied());
        let functions = starts.zip(ends.iter().copied()).collect();
        Image { bytes, sections, functions, names: BTreeMap::new(), data: BTreeMap::new() }
    }

    /// All functions.
    pub(crate) fn functions(&self) -> impl Iterator<Item = Range<u32>> + '_ {
        self.functions.iter().map(|(start, end)| *start..*end)
    }

    /// The function that begins there.
    pub(crate) fn function(&self, start: u32) -> Option<Range<u32>> {
        self.functions.get(&start).map(|end| start..*end)
    }

    /// Start of the function whose name has this part.
    pub(crate) fn named(&self, part: &str) -> u32 {
        let name = self.names.keys().find(|name| name.contains(part));
        self.names[name.expect("the function")]
    }

    /// Whether data lies there, between instructions.
    pub(crate) fn is_data(&self, at: u32) -> bool {
        self.data.range(..=at).next_back().is_some_and(|(_, is_data)| *is_data)
    }

    /// End of the data that lies there.
    pub(crate) fn data_end(&self, at: u32) -> Option<u32> {
        self.data.range(at + 1..).find(|(_, is_data)| !**is_data).map(|(end, _)| *end)
    }

    /// Two bytes of code or data in flash.
    pub(crate) fn half(&self, at: u32) -> Option<u16> {
        let within =
            |(f, _): &&([u32; 5], String)| f[0] == 1 && f[1] <= at && at - f[1] + 2 <= f[3];
        let ([_, address, offset, ..], _) = self.sections.iter().find(within)?;
        Some(u16_at(&self.bytes, (offset + at - address) as usize))
    }
}
