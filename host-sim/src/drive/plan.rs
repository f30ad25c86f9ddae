//! Where the free motions of an arrangement should go: the speed plan.
//!
//! The output's speed is given by the road. The engine, where it runs and is joined,
//! gets its wished speed. What is still free is spread so that the machine farthest
//! from standstill, as a share of its limit, is as slow as possible in the sense of
//! least squares. Shafts that would pass their limits are held inside them first.

use std::sync::OnceLock;

use crate::drive::dense::{Dense, EMPTY_SUM, prioritised};
use crate::drive::motion::Motion;
use crate::driveline::{Driveline, MachineKind, Shaft};
use crate::plant::{MAX_SHAFTS, ShaftValues};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Speeds without a stated limit are weighed as if this were it, rpm.
const USUAL_LIMIT_RPM: f64 = 6000.0;
/// Share of a shaft's limit that the plan keeps within.
const LIMIT_SHARE: f64 = 0.96;
/// Share of a shaft's limit below which every driving torque is given: well below the plan's.
const FAR_SHARE: f64 = 0.9;
/// Share of a shaft's limit at which no driving torque is given any more.
const NO_TORQUE_SHARE: f64 = 0.99;

/// A shaft's limits, rad/s: those of its own, and those that the plan keeps within.
#[derive(Clone, Copy, Debug)]
struct Limit {
    low: f64,
    high: f64,
    plan_low: f64,
    plan_high: f64,
    far_low: f64,
    far_high: f64,
}

/// The map from the given speeds to the free motions, with some shafts held at their limits, and
/// what follows when one more is held: made when it is first asked for, by whichever run.
#[derive(Clone, Debug)]
struct Node {
    /// One a given speed (output, held shafts, engine): what it adds to each free motion.
    given: Vec<ShaftValues>,
    /// What the right-hand sides that are zero add to each motion: a zero, but with its sign.
    rest: ShaftValues,
    next: Vec<OnceLock<Box<Node>>>,
}

/// The speed plan of one lock set.
#[derive(Clone, Debug)]
pub struct Plan {
    free: usize,
    /// Without and with a wished engine speed.
    roots: Vec<Node>,
    limits: Vec<Limit>,
    /// Speed of each shaft for each free motion.
    columns: Vec<ShaftValues>,
    output_row: Vec<f64>,
    engine_row: Option<Vec<f64>>,
    machine_rows: Vec<Vec<f64>>,
    basis: Dense,
}

impl Plan {
    /// The plan for a lock set's free motions.
    pub fn new(driveline: &Driveline, motion: &Motion) -> Plan {
        let limits = driveline.shafts.iter().map(Limit::of).collect();
        let mut engine_row = None;
        let mut machine_rows = Vec::new();
        for m in &driveline.machines {
            let row = motion.basis.row(m.shaft).to_vec();
            match m.kind {
                MachineKind::Engine(_) if motion.engine_joined => engine_row = Some(row),
                MachineKind::Engine(_) => {}
                MachineKind::Electric(_) => {
                    let limit = driveline.shafts[m.shaft].max_rpm.unwrap_or(USUAL_LIMIT_RPM);
                    machine_rows.push(row.iter().map(|x| x * USUAL_LIMIT_RPM / limit).collect());
                }
            }
        }
        let mut plan = Plan {
            free: motion.basis.cols(),
            roots: Vec::new(),
            limits,
            columns: columns(&motion.basis, motion.basis.cols()),
            output_row: motion.basis.row(driveline.output.shaft).to_vec(),
            engine_row,
            machine_rows,
            basis: motion.basis.clone(),
        };
        plan.roots = [false, true].map(|engine| plan.node(engine, &[])).into();
        plan
    }

    /// Speeds of all shafts in rad/s for an output speed and, when it runs and is joined,
    /// a wished engine speed.
    pub fn speeds(&self, output_radps: f64, engine_radps: Option<f64>) -> ShaftValues {
        let engine = engine_radps.filter(|_| self.engine_row.is_some());
        let mut node = &self.roots[usize::from(engine.is_some())];
        let mut held = [0; MAX_SHAFTS];
        let mut count = 0;
        let mut given = [0.0; MAX_SHAFTS + 2];
        given[0] = output_radps;
        loop {
            given[1 + count] = engine.unwrap_or(0.0);
            let speeds = self.of_motion(&node.motion(self.free, &given));
            match self.farthest_outside(&speeds, &held[..count]) {
                Some((shaft, limit)) if count < self.free => {
                    held[count] = shaft;
                    count += 1;
                    given[count] = limit;
                    let list = &held[..count];
                    let make = || Box::new(self.node(engine.is_some(), list));
                    node = node.next[shaft].get_or_init(make);
                }
                _ => return speeds,
            }
        }
    }

    /// Speed of each shaft in a motion.
    fn of_motion(&self, motion: &ShaftValues) -> ShaftValues {
        match self.limits.len() {
            ..=4 => sums::<4>(&self.columns, motion),
            5 | 6 => sums::<6>(&self.columns, motion),
            7 | 8 => sums::<8>(&self.columns, motion),
            _ => sums::<MAX_SHAFTS>(&self.columns, motion),
        }
    }

    /// Of the shafts that are not held, the one that is farthest beyond its limits, and the limit.
    fn farthest_outside(&self, speeds: &ShaftValues, held: &[usize]) -> Option<(usize, f64)> {
        let mut worst: Option<(usize, f64, f64)> = None;
        for (s, (limit, &speed)) in self.limits.iter().zip(speeds).enumerate() {
            if speed >= limit.plan_low && speed <= limit.plan_high {
                continue;
            }
            let inside = limit.inside(speed);
            let beyond = (speed - inside).abs();
            let is_worst = worst.is_none_or(|(_, _, most)| beyond >= most);
            if beyond > 1e-6 && is_worst && !held.contains(&s) {
                worst = Some((s, inside, beyond));
            }
        }
        worst.map(|(s, inside, _)| (s, inside))
    }

    /// Share of a driving torque that is left near the limits: all of it while every shaft is
    /// inside the plan's share of its limit, none of it shortly before the limit itself.
    pub fn room(&self, speeds: &ShaftValues) -> f64 {
        let mut room = 1.0;
        for (limit, &speed) in self.limits.iter().zip(speeds) {
            if limit.is_far(speed) {
                continue;
            }
            let limit = if speed >= 0.0 { limit.high } else { limit.low };
            if !limit.is_finite() || limit == 0.0 {
                continue;
            }
            let left = NO_TORQUE_SHARE - speed / limit;
            let share = (left / (NO_TORQUE_SHARE - LIMIT_SHARE - 0.005)).clamp(0.0, 1.0);
            room = f64::min(room, share);
        }
        room
    }

    fn node(&self, engine: bool, held: &[usize]) -> Node {
        let map = self.map(engine, held);
        let given = 1 + held.len() + usize::from(engine && self.engine_row.is_some());
        let mut rest = [0.0; MAX_SHAFTS];
        for (r, rest) in rest.iter_mut().enumerate().take(map.rows()) {
            let zeros = map.row(r)[given..].iter().map(|share| share * 0.0);
            *rest = zeros.fold(EMPTY_SUM, |sum, zero| sum + zero);
        }
        Node {
            given: columns(&map, given),
            rest,
            next: self.limits.iter().map(|_| OnceLock::new()).collect(),
        }
    }

    /// Levels: output; shafts held at their limits; engine; machine speeds; all speeds.
    fn map(&self, engine: bool, held: &[usize]) -> Dense {
        let one = |row: &Vec<f64>| Dense::from_rows(self.free, std::slice::from_ref(row));
        let mut levels = vec![one(&self.output_row)];
        levels.extend(held.iter().map(|h| one(&self.basis.row(*h).to_vec())));
        if let (true, Some(row)) = (engine, &self.engine_row) {
            levels.push(one(row));
        }
        levels.push(Dense::from_rows(self.free, &self.machine_rows));
        levels.push(self.basis.clone());
        prioritised(self.free, &levels)
    }
}

/// The first so many columns of a matrix.
fn columns(of: &Dense, count: usize) -> Vec<ShaftValues> {
    let column = |c: usize| {
        let mut column = [0.0; MAX_SHAFTS];
        column.iter_mut().zip(0..of.rows()).for_each(|(x, r)| *x = of.at(r, c));
        column
    };
    (0..count).map(column).collect()
}

/// `sum x[k] * columns[k]` for no more than so many values.
#[inline]
fn sums<const COUNT: usize>(columns: &[ShaftValues], x: &[f64]) -> ShaftValues {
    let mut sum = [EMPTY_SUM; COUNT];
    for (column, x) in columns.iter().zip(x) {
        sum.iter_mut().zip(column).for_each(|(sum, share)| *sum += share * x);
    }
    let mut all = [0.0; MAX_SHAFTS];
    all[..COUNT].copy_from_slice(&sum);
    all
}

impl Limit {
    fn of(shaft: &Shaft) -> Limit {
        let most = shaft.max_rpm.unwrap_or(f64::INFINITY);
        let (low, high) = (shaft.min_rpm.unwrap_or(-most) * RPM, most * RPM);
        Limit {
            low,
            high,
            plan_low: LIMIT_SHARE * low,
            plan_high: LIMIT_SHARE * high,
            far_low: FAR_SHARE * low,
            far_high: FAR_SHARE * high,
        }
    }

    /// Whether a speed is so far inside that nothing is taken from a torque.
    fn is_far(&self, speed: f64) -> bool {
        (speed >= 0.0 && speed <= self.far_high) || (speed < 0.0 && speed >= self.far_low)
    }

    fn inside(&self, speed: f64) -> f64 {
        speed.min(self.plan_high).max(self.plan_low)
    }
}

impl Node {
    /// The free motions, of which there are so many, for the given speeds; the other right-hand
    /// sides are zero.
    #[inline]
    fn motion(&self, free: usize, given: &[f64]) -> ShaftValues {
        match free {
            ..=2 => self.motion_within::<2>(given),
            3 | 4 => self.motion_within::<4>(given),
            _ => self.motion_within::<MAX_SHAFTS>(given),
        }
    }

    #[inline]
    fn motion_within<const COUNT: usize>(&self, given: &[f64]) -> ShaftValues {
        let mut motion = sums::<COUNT>(&self.given, given);
        motion.iter_mut().zip(&self.rest).take(COUNT).for_each(|(x, rest)| *x += rest);
        motion
    }
}
