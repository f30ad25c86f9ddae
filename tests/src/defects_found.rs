//! Which rule finds a planted defect in the cases of a campaign.

use host_sim::campaign::trial::{State, Trial, Trials};
use host_sim::campaign::{World, defects};
use host_sim::explore::defects::Defect;
use host_sim::review::Subject;

/// The world of an embedded demo.
pub fn world_of(demo: &str) -> World {
    World::new(Subject::read(demo, 1).expect("a demo"))
}

/// The first defect of this kind whose place and change have these words.
pub fn place_of(list: &[Defect], kind: &str, words: &str) -> usize {
    let is = |d: &Defect| d.kind == kind && format!("{} {}", d.place, d.name).contains(words);
    list.iter().position(is).unwrap_or_else(|| panic!("no {kind} with {words:?}"))
}

/// The rule by which a defect is found in so many cases of one fault under seed 1, if it is.
pub fn found_by(demo: &str, kind: &str, words: &str, cases: u64) -> Option<String> {
    let world = world_of(demo);
    let list = defects::defects(&world);
    let chosen = [place_of(&list, kind, words)];
    let trial = Trial { seeds: &[1], cases, faults: 1 };
    let mut state = State::new(&trial);
    Trials::new(&world, &list, &chosen, trial).go_on(&mut state, 1, |_| true).expect("complete");
    state.seeds[0].found.get(&chosen[0]).map(|hit| hit.rule.clone())
}
