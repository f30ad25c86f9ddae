//! The best steady point of one arrangement for one demand: free speeds and torques within all
//! limits. A coarse grid finds the valley, a pattern search its floor; no derivative is needed,
//! because limits and the way through the meshes make corners.

use super::model::{Model, Variant};
use super::point::{Limit, Point, evaluate, speeds};
use super::{Demand, MAX};

/// What the battery may do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Charge {
    /// It is held: it gives nothing (what braking returns it takes).
    Held,
    /// It may give and take within its limits; a joule of its cells counts as this many of fuel.
    Priced(f64),
}

impl Charge {
    /// What a point costs, W of fuel.
    pub fn cost_w(self, p: &Point) -> f64 {
        match self {
            // What is returned counts a little, so that among equals more is returned.
            Charge::Held => p.fuel_w + 1e-3 * p.cell_w,
            Charge::Priced(price) => p.fuel_w + price * p.cell_w,
        }
    }
}

/// Most free speeds and torques together.
const MOST_FREE: usize = 6;
/// Grid points along one dimension, by the number of dimensions.
const GRID: [usize; 5] = [1, 33, 13, 7, 5];
/// Steps shrink to this share of the range.
const FINEST: f64 = 5e-5;
/// Slanting steps of two axes.
const SLANTS: [(f64, f64); 12] = [
    (1.0, 1.0),
    (1.0, -1.0),
    (-1.0, 1.0),
    (-1.0, -1.0),
    (1.0, 0.3),
    (1.0, -0.3),
    (-1.0, 0.3),
    (-1.0, -0.3),
    (0.3, 1.0),
    (0.3, -1.0),
    (-0.3, 1.0),
    (-0.3, -1.0),
];
/// Points at which the engine's torque is tried before the crossing is narrowed down.
const CROSSINGS: usize = 8;

/// One variable: its range, and values of its own that are worth a try.
#[derive(Clone, Copy, Debug)]
struct Axis {
    low: f64,
    high: f64,
}

struct Problem<'a> {
    model: &'a Model,
    variant: &'a Variant,
    demand: Demand,
    charge: Charge,
    speeds: usize,
    torques: usize,
    /// The engine's place among the free torques where it is found by the battery's balance.
    engine: Option<usize>,
    axes: Vec<Axis>,
}

/// The best point: within all limits where there is one (then `limit` is `None`), otherwise the
/// one that exceeds the limits least.
pub fn best(model: &Model, variant: &Variant, demand: Demand, charge: Charge) -> Point {
    let problem = Problem::new(model, variant, demand, charge);
    problem.solve()
}

impl<'a> Problem<'a> {
    fn new(model: &'a Model, variant: &'a Variant, demand: Demand, charge: Charge) -> Problem<'a> {
        let engine = variant.engine_free.filter(|_| charge == Charge::Held);
        let speeds = variant.own.len();
        let torques = variant.statics.free.len();
        let mut p =
            Problem { model, variant, demand, charge, speeds, torques, engine, axes: Vec::new() };
        for k in 0..speeds {
            p.axes.push(p.speed_axis(k));
        }
        for t in (0..torques).filter(|t| Some(*t) != engine) {
            p.axes.push(p.torque_axis(t));
        }
        p.axes.truncate(MOST_FREE);
        p
    }

    /// The range of free speed `k` that the limits of all shafts leave while the others rest.
    fn speed_axis(&self, k: usize) -> Axis {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let own = self.variant.own[k];
        for s in 0..self.model.shafts {
            let share = self.variant.motions[k + 1][s];
            if share == 0.0 || (self.speeds > 1 && s != own) {
                continue;
            }
            let rest = self.variant.motions[0][s] * self.demand.output_radps;
            let [mut a, mut b] = self.model.shaft_range[s];
            if let Some(e) = self.model.engine.as_ref().filter(|e| e.shaft == s) {
                b = b.min(e.range[1]);
                a = if self.variant.engine_on { a.max(e.range[0]) } else { a };
            }
            let (x, y) = ((a - rest) / share, (b - rest) / share);
            low = low.max(x.min(y));
            high = high.min(x.max(y));
        }
        let (low, high) = (low.max(-2000.0), high.min(2000.0));
        if low <= high { Axis { low, high } } else { Axis { low: high, high: low } }
    }

    fn torque_axis(&self, t: usize) -> Axis {
        let machine = self.variant.statics.machines[self.variant.statics.free[t]];
        if let Some(e) = self.model.engine.as_ref().filter(|e| e.machine == machine) {
            let most = e.curve.iter().map(|p| p.1).fold(0.0, f64::max);
            return Axis { low: -e.drag_nm, high: most };
        }
        let most = self.model.electric.iter().find(|e| e.machine == machine);
        let most = most.map_or(0.0, |e| e.max_nm);
        Axis { low: -most, high: most }
    }

    /// The point at `x`, and its score: the smaller the better.
    fn at(&self, x: &[f64; MOST_FREE]) -> (f64, Point) {
        let mut torques = [0.0; MAX];
        let mut next = self.speeds;
        for t in 0..self.torques {
            if Some(t) != self.engine && next < self.axes.len() {
                torques[t] = x[next];
                next += 1;
            }
        }
        let mut point = match self.engine {
            Some(t) => self.held(&x[..self.speeds], &mut torques, t),
            None => self.point(&x[..self.speeds], &torques),
        };
        if self.charge == Charge::Held && point.terminal_w > 1.0 {
            let excess = 1.0 + point.terminal_w / 1e3;
            if excess > point.excess {
                point.excess = excess;
                point.limit = Some(Limit::Held);
            }
        }
        (self.score(&point), point)
    }

    fn score(&self, p: &Point) -> f64 {
        if p.excess > 0.0 { 1e12 * (1.0 + p.excess) } else { self.charge.cost_w(p) }
    }

    fn point(&self, speeds: &[f64], torques: &[f64; MAX]) -> Point {
        evaluate(self.model, self.variant, &self.demand, speeds, &torques[..self.torques])
    }

    /// The least engine torque at which the battery gives nothing.
    fn held(&self, free: &[f64], torques: &mut [f64; MAX], t: usize) -> Point {
        let Some(e) = &self.model.engine else { return self.point(free, torques) };
        let speed = speeds(self.model, self.variant, &self.demand, free)[e.shaft];
        let (low, high) = (-e.drag_nm, e.full_nm(speed).max(0.0));
        let mut try_at = |nm: f64| {
            torques[t] = nm;
            self.point(free, torques)
        };
        let mut before = try_at(low);
        let (mut a, mut least) = (low, before);
        if before.terminal_w <= 0.0 {
            return before;
        }
        for i in 1..=CROSSINGS {
            let b = low + (high - low) * i as f64 / CROSSINGS as f64;
            let now = try_at(b);
            if now.terminal_w <= 0.0 {
                return crossing((a, before.terminal_w), (b, now), &mut try_at);
            }
            if now.terminal_w < least.terminal_w {
                least = now;
            }
            (a, before) = (b, now);
        }
        least
    }

    fn solve(&self) -> Point {
        let n = self.axes.len();
        let steps = GRID[n.min(GRID.len() - 1)];
        let mut found: Vec<(f64, [f64; MOST_FREE])> = Vec::new();
        let mut x = [0.0; MOST_FREE];
        let total = (steps + 1).pow(n as u32);
        for index in 0..total {
            let mut rest = index;
            for (axis, value) in self.axes.iter().zip(&mut x) {
                let i = rest % (steps + 1);
                rest /= steps + 1;
                *value = axis.value(i, steps);
            }
            found.push((self.at(&x).0, x));
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        let starts = if n == 0 { 1 } else { 2 };
        let ends = found.iter().take(starts).map(|(score, x)| self.descend(*score, *x, steps));
        let best = ends.min_by(|a, b| a.0.total_cmp(&b.0));
        self.at(&best.map_or(x, |b| b.1)).1
    }

    /// Take a step (axis, share of its range) where it is better; whether it was.
    fn try_step(&self, score: &mut f64, x: &mut [f64; MOST_FREE], steps: &[(usize, f64)]) -> bool {
        let mut y = *x;
        for &(k, share) in steps {
            let axis = self.axes[k];
            y[k] = (x[k] + share * (axis.high - axis.low)).clamp(axis.low, axis.high);
        }
        let new = self.at(&y).0;
        let better = new < *score;
        if better {
            (*score, *x) = (new, y);
        }
        better
    }

    /// Pattern search: try a step each way along each axis, halve the steps where none helps.
    fn descend(
        &self,
        mut score: f64,
        mut x: [f64; MOST_FREE],
        steps: usize,
    ) -> (f64, [f64; MOST_FREE]) {
        let n = self.axes.len();
        let mut share = 0.5 / steps as f64;
        while share > FINEST && n > 0 {
            let mut better = false;
            for k in 0..n {
                for sign in [1.0, -1.0] {
                    better |= self.try_step(&mut score, &mut x, &[(k, sign * share)]);
                }
            }
            // Along a limit the way goes aslant.
            for (k, l) in (0..n).flat_map(|l| (0..l).map(move |k| (k, l))) {
                if better {
                    break;
                }
                for (a, b) in SLANTS {
                    let steps = [(k, a * share), (l, b * share)];
                    better |= self.try_step(&mut score, &mut x, &steps);
                }
            }
            if !better {
                share *= 0.5;
            }
        }
        (score, x)
    }
}

impl Axis {
    /// Grid value `i`; the last one is standstill (or no torque), where it lies inside.
    fn value(self, i: usize, steps: usize) -> f64 {
        if i == steps {
            return 0f64.clamp(self.low, self.high);
        }
        self.low + (self.high - self.low) * i as f64 / (steps - 1).max(1) as f64
    }
}

/// Where the terminals' power crosses zero between `a` (above) and `b` (not above): false
/// position with the Illinois rule.
fn crossing(a: (f64, f64), b: (f64, Point), try_at: &mut impl FnMut(f64) -> Point) -> Point {
    let ((mut a, mut fa), (mut b, mut point)) = (a, b);
    let mut fb = point.terminal_w;
    let mut side = 0;
    for _ in 0..40 {
        if point.terminal_w > -1e-6 || (b - a).abs() < 1e-12 {
            break;
        }
        let nm = (a * fb - b * fa) / (fb - fa);
        let now = try_at(nm);
        if now.terminal_w > 0.0 {
            (a, fa) = (nm, now.terminal_w);
            fb = if side == 1 { 0.5 * fb } else { fb };
            side = 1;
        } else {
            (b, fb, point) = (nm, now.terminal_w, now);
            fa = if side == 2 { 0.5 * fa } else { fa };
            side = 2;
        }
    }
    point
}
