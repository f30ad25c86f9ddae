//! Our model for the general-purpose model checker stateright: it does the search, the hashing
//! and the finding of states that are already known, all with its own code.

use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use host_sim::explore::always::Always;
use host_sim::explore::chooser::Chooser;
use host_sim::explore::model::{Model, Node, Reset, Subject};
use host_sim::explore::senses::{Forced, Mood};
use host_sim::table::TableData;
use stateright::Property;

/// Our model, owned, as its checker wants it.
pub(crate) struct Second {
    /// Table with shrunk timers, as the kernel has it.
    pub(crate) data: TableData,
    /// The same as it should be.
    pub(crate) truth: TableData,
    /// What the kinematics forbid the answers to be.
    pub(crate) forced: Forced,
    /// What is explored.
    pub(crate) subject: Subject,
    /// Most faults in one history.
    pub(crate) budget: u8,
    /// The kinds of broken states that were met.
    pub(crate) ends: Mutex<BTreeSet<u8>>,
    /// Set where a search is to end before its time: nothing follows from any state any more.
    pub(crate) stop: AtomicBool,
}

/// A state; or, where a property is broken, what is broken and nothing else, as nothing is
/// explored beyond that.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum At {
    /// Nothing is broken.
    Node(Node),
    /// These are broken, a [bit](Always::bit) each.
    Broken(u8),
}

impl Second {
    /// With a table that is as it should be.
    pub(crate) fn new(data: TableData, forced: Forced, subject: Subject, budget: u8) -> Second {
        let truth = data.clone();
        let (ends, stop) = Default::default();
        Second { data, truth, forced, subject, budget, ends, stop }
    }

    /// The same as a model of ours.
    pub(crate) fn model(&self) -> Model<'_> {
        let model = Model::new(self.data.table(), &self.forced, self.budget, self.subject);
        Model { truth: self.truth.table(), ..model }
    }
}

/// Every state that a reset or one tick leads to from here, and what is broken in it: one for each
/// kind of reset and for each combination of answers. All of them are canonical.
pub(crate) fn all_after(model: &Model, before: &Node, mut take: impl FnMut(u8, Node)) {
    for reset in [Reset::Warm, Reset::Cold] {
        take(0, model.canonical(model.reset(before, reset)));
    }
    let mut chooser = Chooser::default();
    loop {
        chooser.begin();
        let tick = model.tick(before, Mood::Hostile, &mut chooser);
        let broken = tick.broken.iter().fold(0, |set, always| set | always.bit());
        take(broken, model.canonical(tick.after));
        if !chooser.advance() {
            return;
        }
    }
}

impl At {
    /// With what is broken there.
    pub(crate) fn new(broken: u8, node: Node) -> At {
        if broken == 0 { At::Node(node) } else { At::Broken(broken) }
    }
}

/// Whether the property that has this place in [`Always::ALL`] is kept.
fn keeps<const PLACE: usize>(_: &Second, at: &At) -> bool {
    !matches!(at, At::Broken(set) if set & Always::ALL[PLACE].bit() != 0)
}

/// By property; a checker takes no closure.
const KEEPS: [fn(&Second, &At) -> bool; Always::ALL.len()] = [
    keeps::<0>, keeps::<1>, keeps::<2>, keeps::<3>, keeps::<4>, keeps::<5>, keeps::<6>, keeps::<7>,
];

impl stateright::Model for Second {
    type State = At;
    /// Where it leads to.
    type Action = At;

    fn init_states(&self) -> Vec<At> {
        vec![At::Node(self.model().canonical(Node::default()))]
    }

    fn actions(&self, at: &At, actions: &mut Vec<At>) {
        match at {
            _ if self.stop.load(Ordering::Relaxed) => {}
            At::Node(node) => {
                all_after(&self.model(), node, |broken, next| actions.push(At::new(broken, next)));
            }
            At::Broken(set) => {
                self.ends.lock().expect("no thread panicked").insert(*set);
            }
        }
    }

    fn next_state(&self, _: &At, next: At) -> Option<At> {
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        let all = Always::ALL.into_iter().zip(KEEPS);
        all.map(|(always, keeps)| Property::always(always.id(), keeps)).collect()
    }
}
