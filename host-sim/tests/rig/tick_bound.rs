//! How many instructions a tick takes at most, whatever the input: the longest way through the
//! machine code of the linked image.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::ops::Range;
use std::path::Path;

use supervisor::table::Table;

use crate::elf::Image;
use crate::flow::{Code, Graph};
use crate::images::{Demo, image};
use crate::longest::{Loops, Way, longest};
use crate::loops::{CHECK, Entry, TICK};
use crate::named::{Named, Namer, own_file};
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
    weights: Vec<u64>,
    way: Way,
}

/// All functions of a tick, by their start; callers come after those whom they call.
pub(crate) struct Bound {
    pub(crate) functions: BTreeMap<u32, Function>,
    order: Vec<u32>,
    used: BTreeSet<usize>,
}

/// What a search for a bound goes by.
pub(crate) struct Search<'a> {
    image: &'a Image,
    namer: Namer<'a>,
    /// A function that is left out.
    without: Option<u32>,
}

impl Bound {
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

    /// How often each function is called on the longest way.
    fn calls(&self) -> BTreeMap<u32, u64> {
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

/// Bound for the function whose name has this part.
pub(crate) fn bound(search: &Search, part: &str) -> Result<(u64, Bound), String> {
    let mut bound = Bound { functions: BTreeMap::new(), order: Vec::new(), used: BTreeSet::new() };
    let length = bound.add(search, search.image.named(part), &mut Vec::new())?;
    Ok((length, bound))
}

fn source(file: &str) -> Vec<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../supervisor/src").join(file);
    let text = std::fs::read_to_string(path).unwrap_or_default();
    text.lines().map(String::from).collect()
}

/// What is most of it: functions of the source, and loops with all that is in them, as shares of a
/// thousand of the longest way.
fn shares(bound: &Bound, places: &Places, length: u64) -> String {
    let (calls, mut functions, mut loops) = (bound.calls(), BTreeMap::new(), BTreeMap::new());
    for (start, function) in &bound.functions {
        let own = calls.get(start).copied().unwrap_or(0);
        for (n, block) in function.graph.blocks.iter().enumerate() {
            let times = own * function.way.times[n];
            for at in block.steps.iter().filter(|_| times > 0) {
                let chain = places.of_instruction(*at);
                let place =
                    chain.iter().rev().find(|p| own_file(p).is_some_and(|f| f != "bits.rs"));
                let name = place.map_or("?".into(), |p| {
                    format!("{} {}", own_file(p).unwrap_or_default(), p.function)
                });
                *functions.entry(name).or_insert(0) += times;
            }
        }
        for (named, loop_) in
            function.loops.iter().zip(&function.graph.loops).filter(|l| !l.0.shared)
        {
            let all =
                loop_.blocks.iter().map(|b| own * function.way.times[*b] * function.weights[*b]);
            *loops.entry(named.shown.clone()).or_insert(0) += all.sum::<u64>();
        }
    }
    let mut told = String::new();
    for (what, shares) in [("functions", functions), ("loops", loops)] {
        let mut shares: Vec<(u64, String)> =
            shares.into_iter().map(|(name, n)| (n, name)).collect();
        shares.sort_unstable_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        let _ = writeln!(told, "     {what} with most of it, instructions:");
        for (instructions, name) in shares.iter().take(10) {
            let _ = writeln!(told, "     {instructions:6}  {name}");
        }
    }
    let _ = length;
    told
}

/// Instructions of the worst tick that was seen, as committed.
fn worst_seen(profile: &str) -> u64 {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/snapshots/board-cost.txt");
    let text = std::fs::read_to_string(path).expect("the committed cost");
    let after = text.split(&format!("{profile}: worst tick ")).nth(1).expect("the profile");
    after.split(' ').next().and_then(|word| word.parse().ok()).expect("a number")
}

#[test]
fn a_tick_takes_a_bounded_number_of_instructions() {
    let demo = Demo::new("shuttle");
    let table = demo.table.table();
    let mut told = String::new();
    for (profile, name) in [("fast", "-O3"), ("release", "-Os")] {
        let image =
            Image::new(std::fs::read(image("measure", profile, "shuttle")).expect("an image"));
        let places = Places::of(&image);
        let entries: Vec<&Entry> = TICK.iter().chain(CHECK).collect();
        let namer = || Namer { places: &places, source: &source, entries: &entries, table: &table };
        let check = image.named("5check5check17h");
        let later = Search { image: &image, namer: namer(), without: Some(check) };
        let (length, parts) = bound(&later, "7measure4tick").expect("a bound");
        let first = Search { image: &image, namer: namer(), without: None };
        let (first, all) = bound(&first, "7measure4tick").expect("a bound");
        let seen = worst_seen(name);
        let _ = writeln!(
            told,
            "{name}: at most {length} instructions whatever the input, {first} with check; seen {seen} ratio {:.2}",
            length as f64 / seen as f64
        );
        told += &shares(&parts, &places, length);
        for (n, e) in entries.iter().enumerate() {
            if !all.used.contains(&n) {
                let _ = writeln!(told, "unused {} {}", e.file, e.text);
            }
        }
    }
    println!("{told}");
}
