//! Where in the source an instruction comes from, through functions that were inlined.

use addr2line::Context;
use gimli::{Dwarf, EndianSlice, LittleEndian};

use crate::elf::Image;

/// A place in a function of the source.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(crate) struct Place {
    pub(crate) function: String,
    pub(crate) file: String,
    pub(crate) line: u32,
    pub(crate) column: u32,
}

/// The line table and inlined functions of an image (DWARF).
pub(crate) struct Places<'a> {
    context: Context<EndianSlice<'a, LittleEndian>>,
}

impl<'a> Places<'a> {
    pub(crate) fn of(image: &'a Image) -> Places<'a> {
        let load = |id: gimli::SectionId| -> Result<_, gimli::Error> {
            let bytes = image.section(id.name()).unwrap_or_default();
            Ok(EndianSlice::new(bytes, LittleEndian))
        };
        let dwarf = Dwarf::load(load).expect("debug information");
        Places { context: Context::from_dwarf(dwarf).expect("debug information") }
    }

    /// The place of an instruction, in the outermost function first.
    pub(crate) fn of_instruction(&self, at: u32) -> Vec<Place> {
        let mut frames = self.context.find_frames(at.into()).skip_all_loads().expect("readable");
        let mut places = Vec::new();
        while let Some(frame) = frames.next().expect("readable") {
            let name = frame.function.and_then(|f| Some(f.raw_name().ok()?.into_owned()));
            let place = frame.location.as_ref();
            places.push(Place {
                function: short(&name.unwrap_or_default()),
                file: place.and_then(|p| p.file).unwrap_or_default().to_string(),
                line: place.and_then(|p| p.line).unwrap_or(0),
                column: place.and_then(|p| p.column).unwrap_or(0),
            });
        }
        places.reverse();
        places
    }
}

/// The last part of a name that the compiler has mangled (`_ZN`, length and part, .., hash), with
/// what comes before it when it is a function of a type.
fn short(name: &str) -> String {
    let mut parts = Vec::new();
    let mut rest = name.strip_prefix("_ZN").unwrap_or_default();
    while let Some(end) = rest.find(|c: char| !c.is_ascii_digit()).filter(|end| *end > 0) {
        let length: usize = rest[..end].parse().unwrap_or(0);
        parts.push(&rest[end..end + length]);
        rest = &rest[end + length..];
    }
    let own = parts.len().checked_sub(2).map(|at| parts[at]);
    own.map_or_else(|| name.to_string(), String::from)
}
