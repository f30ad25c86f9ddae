//! A trace whose battery ends as it began: the price of battery energy at which a choice of
//! arrangements and operating points brings the charge back.
//!
//! The dearer a joule of the battery, the less of it is used: what the trace takes falls with the
//! price, in jumps. Bisection finds the two prices on either side of nothing taken. Where neither is
//! within the tolerance, the first part of the trace is driven at the one and the rest at the other,
//! parted where the least is left.
//!
//! The best possible choice at any price also bounds every other: whoever ends as he began takes no
//! less fuel than the least of fuel and battery at its price (weak duality; textbook: Boyd and
//! Vandenberghe, Convex Optimization, 5.1, from memory). The gap to that bound is told.

use super::backward::{STEP_S, Step};
use super::choice::{Sum, sum};
use crate::energy::model::Model;

/// What may be left, as a share of the fuel's energy.
pub const TOLERANCE: f64 = 1e-3;
/// Prices are not told apart any finer than this, as a ratio.
const FINEST: f64 = 1.003;
/// Lowest and highest price that is tried.
const PRICES: [f64; 2] = [0.1, 30.0];
/// From one price to the next while a bracket is looked for.
const STRIDE: f64 = 1.35;

/// A choice that brings the charge back.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// What it adds up to; the heat of changes is paid by the battery too.
    pub sum: Sum,
    /// The price, of the first part where there are two.
    pub price: f64,
    /// Seconds after which the other price begins to hold, and that price.
    pub then: Option<(f64, f64)>,
    /// What is left: energy out of the battery over the whole trace, J.
    pub left_j: f64,
    /// Whether that is within [`TOLERANCE`].
    pub within: bool,
    /// Largest energy out of the battery since the beginning less the smallest, J.
    pub swing_j: f64,
    /// The least of fuel and battery at its price, of all prices tried: for the best possible choice
    /// a bound for all others, J.
    pub bound_j: f64,
}

impl Held {
    /// Fuel, with what is left of the battery at its price: what choices are compared by, J.
    pub fn fair_j(&self) -> f64 {
        self.sum.fuel_j + self.price * self.left_j
    }
}

/// Why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cannot {
    /// Nothing on board makes electricity but braking.
    NoEngine,
    /// Even at the highest price this much is taken, J.
    Empties(f64),
    /// Even at the lowest price this much is stored, J.
    Fills(f64),
}

/// One price tried.
struct Tried {
    price: f64,
    steps: Vec<Step>,
    sum: Sum,
    left_j: f64,
}

/// What is asked at a price: the steps of the trace.
pub type StepsAt<'a> = dyn FnMut(f64) -> Vec<Step> + 'a;

/// Find it. `path` chooses the arrangements; `begin` is the price that is tried first.
///
/// # Errors
/// Why the charge cannot be brought back.
pub fn sustained(
    model: &Model,
    begin: f64,
    steps: &mut StepsAt,
    path: &dyn Fn(&[Step], f64) -> Vec<usize>,
) -> Result<Held, Cannot> {
    if model.engine.is_none() {
        return Err(Cannot::NoEngine);
    }
    let mut bound_j = f64::NEG_INFINITY;
    let mut at = |price: f64| {
        let steps = steps(price);
        let sum = sum(model, &steps, &path(&steps, price), price);
        bound_j = bound_j.max(sum.cost_j);
        let left_j = sum.battery_j + sum.switch_work_j;
        Tried { price, steps, sum, left_j }
    };
    let (mut low, mut high) = bracket(begin.clamp(PRICES[0], PRICES[1]), &mut at)?;
    while high.price > low.price * FINEST && !good(&low) && !good(&high) {
        let middle = at((low.price * high.price).sqrt());
        if middle.left_j > 0.0 { low = middle } else { high = middle }
    }
    let mut held = match (good(&low), good(&high)) {
        (true, _) => whole(&low),
        (_, true) => whole(&high),
        _ => mixed(model, &low, &high),
    };
    held.bound_j = bound_j;
    Ok(held)
}

fn good(t: &Tried) -> bool {
    t.left_j.abs() <= TOLERANCE * t.sum.fuel_j
}

/// Two prices: at the lower one the battery gives, at the higher one it takes.
fn bracket(begin: f64, at: &mut impl FnMut(f64) -> Tried) -> Result<(Tried, Tried), Cannot> {
    let mut here = at(begin);
    let gives = here.left_j > 0.0;
    loop {
        let price = if gives { here.price * STRIDE } else { here.price / STRIDE };
        if price < PRICES[0] {
            return Err(Cannot::Fills(-here.left_j));
        }
        if price > PRICES[1] {
            return Err(Cannot::Empties(here.left_j));
        }
        let next = at(price);
        match (gives, next.left_j > 0.0) {
            (true, false) => return Ok((here, next)),
            (false, true) => return Ok((next, here)),
            _ => here = next,
        }
    }
}

fn whole(t: &Tried) -> Held {
    finish(t.sum.clone(), &t.steps, t.price, None)
}

fn finish(sum: Sum, steps: &[Step], price: f64, then: Option<(f64, f64)>) -> Held {
    let left_j = sum.battery_j + sum.switch_work_j;
    let (mut now, mut least, mut most) = (0.0f64, 0.0f64, 0.0f64);
    for (step, &a) in steps.iter().zip(&sum.path) {
        now += step.taken[a].map_or(0.0, |t| t.battery_j);
        (least, most) = (least.min(now), most.max(now));
    }
    let within = left_j.abs() <= TOLERANCE * sum.fuel_j;
    Held { sum, price, then, left_j, within, swing_j: most - least, bound_j: f64::NEG_INFINITY }
}

/// The first part at the higher price, so that what is used later is there; the rest at the lower.
fn mixed(model: &Model, low: &Tried, high: &Tried) -> Held {
    let use_of = |t: &Tried, k: usize| t.steps[k].taken[t.sum.path[k]].map_or(0.0, |x| x.battery_j);
    let n = low.steps.len();
    let mut left = low.left_j;
    let mut best = (left.abs(), 0);
    for k in 0..n {
        left += use_of(high, k) - use_of(low, k);
        if left.abs() < best.0 {
            best = (left.abs(), k + 1);
        }
    }
    let seam = best.1;
    let price = (low.price * high.price).sqrt();
    let join = |k: usize| if k < seam { high } else { low };
    let steps: Vec<Step> = (0..n).map(|k| join(k).steps[k].clone()).collect();
    let path: Vec<usize> = (0..n).map(|k| join(k).sum.path[k]).collect();
    let sum = sum(model, &steps, &path, price);
    finish(sum, &steps, high.price, Some((seam as f64 * STEP_S, low.price)))
}
