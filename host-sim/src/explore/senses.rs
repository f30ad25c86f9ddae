//! The kernel's questions, answered by choice: free except where physics forbids an answer.

use supervisor::bits::{Bits, MAX_LOCKS};
use supervisor::guards::{Guards, SlipBits};
use supervisor::io::LockReport;
use supervisor::table::{Step, Table, WAYS, Window};

use super::answers::{Demand, Road, Speed, Trust};
use super::cells::{Cells, GuardBit};
use super::chooser::Chooser;
use super::environment::{SwitchWord, View};
use crate::kinematics::Kinematics;

/// What the kinematics forbid, by the set of locks that truly hold.
#[derive(Clone, Debug)]
pub struct Forced {
    /// Locks whose slip is zero in every motion.
    pub no_slip: Vec<Bits>,
    /// Machines whose shafts are at rest in every motion.
    pub at_rest: Vec<Bits>,
}

impl Forced {
    /// From the exact motions of every lock set.
    pub fn new(d: &crate::driveline::Driveline, k: &Kinematics) -> Forced {
        use num_traits::Zero;
        let no_slip = k
            .sets
            .iter()
            .map(|set| {
                let still = |lock: &usize| {
                    let row = crate::kinematics::lock_row(d, *lock);
                    set.basis.iter().all(|n| crate::exact::dot(n, &row).is_zero())
                };
                (0..d.locks.len())
                    .filter(still)
                    .fold(Bits::EMPTY, |bits, lock| bits.with(lock as u8, true))
            })
            .collect();
        let at_rest = k
            .sets
            .iter()
            .map(|set| {
                (0..d.machines.len())
                    .filter(|&m| set.held.contains(&d.machines[m].shaft))
                    .fold(Bits::EMPTY, |bits, m| bits.with(m as u8, true))
            })
            .collect();
        Forced { no_slip, at_rest }
    }
}

/// How the answers are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    /// Any answer that physics allows.
    Hostile,
    /// The answers that let the work go on: sensors work, machines do as they are asked, this
    /// arrangement is asked for.
    Helpful(Option<u8>),
}

/// Answers to one tick's questions; the same question gets the same answer.
pub struct Senses<'a> {
    table: &'a Table<'a>,
    view: &'a View,
    chooser: &'a mut Chooser,
    mood: Mood,
    no_slip: Bits,
    at_rest: Bits,
    reports: [Option<LockReport>; MAX_LOCKS],
    known: [Option<bool>; MAX_LOCKS],
    moving: [Option<bool>; MAX_LOCKS],
    within: [Option<bool>; MAX_LOCKS],
    ready: [Option<bool>; MAX_LOCKS],
    rest: [Option<bool>; 8],
    cool: [Option<bool>; MAX_LOCKS],
    other: [Option<bool>; 4],
    trust: Trust,
    road: Road,
    demand: Demand,
    targets: Targets,
    cells: Option<&'a Cells>,
    measured: Measured,
    asked: Option<Option<u8>>,
}

/// Guard bits that were answered from speeds that are known.
#[derive(Clone, Copy, Default)]
struct Measured {
    yes: u32,
    no: u32,
}

/// Questions that each have one answer in a tick, by their place in `other`.
#[derive(Clone, Copy)]
enum Other {
    Unloaded,
    Calm,
    Engine,
    Endangered,
}

/// Most steps whose targets are looked at in one tick: one a way, and one under preparation.
const MOST_TARGETS: usize = WAYS + 1;

/// Whether the speeds that steps bring their machines to are allowed: a bit of its own for every
/// two steps that the table tells apart by their rows or limits.
#[derive(Default)]
struct Targets {
    asked: [Option<(u16, bool)>; MOST_TARGETS],
}

impl Targets {
    fn known(&self, table: &Table, number: u16) -> Option<bool> {
        let same = |other: u16| match (table.step(number), table.step(other)) {
            (Some(a), Some(b)) => other == number || same_target(table, a, b),
            _ => other == number,
        };
        self.asked.iter().flatten().find(|(other, _)| same(*other)).map(|(_, answer)| *answer)
    }

    fn put(&mut self, number: u16, answer: bool) {
        if let Some(slot) = self.asked.iter_mut().find(|slot| slot.is_none()) {
            *slot = Some((number, answer));
        }
    }
}

fn same_target(table: &Table, a: &Step, b: &Step) -> bool {
    let rows = (a.target_row, a.target_offset) == (b.target_row, b.target_offset);
    let ends = (a.target_min, a.target_max) == (b.target_min, b.target_max);
    rows && ends && table.limits_of(a) == table.limits_of(b)
}

impl<'a> Senses<'a> {
    /// For one tick.
    pub fn new(
        table: &'a Table<'a>,
        forced: &Forced,
        view: &'a View,
        chooser: &'a mut Chooser,
        mood: Mood,
    ) -> Senses<'a> {
        let closed = view.closed.0;
        Senses {
            table,
            view,
            chooser,
            mood,
            no_slip: forced.no_slip[usize::from(closed)],
            at_rest: forced.at_rest[usize::from(closed)],
            reports: [None; MAX_LOCKS],
            known: [None; MAX_LOCKS],
            moving: [None; MAX_LOCKS],
            within: [None; MAX_LOCKS],
            ready: [None; MAX_LOCKS],
            rest: [None; 8],
            cool: [None; MAX_LOCKS],
            other: [None; 4],
            trust: Trust::default(),
            road: Road::default(),
            demand: Demand::default(),
            targets: Targets::default(),
            cells: None,
            measured: Measured::default(),
            asked: None,
        }
    }

    /// With guard bits tied to the kinematics, unless the sensors lie.
    pub fn with_cells(mut self, cells: Option<&'a Cells>) -> Senses<'a> {
        self.cells = cells.filter(|_| !self.view.lying);
        self
    }

    /// The answer about a speed, where the kinematics and what was answered before allow both.
    /// What is not known may always be denied.
    fn tied(&mut self, bit: GuardBit, known: bool, helpful: bool) -> bool {
        let Some(cells) = self.cells else { return self.free(helpful) };
        let (held, Measured { yes, no }, mask) = (self.view.closed.0, self.measured, bit.mask());
        let can = cells.allow(held, yes | mask, no);
        let may_not = !known || cells.allow(held, yes, no | mask);
        let answer = match (can, may_not) {
            (true, false) => true,
            (false, true) => false,
            _ => self.free(helpful),
        };
        if answer {
            self.measured.yes |= mask;
        } else if known {
            self.measured.no |= mask;
        }
        answer
    }

    /// The table that the questions are about.
    pub fn table(&self) -> &Table<'a> {
        self.table
    }

    /// Whether the lock was found ready to begin to close.
    pub fn was_ready(&self, lock: u8) -> bool {
        self.ready[usize::from(lock)] == Some(true)
    }

    /// Whether these machines were all found at rest.
    pub fn were_at_rest(&self, machines: Bits) -> bool {
        machines.iter().all(|m| self.rest[usize::from(m)] == Some(true))
    }

    /// Any orders at all: those of a decision that knows nothing.
    pub fn any_orders(&mut self) -> (Bits, Bits) {
        let mut close = Bits::EMPTY;
        let mut prefill = Bits::EMPTY;
        for lock in 0..self.table.lock_count() {
            match self.chooser.choose(3) {
                0 => {}
                1 => close = close.with(lock, true),
                _ => prefill = prefill.with(lock, true),
            }
        }
        (close, prefill)
    }

    /// The request that was answered, if it was asked for.
    pub fn request_given(&self) -> Option<Option<u8>> {
        self.asked
    }

    fn free(&mut self, helpful: bool) -> bool {
        match self.mood {
            Mood::Hostile => self.chooser.either(),
            Mood::Helpful(_) => helpful,
        }
    }

    /// One of the answers that earlier ones in this tick leave possible.
    fn of(&mut self, yes: bool, no: bool) -> bool {
        match (yes, no) {
            (true, true) => self.free(true),
            _ => yes,
        }
    }

    fn road(&mut self, window: Option<Window>, speed: Speed) -> bool {
        let Some(window) = window else { return false };
        let can = |answer| self.road.can(window, speed, answer);
        let (yes, no) = (can(true), can(false));
        let answer = self.of(yes, no);
        self.road.put(window, speed, answer);
        answer
    }

    fn other(&mut self, which: Other) -> bool {
        let at = which as usize;
        if let Some(answer) = self.other[at] {
            return answer;
        }
        let answer = self.free(!matches!(which, Other::Endangered));
        self.other[at] = Some(answer);
        answer
    }
}

impl Guards for Senses<'_> {
    fn slip(&mut self, lock: u8) -> SlipBits {
        let known = self.slip_known(lock);
        let ready = self.slip_ready(lock);
        SlipBits {
            known,
            within: self.slip_within(lock),
            near: ready,
            steady: ready,
            moving: self.slip_moving(lock),
        }
    }

    fn slip_known(&mut self, lock: u8) -> bool {
        let at = usize::from(lock);
        if let Some(answer) = self.known[at] {
            return answer;
        }
        let answer = self.free(true);
        self.known[at] = Some(answer);
        answer
    }

    fn slip_moving(&mut self, lock: u8) -> bool {
        let at = usize::from(lock);
        if let Some(answer) = self.moving[at] {
            return answer;
        }
        // What is unknown is never said to move; what cannot slip does not.
        let may = !self.no_slip.has(lock) && self.known[at] != Some(false);
        let known = self.known[at] == Some(true);
        let answer = may && self.tied(GuardBit::Moving(lock), known, false);
        if answer {
            self.known[at] = Some(true);
        }
        self.moving[at] = Some(answer);
        answer
    }

    fn slip_within(&mut self, lock: u8) -> bool {
        let at = usize::from(lock);
        if let Some(answer) = self.within[at] {
            return answer;
        }
        let must = self.no_slip.has(lock) || self.ready[at] == Some(true);
        let answer = match self.known[at] {
            Some(known) => known && (must || self.tied(GuardBit::Within(lock), known, true)),
            None if must => self.slip_known(lock),
            None => self.tied(GuardBit::Within(lock), false, true),
        };
        if answer {
            self.known[at] = Some(true);
        }
        self.within[at] = Some(answer);
        answer
    }

    fn slip_ready(&mut self, lock: u8) -> bool {
        let at = usize::from(lock);
        if let Some(answer) = self.ready[at] {
            return answer;
        }
        // Small enough to begin, and too large to be locked, do not exclude each other.
        let may = self.known[at] != Some(false) && self.within[at] != Some(false);
        // It may also be too unsteady.
        let answer = may && self.tied(GuardBit::Near(lock), false, true);
        if answer {
            self.known[at] = Some(true);
        }
        self.ready[at] = Some(answer);
        answer
    }

    fn report(&mut self, lock: u8) -> LockReport {
        let at = usize::from(lock);
        if let Some(answer) = self.reports[at] {
            return answer;
        }
        let answer = match self.view.words[at] {
            SwitchWord::Open => LockReport::Open,
            SwitchWord::Closed => LockReport::Closed,
            SwitchWord::NoSwitch => LockReport::Missing,
            SwitchWord::ClosedOrNothing => match self.free(false) {
                true => LockReport::Missing,
                false => LockReport::Closed,
            },
        };
        self.reports[at] = Some(answer);
        answer
    }

    fn plausible(&mut self, sensors: Bits) -> bool {
        let answer = match self.trust.known(sensors) {
            Some(known) => known,
            None => self.free(true),
        };
        self.trust.put(sensors, answer);
        answer
    }

    fn at_rest(&mut self, machines: Bits) -> bool {
        let mut all = true;
        for machine in machines.iter() {
            let at = usize::from(machine);
            if self.rest[at].is_none() {
                // A speed that is not known is no rest.
                let answer =
                    self.at_rest.has(machine) || self.tied(GuardBit::Rest(machine), false, true);
                self.rest[at] = Some(answer);
            }
            all &= self.rest[at] == Some(true);
        }
        all
    }

    fn unloaded(&mut self, _: u16) -> bool {
        self.other(Other::Unloaded)
    }

    fn arrangement_in_window(&mut self, arrangement: u8) -> bool {
        let data = self.table.arrangements.get(usize::from(arrangement));
        self.road(data.map(|a| a.window), Speed::Measured)
    }

    fn arrangement_may_stay(&mut self, arrangement: u8) -> bool {
        let data = self.table.arrangements.get(usize::from(arrangement));
        self.road(data.map(|a| a.keep), Speed::MeasuredOrMissing)
    }

    fn in_window(&mut self, step: u16) -> bool {
        self.road(self.table.step(step).map(|step| step.window), Speed::Measured)
    }

    fn target_allowed(&mut self, step: u16) -> bool {
        if let Some(answer) = self.targets.known(self.table, step) {
            return answer;
        }
        let answer = self.free(true);
        self.targets.put(step, answer);
        answer
    }

    fn demand_within(&mut self, step: u16) -> bool {
        let Some(limit) = self.table.step(step).map(|step| step.demand_max) else { return false };
        let answer = match self.demand.known(limit) {
            Some(known) => known,
            None => self.free(true),
        };
        self.demand.put(limit, answer);
        answer
    }

    fn cool(&mut self, lock: u8) -> bool {
        let at = usize::from(lock);
        if let Some(answer) = self.cool[at] {
            return answer;
        }
        let answer = self.free(true);
        self.cool[at] = Some(answer);
        answer
    }

    fn calm(&mut self) -> bool {
        self.other(Other::Calm)
    }

    fn engine_running(&mut self) -> bool {
        self.other(Other::Engine)
    }

    fn engine_endangered(&mut self) -> bool {
        self.other(Other::Endangered)
    }

    fn request(&mut self) -> Option<u8> {
        if let Some(answer) = self.asked {
            return answer;
        }
        let answer = match self.mood {
            Mood::Helpful(request) => request,
            Mood::Hostile => {
                let count = self.table.arrangements.len() as u8;
                let choice = self.chooser.choose(count + 1);
                (choice < count).then_some(choice)
            }
        };
        self.asked = Some(answer);
        answer
    }
}
