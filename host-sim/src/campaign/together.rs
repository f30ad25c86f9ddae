//! Planted defects that are tried together: one table with all of them, as long as nothing differs
//! with it. Most defects are in a part of the table that a case never comes to (a way from a lock
//! set with a lock stuck), and so a few tables do for hundreds of defects.
//!
//! Two defects of one place are never together, since one could undo the other. That changes in two
//! places make each other unseen is not excluded, but then a case says less than it could: what is
//! counted as found was found with its own table alone.

use std::collections::BTreeMap;
use std::sync::Arc;

use supervisor::check::check_all;

use crate::explore::defects::{Defect, planted_together};
use crate::table::TableData;

/// Defects by their place in a list, and the table with all of them.
#[derive(Clone, Debug)]
pub struct Group {
    /// Places in the list, rising.
    pub members: Vec<usize>,
    /// The table.
    pub data: Arc<TableData>,
}

/// A defect that the board does not refuse.
#[derive(Clone, Copy)]
pub struct Candidate<'a> {
    /// Its number among all.
    pub number: usize,
    /// The defect.
    pub defect: &'a Defect,
    /// Whether it takes nothing away and adds nothing: where others do, it would miss its place.
    in_place: bool,
}

impl<'a> Candidate<'a> {
    /// `None` where the board refuses the table with this defect.
    pub fn new(good: &TableData, number: usize, defect: &'a Defect) -> Option<Candidate<'a>> {
        let broken = defect.planted(good);
        check_all(&broken.table()).ok()?;
        Some(Candidate { number, defect, in_place: lengths(&broken) == lengths(good) })
    }
}

/// Makes groups of a list of defects.
#[derive(Clone, Copy)]
pub struct Grouping<'a> {
    /// The table without defects.
    pub good: &'a TableData,
    /// The defects, none of which the board refuses by itself.
    pub list: &'a [Candidate<'a>],
}

impl Grouping<'_> {
    /// All of the list: those of one kind together, as far as their places differ.
    pub fn all(&self) -> Vec<Group> {
        let mut seen: BTreeMap<(&str, &str), usize> = BTreeMap::new();
        let mut groups: BTreeMap<(&str, usize), Vec<usize>> = BTreeMap::new();
        let mut alone = Vec::new();
        for (at, Candidate { defect, in_place, .. }) in self.list.iter().enumerate() {
            if !in_place {
                alone.push(vec![at]);
                continue;
            }
            let times = seen.entry((defect.kind, &defect.place)).or_default();
            groups.entry((defect.kind, *times)).or_default().push(at);
            *times += 1;
        }
        groups.into_values().chain(alone).flat_map(|members| self.of(&members)).collect()
    }

    /// The two halves of a group.
    pub fn halves(&self, group: &Group) -> Vec<Group> {
        let (a, b) = group.members.split_at(group.members.len() / 2);
        [a, b].into_iter().flat_map(|half| self.of(half)).collect()
    }

    /// These together, or parts of them where the board refuses the table with all of them.
    fn of(&self, members: &[usize]) -> Vec<Group> {
        if members.is_empty() {
            return Vec::new();
        }
        let data = planted_together(self.good, members.iter().map(|&at| self.list[at].defect));
        if members.len() == 1 || check_all(&data.table()).is_ok() {
            return vec![Group { members: members.to_vec(), data: Arc::new(data) }];
        }
        let (a, b) = members.split_at(members.len() / 2);
        [self.of(a), self.of(b)].concat()
    }
}

/// Lengths of all lists of a table.
fn lengths(t: &TableData) -> [usize; 12] {
    [
        t.sensors.len(),
        t.locks.len(),
        t.rests.len(),
        t.parities.len(),
        t.conflicts.len(),
        t.overlaps.len(),
        t.arrangements.len(),
        t.sets.len(),
        t.steps.len(),
        t.limits.len(),
        t.next.len(),
        t.margins.len(),
    ]
}
