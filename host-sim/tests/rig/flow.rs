//! The graph of a function's basic blocks, its loops, and the longest way through it when each
//! loop goes round a stated number of times at most.

use std::collections::{BTreeMap, BTreeSet};

use crate::thumb::{Flow, Step, decode};

/// Instructions that are always carried out one after the other.
#[derive(Debug, Default)]
pub(crate) struct Block {
    /// Address of each instruction.
    pub(crate) steps: Vec<u32>,
    /// Functions called, calls at the end of a function (its callee returns for it) among them.
    pub(crate) calls: Vec<u32>,
    /// Blocks that may come next in the graph.
    pub(crate) next: Vec<usize>,
    /// Blocks that may come next in the code: with ways into the middle of a loop.
    pub(crate) real: Vec<usize>,
    /// Whether it stands for the blocks of a loop on the way from its middle to its header.
    pub(crate) copy: bool,
    /// Whether the function may end here.
    pub(crate) ends: bool,
}

/// A natural loop: all blocks that reach its header again without leaving it.
#[derive(Debug)]
pub(crate) struct Loop {
    pub(crate) header: usize,
    /// Blocks that go back to the header.
    pub(crate) latches: Vec<usize>,
    pub(crate) blocks: BTreeSet<usize>,
    /// The smallest loop around it.
    pub(crate) parent: Option<usize>,
}

/// A function's blocks; the first is where it begins, and they come in an order in which only
/// branches back to a loop's header go backward.
#[derive(Debug)]
pub(crate) struct Graph {
    pub(crate) blocks: Vec<Block>,
    /// Outer loops come before those inside them.
    pub(crate) loops: Vec<Loop>,
    /// Every instruction, by its address.
    pub(crate) steps: BTreeMap<u32, Step>,
}

/// Where instructions are read from: halves of code, and where the data behind a branch table ends.
pub(crate) trait Code {
    /// Two bytes of code; none outside the function.
    fn half(&self, at: u32) -> Option<u16>;
    /// End of the table that begins here.
    fn table_end(&self, at: u32) -> Option<u32>;
}

/// An instruction and where it may go within the function.
struct Placed {
    step: Step,
    /// Whether an IT instruction gives it a condition.
    conditional: bool,
    targets: Vec<u32>,
    calls: Option<u32>,
    ends: bool,
    falls: bool,
}

impl Graph {
    /// Of the code from `start` on; a branch to where there is no code of it leaves the function.
    pub(crate) fn of(code: &impl Code, start: u32) -> Result<Graph, String> {
        let placed = walk(code, start)?;
        let steps = placed.iter().map(|(at, one)| (*at, one.step)).collect();
        let mut blocks = blocks_of(&placed, start);
        loop {
            blocks = in_order(blocks);
            let dominators = dominators(&blocks);
            let Some((from, to)) = irreducible(&blocks, &dominators) else {
                let loops = loops_of(&blocks, &dominators);
                return Ok(Graph { blocks, loops, steps });
            };
            enter_by_header(&mut blocks, &dominators, from, to)?;
        }
    }
}

/// Every instruction that can be reached.
fn walk(code: &impl Code, start: u32) -> Result<BTreeMap<u32, Placed>, String> {
    let mut placed: BTreeMap<u32, Placed> = BTreeMap::new();
    let (mut todo, mut targets) = (vec![start], BTreeSet::new());
    while let Some(mut pc) = todo.pop() {
        let mut covered = 0;
        while !placed.contains_key(&pc) {
            let one = place(code, pc, covered)?;
            covered = if one.step.covers > 0 { one.step.covers } else { covered.max(1) - 1 };
            todo.extend(&one.targets);
            targets.extend(one.targets.clone());
            let (falls, size) = (one.falls, one.step.size);
            if covered > 0 && !falls {
                return Err(format!("{pc:x}: leaves an IT block in its middle"));
            }
            placed.insert(pc, one);
            pc += size;
            if !falls {
                break;
            }
        }
    }
    let mut end = 0;
    for (&pc, one) in &placed {
        if pc < end {
            return Err(format!("{pc:x}: instructions overlap"));
        }
        if one.conditional && targets.contains(&pc) {
            return Err(format!("{pc:x}: a branch into an IT block"));
        }
        end = pc + one.step.size;
    }
    Ok(placed)
}

/// The instruction at `pc`, with a condition of IT when `covered` is not 0.
fn place(code: &impl Code, pc: u32, covered: u32) -> Result<Placed, String> {
    let missing = || format!("{pc:x}: runs out of the function");
    let first = code.half(pc).ok_or_else(missing)?;
    let step = decode(pc, first, code.half(pc + 2).unwrap_or(0))?;
    let conditional = covered > 0;
    if conditional && step.covers > 0 {
        return Err(format!("{pc:x}: IT in an IT block"));
    }
    let mut one =
        Placed { step, conditional, targets: vec![], calls: None, ends: false, falls: conditional };
    match step.flow {
        Flow::Next => one.falls = true,
        Flow::Jump { to, always } => {
            one.falls |= !always;
            if code.half(to).is_some() {
                one.targets.push(to);
            } else {
                (one.calls, one.ends) = (Some(to), true);
            }
        }
        Flow::Call(to) => (one.calls, one.falls) = (Some(to), true),
        Flow::Return | Flow::Trap => one.ends = true,
        Flow::Table { halves } if !conditional => one.targets = table(code, pc + 4, halves)?,
        Flow::Table { .. } => return Err(format!("{pc:x}: a table under a condition")),
    }
    Ok(one)
}

/// Where the entries of a branch table lead. An entry that leads into the table itself is none: it
/// is what fills the last half.
fn table(code: &impl Code, at: u32, halves: bool) -> Result<Vec<u32>, String> {
    let end = code.table_end(at).ok_or_else(|| format!("{at:x}: a table without an end"))?;
    let word = |at| code.half(at).ok_or_else(|| format!("{at:x}: a table outside the function"));
    let mut offsets = Vec::new();
    for place in (at..end).step_by(2) {
        let half = word(place)?;
        if halves { offsets.push(half) } else { offsets.extend([half & 0xff, half >> 8]) }
    }
    let targets: BTreeSet<u32> = offsets.iter().map(|&offset| at + 2 * u32::from(offset)).collect();
    let outside: Vec<u32> = targets.into_iter().filter(|to| !(at..end).contains(to)).collect();
    if outside.is_empty() { Err(format!("{at:x}: an empty table")) } else { Ok(outside) }
}

fn blocks_of(placed: &BTreeMap<u32, Placed>, start: u32) -> Vec<Block> {
    let mut leaders = BTreeSet::from([start]);
    for (pc, one) in placed {
        leaders.extend(&one.targets);
        if !one.targets.is_empty() || one.ends {
            leaders.insert(pc + one.step.size);
        }
    }
    leaders.retain(|at| placed.contains_key(at));
    let number: BTreeMap<u32, usize> = leaders.iter().enumerate().map(|(n, at)| (*at, n)).collect();
    let block = |&leader: &u32| {
        let (mut block, mut pc) = (Block::default(), leader);
        loop {
            let one = &placed[&pc];
            block.steps.push(pc);
            block.calls.extend(one.calls);
            block.ends |= one.ends;
            pc += one.step.size;
            let mut next: BTreeSet<u32> = one.targets.iter().copied().collect();
            if one.falls && leaders.contains(&pc) {
                next.insert(pc);
            }
            if !one.falls || leaders.contains(&pc) {
                block.next = next.iter().map(|at| number[at]).collect();
                block.real.clone_from(&block.next);
                return block;
            }
        }
    };
    leaders.iter().map(block).collect()
}

/// The blocks in reverse postorder.
fn in_order(mut blocks: Vec<Block>) -> Vec<Block> {
    let mut order = Vec::new();
    let (mut seen, mut stack) = (vec![false; blocks.len()], vec![(0, 0)]);
    seen[0] = true;
    while let Some((block, at)) = stack.pop() {
        match blocks[block].next.get(at) {
            Some(&to) => {
                stack.push((block, at + 1));
                if !std::mem::replace(&mut seen[to], true) {
                    stack.push((to, 0));
                }
            }
            None => order.push(block),
        }
    }
    order.reverse();
    let place: BTreeMap<usize, usize> = order.iter().enumerate().map(|(n, b)| (*b, n)).collect();
    let mut sorted: Vec<Block> = order.iter().map(|b| std::mem::take(&mut blocks[*b])).collect();
    for block in &mut sorted {
        block.next = block.next.iter().map(|to| place[to]).collect();
        block.real = block.real.iter().map(|to| place[to]).collect();
    }
    sorted
}

/// A way back to a block that others reach as well without passing it.
fn irreducible(blocks: &[Block], dominators: &[usize]) -> Option<(usize, usize)> {
    let ways =
        blocks.iter().enumerate().flat_map(|(from, b)| b.next.iter().map(move |to| (from, *to)));
    ways.into_iter().find(|&(from, to)| to <= from && !dominates(dominators, to, from))
}

/// Make a loop that is entered in two places (the compiler has doubled its test) one that is
/// entered at its header alone, a block that every way around passes: ways into its middle go to a
/// block of their own instead, which stands for all that may be carried out from there until the
/// header comes, each block once.
fn enter_by_header(
    blocks: &mut Vec<Block>,
    dominators: &[usize],
    from: usize,
    to: usize,
) -> Result<(), String> {
    let above = common(dominators, from, to);
    let mut before = vec![Vec::new(); blocks.len()];
    for (from, block) in blocks.iter().enumerate() {
        block.next.iter().for_each(|to| before[*to].push(from));
    }
    let onward = reached(&[to], |b| blocks[b].next.clone(), |b| b != above);
    let around = reached(&[to], |b| before[b].clone(), |b| onward.contains(&b));
    let enters = |b: &&usize| before[**b].iter().any(|from| !around.contains(from));
    let entries: Vec<usize> = around.iter().filter(enters).copied().collect();
    let until = |header: usize| {
        let others: Vec<usize> = entries.iter().filter(|e| **e != header).copied().collect();
        let inside = |b: usize| b != header && around.contains(&b);
        (header, reached(&others, |b| blocks[b].next.clone(), inside))
    };
    let no_loop = |(_, middle): &(usize, BTreeSet<usize>)| {
        let goes_back = |b: &usize| {
            let inside = |b: usize| middle.contains(&b);
            let next: Vec<usize> = blocks[*b].next.iter().copied().filter(|b| inside(*b)).collect();
            reached(&next, |b| blocks[b].next.clone(), inside).contains(b)
        };
        !middle.iter().any(goes_back)
    };
    let found = around.iter().map(|b| until(*b)).filter(no_loop).min_by_key(|(_, m)| m.len());
    let refused = || format!("{:x}: a loop with two entries (irreducible)", blocks[to].steps[0]);
    let (header, middle) = found.ok_or_else(refused)?;
    let mut copy = Block { copy: true, ..Block::default() };
    let mut next = BTreeSet::new();
    for block in middle.iter().map(|b| &blocks[*b]) {
        copy.steps.extend(&block.steps);
        copy.calls.extend(&block.calls);
        copy.ends |= block.ends;
        next.extend(block.next.iter().filter(|to| !middle.contains(to)));
    }
    copy.next = next.into_iter().collect();
    let number = blocks.len();
    for (_, block) in blocks.iter_mut().enumerate().filter(|(from, _)| !around.contains(from)) {
        let into = |to: &usize| *to != header && around.contains(to);
        if block.next.iter().any(into) {
            block.next.retain(|to| !into(to));
            block.next.push(number);
        }
    }
    blocks.push(copy);
    Ok(())
}

/// What can be reached from these blocks, themselves among it, within what is allowed.
fn reached(
    from: &[usize],
    next: impl Fn(usize) -> Vec<usize>,
    allowed: impl Fn(usize) -> bool,
) -> BTreeSet<usize> {
    let (mut all, mut todo) = (BTreeSet::new(), from.to_vec());
    while let Some(block) = todo.pop() {
        if allowed(block) && all.insert(block) {
            todo.extend(next(block));
        }
    }
    all
}

/// The nearest block that dominates both.
fn common(dominators: &[usize], mut a: usize, mut b: usize) -> usize {
    while a != b {
        let later = if a > b { &mut a } else { &mut b };
        *later = dominators[*later];
    }
    a
}

/// The immediate dominator of each block (Cooper, Harvey and Kennedy, "A simple, fast dominance
/// algorithm").
fn dominators(blocks: &[Block]) -> Vec<usize> {
    let mut before = vec![Vec::new(); blocks.len()];
    for (from, block) in blocks.iter().enumerate() {
        block.next.iter().for_each(|to| before[*to].push(from));
    }
    let mut known: Vec<Option<usize>> = vec![None; blocks.len()];
    known[0] = Some(0);
    loop {
        let mut changed = false;
        for block in 1..blocks.len() {
            let mut found: Option<usize> = None;
            for &from in before[block].iter().filter(|from| known[**from].is_some()) {
                let (mut a, mut b) = (from, found.unwrap_or(from));
                while a != b {
                    let later = if a > b { &mut a } else { &mut b };
                    *later = known[*later].expect("it was met before");
                }
                found = Some(a);
            }
            changed |= known[block] != found;
            known[block] = found;
        }
        if !changed {
            return known.into_iter().map(|d| d.expect("all can be reached")).collect();
        }
    }
}

fn dominates(dominators: &[usize], above: usize, mut block: usize) -> bool {
    while block > above {
        block = dominators[block];
    }
    block == above
}

fn loops_of(blocks: &[Block], dominators: &[usize]) -> Vec<Loop> {
    let mut before = vec![Vec::new(); blocks.len()];
    let mut latches: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (from, block) in blocks.iter().enumerate() {
        for &to in &block.next {
            before[to].push(from);
            if dominates(dominators, to, from) {
                latches.entry(to).or_default().push(from);
            }
        }
    }
    let mut loops: Vec<Loop> = Vec::new();
    // In this order an outer loop comes before those inside it.
    for (header, latches) in latches {
        let (mut inside, mut todo) = (BTreeSet::from([header]), latches.clone());
        while let Some(block) = todo.pop() {
            if inside.insert(block) {
                todo.extend(&before[block]);
            }
        }
        let around = |l: &(usize, &Loop)| l.1.blocks.contains(&header);
        let smallest = loops.iter().enumerate().filter(around).min_by_key(|l| l.1.blocks.len());
        let parent = smallest.map(|(n, _)| n);
        loops.push(Loop { header, latches, blocks: inside, parent });
    }
    loops
}

/// Halves of code from address 0 on; `table`: where a table begins and ends.
pub(crate) struct Halves<'a>(pub(crate) &'a [u16], pub(crate) std::ops::Range<u32>);

impl Code for Halves<'_> {
    fn half(&self, at: u32) -> Option<u16> {
        self.0.get(at as usize / 2).copied()
    }

    fn table_end(&self, at: u32) -> Option<u32> {
        (self.1.start == at).then_some(self.1.end)
    }
}

#[test]
fn blocks_and_loops_are_found() {
    // movs r0, #5; nop; subs r0, #1; bne to the nop; bx lr
    let graph =
        Graph::of(&Halves(&[0x2005, 0xbf00, 0x3801, 0xd1fc, 0x4770], 0..0), 0).expect("one");
    let starts: Vec<u32> = graph.blocks.iter().map(|b| b.steps[0]).collect();
    assert_eq!(starts, [0, 2, 8]);
    assert_eq!((graph.loops.len(), graph.loops[0].header), (1, 1));
    assert_eq!(graph.loops[0].latches, [1]);
    // cmp r0, #0; it eq; bxeq lr; movs r0, #1; bx lr
    let graph =
        Graph::of(&Halves(&[0x2800, 0xbf08, 0x4770, 0x2001, 0x4770], 0..0), 0).expect("one");
    assert_eq!(graph.blocks.len(), 2);
    assert!(graph.blocks[0].ends && graph.blocks[0].next == [1], "it returns, or goes on");
    // tbb [pc, r0], to 8, 10 and 12, and a byte that fills; bx lr; bx lr; movs r0, #1; bx lr
    let code = [0xe8df, 0xf000, 0x0302, 0x0004, 0x4770, 0x4770, 0x2001, 0x4770];
    let graph = Graph::of(&Halves(&code, 4..8), 0).expect("one");
    assert_eq!(graph.blocks[0].next.len(), 3);
    // bl 0x100; b 0x100: no code of this function is there, so that it ends with a call.
    let graph = Graph::of(&Halves(&[0xf000, 0xf87e, 0xe07c], 0..0), 0).expect("one");
    assert_eq!((&graph.blocks[0].calls[..], graph.blocks[0].ends), (&[0x100, 0x100][..], true));
}

#[test]
fn what_is_not_understood_is_refused() {
    let refused = |code: &[u16], table, words: &str| {
        let error = Graph::of(&Halves(code, table), 0).expect_err("refused");
        assert!(error.contains(words), "{error}");
    };
    // cbz r0 to the second; subs r1, #1; beq to itself; subs r2, #1; beq to itself; bne to the first
    let tangled = [0xb108, 0x3901, 0xd0fd, 0x3a01, 0xd0fd, 0xd1fa, 0x4770];
    refused(&tangled, 0..0, ": a loop with two entries");
    refused(&[0x4798, 0x4770], 0..0, "0: not understood: 4798");
    refused(&[0xbf00], 0..0, "2: runs out of the function");
    refused(&[0xe8df, 0xf000, 0x0302, 0x4770], 0..0, "4: a table without an end");
    // it eq; moveq r0, r0; bne to that; bx lr
    refused(&[0xbf08, 0x4600, 0xd1fd, 0x4770], 0..0, "2: a branch into an IT block");
    // beq to the second half of bl
    refused(&[0xd000, 0xf000, 0xf801, 0x4770, 0x4770], 0..0, "4: instructions overlap");
}
