//! What a run comes to: transitions, closings, energies, torque gaps, refusals, faults,
//! findings, margins.

use supervisor::table::{Action, Table};

use crate::checkers::{Checker, Finding, Margin};
use crate::drive::reason::refusal_text;
use crate::drive::record::TickRecord;
use crate::drive::trace::stated_faults;
use crate::driveline::{Driveline, LockKind};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// The wheels count as short of torque when this share of the demand is missing.
const GAP_SHARE: f64 = 0.5;
/// Demands below this torque at the output are too small to speak of a gap, Nm.
const GAP_DEMAND_MIN_NM: f64 = 20.0;

/// One way from an arrangement to another, or attempts that led back.
#[derive(Clone, Debug, PartialEq)]
pub struct Transition {
    /// Arrangement or lock set that was left.
    pub from: String,
    /// Arrangement that was reached.
    pub to: String,
    /// When the first step began, s.
    pub start_s: f64,
    /// How long it took, s.
    pub took_s: f64,
    /// Attempts that led back to where they began, one after another; 0 for a real transition.
    pub attempts: usize,
    /// The steps, in order: "close ring-clutch".
    pub steps: Vec<String>,
    /// Time in it during which more than half of the demand was missing at the wheels, s.
    pub gap_s: f64,
    /// Largest missing torque at the output in it, Nm.
    pub gap_depth_nm: f64,
}

/// One closing of a lock.
#[derive(Clone, Debug, PartialEq)]
pub struct Closing {
    /// When it began to carry torque, s.
    pub t_s: f64,
    /// The lock.
    pub lock: String,
    /// True slip at that moment, rpm.
    pub slip_rpm: f64,
    /// Its limit, rpm.
    pub limit_rpm: Option<f64>,
    /// Friction work until it turned as one or opened, J.
    pub work_j: f64,
}

/// A refusal, as long as it stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Refused {
    /// When it was first stated, s.
    pub t_s: f64,
    /// The arrangement that was asked for.
    pub asked: String,
    /// Why.
    pub reason: String,
    /// How long it stood, s.
    pub stood_s: f64,
}

/// Friction work of one lock in the whole run.
#[derive(Clone, Debug, PartialEq)]
pub struct LockWork {
    /// The lock.
    pub lock: String,
    /// Heat in the whole run, drag included, J.
    pub total_j: f64,
    /// Largest friction work of one closing, J.
    pub largest_closing_j: f64,
    /// The budget of one closing, kJ.
    pub budget_kj: Option<f64>,
    /// How often it closed.
    pub closings: usize,
}

/// What a run comes to.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Summary {
    /// Length of the run, s.
    pub duration_s: f64,
    /// Way driven, m.
    pub distance_m: f64,
    /// Transitions in order.
    pub transitions: Vec<Transition>,
    /// Closings in order.
    pub closings: Vec<Closing>,
    /// Refusals in order.
    pub refusals: Vec<Refused>,
    /// Faults that the supervisor stated, with the time of the first tick.
    pub faults: Vec<(f64, String)>,
    /// Work of each lock.
    pub locks: Vec<LockWork>,
    /// Time without half of the demanded torque at the wheels in the whole run, s.
    pub gap_s: f64,
    /// Arrangement at the end, empty when none stands.
    pub ends_in: String,
    /// What the judges found.
    pub findings: Vec<Finding>,
    /// How near the run came to each limit.
    pub margins: Vec<Margin>,
}

impl Summary {
    /// Note a finished way; attempts that lead back are told together.
    fn add_transition(&mut self, open: Open, to: String, t_s: f64) {
        let led_back = open.from == to;
        if let Some(last) = self.transitions.last_mut()
            && led_back
            && last.attempts > 0
            && last.to == to
        {
            last.attempts += 1;
            last.took_s = t_s - last.start_s;
            last.gap_s += open.gap_s;
            last.gap_depth_nm = last.gap_depth_nm.max(open.gap_depth_nm);
            for step in open.steps {
                if !last.steps.contains(&step) {
                    last.steps.push(step);
                }
            }
            return;
        }
        self.transitions.push(Transition {
            from: open.from,
            to,
            start_s: open.start_s,
            took_s: t_s - open.start_s,
            attempts: usize::from(led_back),
            steps: open.steps,
            gap_s: open.gap_s,
            gap_depth_nm: open.gap_depth_nm,
        });
    }
}

#[derive(Clone, Debug)]
struct Open {
    from: String,
    start_s: f64,
    steps: Vec<String>,
    last_step: Option<u16>,
    gap_s: f64,
    gap_depth_nm: f64,
}

/// Gathers a summary tick by tick, and shows each tick to the judges.
pub struct Gatherer<'a> {
    driveline: &'a Driveline,
    table: Table<'a>,
    judges: Vec<Box<dyn Checker>>,
    summary: Summary,
    under_way: Option<Open>,
    arrangement: Option<u8>,
    closing: Vec<Option<(usize, f64)>>,
    work_before_j: Vec<f64>,
    engaged_before: u8,
    stated: String,
}

impl<'a> Gatherer<'a> {
    /// A gatherer that shows every tick to `judges`.
    pub fn new(
        driveline: &'a Driveline,
        table: Table<'a>,
        judges: Vec<Box<dyn Checker>>,
    ) -> Gatherer<'a> {
        let locks = driveline.locks.iter().map(|l| LockWork {
            lock: l.name.clone(),
            total_j: 0.0,
            largest_closing_j: 0.0,
            budget_kj: match &l.kind {
                LockKind::Friction(f) => Some(f.energy_budget_kj),
                LockKind::Dog(_) => None,
            },
            closings: 0,
        });
        let n = driveline.locks.len();
        Gatherer {
            driveline,
            table,
            judges,
            summary: Summary { locks: locks.collect(), ..Summary::default() },
            under_way: None,
            arrangement: None,
            closing: vec![None; n],
            work_before_j: vec![0.0; n],
            engaged_before: 0,
            stated: String::new(),
        }
    }

    fn name_of(&self, arrangement: Option<u8>) -> Option<String> {
        let a = self.driveline.arrangements.get(usize::from(arrangement?))?;
        Some(a.name.clone())
    }

    /// Take in one tick.
    pub fn add(&mut self, record: &TickRecord) {
        for judge in &mut self.judges {
            judge.observe(&record.truth);
        }
        let truth = &record.truth;
        self.summary.duration_s = truth.t_s;
        self.summary.distance_m += record.road_mps * truth.dt_s;
        self.add_closings(record);
        self.add_transition(record);
        self.add_refusal(record);
        let stated = stated_faults(self.driveline, record);
        for word in stated.split_whitespace() {
            if !self.stated.split_whitespace().any(|w| w == word) {
                self.summary.faults.push((truth.t_s, word.to_owned()));
            }
        }
        self.stated = stated;
    }

    fn add_closings(&mut self, record: &TickRecord) {
        let truth = &record.truth;
        for (i, lock) in self.driveline.locks.iter().enumerate() {
            let now = truth.locks[i];
            let before = std::mem::replace(&mut self.work_before_j[i], now.work_j);
            if let Some(slip) = now.closed_at_radps {
                self.closing[i] = Some((self.summary.closings.len(), before));
                self.summary.locks[i].closings += 1;
                self.summary.closings.push(Closing {
                    t_s: truth.t_s,
                    lock: lock.name.clone(),
                    slip_rpm: slip.abs() / RPM,
                    limit_rpm: lock.engage_slip_max_rpm,
                    work_j: 0.0,
                });
            }
            if let Some((index, at_start)) = self.closing[i] {
                let work = now.work_j - at_start;
                self.summary.closings[index].work_j = work;
                let largest = &mut self.summary.locks[i].largest_closing_j;
                *largest = largest.max(work);
                if now.sticking || !now.engaged {
                    self.closing[i] = None;
                }
            }
            self.summary.locks[i].total_j = now.work_j;
        }
        self.engaged_before = truth.engaged_set();
    }

    /// Missing torque at the output against the demand, Nm; nothing for small demands.
    fn missing_nm(record: &TickRecord) -> f64 {
        let demand = record.demand_nm;
        if demand.abs() < GAP_DEMAND_MIN_NM {
            return 0.0;
        }
        ((demand - record.truth.output_nm) * demand.signum()).max(0.0)
    }

    fn add_transition(&mut self, record: &TickRecord) {
        let truth = &record.truth;
        let missing = Gatherer::missing_nm(record);
        let gap = missing > GAP_SHARE * record.demand_nm.abs() && missing > 0.0;
        let gap_s = if gap { truth.dt_s } else { 0.0 };
        self.summary.gap_s += gap_s;
        if let Some(step) = record.step {
            if self.under_way.is_none() {
                let from = self.name_of(self.arrangement).unwrap_or_else(|| {
                    let names = self.driveline.lock_names(self.engaged_before);
                    if names.is_empty() { "all open".to_owned() } else { names.join("+") }
                });
                self.under_way = Some(Open {
                    from,
                    start_s: truth.t_s - truth.dt_s,
                    steps: Vec::new(),
                    last_step: None,
                    gap_s: 0.0,
                    gap_depth_nm: 0.0,
                });
            }
            if let Some(open) = &mut self.under_way
                && open.last_step != Some(step.number)
            {
                open.last_step = Some(step.number);
                let verb = if step.action == Action::Close { "close" } else { "open" };
                open.steps
                    .push(format!("{verb} {}", self.driveline.locks[usize::from(step.lock)].name));
            }
        }
        if let Some(open) = &mut self.under_way {
            open.gap_s += gap_s;
            open.gap_depth_nm = open.gap_depth_nm.max(missing);
        }
        if truth.stated_reached.is_some() && record.step.is_none() {
            let name = self.name_of(truth.stated_reached).unwrap_or_default();
            if let Some(open) = self.under_way.take() {
                self.summary.add_transition(open, name, truth.t_s);
            }
            self.arrangement = truth.stated_reached;
        } else if record.step.is_none() && record.status.arrangement.is_none() {
            self.arrangement = None;
        }
    }

    fn add_refusal(&mut self, record: &TickRecord) {
        let Some(refusal) = record.status.refusal else { return };
        let asked = self.name_of(record.status.goal).unwrap_or_else(|| "nothing".to_owned());
        let reason = refusal_text(self.driveline, &self.table, refusal);
        let t_s = record.truth.t_s;
        if let Some(last) = self.summary.refusals.last_mut()
            && last.asked == asked
            && last.reason == reason
            && t_s - (last.t_s + last.stood_s) < 1.5 * record.truth.dt_s
        {
            last.stood_s = t_s - last.t_s;
            return;
        }
        self.summary.refusals.push(Refused { t_s, asked, reason, stood_s: 0.0 });
    }

    /// The finished summary, with what the judges found.
    pub fn finish(mut self, last: Option<&TickRecord>) -> Summary {
        if let Some(record) = last {
            self.summary.ends_in = self.name_of(record.status.arrangement).unwrap_or_default();
        }
        for judge in &mut self.judges {
            self.summary.margins.extend(judge.margins());
            self.summary.findings.extend(judge.finish());
        }
        self.summary.findings.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        self.summary
    }
}
