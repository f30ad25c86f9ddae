//! Starting states: at rest, or rolling with locks really closed and every speed consistent.

use super::dense::Dense;
use super::model::PlantModel;
use super::random::Random;
use super::sensor;
use super::state::{EngineActual, LockActual, PlantState};
use super::step::{kinetic_j, respan};
use super::{MAX_SHAFTS, inputs::SensorFaults};
use crate::driveline::ShaftId;
use supervisor::io::{LockReport, Speed};

/// Why a starting state is not possible.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StartError {
    /// The closed locks and the wanted speeds contradict each other.
    Contradiction,
    /// A shaft or lock does not exist, or a speed is not finite.
    OutOfRange,
}

impl core::fmt::Display for StartError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            StartError::Contradiction => "the closed locks and the wanted speeds contradict",
            StartError::OutOfRange => "a shaft, lock or speed is out of range",
        })
    }
}

impl std::error::Error for StartError {}

impl PlantState {
    /// Everything at rest, every lock open, battery at 60 %, seed 0.
    pub fn rest(model: &PlantModel) -> PlantState {
        let mut state = PlantState::blank();
        state.refresh(model);
        state.with_seed(model, 0)
    }

    /// Rolling with `output_radps` at the output shaft, the locks of `closed` really closed, and
    /// these shafts at these speeds (rad/s). Motions that stay open get the least kinetic energy.
    ///
    /// # Errors
    /// [`StartError::Contradiction`] when the speeds and locks cannot go together, for example a
    /// lock set that holds the output at a speed other than zero; [`StartError::OutOfRange`].
    pub fn at(
        model: &PlantModel,
        output_radps: f64,
        closed: u8,
        free: &[(ShaftId, f64)],
    ) -> Result<PlantState, StartError> {
        let known = free.iter().all(|(s, w)| *s < model.shafts && w.is_finite());
        if !known || !output_radps.is_finite() || usize::from(closed) >> model.locks != 0 {
            return Err(StartError::OutOfRange);
        }
        let mut rows: Dense = Vec::new();
        let mut wanted = Vec::new();
        for lock in (0..model.locks).filter(|i| closed >> i & 1 == 1) {
            let mut row = vec![0.0; MAX_SHAFTS];
            row[model.contact[lock].a] += 1.0;
            if let Some(b) = model.contact[lock].b {
                row[b] -= 1.0;
            }
            rows.push(row);
            wanted.push(0.0);
        }
        for (shaft, speed) in [(model.road.shaft, output_radps)].iter().chain(free) {
            let mut row = vec![0.0; MAX_SHAFTS];
            row[*shaft] = 1.0;
            rows.push(row);
            wanted.push(*speed);
        }
        let mut state = PlantState::blank();
        impose(model, &mut state, &rows, &wanted)?;
        for i in (0..model.locks).filter(|i| closed >> i & 1 == 1) {
            let lock = &mut state.lock[i];
            lock.fill = 1.0;
            lock.pressure = 1.0;
            lock.engaged = model.lock[i].dog;
            lock.stuck = true;
            lock.actual = LockActual::Locked;
            lock.switch_closed = true;
        }
        state.refresh(model);
        Ok(state.with_seed(model, 0))
    }

    /// The same state with sensor errors, dog angles and noise of another seed.
    #[must_use]
    pub fn with_seed(mut self, model: &PlantModel, seed: u64) -> PlantState {
        self.random = Random::new(seed);
        for (sensor, part) in self.sensor.iter_mut().zip(&model.sensor).take(model.sensors) {
            let share = sensor::CONSTANT_SHARE * self.random.signed_unit();
            sensor.bias_radps = share * part.error_radps;
        }
        for (lock, part) in self.lock.iter_mut().zip(&model.lock).take(model.locks) {
            let unit = self.random.unit();
            // One that is in stands somewhere in its gap.
            let span = if lock.engaged { part.gap_rad } else { part.pitch_rad };
            lock.angle_rad = unit * span;
        }
        self.refresh(model);
        self
    }

    /// Make the engine fire or stand. It stalls at once if its shaft is below the stall speed.
    pub fn set_engine_running(&mut self, running: bool) {
        self.engine.actual = if running { EngineActual::Running } else { EngineActual::Stopped };
    }

    /// Set the battery's state of charge, 0 to 1.
    pub fn set_charge(&mut self, charge: f64) {
        self.battery.charge = charge;
    }

    /// Make a lock's plates this much hotter than the oil, K; nothing for a lock that does not exist.
    pub fn set_rise_k(&mut self, lock: usize, rise_k: f64) {
        if let Some(lock) = self.lock.get_mut(lock) {
            lock.rise_k = rise_k;
        }
    }

    /// Bring reports, sensor histories and the energy book in line with speeds and locks.
    fn refresh(&mut self, model: &PlantModel) {
        let sound = SensorFaults::default();
        for i in 0..model.sensors {
            let part = &model.sensor[i];
            let sensor = &self.sensor[i];
            let value =
                sensor::measure(part, self.speed[part.shaft], sensor.bias_radps, &sound) as f32;
            self.history.iter_mut().for_each(|samples| samples[i] = value);
            self.sensed[i] = Speed { radps: value, valid: true };
        }
        for i in 0..model.locks {
            self.report[i] = match (model.lock[i].has_switch, self.lock[i].switch_closed) {
                (false, _) => LockReport::Missing,
                (true, true) => LockReport::Closed,
                (true, false) => LockReport::Open,
            };
        }
        self.energy.kinetic_start_j = kinetic_j::<MAX_SHAFTS>(model, &self.speed);
        self.energy.kinetic_j = self.energy.kinetic_start_j;
    }
}

/// Speeds of least kinetic energy with `rows * speed = wanted`.
fn impose(
    model: &PlantModel,
    state: &mut PlantState,
    rows: &Dense,
    wanted: &[f64],
) -> Result<(), StartError> {
    // One row after another, each made independent of those before (Gram-Schmidt in the metric of
    // the mass matrix): a row that adds nothing must already hold.
    let mut directions: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    let largest = wanted.iter().fold(1.0, |most: f64, w| most.max(w.abs()));
    for (row, want) in rows.iter().zip(wanted) {
        let mut response: Vec<f64> = (0..model.shafts)
            .map(|t| (0..model.shafts).map(|s| row[s] * model.response[s][t]).sum())
            .collect();
        let whole: f64 = row.iter().zip(&response).map(|(r, x)| r * x).sum();
        // Twice, because once leaves rounding of the order of the largest response.
        for _ in 0..2 {
            for (direction, unit) in &directions {
                let share: f64 = direction.iter().zip(&response).map(|(d, x)| d * x).sum();
                response.iter_mut().zip(unit).for_each(|(x, u)| *x -= share * u);
            }
        }
        let own: f64 = row.iter().zip(&response).map(|(r, x)| r * x).sum();
        let now: f64 = row.iter().zip(&state.speed).map(|(r, w)| r * w).sum();
        if own <= 1e-9 * whole || whole == 0.0 {
            if (now - want).abs() > 1e-7 * largest {
                return Err(StartError::Contradiction);
            }
            continue;
        }
        let factor = (want - now) / own;
        for (w, x) in state.speed.iter_mut().zip(&response) {
            *w += factor * x;
        }
        let unit: Vec<f64> = response.iter().map(|x| x / own).collect();
        directions.push((row.clone(), unit));
    }
    respan(model, &mut state.speed);
    Ok(())
}
