//! The ways: every entry is a step out of its lock set, and following the entries arrives.

use supervisor::bits::Bits;
use supervisor::table::{Action, Stuck, Table, WAYS, Why};

use crate::driveline::EngineUse;

use super::Audited;
use super::context::Context;
use super::steps::ends;

/// One column of the table of ways.
struct Column<'a> {
    context: &'a Context<'a>,
    table: &'a Table<'a>,
    way: u8,
    stuck: Stuck,
    target: u8,
}

pub(super) fn examine(context: &Context, out: &mut Audited) {
    let table = context.table.table();
    let locks = context.d.locks.len() as u8;
    let variants = [Stuck::None]
        .into_iter()
        .chain((0..locks).map(Stuck::Open))
        .chain((0..locks).map(Stuck::Closed));
    let usable = Usable::new(context);
    for stuck in variants {
        for target in 0..context.table.arrangements.len() as u8 {
            let column = |way| Column { context, table: &table, way, stuck, target };
            let first = column(0);
            for way in 0..WAYS as u8 {
                let column = column(way);
                (0..context.table.sets.len()).for_each(|set| column.entry(set as u8, &first, out));
                column.cheapest(&usable, &first, out);
            }
        }
    }
    let costs: Vec<Vec<Option<f64>>> = (0..context.table.arrangements.len() as u8)
        .map(|target| Column { context, table: &table, way: 0, stuck: Stuck::None, target }.costs())
        .collect();
    (0..context.table.sets.len()).for_each(|set| fallback(context, &costs, set as u8, out));
}

/// Steps by the lock set that they start from, for each kind of target.
struct Usable {
    /// `[engine on][set]`.
    steps: [Vec<Vec<usize>>; 2],
}

impl Usable {
    fn new(context: &Context) -> Usable {
        let mut steps = [(); 2].map(|()| vec![Vec::new(); context.table.sets.len()]);
        let targets = context.d.arrangements.len();
        for (i, &entry) in context.table.next.iter().enumerate() {
            let number = usize::from(entry);
            let Some(step) = context.table.steps.get(number) else { continue };
            let Some((from, to)) = ends(context, step) else { continue };
            // Only where a closing joins the engine does it matter whether the target wants it.
            let joins = context.engine_joined(to) && !context.engine_joined(from);
            for of_kind in 0..2 {
                let known = &mut steps[of_kind][usize::from(from)];
                let fits = !joins || of_kind == kind(context, i % targets);
                if fits && !known.contains(&number) {
                    known.push(number);
                }
            }
        }
        Usable { steps }
    }
}

fn kind(context: &Context, target: usize) -> usize {
    usize::from(context.d.arrangements[target].engine == EngineUse::On)
}

fn allows(stuck: Stuck, lock: u8, action: Action) -> bool {
    match stuck {
        Stuck::None => true,
        Stuck::Open(l) => l != lock || action == Action::Open,
        Stuck::Closed(l) => l != lock || action == Action::Close,
    }
}

fn can_stand(stuck: Stuck, set: u8) -> bool {
    match stuck {
        Stuck::None => true,
        Stuck::Open(l) => set >> l & 1 == 0,
        Stuck::Closed(l) => set >> l & 1 == 1,
    }
}

impl Column<'_> {
    fn look(&self, set: u8) -> Result<u16, Why> {
        self.table.next_step(self.way, self.stuck, Bits(set), self.target)
    }

    fn place(&self, set: u8) -> String {
        let names = self.context.d.lock_names(set).join(" + ");
        let target = &self.context.d.arrangements[usize::from(self.target)].name;
        let stuck = match self.stuck {
            Stuck::None => String::new(),
            Stuck::Open(l) => format!(", {} stuck open", self.context.lock_name(l.into())),
            Stuck::Closed(l) => format!(", {} stuck closed", self.context.lock_name(l.into())),
        };
        format!("way {} from {set:#b} ({names}) to {target}{stuck}", self.way + 1)
    }

    fn closed(&self) -> u8 {
        self.context.d.arrangements[usize::from(self.target)].closed
    }

    /// The lock set after the entry's step; `Err` where there is no step.
    fn after(&self, set: u8) -> Option<u8> {
        let number = self.look(set).ok()?;
        let step = self.table.step(number)?;
        let (from, to) = ends(self.context, step)?;
        (from == set && allows(self.stuck, step.lock, step.action)).then_some(to)
    }

    fn entry(&self, set: u8, first: &Column, out: &mut Audited) {
        let mut wrong = |sentence: &str| out.find("AU-NEXT", self.place(set), sentence.to_string());
        let number = match self.look(set) {
            Ok(number) => number,
            Err(why) => {
                if let Some(sentence) = self.wrong_reason(set, why) {
                    wrong(sentence);
                }
                return;
            }
        };
        if !can_stand(self.stuck, set) || set == self.closed() {
            return wrong("there is a step where none can be");
        }
        if self.context.is_forbidden(set) {
            return wrong("there is a step out of a forbidden lock set");
        }
        if self.after(set).is_none() {
            return wrong("its step does not start here, or moves a stuck lock");
        }
        if let Some(sentence) = self.follow(set) {
            return wrong(sentence);
        }
        let Some(step) = self.table.step(number) else { return };
        if self.way == 1 && step.demand_max < f32::MAX {
            wrong("the way for any demand takes a step for small ones only");
        }
        if self.way == 2 && first.look(set) == Ok(number) {
            wrong("the way by other synchronisers takes the first way's step");
        }
    }

    fn wrong_reason(&self, set: u8, why: Why) -> Option<&'static str> {
        let expected = if !can_stand(self.stuck, set) {
            Why::Impossible
        } else if set == self.closed() {
            Why::Arrived
        } else if self.way > 0 {
            Why::NoOtherWay
        } else if self.stuck != Stuck::None {
            Why::Stuck
        } else if self.context.is_forbidden(self.closed()) {
            Why::Conflict
        } else {
            Why::NothingSynchronises
        };
        (why != expected).then_some("it states a reason that is not so")
    }

    /// What goes wrong when the entries are followed from `set`.
    fn follow(&self, start: u8) -> Option<&'static str> {
        let mut seen = vec![start];
        let mut set = start;
        while set != self.closed() {
            let Some(to) = self.after(set) else {
                return Some("following the entries does not arrive");
            };
            if self.context.is_forbidden(to) {
                return Some("following the entries passes a forbidden lock set");
            }
            if seen.contains(&to) {
                return Some("following the entries goes round in a circle");
            }
            seen.push(to);
            set = to;
        }
        None
    }

    /// Estimated cost of the whole way from each lock set, in the units of the builder's search.
    fn costs(&self) -> Vec<Option<f64>> {
        let notes = &self.context.table.notes;
        let cost_from = |start: usize| {
            let (mut set, mut cost) = (start as u8, 0.0);
            for _ in 0..=self.context.table.sets.len() {
                if set == self.closed() {
                    return Some(cost);
                }
                let number = self.look(set).ok()?;
                cost += notes.get(usize::from(number))?.cost;
                set = self.after(set)?;
            }
            None
        };
        (0..self.context.table.sets.len()).map(cost_from).collect()
    }

    /// Whether this way may use a step at all.
    fn may_use(&self, number: usize, set: u8, first: &Column) -> bool {
        match self.way {
            1 => self.context.table.steps[number].demand_max >= f32::MAX,
            2 => first.look(set).map(usize::from) != Ok(number),
            _ => true,
        }
    }

    /// Bellman's condition: no step that this way may use, followed by this way, is cheaper.
    fn cheapest(&self, usable: &Usable, first: &Column, out: &mut Audited) {
        let costs = self.costs();
        let steps = &usable.steps[kind(self.context, usize::from(self.target))];
        for set in 0..costs.len() {
            if set as u8 == self.closed() || !can_stand(self.stuck, set as u8) {
                continue;
            }
            let through = steps[set].iter().filter_map(|&number| {
                let step = &self.context.table.steps[number];
                let (_, to) = ends(self.context, step)?;
                let usable = allows(self.stuck, step.lock, step.action)
                    && self.may_use(number, set as u8, first);
                let cost = costs[usize::from(to)]? + self.context.table.notes.get(number)?.cost;
                usable.then_some(cost)
            });
            let best = through.fold(f64::INFINITY, f64::min);
            if best + 1e-4 < costs[set].unwrap_or(f64::INFINITY) {
                let sentence = match costs[set] {
                    Some(_) => "a cheaper way is known",
                    None => "it states that there is no way, and there is one",
                };
                out.find("AU-NEXT", self.place(set as u8), sentence);
            }
        }
    }
}

/// The fallback is the nearest arrangement, those that need no engine before the others; `costs`
/// are those of the first way by arrangement and lock set.
fn fallback(context: &Context, costs: &[Vec<Option<f64>>], set: u8, out: &mut Audited) {
    let cost_to = |target: usize| {
        let engine = context.d.arrangements[target].engine == EngineUse::On;
        Some((engine, costs.get(target)?[usize::from(set)]?))
    };
    let best =
        (0..costs.len()).filter_map(cost_to).min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let stated = context.table.sets[usize::from(set)].fallback;
    let own = Some(usize::from(stated)).filter(|&t| t < costs.len()).and_then(cost_to);
    let fits = match (best, own) {
        (Some(best), Some(own)) => own.0 == best.0 && own.1 <= best.1 + 1e-4,
        (None, None) => stated == u8::MAX,
        _ => false,
    };
    if !fits {
        let names = context.d.lock_names(set).join(" + ");
        let sentence = "it is not the nearest arrangement, those without the engine first";
        out.find("AU-FALLBACK", format!("set {set:#b} ({names}) fallback"), sentence);
    }
}
