//! How many instructions a tick takes at most, whatever the input: the longest way through the
//! machine code of the linked image.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;

use supervisor::table::Table;

use crate::elf::Image;
use crate::flow::{Code, Graph};
use crate::images::Demo;
use crate::longest::{Loops, Way, longest};
use crate::loops::{CHECK, Entry, TICK};
use crate::named::{Named, Namer};
use crate::places::Places;

/// The code of one function.
struct Part<'a> {
    image: &'a Image,
    range: Range<u32>,
}

impl Code for Part<'_> {
    fn half(&self, at: u32) -> Option<u16> {
        self.range.contains(&at).then(|| self.image.half(at))?
    }

    fn table_end(&self, at: u32) -> Option<u32> {
        self.image.is_data(at).then(|| self.image.data_end(at))?
    }
}

/// A function with its longest way.
pub(crate) struct Function {
    pub(crate) graph: Graph,
    pub(crate) loops: Vec<Named>,
    /// Instructions of each block, those of the functions that it calls among them.
    pub(crate) weights: Vec<u64>,
    pub(crate) way: Way,
}

/// All functions of a tick, by their start.
pub(crate) struct Bound {
    pub(crate) functions: BTreeMap<u32, Function>,
    /// Callers come after those whom they call.
    order: Vec<u32>,
    /// Entries of the list that a loop was found for.
    pub(crate) used: BTreeSet<usize>,
    /// The function that checks the table.
    pub(crate) check: u32,
}

/// What a search for a bound goes by.
struct Search<'a> {
    image: &'a Image,
    namer: Namer<'a>,
    /// A function that is left out.
    without: Option<u32>,
}

/// Which bound.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Which {
    /// Of the first tick after a reset, which checks the table as well.
    pub(crate) first: bool,
    /// With any bits in the sets of locks and machines that the supervisor keeps.
    pub(crate) any_members: bool,
}

/// A tick of a table that is not the first after a reset.
pub(crate) const LATER: Which = Which { first: false, any_members: false };
pub(crate) const FIRST: Which = Which { first: true, any_members: false };

impl Bound {
    fn new(check: u32) -> Bound {
        Bound { functions: BTreeMap::new(), order: Vec::new(), used: BTreeSet::new(), check }
    }

    fn add(&mut self, search: &Search, start: u32, callers: &mut Vec<u32>) -> Result<u64, String> {
        if search.without == Some(start) {
            return Ok(0);
        }
        if callers.contains(&start) {
            return Err(format!("{start:x}: it calls itself"));
        }
        if let Some(known) = self.functions.get(&start) {
            return Ok(known.way.length);
        }
        let range = search.image.function(start);
        let range = range.ok_or_else(|| format!("{start:x}: a call of what is no function"))?;
        let graph = Graph::of(&Part { image: search.image, range }, start)?;
        callers.push(start);
        let mut weights = Vec::new();
        for block in &graph.blocks {
            let mut weight = block.steps.len() as u64;
            for call in &block.calls {
                weight += self.add(search, *call, callers)?;
            }
            weights.push(weight);
        }
        callers.pop();
        let loops = search.namer.names(&graph)?;
        self.used.extend(loops.iter().map(|l| l.entry));
        let rounds: Vec<Loops> =
            loops.iter().map(|l| Loops { rounds: l.rounds, shared: l.shared }).collect();
        let way = longest(&graph, &weights, &rounds);
        let length = way.length;
        self.functions.insert(start, Function { graph, loops, weights, way });
        self.order.push(start);
        Ok(length)
    }

    /// The bound: instructions on the longest way.
    pub(crate) fn length(&self) -> u64 {
        self.functions[&self.root()].way.length
    }

    /// The function that all of this is about.
    pub(crate) fn root(&self) -> u32 {
        *self.order.last().expect("a function")
    }

    /// Where the code is, function by function.
    pub(crate) fn ranges(&self) -> impl Iterator<Item = Range<u32>> + '_ {
        self.functions.iter().map(|(start, function)| {
            let last = function.graph.blocks.iter().flat_map(|b| &b.steps).max();
            *start..last.map_or(*start, |last| last + 4)
        })
    }

    /// How often each function is called on the longest way.
    pub(crate) fn calls(&self) -> BTreeMap<u32, u64> {
        let mut calls: BTreeMap<u32, u64> = BTreeMap::new();
        calls.extend(self.order.last().map(|root| (*root, 1)));
        for start in self.order.iter().rev() {
            let (function, own) = (&self.functions[start], calls.get(start).copied().unwrap_or(0));
            for (block, times) in function.graph.blocks.iter().zip(&function.way.times) {
                for call in &block.calls {
                    *calls.entry(*call).or_default() += own * times;
                }
            }
        }
        calls
    }
}

/// All entries of the list.
pub(crate) fn entries() -> Vec<&'static Entry> {
    TICK.iter().chain(CHECK).collect()
}

/// The bound of a tick in an image of this table.
pub(crate) fn bound(
    image: &Image,
    table: &Table,
    entries: &[&Entry],
    which: Which,
) -> Result<Bound, String> {
    let source = |file: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../supervisor/src").join(file);
        let text = std::fs::read_to_string(path).unwrap_or_default();
        text.lines().map(String::from).collect()
    };
    let (places, any_members) = (Places::of(image), which.any_members);
    let namer = Namer { places: &places, source: &source, entries, table, any_members };
    let check = image.named("10supervisor5check5check17h");
    let without = (!which.first).then_some(check);
    let search = Search { image, namer, without };
    let mut bound = Bound::new(check);
    bound.add(&search, image.named("7measure4tick"), &mut Vec::new())?;
    Ok(bound)
}

/// Calls are added; recursion, and a call of what is no function, are refused.
#[test]
fn calls_are_followed() {
    let of = |halves: &[u16], ends: &[u32]| {
        let image = Image::of_code(halves, ends);
        let (places, table) = (Places::of(&image), Demo::new("shuttle"));
        let (table, source) = (table.table.table(), |_: &str| Vec::new());
        let namer = Namer {
            places: &places,
            source: &source,
            entries: &[],
            table: &table,
            any_members: false,
        };
        let search = Search { image: &image, namer, without: None };
        let mut bound = Bound::new(u32::MAX);
        bound.add(&search, 0, &mut Vec::new())
    };
    // push {r4, lr}; bl 8; pop {r4, pc}, and at 8: movs r0, #1; bx lr
    let code = [0xb510, 0xf000, 0xf801, 0xbd10, 0x2001, 0x4770];
    assert_eq!(of(&code, &[8, 12]), Ok(3 + 2));
    let none = of(&code, &[8]).expect_err("no function");
    assert_eq!(none, "8: a call of what is no function");
    // push {r4, lr}; bl 0; pop {r4, pc}
    let itself = of(&[0xb510, 0xf7ff, 0xfffd, 0xbd10], &[8]).expect_err("recursion");
    assert_eq!(itself, "0: it calls itself");
    // nop; subs r0, #1; bne 0; bx lr: nobody knows which loop that is.
    let unknown = of(&[0xbf00, 0x3801, 0xd1fc, 0x4770], &[8]).expect_err("a loop");
    assert_eq!(unknown, "0: a loop of unknown source");
}
