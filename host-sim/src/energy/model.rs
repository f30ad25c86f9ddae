//! The model that all energy figures come from: losses, limits and torque equations, in SI units.

use std::path::Path;

use super::grid::{Grid, MapKind};
use super::losses::{Cells, Fuel, MachineLoss};
use super::point::{Point, evaluate};
use super::statics::{MOST_MESHES, Statics};
use super::vehicle::Road;
use super::{Demand, MAX, RPM};
use crate::driveline::{Driveline, EngineUse, MachineKind};
use crate::exact::{self, Matrix, Q, Row};
use crate::kinematics::{Kinematics, lock_row};
use num_traits::{One, Zero};

/// An electric machine.
#[derive(Clone, Debug, PartialEq)]
pub struct ElectricModel {
    /// Index in the driveline.
    pub machine: usize,
    /// Its shaft.
    pub shaft: usize,
    /// Torque limit, both signs, Nm.
    pub max_nm: f64,
    /// Shaft power limit, both signs, W.
    pub max_w: f64,
    /// Its loss.
    pub loss: MachineLoss,
}

/// The engine.
#[derive(Clone, Debug, PartialEq)]
pub struct EngineModel {
    /// Index in the driveline.
    pub machine: usize,
    /// Its shaft.
    pub shaft: usize,
    /// Idle and highest speed, rad/s.
    pub range: [f64; 2],
    /// Full load over speed: rad/s, Nm.
    pub curve: Vec<(f64, f64)>,
    /// Drag unfired, Nm.
    pub drag_nm: f64,
    /// Fuel.
    pub fuel: Fuel,
    /// Heating value, J/kg.
    pub j_per_kg: f64,
}

impl EngineModel {
    /// Full-load torque, Nm.
    pub fn full_nm(&self, radps: f64) -> f64 {
        let (Some(first), Some(last)) = (self.curve.first(), self.curve.last()) else {
            return 0.0;
        };
        if radps <= first.0 {
            return first.1;
        }
        let pair = self.curve.windows(2).find(|p| radps <= p[1].0);
        pair.map_or(last.1, |p| p[0].1 + (p[1].1 - p[0].1) * (radps - p[0].0) / (p[1].0 - p[0].0))
    }
}

/// A lock as the energy model sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LockModel {
    /// First side.
    pub a: usize,
    /// Second side; `None` is the case.
    pub b: Option<usize>,
    /// Torque capacity, Nm.
    pub capacity_nm: f64,
    /// Drag when open, Nm.
    pub drag_nm: f64,
}

/// An arrangement with its engine running or not.
#[derive(Clone, Debug)]
pub struct Variant {
    /// Index of the arrangement.
    pub arrangement: usize,
    /// Whether the engine runs.
    pub engine_on: bool,
    /// Closed locks.
    pub closed: u8,
    /// Road speed limits, m/s.
    pub range_mps: [f64; 2],
    /// Motions: the first has the output at one.
    pub(super) motions: Vec<[f64; MAX]>,
    /// The shaft whose speed is the coordinate of each further motion.
    pub(super) own: Vec<usize>,
    /// Index of each closed lock's torque in the statics.
    pub(super) locks: Vec<usize>,
    pub(super) statics: Statics,
    /// Place of the engine among the free torques.
    pub(super) engine_free: Option<usize>,
}

/// All that energy figures need.
#[derive(Clone, Debug)]
pub struct Model {
    /// Number of shafts.
    pub shafts: usize,
    /// Speed limits of each shaft, rad/s.
    pub shaft_range: Vec<[f64; 2]>,
    /// Spin drag of each shaft: Nm, Nm per rad/s.
    pub spin: Vec<[f64; 2]>,
    /// Inertia of each shaft, kg m2.
    pub inertia: Vec<f64>,
    /// Electric machines.
    pub electric: Vec<ElectricModel>,
    /// The engine.
    pub engine: Option<EngineModel>,
    /// Locks.
    pub locks: Vec<LockModel>,
    /// Road and wheels.
    pub road: Road,
    /// The battery; `None` is an ideal supply.
    pub cells: Option<Cells>,
    /// The output shaft.
    pub output: usize,
    /// Arrangements, one with the engine on and one with it off where the file leaves it open.
    pub variants: Vec<Variant>,
}

impl Model {
    /// From a driveline that has all the plant needs; maps are read from files that stand beside
    /// `folder`.
    ///
    /// # Errors
    /// Messages about map files, or a sentence about what the model cannot do.
    pub fn new(d: &Driveline, k: &Kinematics, folder: Option<&Path>) -> Result<Model, String> {
        let gears = d.planetaries.len() + d.gear_pairs.len();
        if gears > MOST_MESHES {
            return Err(format!(
                "error: {gears} gears; energy figures are worked out for {MOST_MESHES} at most\n    \
                 fix: put gears that always turn together into one\n"
            ));
        }
        let road = Road::new(d).ok_or("error: the vehicle or its output is not described\n")?;
        let limit = |x: Option<f64>, sign: f64| x.map_or(sign * f64::INFINITY, |rpm| rpm * RPM);
        let mut model = Model {
            shafts: d.shafts.len(),
            shaft_range: d
                .shafts
                .iter()
                .map(|s| [limit(s.min_rpm, -1.0), limit(s.max_rpm, 1.0)])
                .collect(),
            spin: d
                .shafts
                .iter()
                .map(|s| [s.spin_drag.constant_nm, s.spin_drag.per_krpm_nm / (1000.0 * RPM)])
                .collect(),
            inertia: d.shafts.iter().map(|s| s.inertia_kg_m2.unwrap_or(0.0)).collect(),
            electric: Vec::new(),
            engine: None,
            locks: d
                .locks
                .iter()
                .map(|l| LockModel {
                    a: l.a,
                    b: l.b,
                    capacity_nm: l.capacity_nm.unwrap_or(f64::INFINITY),
                    drag_nm: l.drag_nm,
                })
                .collect(),
            road,
            cells: d.battery.as_ref().map(Cells::new),
            output: d.output.shaft,
            variants: Vec::new(),
        };
        model.add_machines(d, folder)?;
        for (index, a) in d.arrangements.iter().enumerate() {
            let uses: &[bool] = match a.engine {
                _ if model.engine.is_none() => &[false],
                EngineUse::On => &[true],
                EngineUse::Off => &[false],
                EngineUse::Either => &[false, true],
            };
            for &on in uses {
                model.variants.extend(variant(d, k, &model, index, on));
            }
        }
        Ok(model)
    }

    fn add_machines(&mut self, d: &Driveline, folder: Option<&Path>) -> Result<(), String> {
        let map = |name: &Option<String>, kind| match name {
            None => Ok(None),
            Some(name) => {
                let path = folder.map_or_else(|| name.into(), |f| f.join(name));
                Grid::read(&path.to_string_lossy(), kind).map(Some)
            }
        };
        for (machine, m) in d.machines.iter().enumerate() {
            match &m.kind {
                MachineKind::Electric(e) => self.electric.push(ElectricModel {
                    machine,
                    shaft: m.shaft,
                    max_nm: e.max_torque_nm.unwrap_or(0.0),
                    max_w: e.max_power_kw.unwrap_or(0.0) * 1e3,
                    loss: match map(&e.loss_map, MapKind::Loss)? {
                        Some(grid) => MachineLoss::Map(grid),
                        None => MachineLoss::Polynomial(e.loss),
                    },
                }),
                MachineKind::Engine(e) => {
                    let grid = map(&e.fuel_map, MapKind::Fuel)?;
                    self.engine = Some(EngineModel {
                        machine,
                        shaft: m.shaft,
                        range: [e.idle_rpm * RPM, e.max_rpm * RPM],
                        curve: e.torque_curve_rpm_nm.iter().map(|p| (p.0 * RPM, p.1)).collect(),
                        drag_nm: e.drag_nm,
                        fuel: Fuel::new(e, grid),
                        j_per_kg: e.fuel_mj_per_kg * 1e6,
                    });
                }
            }
        }
        Ok(())
    }

    /// Whether any electric machine has a loss and the engine, if any, a fuel model.
    pub fn gaps(&self, d: &Driveline) -> Vec<String> {
        let lossless = self.electric.iter().filter(|e| {
            matches!(e.loss, MachineLoss::Polynomial(l) if l == crate::driveline::Loss::default())
        });
        let mut gaps: Vec<String> = lossless
            .map(|e| {
                format!(
                    "machine {} has no loss: its figures are too good",
                    d.machines[e.machine].name
                )
            })
            .collect();
        if self.engine.as_ref().is_some_and(|e| e.fuel == Fuel::Unknown) {
            gaps.push("the engine has no fuel model: its shaft power stands for fuel".into());
        }
        if self.cells.is_none() {
            gaps.push(
                "no battery is described: an ideal supply without limits stands for it".into(),
            );
        }
        gaps
    }
}

impl Variant {
    /// The point with these free speeds (rad/s, of the shafts that the limits are searched over)
    /// and free torques (Nm): for those who look for themselves.
    pub fn at(&self, model: &Model, demand: &Demand, speeds: &[f64], torques: &[f64]) -> Point {
        evaluate(model, self, demand, speeds, torques)
    }

    /// Number of free speeds and of free torques.
    pub fn freedoms(&self) -> (usize, usize) {
        (self.own.len(), self.statics.free.len())
    }
}

/// `None` when the output cannot turn in it.
fn variant(
    d: &Driveline,
    k: &Kinematics,
    model: &Model,
    index: usize,
    on: bool,
) -> Option<Variant> {
    let a = &d.arrangements[index];
    let set = k.set(a.closed);
    let mut rows: Vec<Row> =
        (0..d.locks.len()).filter(|l| a.closed >> l & 1 == 1).map(|l| lock_row(d, l)).collect();
    let locks: Vec<usize> = (0..d.locks.len()).filter(|l| a.closed >> l & 1 == 1).collect();
    let mut motions: Vec<Row> = set.basis.clone();
    let mut machines: Vec<usize> = (0..d.machines.len()).collect();
    if let Some(engine) = model.engine.as_ref().filter(|_| !on) {
        machines.retain(|&m| m != engine.machine);
        // An engine that stands and turns nothing else is as if braked.
        if let Some(still) = stopped(&motions, engine.shaft, d.output.shaft) {
            motions = still;
            let mut brake = vec![Q::zero(); d.shafts.len()];
            brake[engine.shaft] = Q::one();
            rows.push(brake);
        }
    }
    motions.first().filter(|m| !m[d.output.shaft].is_zero())?;
    // The shaft that has a one here and a zero in every other motion.
    let alone =
        |k: usize, s: usize| motions.iter().enumerate().all(|(j, m)| (j == k) != m[s].is_zero());
    let own = (1..motions.len())
        .map(|k| (0..d.shafts.len()).find(|&s| motions[k][s].is_one() && alone(k, s)).unwrap_or(0))
        .collect();
    let statics = Statics::new(d, &rows, &machines);
    let engine_at = model.engine.as_ref().filter(|_| on).map(|e| e.machine);
    let engine_free = statics.free.iter().position(|&f| Some(statics.machines[f]) == engine_at);
    let max = model.road.max_mps;
    let limit = |kmh: Option<f64>, other: f64| kmh.map_or(other, |x| x / 3.6).clamp(-max, max);
    Some(Variant {
        arrangement: index,
        engine_on: on,
        closed: a.closed,
        range_mps: [limit(a.min_speed_kmh, -max), limit(a.max_speed_kmh, max)],
        motions: motions.iter().map(array).collect(),
        own,
        locks,
        statics,
        engine_free,
    })
}

fn array(row: &Row) -> [f64; MAX] {
    let mut out = [0.0; MAX];
    out.iter_mut().zip(row).for_each(|(x, q)| *x = exact::to_f64(q));
    out
}

/// The motions with `shaft` at rest, output first, where the output still turns as freely.
fn stopped(motions: &[Row], shaft: usize, output: usize) -> Option<Vec<Row>> {
    let speeds: Row = motions.iter().map(|m| m[shaft].clone()).collect();
    let kept = Matrix::new(motions.len(), vec![speeds]).null_space();
    if kept.len() == motions.len() {
        return None;
    }
    let n = motions[0].len();
    let mut order: Vec<usize> = (0..n).collect();
    order.swap(0, output);
    let mixed: Vec<Row> = kept
        .iter()
        .map(|c| {
            order
                .iter()
                .map(|&s| c.iter().zip(motions).fold(Q::zero(), |sum, (x, m)| sum + x * &m[s]))
                .collect()
        })
        .collect();
    let (reduced, _) = Matrix::new(n, mixed).reduced();
    let back: Vec<Row> = reduced
        .rows()
        .iter()
        .map(|r| {
            let mut row = vec![Q::zero(); n];
            order.iter().zip(r).for_each(|(&s, x)| row[s] = x.clone());
            row
        })
        .collect();
    back.first().is_some_and(|m| !m[output].is_zero()).then_some(back)
}
