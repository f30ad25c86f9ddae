//! A unit in its life, by the rules that both versions of the standard share: made, initialised,
//! stepped, ended; each call checked before anything changes.

use super::plant::Plant;
use super::source::{Part, Source};
use super::supervisor::Overseer;
use super::variable::{Kind, Role, Value, Variables};

/// Most ticks in one step: a step longer than this is a mistake.
const MOST_TICKS: f64 = 1e7;
/// Share of a tick by which times may miss one another: sums of steps are rounded.
const NEAR: f64 = 1e-3;

/// Why a call did nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// This step cannot be made; another may.
    Discard(String),
    /// The call was wrong.
    Error(String),
}

/// Where a unit is in its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Made,
    Initialising,
    Stepping,
    Ended,
}

#[derive(Clone, Debug)]
enum Unit<'a> {
    Plant(Box<Plant<'a>>),
    Overseer(Box<Overseer<'a>>),
}

/// A unit in its life. A copy is a saved state.
#[derive(Clone, Debug)]
pub struct Session<'a> {
    source: &'a Source,
    variables: std::sync::Arc<Variables>,
    unit: Unit<'a>,
    values: Vec<Value>,
    stage: Stage,
    start_s: f64,
    stop_s: Option<f64>,
    ticks: u64,
    /// Whether outputs belong to the parameters as they are.
    begun: bool,
}

fn error<T>(text: impl Into<String>) -> Result<T, Fault> {
    Err(Fault::Error(text.into()))
}

impl<'a> Session<'a> {
    /// A unit, as made.
    ///
    /// # Errors
    /// The plant lacks data.
    pub fn new(source: &'a Source) -> Result<Session<'a>, String> {
        let (unit, variables) = match source.part {
            Part::Plant => {
                let (plant, variables) = Plant::new(source)?;
                (Unit::Plant(Box::new(plant)), variables)
            }
            Part::Supervisor => {
                let (overseer, variables) = Overseer::new(source);
                (Unit::Overseer(Box::new(overseer)), variables)
            }
        };
        Ok(Session {
            source,
            values: variables.start(),
            variables: variables.into(),
            unit,
            stage: Stage::Made,
            start_s: 0.0,
            stop_s: None,
            ticks: 0,
            begun: false,
        })
    }

    /// Its variables.
    pub fn variables(&self) -> &Variables {
        &self.variables
    }

    /// Time that it has come to, s.
    pub fn time_s(&self) -> f64 {
        self.start_s + self.ticks as f64 * self.source.tick_s()
    }

    /// When the run begins and must end.
    ///
    /// # Errors
    /// It has begun, or a time is no time.
    pub fn set_up(&mut self, start_s: f64, stop_s: Option<f64>) -> Result<(), Fault> {
        if self.stage != Stage::Made {
            return error("the times are told before the initialisation");
        }
        if !start_s.is_finite() || stop_s.is_some_and(|stop| stop.is_nan() || stop < start_s) {
            return error(format!("a run from {start_s} s to {stop_s:?} s cannot be"));
        }
        (self.start_s, self.stop_s) = (start_s, stop_s);
        Ok(())
    }

    /// Begin the initialisation.
    ///
    /// # Errors
    /// It is not the time for it.
    pub fn enter_initialisation(&mut self) -> Result<(), Fault> {
        if self.stage != Stage::Made {
            return error("the initialisation comes once, after the instance is made or reset");
        }
        self.stage = Stage::Initialising;
        Ok(())
    }

    /// End the initialisation: the unit begins.
    ///
    /// # Errors
    /// It is not the time for it, or the start is impossible.
    pub fn exit_initialisation(&mut self) -> Result<(), Fault> {
        if self.stage != Stage::Initialising {
            return error("there is no initialisation to end");
        }
        self.begin()?;
        self.stage = Stage::Stepping;
        Ok(())
    }

    /// The run is over.
    ///
    /// # Errors
    /// It has not begun.
    pub fn end(&mut self) -> Result<(), Fault> {
        if self.stage != Stage::Stepping {
            return error("only a run that has begun can be ended");
        }
        self.stage = Stage::Ended;
        Ok(())
    }

    /// As made.
    ///
    /// # Errors
    /// Never, for a source that was good once.
    pub fn reset(&mut self) -> Result<(), Fault> {
        *self = Session::new(self.source).map_err(Fault::Error)?;
        Ok(())
    }

    fn begin(&mut self) -> Result<(), Fault> {
        if !self.begun {
            let begun = match &mut self.unit {
                Unit::Plant(plant) => plant.begin(&mut self.values),
                Unit::Overseer(overseer) => overseer.begin(&mut self.values),
            };
            begun.map_err(Fault::Error)?;
            self.begun = true;
        }
        Ok(())
    }

    /// The value of a variable.
    ///
    /// # Errors
    /// There is none under this reference, or not yet.
    pub fn get(&mut self, reference: u32) -> Result<&Value, Fault> {
        let at = reference as usize;
        let Some(variable) = self.variables.list.get(at) else {
            return error(format!("there is no variable with reference {reference}"));
        };
        let (role, kind) = (variable.role, variable.kind);
        match role {
            Role::Time => self.values[at] = Value::Real(self.time_s()),
            Role::Output if self.stage == Stage::Made => {
                return error(format!("{} is not known before the initialisation", variable.name));
            }
            Role::Output => self.begin()?,
            Role::Parameter | Role::Input => {}
        }
        if (role, kind) == (Role::Output, Kind::Text) {
            match &self.unit {
                Unit::Plant(plant) => plant.words(&mut self.values),
                Unit::Overseer(overseer) => overseer.words(&mut self.values),
            }
        }
        Ok(&self.values[at])
    }

    /// Whether a variable may be set to this now.
    ///
    /// # Errors
    /// There is none under this reference, it is not set from outside or not now, or the value is
    /// none of its own.
    pub fn may_set(&self, reference: u32, value: &Value) -> Result<(), Fault> {
        let Some(variable) = self.variables.list.get(reference as usize) else {
            return error(format!("there is no variable with reference {reference}"));
        };
        self.variables.takes(variable, value).map_err(Fault::Error)?;
        match (variable.role, self.stage) {
            (Role::Output | Role::Time, _) => {
                error(format!("{} is not set from outside", variable.name))
            }
            (_, Stage::Ended) => error("the run is over"),
            (Role::Parameter, Stage::Stepping) => {
                error(format!("{} is fixed once the run has begun", variable.name))
            }
            (Role::Parameter | Role::Input, _) => Ok(()),
        }
    }

    /// Set a variable.
    ///
    /// # Errors
    /// It [may not be set](Session::may_set) so.
    pub fn set(&mut self, reference: u32, value: Value) -> Result<(), Fault> {
        self.may_set(reference, &value)?;
        let at = reference as usize;
        if self.variables.list[at].role == Role::Parameter {
            self.begun = false;
        }
        self.values[at] = value;
        Ok(())
    }

    /// A step from this time for so long: whole ticks, the inputs held.
    ///
    /// # Errors
    /// It does not begin where the last one ended, goes past the end, or is not of whole ticks;
    /// then nothing has moved.
    pub fn step(&mut self, at_s: f64, step_s: f64) -> Result<(), Fault> {
        if self.stage != Stage::Stepping {
            return error("a step comes after the initialisation and before the end");
        }
        let (tick_s, time_s) = (self.source.tick_s(), self.time_s());
        let off = (at_s - time_s).abs();
        if off.is_nan() || off > 0.25 * tick_s {
            return error(format!("the step begins at {at_s} s, but the unit is at {time_s} s"));
        }
        let ticks = (step_s / tick_s).round();
        let whole = (step_s / tick_s - ticks).abs() <= NEAR * ticks.clamp(1.0, 100.0);
        if !whole || !(1.0..=MOST_TICKS).contains(&ticks) {
            return Err(Fault::Discard(format!(
                "a step of {step_s} s is not a whole number of ticks of {tick_s} s"
            )));
        }
        let past = |stop: f64| time_s + ticks * tick_s > stop + 0.25 * tick_s;
        if self.stop_s.is_some_and(past) {
            return error(format!("a step from {at_s} s for {step_s} s goes past the end"));
        }
        for _ in 0..ticks as u64 {
            match &mut self.unit {
                Unit::Plant(plant) => plant.tick(&mut self.values),
                Unit::Overseer(overseer) => overseer.tick(&mut self.values),
            }
            self.ticks += 1;
        }
        Ok(())
    }
}
