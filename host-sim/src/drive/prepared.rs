//! What all runs of one driveline share: made once, never changed, used by any number of threads.

use std::sync::OnceLock;

use supervisor::table::Table;

use crate::drive::closed_loop::{CannotRun, Setup};
use crate::drive::driver::DriverData;
use crate::drive::knowledge::Knowledge;
use crate::drive::motion::Calm;
use crate::driveline::{Driveline, EngineUse, MachineKind};
use crate::exact::to_f64;
use crate::kinematics::{Kinematics, analyse, window_of};
use crate::plant::{self, MissingData, PlantModel, PlantState};

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Number of lock sets.
const SETS: usize = 256;

/// A driveline and its table, ready for any number of [runs](crate::drive::closed_loop::Run).
///
/// What only some runs need (the motions of a lock set, a plant with loose wheels) is worked out
/// when the first of them asks for it, and is the same whichever run that is.
#[derive(Debug)]
pub struct Prepared<'a> {
    pub(super) driveline: &'a Driveline,
    pub(super) table: Table<'a>,
    pub(super) model: PlantModel,
    pub(super) known: Knowledge,
    pub(super) vehicle: DriverData,
    /// Length of a tick of the supervisor, s.
    pub(super) tick_s: f64,
    pub(super) steps_per_tick: u32,
    radps_per_kmh: f64,
    loose: OnceLock<Result<PlantModel, MissingData>>,
    calm: Vec<OnceLock<Calm>>,
    kinematics: OnceLock<Option<Kinematics>>,
    speeds: Vec<OnceLock<Option<[f64; 2]>>>,
}

/// Length of one plant step for a supervisor period, s, and how many make a tick: near 1 ms.
pub(crate) fn plant_step(tick_ms: f64) -> (f64, u32) {
    let count = tick_ms.round().clamp(1.0, 1000.0);
    (tick_ms / 1e3 / count, count as u32)
}

impl<'a> Prepared<'a> {
    /// Prepare runs of a driveline with its supervisor's `table`.
    ///
    /// # Errors
    /// When the driveline lacks data for the plant or the driver.
    pub fn new(driveline: &'a Driveline, table: Table<'a>) -> Result<Prepared<'a>, CannotRun> {
        let tick_ms = driveline.timing.tick_ms;
        let (dt_s, steps_per_tick) = plant_step(tick_ms);
        let model = PlantModel::with_step(driveline, dt_s).map_err(|e| CannotRun(e.to_string()))?;
        let needs = "a drive needs [vehicle], and final_drive and tyre_radius_m in [output]";
        let vehicle = DriverData::new(driveline).ok_or_else(|| CannotRun(needs.into()))?;
        let radps_per_kmh = driveline
            .output_radps_per_kmh()
            .ok_or_else(|| CannotRun("[output] needs final_drive and tyre_radius_m".into()))?;
        Ok(Prepared {
            driveline,
            table,
            tick_s: model.dt_s() * f64::from(steps_per_tick),
            model,
            known: Knowledge::new(driveline, tick_ms / 1e3),
            vehicle,
            steps_per_tick,
            radps_per_kmh,
            loose: OnceLock::new(),
            calm: (0..SETS).map(|_| OnceLock::new()).collect(),
            kinematics: OnceLock::new(),
            speeds: (0..SETS).map(|_| OnceLock::new()).collect(),
        })
    }

    /// The driveline.
    pub fn driveline(&self) -> &'a Driveline {
        self.driveline
    }

    /// The supervisor's table.
    pub fn table(&self) -> &Table<'a> {
        &self.table
    }

    /// The plant, with wheels that may slip if a run needs them: they cost a second model.
    pub(super) fn model(&self, loose: bool) -> Result<&PlantModel, CannotRun> {
        if !loose {
            return Ok(&self.model);
        }
        let model = || self.model.clone().with_loose_wheels(self.driveline);
        self.loose.get_or_init(model).as_ref().map_err(|e| CannotRun(e.to_string()))
    }

    /// The same, once it is known to exist.
    pub(super) fn model_or_stiff(&self, loose: bool) -> &PlantModel {
        if loose { self.model(true).unwrap_or(&self.model) } else { &self.model }
    }

    /// The plant at the start of a run.
    pub(super) fn start(&self, setup: &Setup) -> Result<PlantState, CannotRun> {
        start(self, setup)
    }

    /// Road speeds, m/s, at which every shaft can keep its limits with this lock set closed;
    /// `None` when there are none.
    pub(super) fn road_speeds(&self, set: u8) -> Option<[f64; 2]> {
        *self.speeds[usize::from(set)].get_or_init(|| {
            let kinematics = self.kinematics.get_or_init(|| analyse(self.driveline).ok());
            let window = window_of(self.driveline, kinematics.as_ref()?, set, EngineUse::Either)?;
            // A driver keeps a little below what is shown.
            let per_rpm = 0.98 * RPM * self.model.metres_per_radian();
            let end = |limit: &Option<crate::exact::Q>, infinite: f64| {
                limit.as_ref().map_or(infinite, |rpm| to_f64(rpm) * per_rpm)
            };
            let low = end(&window.low.output_rpm, f64::NEG_INFINITY);
            Some([low, end(&window.high.output_rpm, f64::INFINITY)])
        })
    }

    fn calm(&self, set: u8) -> &Calm {
        self.calm[usize::from(set)].get_or_init(|| Calm::new(self.driveline, set))
    }
}

/// The plant at the start: locks of the arrangement closed, every speed consistent, the
/// engine at idle or faster where it is to run.
fn start(prepared: &Prepared, setup: &Setup) -> Result<PlantState, CannotRun> {
    let (driveline, model) = (prepared.driveline, &prepared.model);
    let output_radps = setup.start_speed_kmh * prepared.radps_per_kmh;
    let arrangement = setup.start_arrangement.and_then(|a| driveline.arrangements.get(a));
    let closed = arrangement.map_or(0, |a| a.closed);
    let has_engine = driveline.engine().is_some();
    let runs = has_engine && arrangement.is_some_and(|a| a.engine == EngineUse::On);
    let calm = prepared.calm(closed).speeds(output_radps);
    let impossible = |e: plant::StartError| {
        let name = arrangement.map_or("with every lock open", |a| a.name.as_str());
        CannotRun(format!("cannot start {name} at {} km/h: {e}", setup.start_speed_kmh))
    };
    let free = free_speeds(driveline, closed, runs, &calm);
    // A motion that the output already fixes cannot be chosen: then the calm speeds hold.
    let mut state = PlantState::at(model, output_radps, closed, &free)
        .or_else(|_| PlantState::at(model, output_radps, closed, &[]))
        .map_err(impossible)?;
    within_limits(driveline, &state, runs).map_err(|why| {
        let name = arrangement.map_or("with every lock open", |a| a.name.as_str());
        CannotRun(format!("cannot start {name} at {} km/h: {why}", setup.start_speed_kmh))
    })?;
    state.set_engine_running(runs);
    state.set_charge(setup.start_charge);
    setup.start_rises_k.iter().for_each(|(lock, rise_k)| state.set_rise_k(*lock, *rise_k));
    Ok(state)
}

/// A start beyond a shaft's limits would be found by the judges but is nobody's doing.
fn within_limits(driveline: &Driveline, state: &PlantState, runs: bool) -> Result<(), String> {
    let rpm = |shaft: usize| state.speeds_radps()[shaft] / RPM;
    for (s, shaft) in driveline.shafts.iter().enumerate() {
        let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
        let low = shaft.min_rpm.unwrap_or(-high);
        if !(low..=high).contains(&rpm(s)) {
            return Err(format!(
                "{} would turn at {:.0} rpm; allowed is {low:.0} to {high:.0} rpm",
                shaft.name,
                rpm(s)
            ));
        }
    }
    if let Some((m, engine)) = driveline.engine() {
        let speed = rpm(driveline.machines[m].shaft);
        if speed < -driveline.timing.rest_rpm {
            return Err(format!("the engine would be turned backwards at {speed:.0} rpm"));
        }
        if runs && (speed <= engine.stall_rpm || speed > engine.max_rpm) {
            return Err(format!(
                "the engine would turn at {speed:.0} rpm; it runs from {:.0} to {:.0} rpm",
                engine.stall_rpm, engine.max_rpm
            ));
        }
    }
    Ok(())
}

/// Speeds that the start may choose: a running engine a little above idle, one that would be
/// turned backwards at rest, or else the calmest.
fn free_speeds(driveline: &Driveline, closed: u8, runs: bool, calm: &[f64]) -> Vec<(usize, f64)> {
    let engine = driveline.engine().filter(|_| runs);
    if let Some((m, engine)) = engine {
        return vec![(driveline.machines[m].shaft, engine.idle_rpm * 1.2 * RPM)];
    }
    let backwards = driveline.engine().map(|(m, _)| driveline.machines[m].shaft);
    if let Some(shaft) = backwards.filter(|&shaft| calm[shaft] < 0.0) {
        return vec![(shaft, 0.0)];
    }
    let electric = driveline.machines.iter().find(|m| {
        let tied = closed != 0 && m.shaft != driveline.output.shaft;
        matches!(m.kind, MachineKind::Electric(_)) && tied
    });
    electric.map(|m| (m.shaft, calm[m.shaft])).into_iter().collect()
}
