//! Backward over a trace: what each arrangement would take in each second.

use super::trace::Trace;
use crate::energy::MAX;
use crate::energy::map::each;
use crate::energy::model::Model;
use crate::energy::point::Point;
use crate::energy::search::{Charge, best};
use crate::energy::terms::Terms;

/// Length of a step, s.
pub const STEP_S: f64 = 1.0;
/// Cost of any change, J of fuel: what costs the same is no reason for one.
const TIE_J: f64 = 1.0;
/// Cost of a joule that the wheels do not get, J of fuel: high, so that it is got if it can be.
pub(super) const MISSED: f64 = 100.0;

/// One arrangement in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Cost, J of fuel.
    pub cost_j: f64,
    /// Fuel, J.
    pub fuel_j: f64,
    /// Out of the battery's cells, J.
    pub battery_j: f64,
    /// What the wheels were to get and did not, J.
    pub missed_j: f64,
    /// Speeds of the shafts, rad/s.
    pub speed: [f64; MAX],
    /// Where the energy goes.
    pub terms: Terms,
}

/// One step of a trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its beginning, s.
    pub t_s: f64,
    /// Mean road speed, m/s.
    pub mps: f64,
    /// Wheel force, N.
    pub force_n: f64,
    /// Torque asked at the output, Nm.
    pub output_nm: f64,
    /// Speed of the output, rad/s.
    pub output_radps: f64,
    /// What each arrangement would take; `None` where it cannot be used.
    pub taken: Vec<Option<Taken>>,
}

/// All steps of a trace at this price of battery energy.
pub fn steps(
    model: &Model,
    arrangements: usize,
    trace: &Trace,
    price: f64,
    threads: usize,
    tell: &(dyn Fn(usize, usize) + Sync),
) -> Vec<Step> {
    let total = (trace.duration_s() / STEP_S).floor().max(1.0) as usize;
    each(total, threads, tell, |k| {
        let (a, b) = (trace.at(k as f64 * STEP_S), trace.at((k + 1) as f64 * STEP_S));
        let mps = 0.5 * (a.kmh + b.kmh) / 3.6;
        let slope = 0.5 * (a.slope + b.slope) / 100.0;
        // At rest the brake holds: nothing is asked of the wheels.
        let force_n = match mps == 0.0 {
            true => 0.0,
            false => model.road.force_n(mps, slope, (b.kmh - a.kmh) / 3.6 / STEP_S),
        };
        let demand = model.road.demand(mps, force_n);
        let mut taken = taken(model, arrangements, mps, force_n, price);
        let rise_n = model.road.force_n(0.0, slope, 0.0);
        let kinetic = model.road.inert_kg * (b.kmh - a.kmh) / 3.6 * mps;
        for own in taken.iter_mut().flatten() {
            own.terms.grade = rise_n * mps * STEP_S;
            own.terms.kinetic = kinetic;
            own.terms.road = force_n * mps * STEP_S - own.terms.grade - kinetic;
        }
        Step {
            t_s: k as f64 * STEP_S,
            mps,
            force_n,
            output_nm: demand.output_nm,
            output_radps: demand.output_radps,
            taken,
        }
    })
}

/// Into how many shares the force is parted; less and less of it is tried: what is missing of braking is done by the brakes for
/// nothing, what is missing of driving is missed.
const SHARES: usize = 12;

/// What each arrangement would take for one step at this speed and wheel force.
pub(in crate::energy) fn taken(
    model: &Model,
    arrangements: usize,
    mps: f64,
    force_n: f64,
    price: f64,
) -> Vec<Option<Taken>> {
    let charge = Charge::Priced(price);
    let mut list: Vec<Option<Taken>> = vec![None; arrangements];
    for v in &model.variants {
        let mut own: Option<Taken> = None;
        for left in (0..=SHARES).rev() {
            let share = left as f64 / SHARES as f64;
            let point = best(model, v, model.road.demand(mps, share * force_n), charge);
            if point.limit.is_some() {
                continue;
            }
            let missed = if force_n * mps > 0.0 { (1.0 - share) * force_n * mps } else { 0.0 };
            let cost_w = charge.cost_w(&point) + MISSED * missed;
            let brake = point.wheel_w - force_n * mps + missed;
            let new = of(model, &point, cost_w, missed, brake);
            // Less and less of the force: once that gets dearer it stays so.
            if own.is_some_and(|own| own.cost_j <= new.cost_j) {
                break;
            }
            own = Some(new);
        }
        let slot = &mut list[v.arrangement];
        let cheaper = |own: &Taken| slot.is_none_or(|old: Taken| own.cost_j < old.cost_j);
        if let Some(own) = own.filter(cheaper) {
            *slot = Some(own);
        }
    }
    list
}

fn of(model: &Model, p: &Point, cost_w: f64, missed_w: f64, brake_w: f64) -> Taken {
    let mut terms = Terms {
        fuel: p.fuel_w * STEP_S,
        battery: p.cell_w * STEP_S,
        missed: -missed_w * STEP_S,
        brake: brake_w * STEP_S,
        ..Terms::default()
    };
    terms.add_losses(model, &p.losses, STEP_S);
    Taken {
        cost_j: cost_w * STEP_S,
        fuel_j: p.fuel_w * STEP_S,
        battery_j: p.cell_w * STEP_S,
        missed_j: missed_w * STEP_S,
        speed: p.speed,
        terms,
    }
}

/// Friction heat that a change of arrangement is charged with, J: `J dw^2 / 2` of every shaft but
/// the output, for the speeds before and after at the same road speed.
///
/// A clutch that brings a shaft of inertia `J` over `dw` to a partner that keeps its speed turns
/// just that into heat (textbook: Shigley, from memory), and where both sides give way less. So it
/// bounds the friction heat of a change whose shafts are joined by clutches alone. Not bounded, and
/// not in it: the kinetic energy that shafts keep and give back at the next change, the loss of
/// machines that do the work instead, drag, and what a gap in the push does.
pub fn switch_work_j(model: &Model, from: &Taken, to: &Taken) -> f64 {
    let shafts = 0..model.shafts;
    shafts
        .filter(|s| *s != model.output)
        .map(|s| 0.5 * model.inertia[s] * (to.speed[s] - from.speed[s]).powi(2))
        .sum()
}

/// What a change of arrangement costs, J of fuel: its [heat](switch_work_j) at the price of battery
/// energy, and a little.
pub fn switch_j(model: &Model, from: &Taken, to: &Taken, price: f64) -> f64 {
    price * switch_work_j(model, from, to) + TIE_J
}
