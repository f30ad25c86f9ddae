//! Bounded liveness: from every state that was reached, once no more goes wrong and the world
//! helps, an arrangement that is asked for stands or its refusal is stated within a bound.
//!
//! With a helpful world there is one next state, and it is among the states that were reached
//! (a hostile world may help too). So every state lies on one path for each arrangement; a path
//! that comes back to itself before it ends never ends.

use super::chooser::Chooser;
use super::model::{Model, Node};
use super::search::Found;
use super::senses::Mood;
use super::store::hash_of;

/// What came of following every state.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Liveness {
    /// Most ticks that it took.
    pub bound: u32,
    /// Of these, those that ended in the arrangement; the others ended in a refusal.
    pub arrived: u64,
    /// How many pairs of state and arrangement ended in a refusal.
    pub refused: u64,
    /// A state from which this arrangement is neither reached nor refused.
    pub stuck: Option<(u32, u8)>,
}

const UNKNOWN: u32 = u32::MAX;
const ON_PATH: u32 = u32::MAX - 1;

enum End {
    Arrived,
    Refused,
    Goes(Box<Node>),
}

fn next(model: &Model, node: &Node, arrangement: u8, chooser: &mut Chooser) -> End {
    chooser.restart();
    chooser.begin();
    let tick = model.tick(node, Mood::Helpful(Some(arrangement)), chooser);
    let state = tick.after.kernel.state();
    let ours = state.goal() == Some(arrangement);
    if ours && state.stands() == Some(arrangement) {
        return End::Arrived;
    }
    if ours && (state.refusal().is_some() || state.gave_up()) {
        return End::Refused;
    }
    End::Goes(Box::new(Node { kernel: tick.after.kernel.without_statement(), ..tick.after }))
}

/// Follow every state of a complete search. Faults that are there stay.
pub fn liveness(model: &Model, found: &Found) -> Liveness {
    let mut live = Liveness::default();
    let mut chooser = Chooser::default();
    for arrangement in 0..model.table.arrangements.len() as u8 {
        let mut ticks = vec![UNKNOWN; found.store.len()];
        let mut arrives = vec![false; found.store.len()];
        for start in 0..found.store.len() as u32 {
            let mut path = Vec::new();
            let mut at = start;
            let (mut length, arrived) = loop {
                match ticks[at as usize] {
                    ON_PATH => {
                        live.stuck.get_or_insert((start, arrangement));
                        break (0, false);
                    }
                    UNKNOWN => {}
                    known => break (known, arrives[at as usize]),
                }
                ticks[at as usize] = ON_PATH;
                path.push(at);
                match next(model, found.store.node(at), arrangement, &mut chooser) {
                    End::Arrived => break (0, true),
                    End::Refused => break (0, false),
                    End::Goes(node) => match found.store.find(&node, hash_of(&node)) {
                        Some(number) => at = number,
                        // Beyond a broken property nothing was explored.
                        None => break (0, false),
                    },
                }
            };
            for &number in path.iter().rev() {
                length += 1;
                ticks[number as usize] = length;
                arrives[number as usize] = arrived;
                live.bound = live.bound.max(length);
                if arrived {
                    live.arrived += 1;
                } else {
                    live.refused += 1;
                }
            }
        }
    }
    live
}
