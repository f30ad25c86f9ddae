//! One tick of kernel and environment together.

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::decide::{Plan, overlap_end};
use supervisor::io::LockOrder;
use supervisor::kernel::{Kernel, Ruling};
use supervisor::status::{Phase, Refusal};
use supervisor::table::Table;

use super::always::{Always, Judge, Verdict, of_mask};
use super::cells::Cells;
use super::chooser::Chooser;
use super::environment::{Environment, Happened, View};
use super::senses::{Forced, Mood, Senses};

/// Kernel and environment between two ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Node {
    /// The real kernel's memory.
    pub kernel: Kernel,
    /// The world.
    pub world: Environment,
    /// Locks ordered closed.
    pub closing: Bits,
    /// Locks ordered filled.
    pub filling: Bits,
}

/// What is explored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// The whole kernel.
    Kernel,
    /// The interlock alone: anything may be ordered.
    InterlockAlone,
    /// The kernel without its interlock, to see what the decision does by itself.
    DecisionAlone,
    /// Anything is ordered and nothing is denied: a planted defect that breaks every property.
    NoGate,
}

/// The model of one driveline.
#[derive(Clone, Copy)]
pub struct Model<'a> {
    /// Table with shrunk timers, as the kernel has it.
    pub table: Table<'a>,
    /// The same as it should be; another one only where defects are planted.
    pub truth: Table<'a>,
    /// What the kinematics forbid the answers to be.
    pub forced: &'a Forced,
    /// Which guard bits can be measured together; none where they are all free.
    pub cells: Option<&'a Cells>,
    /// Most faults in one history.
    pub budget: u8,
    /// What is explored.
    pub subject: Subject,
}

/// How a reset leaves the supervisor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reset {
    /// With its trace.
    Warm,
    /// With nothing.
    Cold,
}

/// What one tick did.
#[derive(Clone, Debug)]
pub struct Tick {
    /// State after it; not canonical.
    pub after: Node,
    /// What the world did.
    pub happened: Happened,
    /// The kernel's ruling.
    pub ruling: Ruling,
    /// The request that was given, if the kernel asked.
    pub request: Option<Option<u8>>,
    /// What was broken.
    pub broken: Vec<Always>,
}

/// Why locks that the kernel had ordered closed are not any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Released {
    /// None was let go, or for another reason.
    Other,
    /// An overlap had lasted too long.
    Overlap,
    /// The engine was being dragged down.
    Engine,
}

/// What the kernel did in one tick, whatever else the world is like.
pub struct KernelTick {
    /// Its memory; not canonical.
    pub kernel: Kernel,
    /// Its ruling.
    pub ruling: Ruling,
    /// Locks ordered closed.
    pub closing: Bits,
    /// Locks ordered filled.
    pub filling: Bits,
    /// Whether and why a lock was let go without being unloaded first.
    pub released: Released,
    /// What it broke.
    pub verdict: Verdict,
    /// The request that was given, if it asked.
    pub request: Option<Option<u8>>,
}

impl<'a> Model<'a> {
    /// With a table that is as it should be.
    pub fn new(table: Table<'a>, forced: &'a Forced, budget: u8, subject: Subject) -> Model<'a> {
        Model { table, truth: table, forced, cells: None, budget, subject }
    }

    /// One tick with the chooser's answers.
    pub fn tick(&self, before: &Node, mood: Mood, chooser: &mut Chooser) -> Tick {
        let budget = if mood == Mood::Hostile { self.budget } else { 0 };
        let mut world = before.world;
        let happened = self.move_world(&mut world, &orders(before), budget, chooser);
        let tick = self.kernel_tick(before, &world.view(&self.truth), mood, chooser);
        let (closing, filling) = (tick.closing, tick.filling);
        let broken = self.judge().in_world(&tick.verdict, closing.or(filling), world.pressed());
        Tick {
            after: Node { kernel: tick.kernel, world, closing, filling },
            happened,
            ruling: tick.ruling,
            request: tick.request,
            broken: of_mask(broken).collect(),
        }
    }

    /// What the world does in one tick.
    pub fn move_world(
        &self,
        world: &mut Environment,
        orders: &[LockOrder; MAX_LOCKS],
        budget: u8,
        chooser: &mut Chooser,
    ) -> Happened {
        if self.cells.is_some() {
            world.may_lie(budget, chooser);
        }
        world.advance(&self.truth, orders, budget, chooser)
    }

    /// One tick of the kernel in a world that looks like this.
    pub fn kernel_tick(
        &self,
        before: &Node,
        view: &View,
        mood: Mood,
        chooser: &mut Chooser,
    ) -> KernelTick {
        let mut kernel = before.kernel;
        let mut senses =
            Senses::new(&self.table, self.forced, view, chooser, mood).with_cells(self.cells);
        let ruling = match self.subject {
            Subject::Kernel | Subject::DecisionAlone => kernel.step(&self.table, &mut senses),
            Subject::InterlockAlone | Subject::NoGate => {
                let (close, prefill) = senses.any_orders();
                kernel.step_wanting(&self.table, &mut senses, close, prefill)
            }
        };
        let (closing, filling) = match self.subject {
            Subject::DecisionAlone | Subject::NoGate => {
                (ruling.decision.close, ruling.decision.prefill.without(ruling.decision.close))
            }
            _ => (ruling.granted, ruling.passed.without(ruling.granted)),
        };
        let ordered = closing.or(filling);
        let verdict = self.judge().tick(before, &kernel, &ruling, ordered, &senses);
        let request = senses.request_given();
        let released = self.released(before, &kernel, &ruling);
        KernelTick { kernel, ruling, closing, filling, released, verdict, request }
    }

    /// Told from what was decided, since a canonical memory holds no refusal of an earlier tick.
    fn released(&self, before: &Node, after: &Kernel, ruling: &Ruling) -> Released {
        let state = after.state();
        let own = !before.closing.without(ruling.decision.close).is_empty();
        let gives_none = matches!(ruling.decision.plan, Plan::Cut | Plan::Off);
        let settles = state.phase() == Phase::Settle && gives_none;
        let acting =
            matches!(before.kernel.state().phase(), Phase::Closing { .. } | Phase::Opening { .. });
        if !own || !settles {
            Released::Other
        } else if state.refusal() == Some(Refusal::EngineNotRunning) {
            Released::Engine
        } else if !acting && state.overlap_ticks() > overlap_end(&self.table) {
            Released::Overlap
        } else {
            Released::Other
        }
    }

    /// The rules that ticks are judged by.
    pub fn judge(&self) -> Judge<'_> {
        Judge { truth: &self.truth, subject: self.subject }
    }

    /// As after a reset of the supervisor between two ticks: only its memory changes. The outputs
    /// stay as they were until the new supervisor's first tick, and the world moves by them then.
    pub fn reset(&self, before: &Node, reset: Reset) -> Node {
        let kept = (reset == Reset::Warm).then_some(*before.kernel.watch());
        Node { kernel: Kernel::after_reset(kept), ..*before }
    }

    /// The one state that stands for all that behave like this one.
    pub fn canonical(&self, node: Node) -> Node {
        Node { kernel: node.kernel.canonical(&self.table), ..node }
    }
}

/// The orders that the kernel gave last.
pub fn orders(node: &Node) -> [LockOrder; MAX_LOCKS] {
    core::array::from_fn(|i| match i as u8 {
        lock if node.closing.has(lock) => LockOrder::Close,
        lock if node.filling.has(lock) => LockOrder::Prefill,
        _ => LockOrder::Open,
    })
}
