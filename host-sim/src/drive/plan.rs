//! Where the free motions of an arrangement should go: the speed plan.
//!
//! The output's speed is given by the road. The engine, where it runs and is joined,
//! gets its wished speed. What is still free is spread so that the machine farthest
//! from standstill, as a share of its limit, is as slow as possible in the sense of
//! least squares. Shafts that would pass their limits are held inside them first.

use crate::drive::dense::{Dense, prioritised};
use crate::drive::motion::Motion;
use crate::driveline::{Driveline, MachineKind};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Speeds without a stated limit are weighed as if this were it, rpm.
const USUAL_LIMIT_RPM: f64 = 6000.0;
/// Share of a shaft's limit that the plan keeps within.
const LIMIT_SHARE: f64 = 0.96;
/// Share of a shaft's limit at which no driving torque is given any more.
const NO_TORQUE_SHARE: f64 = 0.99;

/// The speed plan of one lock set.
#[derive(Clone, Debug)]
pub struct Plan {
    free: usize,
    base: [Option<Dense>; 2],
    limits: Vec<(f64, f64)>,
    output_row: Vec<f64>,
    engine_row: Option<Vec<f64>>,
    machine_rows: Vec<Vec<f64>>,
    basis: Dense,
}

impl Plan {
    /// The plan for a lock set's free motions.
    pub fn new(driveline: &Driveline, motion: &Motion) -> Plan {
        let limits: Vec<(f64, f64)> = driveline
            .shafts
            .iter()
            .map(|s| {
                let most = s.max_rpm.unwrap_or(f64::INFINITY);
                (s.min_rpm.unwrap_or(-most) * RPM, most * RPM)
            })
            .collect();
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
            base: [None, None],
            limits,
            output_row: motion.basis.row(driveline.output.shaft).to_vec(),
            engine_row,
            machine_rows,
            basis: motion.basis.clone(),
        };
        plan.base = [false, true].map(|engine| Some(plan.map(engine, &[])));
        plan
    }

    /// Speeds of all shafts in rad/s for an output speed and, when it runs and is joined,
    /// a wished engine speed.
    pub fn speeds(&self, output_radps: f64, engine_radps: Option<f64>) -> Vec<f64> {
        let engine = engine_radps.filter(|_| self.engine_row.is_some());
        let mut held: Vec<(usize, f64)> = Vec::new();
        loop {
            let right: Vec<f64> =
                [output_radps].into_iter().chain(held.iter().map(|h| h.1)).chain(engine).collect();
            let motion = match (&self.base[usize::from(engine.is_some())], held.is_empty()) {
                (Some(base), true) => applied(base, &right),
                _ => applied(&self.map(engine.is_some(), &held), &right),
            };
            let speeds = self.basis.apply(&motion);
            let worst = speeds
                .iter()
                .enumerate()
                .filter(|(s, _)| held.iter().all(|h| h.0 != *s))
                .map(|(s, &w)| (s, w, self.inside(s, w)))
                .filter(|(_, w, inside)| (w - inside).abs() > 1e-6)
                .max_by(|a, b| (a.1 - a.2).abs().total_cmp(&(b.1 - b.2).abs()));
            match worst {
                Some((shaft, _, limit)) if held.len() < self.free => held.push((shaft, limit)),
                _ => return speeds,
            }
        }
    }

    /// Share of a driving torque that is left near the limits: all of it while every shaft is
    /// inside the plan's share of its limit, none of it shortly before the limit itself.
    pub fn room(&self, speeds: &[f64]) -> f64 {
        let share = |(&speed, &(low, high)): (&f64, &(f64, f64))| {
            let limit = if speed >= 0.0 { high } else { low };
            if !limit.is_finite() || limit == 0.0 {
                return 1.0;
            }
            let used = speed / limit;
            ((NO_TORQUE_SHARE - used) / (NO_TORQUE_SHARE - LIMIT_SHARE - 0.005)).clamp(0.0, 1.0)
        };
        speeds.iter().zip(&self.limits).map(share).fold(1.0, f64::min)
    }

    fn inside(&self, shaft: usize, speed: f64) -> f64 {
        let (low, high) = self.limits[shaft];
        speed.min(LIMIT_SHARE * high).max(LIMIT_SHARE * low)
    }

    /// Levels: output; shafts held at their limits; engine; machine speeds; all speeds.
    fn map(&self, engine: bool, held: &[(usize, f64)]) -> Dense {
        let one = |row: &Vec<f64>| Dense::from_rows(self.free, std::slice::from_ref(row));
        let mut levels = vec![one(&self.output_row)];
        levels.extend(held.iter().map(|h| one(&self.basis.row(h.0).to_vec())));
        if let (true, Some(row)) = (engine, &self.engine_row) {
            levels.push(one(row));
        }
        levels.push(Dense::from_rows(self.free, &self.machine_rows));
        levels.push(self.basis.clone());
        prioritised(self.free, &levels)
    }
}

/// `map` applied to `right` with zeros for the right-hand sides that are not given.
fn applied(map: &Dense, right: &[f64]) -> Vec<f64> {
    let mut full = vec![0.0; map.cols()];
    full[..right.len()].copy_from_slice(right);
    map.apply(&full)
}
