//! Choices of arrangements over a trace: the best possible by dynamic programming, the
//! schedule's, and one arrangement alone; what each adds up to.

use supervisor::schedule::{Chooser, Schedule};

use super::backward::{MISSED, STEP_S, Step, switch_j, switch_work_j};
use crate::energy::model::Model;
use crate::energy::terms::Terms;

/// Seconds for which the best possible choice stays too: shorter is no choice but hunting.
pub const STAY_S: usize = 3;

/// What a choice adds up to.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Sum {
    /// Cost with the changes, J of fuel; missed pull weighs a hundredfold.
    pub cost_j: f64,
    /// Fuel, J.
    pub fuel_j: f64,
    /// Out of the battery's cells, J.
    pub battery_j: f64,
    /// Changes of arrangement, J of fuel.
    pub switch_j: f64,
    /// Heat of the changes, J out of the battery.
    pub switch_work_j: f64,
    /// Number of changes.
    pub changes: usize,
    /// What the wheels were to get and did not, J.
    pub missed_j: f64,
    /// Seconds in which the chosen arrangement could not be used and another one was.
    pub refused_s: f64,
    /// Seconds in each arrangement.
    pub time_s: Vec<f64>,
    /// The arrangement in each step.
    pub path: Vec<usize>,
    /// Where the energy goes; the heat of changes is not in it.
    pub terms: Terms,
}

impl Sum {
    /// Fuel and battery at its price, changes included, without what missed pull is weighed with, J.
    pub fn paid_j(&self) -> f64 {
        self.cost_j - MISSED * self.missed_j
    }

    /// Whether the wheels got less than the trace asks for: more than rounding.
    pub fn misses(&self) -> bool {
        self.missed_j > 500.0
    }
}

fn cost(step: &Step, a: usize) -> Option<f64> {
    step.taken.get(a)?.as_ref().map(|t| t.cost_j)
}

fn change(model: &Model, step: &Step, from: usize, to: usize, price: f64) -> Option<f64> {
    let [from, to] = [from, to].map(|a| step.taken[a].as_ref());
    Some(switch_j(model, from?, to?, price))
}

/// The best possible cost if changes cost nothing, J of fuel: a bound from below for every path
/// whatever changes truly cost. Missed pull is left out of it.
pub fn free_j(steps: &[Step]) -> f64 {
    let least = |step: &Step| {
        let all = step.taken.iter().flatten();
        let best = all.min_by(|a, b| a.cost_j.total_cmp(&b.cost_j));
        best.map_or(0.0, |t| t.cost_j - MISSED * t.missed_j)
    };
    steps.iter().map(least).sum()
}

/// What a path adds up to.
pub fn sum(model: &Model, steps: &[Step], path: &[usize], price: f64) -> Sum {
    let mut out = Sum {
        time_s: vec![0.0; steps.first().map_or(0, |s| s.taken.len())],
        path: path.to_vec(),
        ..Sum::default()
    };
    let mut before: Option<usize> = None;
    for (step, &a) in steps.iter().zip(path) {
        let Some(now) = step.taken[a] else { continue };
        out.cost_j += now.cost_j;
        out.fuel_j += now.fuel_j;
        out.battery_j += now.battery_j;
        out.missed_j += now.missed_j;
        out.terms.add(&now.terms);
        out.time_s[a] += STEP_S;
        if let Some(old) = before
            && old != a
        {
            // Both at the new speed; nothing where the old one cannot be used there.
            let from = step.taken[old].as_ref();
            out.switch_j += from.map_or(0.0, |from| switch_j(model, from, &now, price));
            out.switch_work_j += from.map_or(0.0, |from| switch_work_j(model, from, &now));
            out.changes += 1;
        }
        before = Some(a);
    }
    out.cost_j += out.switch_j;
    out
}

/// The best possible path: dynamic programming over arrangement and stay, changes counted.
/// `allowed` says whether a change can be made at all.
pub fn optimum(
    model: &Model,
    steps: &[Step],
    price: f64,
    allowed: &dyn Fn(usize, usize) -> bool,
) -> Vec<usize> {
    let n = steps.first().map_or(0, |s| s.taken.len());
    // State: arrangement and how long it has stood, up to STAY_S steps.
    let state = |a: usize, stayed: usize| a * STAY_S + stayed;
    let mut best = vec![f64::INFINITY; n * STAY_S];
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(steps.len());
    for (k, step) in steps.iter().enumerate() {
        let mut next = vec![f64::INFINITY; n * STAY_S];
        let mut from = vec![usize::MAX; n * STAY_S];
        for a in 0..n {
            let Some(own) = cost(step, a) else { continue };
            if k == 0 {
                next[state(a, STAY_S - 1)] = own;
                continue;
            }
            let mut offer = |to: usize, old: usize, value: f64| {
                if value < next[to] {
                    (next[to], from[to]) = (value, old);
                }
            };
            for stayed in 0..STAY_S {
                let old = state(a, stayed);
                offer(state(a, (stayed + 1).min(STAY_S - 1)), old, best[old] + own);
            }
            for b in (0..n).filter(|&b| b != a && allowed(b, a)) {
                // From an arrangement that cannot be used any more one may leave at once.
                let gone = step.taken[b].is_none();
                let extra = change(model, step, b, a, price).unwrap_or(0.0);
                for stayed in (0..STAY_S).filter(|s| gone || *s == STAY_S - 1) {
                    let old = state(b, stayed);
                    offer(state(a, 0), old, best[old] + own + extra);
                }
            }
        }
        best = next;
        back.push(from);
    }
    let end = (0..best.len()).min_by(|&a, &b| best[a].total_cmp(&best[b]));
    let mut at = end.unwrap_or(0);
    let mut path = vec![0; steps.len()];
    for k in (0..steps.len()).rev() {
        path[k] = at / STAY_S;
        at = if back[k][at] == usize::MAX { at } else { back[k][at] };
    }
    path
}

/// The path of a schedule that is asked `per_step` times a step; where its answer cannot be used
/// the last one stays, or the first that can: those seconds count as refused.
pub fn scheduled(steps: &[Step], schedule: &Schedule, per_step: u32) -> (Vec<usize>, f64) {
    let mut chooser = Chooser::default();
    let mut path: Vec<usize> = Vec::with_capacity(steps.len());
    let mut refused_s = 0.0;
    for step in steps {
        let mut asked = None;
        for _ in 0..per_step.max(1) {
            asked = chooser.tick(schedule, step.output_radps as f32, step.output_nm as f32, false);
        }
        let can = |a: usize| step.taken.get(a).is_some_and(Option::is_some);
        let asked = asked.map_or(0, usize::from);
        let used = match path.last() {
            _ if can(asked) => asked,
            Some(&last) if can(last) => last,
            _ => (0..step.taken.len()).find(|&a| can(a)).unwrap_or(asked),
        };
        refused_s += if used == asked { 0.0 } else { STEP_S };
        path.push(used);
    }
    (path, refused_s)
}

/// One arrangement alone, another one only where it cannot be used.
pub fn alone(steps: &[Step], arrangement: usize) -> (Vec<usize>, f64) {
    let mut refused_s = 0.0;
    let path = steps
        .iter()
        .map(|step| {
            if step.taken[arrangement].is_some() {
                return arrangement;
            }
            refused_s += STEP_S;
            let cost = |a: &usize| cost(step, *a).unwrap_or(f64::INFINITY);
            let all = 0..step.taken.len();
            all.min_by(|a, b| cost(a).total_cmp(&cost(b))).unwrap_or(arrangement)
        })
        .collect();
    (path, refused_s)
}
