//! Every systematic single change of a table.

use std::collections::BTreeMap;

use super::{list_gears, list_numbers, list_steps, list_times, list_ways};
use crate::driveline::Driveline;
use crate::table::TableData;

/// A single change of a table.
pub type Change = Box<dyn Fn(&mut TableData) + Send + Sync>;

/// Which judges can say something of a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// What the kernel reads in every tick: explored.
    Decides,
    /// A number, a row or sensor bits that only measuring reads: in an exploration every bit that
    /// comes of measuring is free, whatever it is measured with.
    Measures,
    /// What machines are told: a plan decides nothing, and an exploration has no machines.
    Orders,
}

impl Part {
    /// Why an exploration has nothing to say; `None` where it has.
    pub fn unexplored(self) -> Option<&'static str> {
        match self {
            Part::Decides => None,
            Part::Measures => Some("bits are free"),
            Part::Orders => Some("no machines"),
        }
    }
}

/// One planted defect.
pub struct Defect {
    /// Kind: "conflict removed".
    pub kind: &'static str,
    /// Where: "conflict ring-clutch + ring-brake".
    pub place: String,
    /// What was done there: "x2".
    pub name: String,
    /// Which part of the table it is in.
    pub part: Part,
    change: Change,
}

impl Defect {
    /// A defect by hand.
    pub fn new(
        (part, kind): (Part, &'static str),
        place: impl Into<String>,
        name: impl Into<String>,
        change: impl Fn(&mut TableData) + Send + Sync + 'static,
    ) -> Defect {
        let change = Box::new(change);
        Defect { kind, place: place.into(), name: name.into(), part, change }
    }

    /// The table with this defect. Its checksum is that of the changed content: otherwise the
    /// checksum alone would find everything.
    #[must_use]
    pub fn planted(&self, table: &TableData) -> TableData {
        planted_together(table, [self])
    }
}

/// The table with all of these defects.
#[must_use]
pub fn planted_together<'a>(
    table: &TableData,
    defects: impl IntoIterator<Item = &'a Defect>,
) -> TableData {
    let mut broken = table.clone();
    defects.into_iter().for_each(|defect| (defect.change)(&mut broken));
    broken.hash = supervisor::hash::table_hash(&broken.table());
    broken
}

/// What the parts of the list add to.
pub(super) struct List<'a> {
    pub(super) d: &'a Driveline,
    pub(super) good: &'a TableData,
    defects: Vec<Defect>,
    /// By checksum, those that gave it.
    known: BTreeMap<u32, Vec<usize>>,
}

impl List<'_> {
    /// Add a change, unless it changes nothing or does what another one does.
    pub(super) fn add(
        &mut self,
        kind: (Part, &'static str),
        place: impl Into<String>,
        name: impl Into<String>,
        change: impl Fn(&mut TableData) + Send + Sync + 'static,
    ) {
        let defect = Defect::new(kind, place, name, change);
        let broken = defect.planted(self.good);
        // By value: zero with another sign is no change.
        if (TableData { hash: self.good.hash, ..broken.clone() }) == *self.good {
            return;
        }
        let alike = self.known.entry(broken.hash).or_default();
        if alike.iter().all(|&i| self.defects[i].planted(self.good) != broken) {
            alike.push(self.defects.len());
            self.defects.push(defect);
        }
    }

    /// Names of locks: "ring-clutch + ring-brake", or "nothing".
    pub(super) fn locks(&self, bits: supervisor::bits::Bits) -> String {
        match self.d.lock_names(bits.0).join(" + ") {
            names if names.is_empty() => "nothing".to_string(),
            names => names,
        }
    }

    pub(super) fn lock(&self, lock: u8) -> &str {
        &self.d.locks[usize::from(lock)].name
    }

    pub(super) fn machine(&self, machine: u8) -> &str {
        &self.d.machines[usize::from(machine)].name
    }

    pub(super) fn sensor(&self, sensor: u8) -> &str {
        &self.d.sensors[usize::from(sensor)].name
    }
}

/// All of them, always in the same order.
pub fn all(d: &Driveline, good: &TableData) -> Vec<Defect> {
    let mut list = List { d, good, defects: Vec::new(), known: BTreeMap::new() };
    list_gears::add(&mut list);
    list_numbers::add(&mut list);
    list_times::add(&mut list);
    list_steps::add(&mut list);
    list_ways::add(&mut list);
    list.defects
}
