//! The map over road speed and wheel force: each arrangement's best point, the best arrangement.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::model::Model;
use super::point::{Limit, Point};
use super::search::{Charge, best};

/// How the battery is treated in a map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mode {
    /// Charge is sustained: the battery gives nothing.
    Held,
    /// Charge is depleted: a joule of the cells counts no more than one of fuel.
    Depleting,
    /// A joule of the cells counts as much fuel as it takes to make one on board.
    Priced,
}

impl Mode {
    /// All, in the order in which they are shown.
    pub const ALL: [Mode; 3] = [Mode::Held, Mode::Depleting, Mode::Priced];

    /// The word used in texts, JSON and CSV.
    pub fn word(self) -> &'static str {
        match self {
            Mode::Held => "held",
            Mode::Depleting => "depleting",
            Mode::Priced => "priced",
        }
    }

    /// With the price of a joule of the cells.
    pub fn charge(self, price: f64) -> Charge {
        match self {
            Mode::Held => Charge::Held,
            Mode::Depleting => Charge::Priced(1.0),
            Mode::Priced => Charge::Priced(price),
        }
    }
}

/// One arrangement in one cell of a map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Entry {
    /// Cost in W of fuel.
    pub cost_w: f64,
    /// The operating point.
    pub point: Point,
    /// Whether the engine runs.
    pub engine_on: bool,
}

impl Entry {
    /// Whether it is within all limits.
    pub fn feasible(&self) -> bool {
        self.point.limit.is_none()
    }
}

/// One cell of a map.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// One entry an arrangement; `None` where it cannot drive at all.
    pub entries: Vec<Option<Entry>>,
    /// The best arrangement.
    pub winner: Option<usize>,
    /// The second best.
    pub second: Option<usize>,
}

impl Cell {
    /// What the best saves against the second, W of fuel.
    pub fn gain_w(&self) -> Option<f64> {
        let cost = |a: Option<usize>| Some(self.entries[a?].as_ref()?.cost_w);
        Some(cost(self.second)? - cost(self.winner)?)
    }

    /// The same as a share of the second's cost, where both are costs (braking returns energy).
    pub fn gain_share(&self) -> Option<f64> {
        let cost = |a: Option<usize>| Some(self.entries[a?].as_ref()?.cost_w);
        let (first, second) = (cost(self.winner)?, cost(self.second)?);
        (first > 0.0 && second > 1.0).then(|| 1.0 - first / second)
    }
}

/// A map.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// How the battery is treated.
    pub mode: Mode,
    /// Price of a joule of the cells in joules of fuel.
    pub price: f64,
    /// Road speeds, m/s.
    pub speeds_mps: Vec<f64>,
    /// Wheel forces, N.
    pub forces_n: Vec<f64>,
    /// A row of forces a speed.
    pub cells: Vec<Cell>,
}

impl Map {
    /// The cell at these indices.
    pub fn cell(&self, speed: usize, force: usize) -> &Cell {
        &self.cells[speed * self.forces_n.len() + force]
    }

    /// The limit that keeps an arrangement out of most cells, of those that are not won.
    pub fn limits_of(&self, arrangement: usize) -> Vec<(Limit, usize)> {
        let mut list: Vec<(Limit, usize)> = Vec::new();
        let met = self.cells.iter().filter_map(|c| c.entries[arrangement].as_ref()?.point.limit);
        for limit in met {
            match list.iter_mut().find(|l| l.0 == limit) {
                Some(entry) => entry.1 += 1,
                None => list.push((limit, 1)),
            }
        }
        list.sort_by_key(|l| (std::cmp::Reverse(l.1), l.0));
        list
    }
}

/// All arrangements at one demand.
pub fn cell(model: &Model, arrangements: usize, mps: f64, force_n: f64, charge: Charge) -> Cell {
    let demand = model.road.demand(mps, force_n);
    let mut entries: Vec<Option<Entry>> = vec![None; arrangements];
    for v in &model.variants {
        let point = best(model, v, demand, charge);
        let entry = Entry { cost_w: charge.cost_w(&point), point, engine_on: v.engine_on };
        let rank = |e: &Entry| (e.point.excess, e.cost_w);
        let slot = &mut entries[v.arrangement];
        if slot.as_ref().is_none_or(|old| rank(&entry) < rank(old)) {
            *slot = Some(entry);
        }
    }
    let mut order: Vec<usize> =
        (0..arrangements).filter(|&a| entries[a].as_ref().is_some_and(Entry::feasible)).collect();
    let cost = |a: usize| entries[a].as_ref().map_or(f64::INFINITY, |e| e.cost_w);
    order.sort_by(|&a, &b| cost(a).total_cmp(&cost(b)).then(a.cmp(&b)));
    let (winner, second) = (order.first().copied(), order.get(1).copied());
    Cell { entries, winner, second }
}

/// Fuel that one more joule at the battery's terminals takes when it is made on board at steady
/// cruise, J per J: the least of the arrangements that can. One without an engine.
pub fn price_on_board(model: &Model) -> f64 {
    let Some(engine) = &model.engine else { return 1.0 };
    let most = engine.curve.iter().map(|p| p.0 * p.1).fold(0.0, f64::max);
    let more = (0.05 * most).max(100.0);
    let mut thirsty = model.clone();
    thirsty.road.auxiliary_w += more;
    let mut least: Option<f64> = None;
    for share in [0.3, 0.5, 0.7] {
        let mps = share * model.road.max_mps;
        let demand = model.road.demand(mps, model.road.force_n(mps, 0.0, 0.0));
        for (a, b) in model.variants.iter().zip(&thirsty.variants).filter(|v| v.0.engine_on) {
            let (one, two) =
                (best(model, a, demand, Charge::Held), best(&thirsty, b, demand, Charge::Held));
            if one.limit.is_none() && two.limit.is_none() {
                let price = (two.fuel_w - one.fuel_w) / more;
                least = Some(least.map_or(price, |l: f64| l.min(price)));
            }
        }
    }
    least.filter(|p| *p >= 1.0).unwrap_or(1.0)
}

/// Largest wheel force, of this sign, that any arrangement gives at a fifth of the highest speed.
pub fn largest_force_n(model: &Model, sign: f64) -> f64 {
    let mps = 0.2 * model.road.max_mps;
    let can = |newton: f64| {
        let demand = model.road.demand(mps, sign * newton);
        model.variants.iter().any(|v| best(model, v, demand, Charge::Priced(1.0)).limit.is_none())
    };
    let (mut low, mut high) = (0.0, 100.0);
    while can(high) && high < 1e7 {
        (low, high) = (high, 2.0 * high);
    }
    for _ in 0..8 {
        let middle = 0.5 * (low + high);
        if can(middle) { low = middle } else { high = middle }
    }
    low
}

/// The axes of a map: `speeds` road speeds up to the highest, `forces` wheel forces both ways.
pub fn axes(model: &Model, speeds: usize, forces: usize) -> (Vec<f64>, Vec<f64>) {
    let top = model.road.max_mps;
    let v = (1..=speeds).map(|i| top * i as f64 / speeds as f64).collect();
    let (pull, brake) = (largest_force_n(model, 1.0), largest_force_n(model, -1.0));
    // A round step, and zero on the axis.
    let raw = (pull + brake) / forces.max(2) as f64;
    let power = 10f64.powf(raw.max(1e-6).log10().floor());
    let step = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0]
        .into_iter()
        .map(|f| f * power)
        .find(|s| *s >= raw * 0.999)
        .unwrap_or(raw);
    let (below, above) = ((brake / step).ceil() as i64, (pull / step).ceil() as i64);
    (v, (-below..=above).map(|i| i as f64 * step).collect())
}

/// The maps of several modes; `tell` hears how many of how many columns are done.
pub fn maps(
    model: &Model,
    arrangements: usize,
    modes: &[(Mode, f64)],
    axes: &(Vec<f64>, Vec<f64>),
    threads: usize,
    tell: &(dyn Fn(usize, usize) + Sync),
) -> Vec<Map> {
    let (speeds, forces) = axes;
    let total = modes.len() * speeds.len();
    let columns = each(total, threads, tell, |job| {
        let ((mode, price), mps) = (modes[job / speeds.len()], speeds[job % speeds.len()]);
        let charge = mode.charge(price);
        forces.iter().map(|&n| cell(model, arrangements, mps, n, charge)).collect::<Vec<Cell>>()
    });
    let mut columns = columns.into_iter();
    modes
        .iter()
        .map(|&(mode, price)| Map {
            mode,
            price,
            speeds_mps: speeds.clone(),
            forces_n: forces.clone(),
            cells: columns.by_ref().take(speeds.len()).flatten().collect(),
        })
        .collect()
}

/// `work` of every number below `total`, on several threads, in order.
pub fn each<T: Send>(
    total: usize,
    threads: usize,
    tell: &(dyn Fn(usize, usize) + Sync),
    work: impl Fn(usize) -> T + Sync,
) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, T)>> = Mutex::new(Vec::with_capacity(total));
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, total.max(1)) {
            scope.spawn(|| {
                loop {
                    let job = next.fetch_add(1, Ordering::Relaxed);
                    if job >= total {
                        return;
                    }
                    let one = work(job);
                    if let Ok(mut list) = done.lock() {
                        list.push((job, one));
                        tell(list.len(), total);
                    }
                }
            });
        }
    });
    let mut list = done.into_inner().unwrap_or_default();
    list.sort_by_key(|e| e.0);
    list.into_iter().map(|e| e.1).collect()
}
