//! Which loop of the source a loop of the machine code is, and how often it goes back at most.

use std::collections::{BTreeMap, BTreeSet};

use supervisor::table::Table;

use crate::flow::{Block, Graph, Loop};
use crate::loops::{Entry, Why};
use crate::places::{Place, Places};

/// Name and bound of a loop.
#[derive(Clone, Debug)]
pub(crate) struct Named {
    /// Number of its entry in the list.
    pub(crate) entry: usize,
    /// Function and line of the source, for readers.
    pub(crate) shown: String,
    /// How often it goes back to its header at most, each time that it is entered.
    pub(crate) rounds: u64,
    /// Whether the loop around it is the same loop of the source: a `continue` that the compiler
    /// made a loop of its own. Both together go back that often.
    pub(crate) shared: bool,
}

/// Names for the loops of a function.
pub(crate) struct Namer<'a> {
    pub(crate) places: &'a Places<'a>,
    /// The supervisor's source: file below its folder, and lines.
    pub(crate) source: &'a dyn Fn(&str) -> Vec<String>,
    pub(crate) entries: &'a [&'a Entry],
    pub(crate) table: &'a Table<'a>,
    /// Whether sets may have all the members that their bits allow, those that the table has not
    /// among them.
    pub(crate) any_members: bool,
}

/// Members of a set of any bits.
const BITS: u64 = 8;

/// The folder of the supervisor's source in the paths of the line table.
const FOLDER: &str = "supervisor/src/";

/// A file of the supervisor, below its folder.
pub(crate) fn own_file(place: &Place) -> Option<&str> {
    place.file.rfind(FOLDER).map(|at| &place.file[at + FOLDER.len()..])
}

/// Sets and their iteration are a library for all others: a loop in them is named by its caller.
fn is_library(place: &Place) -> bool {
    own_file(place).is_none_or(|file| file == "bits.rs")
}

impl Namer<'_> {
    /// All loops of a function.
    pub(crate) fn names(&self, graph: &Graph) -> Result<Vec<Named>, String> {
        let mut named: Vec<(Named, Vec<Place>)> = Vec::new();
        for loop_ in &graph.loops {
            let chain = self.chain(graph, loop_)?;
            let (entry, shown) = self.entry(&chain)?;
            let same =
                |parent: usize| named[parent].0.shown == shown && alike(&named[parent].1, &chain);
            let shared = loop_.parent.is_some_and(same);
            let times = self.times(entry);
            let rounds = self.rounds(graph, loop_, &chain, times);
            named.push((Named { entry, shown, rounds, shared }, chain));
        }
        // What two loops share goes back as often as the source's one does, wherever its test is.
        let shared: Vec<usize> = (0..named.len())
            .filter(|n| named[*n].0.shared)
            .filter_map(|n| graph.loops[n].parent)
            .collect();
        for parent in shared {
            named[parent].0.rounds = self.times(named[parent].0.entry);
        }
        Ok(named.into_iter().map(|(named, _)| named).collect())
    }

    fn times(&self, entry: usize) -> u64 {
        let entry = self.entries[entry];
        if self.any_members && entry.why == Why::Members {
            BITS
        } else {
            (entry.times)(self.table) as u64
        }
    }

    /// The innermost function of the source that all of a loop lies in, through those that it was
    /// inlined into; its line is the first that a branch of the loop comes from.
    fn chain(&self, graph: &Graph, loop_: &Loop) -> Result<Vec<Place>, String> {
        let of =
            |b: &usize| graph.blocks[*b].steps.iter().map(|at| self.places.of_instruction(*at));
        let all: Vec<Vec<Place>> = loop_.blocks.iter().flat_map(of).collect();
        // What the compiler moved or made has no line.
        let with_line = |chain: &&Vec<Place>| chain.last().is_some_and(|place| place.line > 0);
        let lined: Vec<&Vec<Place>> = all.iter().filter(with_line).collect();
        let chains: Vec<&Vec<Place>> = if lined.is_empty() {
            all.iter().filter(|chain| !chain.is_empty()).collect()
        } else {
            lined
        };
        let at = graph.blocks[loop_.header].steps[0];
        let first = *chains.first().ok_or_else(|| format!("{at:x}: a loop of unknown source"))?;
        let common = |depth: &usize| {
            chains
                .iter()
                .all(|chain| chain.len() > *depth && alike(&chain[..=*depth], &first[..=*depth]))
        };
        let depth = (0..first.len()).take_while(common).count();
        let depth =
            depth.checked_sub(1).ok_or_else(|| format!("{at:x}: a loop in two functions"))?;
        let branches = loop_.blocks.iter().filter_map(|b| {
            let chain = self.places.of_instruction(*graph.blocks[*b].steps.last()?);
            let line = chain.get(depth)?.line;
            (alike(chain.get(..=depth)?, &first[..=depth]) && line > 0).then_some(line)
        });
        let mut chain = first[..=depth].to_vec();
        chain[depth].line = branches.min().unwrap_or(chain[depth].line);
        Ok(chain)
    }

    /// Blocks of a loop that are in no loop inside it.
    fn own_blocks(&self, graph: &Graph, loop_: &Loop) -> BTreeSet<usize> {
        let inner = graph
            .loops
            .iter()
            .filter(|l| l.header != loop_.header && loop_.blocks.contains(&l.header));
        let inner: BTreeSet<usize> = inner.flat_map(|l| l.blocks.iter().copied()).collect();
        loop_.blocks.difference(&inner).copied().collect()
    }

    /// The entry for a loop, and how it is shown.
    fn entry(&self, chain: &[Place]) -> Result<(usize, String), String> {
        let own = chain.iter().rposition(|place| !is_library(place));
        let at = own.or(chain.iter().rposition(|p| own_file(p).is_some()));
        let place =
            at.map(|at| &chain[at]).ok_or_else(|| format!("a loop in no own code: {chain:?}"))?;
        let file = own_file(place).unwrap_or_default();
        let line = (self.source)(file).get((place.line as usize).wrapping_sub(1)).cloned();
        let function = format!("fn {}(", place.function);
        let line = line.unwrap_or_else(|| function.clone());
        let outer = |name: &str| chain.iter().any(|place| place.function == name);
        let fits =
            |e: &Entry| e.file == file && line.contains(e.text) && e.within.is_none_or(outer);
        let mut all: Vec<usize> =
            (0..self.entries.len()).filter(|n| fits(self.entries[*n])).collect();
        if all.iter().any(|n| self.entries[*n].within.is_some()) {
            all.retain(|n| self.entries[*n].within.is_some());
        }
        let shown = format!("{file} {}, {}", place.function, line.trim());
        match all[..] {
            [one] => Ok((one, shown)),
            _ => Err(format!(
                "{} entries for the loop of {file}:{}: {}",
                all.len(),
                place.line,
                line.trim()
            )),
        }
    }

    /// How often a loop goes back whose body the source carries out so many times.
    ///
    /// The compiler may carry out several rounds of the source in one: the test for the end of a
    /// slice or set is met so many times on every way around. Where the way back is itself such a
    /// test, or where nothing else leaves the loop, the way around began with a body: one round
    /// less. Tests of other iterators say nothing: one of them may be two branches.
    fn rounds(&self, graph: &Graph, loop_: &Loop, chain: &[Place], times: u64) -> u64 {
        let leaves = |b: usize| {
            let block = &graph.blocks[b];
            block.ends || block.next.iter().any(|to| !loop_.blocks.contains(to))
        };
        let test = |b: usize| {
            let place = self.places.of_instruction(*graph.blocks[b].steps.last()?);
            let deeper = place.get(chain.len() - 1..).unwrap_or_default();
            (leaves(b) && deeper.iter().any(is_one_test)).then_some(place)
        };
        let own = self.own_blocks(graph, loop_);
        let tests: Vec<(usize, Vec<Place>)> =
            own.iter().filter_map(|b| Some((*b, test(*b)?))).collect();
        let mut unrolled = 1;
        for (_, place) in &tests {
            let same: BTreeSet<usize> =
                tests.iter().filter(|(_, other)| other == place).map(|(b, _)| *b).collect();
            unrolled = unrolled.max(fewest(graph, loop_, &same));
        }
        let is_test = |b: &usize| tests.iter().any(|(test, _)| test == b);
        let at_latches = loop_.latches.iter().all(is_test)
            || loop_.blocks.iter().all(|b| !leaves(*b) || loop_.latches.contains(b));
        let in_its_middle = |(n, block): (usize, &Block)| {
            let into = |to: &usize| *to != loop_.header && loop_.blocks.contains(to);
            !loop_.blocks.contains(&n) && block.real.iter().any(into)
        };
        let at_latches = at_latches && !graph.blocks.iter().enumerate().any(in_its_middle);
        (if at_latches { times.saturating_sub(1) } else { times }) / unrolled
    }
}

/// Whether this is the `next` of a slice or of a set, which compares once.
fn is_one_test(place: &Place) -> bool {
    let slice = place.file.ends_with("slice/iter/macros.rs");
    place.function == "next" && (slice || own_file(place) == Some("bits.rs"))
}

/// The same functions, each but the innermost at the same place.
fn alike(a: &[Place], b: &[Place]) -> bool {
    let within = a.len().saturating_sub(1);
    a.len() == b.len()
        && a[..within] == b[..within]
        && a.last().map(|p| &p.function) == b.last().map(|p| &p.function)
}

/// How many of these blocks every way around a loop meets at least.
fn fewest(graph: &Graph, loop_: &Loop, among: &BTreeSet<usize>) -> u64 {
    let mut met: BTreeMap<usize, u64> = [(loop_.header, 0)].into();
    let mut at_latch = Vec::new();
    // Blocks come in an order in which only ways back to a header go backward: those to an inner
    // one are left out, which makes no way shorter.
    for &block in &loop_.blocks {
        let Some(count) = met.get(&block).map(|m| m + u64::from(among.contains(&block))) else {
            continue;
        };
        if loop_.latches.contains(&block) {
            at_latch.push(count);
        }
        for &to in
            graph.blocks[block].next.iter().filter(|to| **to > block && loop_.blocks.contains(to))
        {
            let known = met.entry(to).or_insert(count);
            *known = (*known).min(count);
        }
    }
    at_latch.into_iter().min().unwrap_or(0)
}
