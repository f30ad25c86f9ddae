//! Changes of the ways: each entry of `next`.

use supervisor::bits::Bits;
use supervisor::table::{NO_STEP, Stuck, WAYS, Why};

use super::list::{List, Part};
use super::list_steps::ends;

const DECIDES: Part = Part::Decides;

/// What an entry is about.
struct Entry {
    way: usize,
    stuck: Stuck,
    set: Bits,
    target: usize,
}

pub(super) fn add(list: &mut List) {
    let (sets, targets) = (list.good.sets.len(), list.good.arrangements.len());
    let variants = crate::table::stuck_variants(list.d.locks.len());
    let row = sets * targets;
    for at in 0..list.good.next.len().min(WAYS * variants.len() * row) {
        let entry = Entry {
            way: at / row / variants.len(),
            stuck: variants[at / row % variants.len()],
            set: Bits((at / targets % sets) as u8),
            target: at % targets,
        };
        let place = place(list, &entry);
        match list.good.next[at] {
            step if step & NO_STEP == 0 => taken(list, at, &entry, &place),
            none => barred(list, at, (&entry, none), &place),
        }
    }
}

fn place(list: &List, entry: &Entry) -> String {
    let stuck = match entry.stuck {
        Stuck::None => String::new(),
        Stuck::Open(lock) => format!(", {} stuck open", list.lock(lock)),
        Stuck::Closed(lock) => format!(", {} stuck closed", list.lock(lock)),
    };
    let target = &list.d.arrangements[entry.target].name;
    format!("way {} from {} to {target}{stuck}", entry.way + 1, list.locks(entry.set))
}

/// An entry that is a step.
fn taken(list: &mut List, at: usize, entry: &Entry, place: &str) {
    let own = list.good.next[at];
    // The reason that is hardest to tell from a true one.
    let why = match (entry.way, entry.stuck) {
        (0, Stuck::None) => Why::NothingSynchronises,
        (0, _) => Why::Stuck,
        _ => Why::NoOtherWay,
    };
    list.add((DECIDES, "way unreachable"), place, "no step", move |t| {
        t.next[at] = NO_STEP | why as u16;
    });
    let to = |step: u16| list.good.steps.get(usize::from(step)).map(ends);
    let count = list.good.steps.len() as u16;
    let others: Vec<u16> = (0..count).filter(|&s| s != own && to(s) != to(own)).collect();
    let alike: Vec<u16> = (0..count).filter(|&s| s != own && to(s) == to(own)).collect();
    let starts = |step: u16| to(step).map(|(from, _)| from);
    let (here, elsewhere): (Vec<u16>, Vec<u16>) =
        others.into_iter().partition(|&s| starts(s) == Some(entry.set));
    for step in here {
        let name = format!("step {step} for {own}");
        list.add((DECIDES, "way wrong step"), place, name, move |t| t.next[at] = step);
    }
    for step in alike {
        let name = format!("step {step} for {own}");
        list.add((DECIDES, "way like step"), place, name, move |t| t.next[at] = step);
    }
    if let Some(&step) = elsewhere.first() {
        let name = format!("step {step} for {own}");
        list.add((DECIDES, "way strange step"), place, name, move |t| t.next[at] = step);
    }
}

/// An entry that is none.
fn barred(list: &mut List, at: usize, (entry, none): (&Entry, u16), place: &str) {
    let starts = |step: usize| list.good.steps[step].from == entry.set;
    let count = list.good.steps.len();
    let step = (0..count).find(|&s| starts(s)).or((count > 0).then_some(0));
    if let Some(step) = step {
        let name = format!("step {step} for none");
        list.add((DECIDES, "way too many"), place, name, move |t| t.next[at] = step as u16);
    }
    let other = match Why::from_code(none as u8) {
        Why::Arrived => Why::Conflict,
        _ => Why::Arrived,
    };
    list.add((DECIDES, "way wrong reason"), place, format!("{other:?}"), move |t| {
        t.next[at] = NO_STEP | other as u16;
    });
}
