//! Our model for the general-purpose model checker stateright: it does the search, the hashing
//! and the finding of states that are already known, all with its own code.

use std::sync::atomic::{AtomicU32, Ordering};

use host_sim::explore::chooser::Chooser;
use host_sim::explore::model::{Always, Model, Node, Subject};
use host_sim::explore::senses::{Forced, Mood};
use host_sim::table::TableData;
use stateright::Property;

/// Our model, owned, as its checker wants it.
pub(crate) struct Second {
    /// Table with shrunk timers.
    pub(crate) data: TableData,
    /// What the kinematics forbid the answers to be.
    pub(crate) forced: Forced,
    /// What is explored.
    pub(crate) subject: Subject,
    /// Most faults in one history.
    pub(crate) budget: u8,
    /// The kinds of broken states that were met, a bit each.
    pub(crate) ends: AtomicU32,
}

/// A state; or, where a property is broken, what is broken and nothing else, as nothing is
/// explored beyond that.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum At {
    /// Nothing is broken.
    Node(Node),
    /// These are broken, bit `i` for the `i`-th of [`Always::ALL`].
    Broken(u8),
}

impl Second {
    /// The same as a model of ours.
    pub(crate) fn model(&self) -> Model<'_> {
        let (budget, subject) = (self.budget, self.subject);
        Model { table: self.data.table(), forced: &self.forced, budget, subject }
    }

    fn keeps(at: &At, always: Always) -> bool {
        let bit = Always::ALL.iter().position(|a| *a == always).expect("one of all");
        !matches!(at, At::Broken(set) if set >> bit & 1 == 1)
    }
}

/// Nodes that behave alike, as one: what our search stores.
pub(crate) fn canonical(model: &Model, node: Node) -> Node {
    Node { kernel: node.kernel.canonical(&model.table), ..node }
}

/// Every state that one tick, or a reset, leads to from here; one for each combination of answers.
pub(crate) fn successors(model: &Model, before: &Node, mut take: impl FnMut(At)) {
    take(At::Node(canonical(model, model.reset(before))));
    let mut chooser = Chooser::default();
    loop {
        chooser.begin();
        let tick = model.tick(before, Mood::Hostile, &mut chooser);
        take(match tick.broken[..] {
            [] => At::Node(canonical(model, tick.after)),
            _ => At::Broken(Always::ALL.iter().enumerate().fold(0, |set, (bit, always)| {
                set | (u8::from(tick.broken.contains(always)) << bit)
            })),
        });
        if !chooser.advance() {
            return;
        }
    }
}

impl stateright::Model for Second {
    type State = At;
    /// Where it leads to.
    type Action = At;

    fn init_states(&self) -> Vec<At> {
        vec![At::Node(Node::default())]
    }

    fn actions(&self, at: &At, actions: &mut Vec<At>) {
        match at {
            At::Node(node) => successors(&self.model(), node, |next| actions.push(next)),
            At::Broken(set) => {
                self.ends.fetch_or(1 << set, Ordering::Relaxed);
            }
        }
    }

    fn next_state(&self, _: &At, next: At) -> Option<At> {
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always(Always::NoConflict.id(), |_, at| Self::keeps(at, Always::NoConflict)),
            Property::always(Always::SlipFirst.id(), |_, at| Self::keeps(at, Always::SlipFirst)),
            Property::always(Always::RestFirst.id(), |_, at| Self::keeps(at, Always::RestFirst)),
            Property::always(Always::OneAtATime.id(), |_, at| Self::keeps(at, Always::OneAtATime)),
            Property::always(Always::OnlyDenies.id(), |_, at| Self::keeps(at, Always::OnlyDenies)),
        ]
    }
}
