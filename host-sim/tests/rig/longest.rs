//! The longest way through a function's graph.

use std::collections::BTreeMap;

use crate::flow::Graph;

/// How often each block is carried out on the longest way, and how many instructions that is.
#[derive(Clone, Debug, Default)]
pub(crate) struct Way {
    pub(crate) length: u64,
    pub(crate) times: Vec<u64>,
}

impl Way {
    fn add(&mut self, other: &Way, times: u64) {
        self.length += other.length * times;
        self.times.iter_mut().zip(&other.times).for_each(|(own, t)| *own += t * times);
    }
}

/// What is known of a loop.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Loops {
    /// How often it goes back to its header at most, each time that it is entered.
    pub(crate) rounds: u64,
    /// Whether these are among the rounds of the loop around it.
    pub(crate) shared: bool,
}

/// The longest way from the beginning of a function to one of its ends: `weight` is what a block
/// costs once.
pub(crate) fn longest(graph: &Graph, weight: &[u64], loops: &[Loops]) -> Way {
    let nothing = Way { length: 0, times: vec![0; graph.blocks.len()] };
    let mut search = Search { graph, weight, done: vec![nothing.clone(); graph.loops.len()] };
    // The longest way around each loop, ways around those that share its rounds among them.
    let mut around: Vec<Way> = vec![nothing.clone(); graph.loops.len()];
    // Inner loops come later.
    for inner in (0..graph.loops.len()).rev() {
        let loop_ = &graph.loops[inner];
        let ways = search.ways(Some(inner), loop_.header);
        let of = |blocks: &[usize]| {
            let all = blocks.iter().filter_map(|b| ways.get(&search.outermost(Some(inner), *b)));
            all.max_by_key(|way| way.length).cloned().expect("a way")
        };
        let leaves = |b: &&usize| {
            let block = &graph.blocks[**b];
            block.ends || block.next.iter().any(|to| !loop_.blocks.contains(to))
        };
        let exits: Vec<usize> = loop_.blocks.iter().filter(leaves).copied().collect();
        // A loop without an exit ends only with what it calls, or never.
        let mut whole = if exits.is_empty() { nothing.clone() } else { of(&exits) };
        let longer = |a: Way, b: Way| if b.length > a.length { b } else { a };
        around[inner] = longer(of(&loop_.latches), around[inner].clone());
        match (loops[inner].shared, loop_.parent) {
            (true, Some(parent)) => {
                around[parent] = longer(around[parent].clone(), around[inner].clone());
            }
            _ => whole.add(&around[inner].clone(), loops[inner].rounds),
        }
        search.done[inner] = whole;
    }
    let ways = search.ways(None, 0);
    let ends = (0..graph.blocks.len()).filter(|b| graph.blocks[*b].ends);
    let all = ends.filter_map(|b| ways.get(&search.outermost(None, b)));
    all.max_by_key(|way| way.length).cloned().unwrap_or(nothing)
}

struct Search<'a> {
    graph: &'a Graph,
    weight: &'a [u64],
    done: Vec<Way>,
}

impl Search<'_> {
    fn nothing(&self) -> Way {
        Way { length: 0, times: vec![0; self.graph.blocks.len()] }
    }

    /// The block itself, or the header of the outermost loop around it that is inside `region`.
    fn outermost(&self, region: Option<usize>, block: usize) -> usize {
        self.inner_loop(region, block).map_or(block, |l| self.graph.loops[l].header)
    }

    fn inner_loop(&self, region: Option<usize>, block: usize) -> Option<usize> {
        let within = |l: &usize| {
            let l = &self.graph.loops[*l];
            l.parent == region && l.blocks.contains(&block)
        };
        (0..self.graph.loops.len()).find(within)
    }

    /// The longest way from `from` to the end of each block of the region, each inner loop as one.
    fn ways(&self, region: Option<usize>, from: usize) -> BTreeMap<usize, Way> {
        let inside = |b: usize| region.is_none_or(|l| self.graph.loops[l].blocks.contains(&b));
        let mut ways: BTreeMap<usize, Way> = BTreeMap::new();
        let mut arrived = BTreeMap::from([(from, self.nothing())]);
        while let Some((block, mut way)) = arrived.pop_first() {
            let mut next: Vec<usize> = Vec::new();
            if let Some(inner) = self.inner_loop(region, block) {
                way.add(&self.done[inner], 1);
                let blocks = &self.graph.loops[inner].blocks;
                let all = blocks.iter().flat_map(|b| &self.graph.blocks[*b].next);
                next.extend(all.filter(|to| !blocks.contains(to)));
            } else {
                way.length += self.weight[block];
                way.times[block] += 1;
                next.extend(&self.graph.blocks[block].next);
            }
            for to in next.into_iter().filter(|to| inside(*to) && *to > block) {
                let known = arrived.entry(to).or_insert_with(|| way.clone());
                if known.length < way.length {
                    known.clone_from(&way);
                }
            }
            ways.insert(block, way);
        }
        ways
    }
}

/// Lengths that can be counted by hand.
#[test]
fn the_longest_way_is_found() {
    let length = |code: &[u16], loops: &[(u64, bool)]| {
        let graph = Graph::of(&crate::flow::Halves(code, 0..0), 0).expect("a graph");
        let weight: Vec<u64> = graph.blocks.iter().map(|b| b.steps.len() as u64).collect();
        let loops: Vec<Loops> =
            loops.iter().map(|&(rounds, shared)| Loops { rounds, shared }).collect();
        let way = longest(&graph, &weight, &loops);
        let sum: u64 = way.times.iter().zip(&weight).map(|(times, weight)| times * weight).sum();
        assert_eq!(sum, way.length, "the blocks of the way are its length");
        way.length
    };
    // movs r0, #5; nop; subs r0, #1; bne to the nop; bx lr: five times three.
    let once = [0x2005, 0xbf00, 0x3801, 0xd1fc, 0x4770];
    assert_eq!(length(&once, &[(4, false)]), 1 + 5 * 3 + 1);
    // movs r1, #3; { movs r0, #5; { subs r0, #1; bne } subs r1, #1; bne } bx lr
    let nested = [0x2103, 0x2005, 0x3801, 0xd1fd, 0x3901, 0xd1fa, 0x4770];
    assert_eq!(length(&nested, &[(2, false), (4, false)]), 1 + 3 * (1 + 5 * 2 + 2) + 1);
    // One loop of the source in both: four times back in all, at most through everything.
    assert_eq!(length(&nested, &[(4, false), (9, true)]), 1 + 5 * (1 + 2 + 2) + 1);
    // cbz r0 into the middle of: { nop; nop; subs r1, #1; bne }. Entered at the nops, and five times
    // around, it is 22; the way from the middle to the header comes on top of it.
    let middle = [0xb108, 0xbf00, 0xbf00, 0x3901, 0xd1fb, 0x4770];
    assert!((22..=24).contains(&length(&middle, &[(4, false)])));
    // cbz r0 over two: the longer way counts.
    assert_eq!(length(&[0xb108, 0xbf00, 0xbf00, 0x4770], &[]), 4);
}
