//! Every state that can follow one state. The kernel is run once for each combination of answers
//! that it asks for, and not once more for worlds that look the same to it.

use supervisor::bits::{Bits, MAX_LOCKS};

use super::always::Verdict;
use super::chooser::Chooser;
use super::codes::{CodesView, KernelParts, kernel_parts, world_part};
use super::environment::{Environment, View};
use super::model::{KernelTick, Model, Node, Reset, orders};
use super::senses::Mood;
use super::sometimes::Sometimes;

/// One outcome of a tick of the kernel.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Outcome {
    kernel: KernelParts,
    closing: Bits,
    filling: Bits,
    verdict: Verdict,
}

/// Codes of a state: one for each lock, and one for the rest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StateCodes {
    /// By lock.
    pub locks: [u32; MAX_LOCKS],
    /// The rest.
    pub rest: u32,
}

/// What is used again from one state to the next.
#[derive(Default)]
pub struct Expander {
    chooser: Chooser,
    worlds: Vec<(View, Environment)>,
    outcomes: Vec<Outcome>,
    /// Different pairs of what the world and what the kernel did.
    pub transitions: u64,
    /// Ticks of the real kernel.
    pub kernel_ticks: u64,
    /// What was seen at least once.
    pub sometimes: Sometimes,
}

/// What may follow.
pub enum Next<'a> {
    /// A state, by its codes.
    State(&'a StateCodes),
    /// A state in which something is broken: nothing is explored beyond.
    Broken(u8, &'a dyn Fn() -> Node),
}

impl Expander {
    /// All that can follow `before`, each at least once, with the codes of the state.
    pub fn expand(
        &mut self,
        model: &Model,
        before: &Node,
        codes: &mut CodesView,
        mut take: impl FnMut(Next),
    ) {
        let locks = usize::from(model.table.lock_count());
        for reset in [Reset::Warm, Reset::Cold] {
            let node = model.canonical(model.reset(before, reset));
            self.transitions += 1;
            take(Next::State(&codes_of(&node, locks, codes)));
        }
        self.list_worlds(model, before);
        let worlds = std::mem::take(&mut self.worlds);
        for same in worlds.chunk_by(|a, b| a.0 == b.0) {
            self.list_outcomes(model, before, &same[0].0);
            for outcome in &self.outcomes {
                let rest = codes.rest_code((outcome.kernel.rest, same[0].1.faults_code()));
                let mut faults = same[0].1.faults_code();
                let mut state = StateCodes { rest, ..StateCodes::default() };
                let (closing, filling) = (outcome.closing, outcome.filling);
                for (_, world) in same {
                    self.transitions += 1;
                    let pressed = world.pressed();
                    let ordered = closing.or(filling);
                    let broken = model.judge().in_world(&outcome.verdict, ordered, pressed);
                    if broken != 0 {
                        let node = || outcome.node(world);
                        take(Next::Broken(broken, &node));
                        continue;
                    }
                    if world.faults_code() != faults {
                        faults = world.faults_code();
                        state.rest = codes.rest_code((outcome.kernel.rest, faults));
                    }
                    for lock in 0..locks {
                        let part = world_part(world, closing, filling, lock);
                        state.locks[lock] = codes.lock_code((outcome.kernel.locks[lock], part));
                    }
                    take(Next::State(&state));
                }
            }
        }
        self.worlds = worlds;
    }

    /// Every way in which the world can move, those that look the same side by side.
    fn list_worlds(&mut self, model: &Model, before: &Node) {
        self.worlds.clear();
        let orders = orders(before);
        self.chooser.restart();
        loop {
            self.chooser.begin();
            let mut world = before.world;
            model.move_world(&mut world, &orders, model.budget, &mut self.chooser);
            self.worlds.push((world.view(&model.truth), world));
            if !self.chooser.advance() {
                break;
            }
        }
        self.worlds.sort_unstable();
        self.worlds.dedup();
    }

    /// Everything that the kernel can do in a world that looks like this.
    fn list_outcomes(&mut self, model: &Model, before: &Node, view: &View) {
        self.outcomes.clear();
        self.chooser.restart();
        loop {
            self.chooser.begin();
            let tick = model.kernel_tick(before, view, Mood::Hostile, &mut self.chooser);
            self.kernel_ticks += 1;
            self.sometimes.note(&tick);
            let outcome = Outcome::of(model, &tick);
            if !self.outcomes.contains(&outcome) {
                self.outcomes.push(outcome);
            }
            if !self.chooser.advance() {
                break;
            }
        }
    }
}

impl Outcome {
    fn of(model: &Model, tick: &KernelTick) -> Outcome {
        Outcome {
            kernel: kernel_parts(&tick.kernel.canonical(&model.table)),
            closing: tick.closing,
            filling: tick.filling,
            verdict: tick.verdict,
        }
    }

    fn node(&self, world: &Environment) -> Node {
        Node {
            kernel: self.kernel.kernel(),
            world: *world,
            closing: self.closing,
            filling: self.filling,
        }
    }
}

/// Codes of a canonical state.
pub fn codes_of(node: &Node, locks: usize, codes: &mut CodesView) -> StateCodes {
    let kernel = kernel_parts(&node.kernel);
    let mut state = StateCodes {
        rest: codes.rest_code((kernel.rest, node.world.faults_code())),
        ..StateCodes::default()
    };
    for lock in 0..locks {
        let part = world_part(&node.world, node.closing, node.filling, lock);
        state.locks[lock] = codes.lock_code((kernel.locks[lock], part));
    }
    state
}
