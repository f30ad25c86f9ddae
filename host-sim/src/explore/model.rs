//! One tick of kernel and environment together, and what must always hold after it.

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::interlock::pass;
use supervisor::io::LockOrder;
use supervisor::kernel::{Kernel, Ruling};
use supervisor::table::Table;

use super::chooser::Chooser;
use super::environment::{Environment, Happened};
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

/// What must always hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Always {
    /// No forbidden lock set is pressed or held, in truth or by order.
    NoConflict,
    /// A closing begins only with its slip known, small and steady.
    SlipFirst,
    /// A closing that completes an overlap begins only with the held shafts at rest.
    RestFirst,
    /// At most one closing begins in a tick.
    OneAtATime,
    /// The interlock only ever takes orders away, and never keeps a lock closed.
    OnlyDenies,
}

impl Always {
    /// All of them.
    pub const ALL: [Always; 5] = [
        Always::NoConflict,
        Always::SlipFirst,
        Always::RestFirst,
        Always::OneAtATime,
        Always::OnlyDenies,
    ];

    /// Its identifier.
    pub fn id(self) -> &'static str {
        match self {
            Always::NoConflict => "EX-CONFLICT",
            Always::SlipFirst => "EX-SLIP",
            Always::RestFirst => "EX-REST",
            Always::OneAtATime => "EX-ONE",
            Always::OnlyDenies => "EX-DENY",
        }
    }

    /// In words.
    pub fn text(self) -> &'static str {
        match self {
            Always::NoConflict => "no forbidden lock set is ever pressed or held",
            Always::SlipFirst => "a closing begins only with its slip known, small and steady",
            Always::RestFirst => "an overlap is closed only with the held shafts at rest",
            Always::OneAtATime => "at most one closing begins in a tick",
            Always::OnlyDenies => "the interlock only takes orders away",
        }
    }
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
}

/// The model of one driveline.
pub struct Model<'a> {
    /// Table with shrunk timers.
    pub table: Table<'a>,
    /// What the kinematics forbid the answers to be.
    pub forced: &'a Forced,
    /// Most faults in one history.
    pub budget: u8,
    /// What is explored.
    pub subject: Subject,
}

/// What one tick did.
#[derive(Clone, Copy, Debug)]
pub struct Tick {
    /// State after it.
    pub after: Node,
    /// What the world did.
    pub happened: Happened,
    /// The kernel's ruling.
    pub ruling: Ruling,
    /// The request that was given, if the kernel asked.
    pub request: Option<Option<u8>>,
    /// What was broken.
    pub broken: Option<Always>,
}

impl Model<'_> {
    /// One tick with the chooser's answers.
    pub fn tick(&self, before: &Node, mood: Mood, chooser: &mut Chooser) -> Tick {
        let mut after = *before;
        let orders = orders(before);
        let budget = if mood == Mood::Hostile { self.budget } else { 0 };
        let happened = after.world.advance(&self.table, &orders, budget, chooser);
        let world = after.world;
        let mut senses = Senses::new(&self.table, self.forced, &world, chooser, mood);
        let ruling = match self.subject {
            Subject::Kernel | Subject::DecisionAlone => after.kernel.step(&self.table, &mut senses),
            Subject::InterlockAlone => {
                let (close, prefill) = senses.any_orders();
                after.kernel.step_wanting(&self.table, &mut senses, close, prefill)
            }
        };
        let (ready, rest): (Bits, Vec<(Bits, bool)>) = (
            ruling.passed.iter().fold(Bits::EMPTY, |b, l| b.with(l, senses.was_ready(l))),
            self.table
                .overlaps
                .iter()
                .map(|o| (o.locks, senses.were_at_rest(o.machines)))
                .collect(),
        );
        let request = senses.request_given();
        after.kernel.settle_counters(&self.table);
        let (closing, filling) = match self.subject {
            Subject::DecisionAlone => {
                (ruling.decision.close, ruling.decision.prefill.without(ruling.decision.close))
            }
            _ => (ruling.granted, ruling.passed.without(ruling.granted)),
        };
        after.closing = closing;
        after.filling = filling;
        let first = before.kernel.watch().is_asleep();
        let broken = self.broken(before, &after, &ruling, ready, &rest, first);
        Tick { after, happened, ruling, request, broken }
    }

    /// As after a reset of the supervisor at this moment: the outputs fall to open until it wakes.
    pub fn reset(&self, before: &Node) -> Node {
        Node { kernel: Kernel::default(), ..*before }
    }

    fn broken(
        &self,
        before: &Node,
        after: &Node,
        ruling: &Ruling,
        ready: Bits,
        rest: &[(Bits, bool)],
        first: bool,
    ) -> Option<Always> {
        let pressed = after.world.pressed().or(after.closing).or(after.filling);
        if self.table.forbids(pressed) {
            return Some(Always::NoConflict);
        }
        let ordered = after.closing.or(after.filling);
        // On the first tick after a reset, locks that are closed already are kept.
        let begun =
            ordered.without(before.closing).without(if first { ordered } else { Bits::EMPTY });
        if begun.count() > 1 {
            return Some(Always::OneAtATime);
        }
        if self.subject != Subject::DecisionAlone {
            if !ready.contains(begun) {
                return Some(Always::SlipFirst);
            }
            if !ruling.seen.wanted.contains(ruling.passed)
                || pass(&self.table, &ruling.seen) != ruling.passed
            {
                return Some(Always::OnlyDenies);
            }
        }
        let held = ordered.or(after.world.pressed());
        for (overlap, at_rest) in rest {
            let completes = !overlap.and(begun).is_empty() && held.contains(*overlap);
            if completes && !at_rest {
                return Some(Always::RestFirst);
            }
        }
        None
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
