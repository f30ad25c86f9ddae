//! What the speeds say of an engine that runs: whether they can be true, and whether it is in danger.

use crate::bits::Bits;
use crate::io::Inputs;
use crate::table::{Parity, Rest, SpeedRow, Table};

use super::{Reading, ahead, row_times};

/// An engine that will be slower than this share of its least speed is being dragged down.
const DRAGGED_SHARE: f32 = 1.1;
/// The same share for an engine whose sensors contradict others: no change is foreseen then, since
/// a sensor that is noisy would foresee anything.
const DOUBTED_SHARE: f32 = 1.25;
/// An engine that will be faster than this share of its highest speed is being driven too fast: one that is
/// brought near its limit on purpose is not.
const DRIVEN_SHARE: f32 = 1.1;

/// What is given counts as against what is asked from this share of it.
const ASKED_SHARE: f32 = 0.125;
/// And from this share of what the engine gives: losses in gears and bearings take some of it.
const LOST_SHARE: f32 = 0.1;
/// However much is asked the other way, what the engine gives counts when the other machines take less than
/// this of it, and give no more themselves.
const TAKEN_SHARE: f32 = 0.5;

/// Power that is asked for at the output, that all machines give, and that the engine gives, W.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Powers {
    pub(crate) asked_w: f32,
    pub(crate) given_w: f32,
    pub(crate) engine_w: f32,
}

impl Powers {
    /// Whether the engine gives power that the other machines do not take, while the demand is against
    /// the motion.
    pub(crate) fn oppose(&self) -> bool {
        let floor = LOST_SHARE * self.engine_w - ASKED_SHARE * self.asked_w;
        let of_engine = self.given_w > TAKEN_SHARE * self.engine_w
            && self.engine_w > TAKEN_SHARE * self.given_w;
        let much = self.given_w > floor || of_engine;
        self.asked_w < 0.0 && self.engine_w > 0.0 && much
    }
}

/// The engine, when it runs by itself.
pub(super) fn running_engine<'a>(table: &Table<'a>, inputs: &Inputs) -> Option<&'a Rest> {
    let engine = if inputs.engine_running { table.engine } else { None };
    table.rests.get(usize::from(engine?))
}

/// An engine that runs by itself turns forward and above its stall speed: a reading that says
/// otherwise speaks against its sensors. (With its clutch open no parity sees them.)
pub(super) fn implausible_engine(
    table: &Table,
    engine: Option<&Rest>,
    valid: Bits,
    now: &SpeedRow,
) -> Bits {
    let Some(rest) = engine else { return Bits::EMPTY };
    let readable = rest.max > 0.0 && valid.contains(rest.sensors);
    let turns = row_times(&rest.row, now) >= table.engine_min;
    if table.engine_min > 0.0 && readable && !turns { rest.sensors } else { Bits::EMPTY }
}

impl Reading<'_> {
    /// Whether the engine gives torque, or nobody says that it does not.
    pub fn engine_pushes(&self) -> bool {
        let torque = self.table.engine.and_then(|engine| self.inputs.torques.get(engine as usize));
        torque.is_some_and(|torque| {
            let gives_none = torque.valid && torque.nm <= 0.0;
            !gives_none
        })
    }

    /// Whether it gives torque, or may, and becomes faster.
    pub(crate) fn engine_gains(&self) -> bool {
        let engine = self.table.engine.and_then(|engine| self.table.rests.get(engine as usize));
        let gains = engine.is_some_and(|rest| {
            self.change_known.contains(rest.sensors) && row_times(&rest.row, &self.change) > 0.0
        });
        gains && self.engine_pushes()
    }

    /// Power asked for at the output, W; `None` when its speed is not known.
    pub(crate) fn asked_w(&self) -> Option<f32> {
        self.output_radps().map(|radps| self.inputs.demand_nm * radps)
    }

    /// Power asked for at the output, given by all machines together and by the engine; `None` without an
    /// engine that runs, or when a speed or torque of it is not known.
    pub(crate) fn powers(&self) -> Option<Powers> {
        running_engine(self.table, self.inputs)?;
        let asked_w = self.asked_w()?;
        let (mut given_w, mut engine_w) = (0.0, 0.0);
        for ((machine, rest), torque) in (0u8..).zip(self.table.rests).zip(&self.inputs.torques) {
            let radps =
                self.value(&rest.row, rest.sensors).filter(|_| rest.max > 0.0 && torque.valid)?;
            let power_w = torque.nm * radps;
            given_w += power_w;
            if self.table.engine == Some(machine) {
                engine_w = power_w;
            }
        }
        Some(Powers { asked_w, given_w, engine_w })
    }

    /// Whether the engine runs and is known to give something, and it is not known that it is what is asked for.
    pub(crate) fn engine_may_oppose(&self) -> bool {
        let engine = self.table.engine.unwrap_or(u8::MAX);
        let torque = self.inputs.torques.get(usize::from(engine));
        self.inputs.engine_running
            && torque.is_some_and(|torque| torque.valid && torque.nm > 0.0)
            && self.asked_w().is_none_or(|asked_w| asked_w < 0.0)
    }

    /// Whether the engine runs and will be dragged below its stall speed, or driven beyond its
    /// highest, before a lock that is let go now is open; or whether it is turned backwards.
    pub(super) fn is_engine_endangered(&self) -> bool {
        let letting_go = self.table.release_ticks_max().saturating_add(self.table.timing.react);
        let ahead = ahead(self.table, self.age_share, letting_go);
        let Some(rest) = running_engine(self.table, self.inputs) else {
            return self.is_engine_turned_back(ahead);
        };
        let of_engine = |speeds: &SpeedRow| row_times(&rest.row, speeds);
        let (now, change) = (of_engine(&self.now), of_engine(&self.change));
        if !self.trusted.contains(rest.sensors) {
            return self.doubted_engine_endangered(rest, now, change, ahead);
        }
        let soon = now + ahead * change;
        // The limits are those of a sensor that sits on the engine's own shaft.
        let own = rest.sensors.lowest().filter(|_| rest.sensors.count() == 1);
        let data = own.and_then(|sensor| self.table.sensors.get(sensor as usize));
        let driven = data.is_some_and(|sensor| soon > DRIVEN_SHARE * sensor.allowed.max);
        let known = self.change_known.contains(rest.sensors);
        known && (self.is_dragged(soon, DRAGGED_SHARE) || driven)
    }

    /// Whether an engine that does not run is turned backwards, or is about to be: one that still turns forward, by
    /// the time that a lock has let go.
    fn is_engine_turned_back(&self, ahead: f32) -> bool {
        let engine = self.table.engine.and_then(|engine| self.table.rests.get(engine as usize));
        engine.is_some_and(|rest| {
            let known = rest.max > 0.0 && self.trusted.contains(rest.sensors);
            let now = row_times(&rest.row, &self.now);
            let falls = now < rest.max && !self.racing.and(rest.sensors).is_empty();
            let soon = now + ahead * row_times(&rest.row, &self.change);
            let will =
                now > rest.max && soon < -rest.max && self.change_known.contains(rest.sensors);
            known && (now < -rest.max || falls || will)
        })
    }

    /// Whether an engine of this speed is slower than a share of its least speed.
    fn is_dragged(&self, radps: f32, share: f32) -> bool {
        // The least speed of an engine that runs has no room for what is foreseen wrongly.
        self.table.engine_min > 0.0 && radps < share * self.table.engine_min
    }

    /// Whether the engine is dragged down, as far as that is known while its own sensors (which say
    /// `now`, `change`) are missing or contradicted. A relation with other sensors tells the speed
    /// in their place; of two that contradict each other each is believed, unless it says what no
    /// engine that runs can do.
    fn doubted_engine_endangered(&self, rest: &Rest, now: f32, change: f32, ahead: f32) -> bool {
        let runs = |radps: f32| radps >= self.table.engine_min;
        let own = self.change_known.contains(rest.sensors);
        if own && runs(now) && self.is_dragged(now, DOUBTED_SHARE) {
            return true;
        }
        self.table.parities.iter().any(|parity| {
            let Some((amiss, amiss_change)) = self.amiss(parity, rest) else { return false };
            let (told, soon) = (now - amiss, now - amiss + ahead * (change - amiss_change));
            let missing = !own && self.trusted.contains(parity.sensors.without(rest.sensors));
            let dragged = match missing {
                true => self.is_dragged(soon, DRAGGED_SHARE),
                false => self.is_dragged(told, DOUBTED_SHARE),
            };
            runs(told) && dragged
        })
    }

    /// By how much a speed that one sensor reads, and its change, would have to be less for a
    /// relation with other sensors to be fulfilled; `None` when it does not tell.
    fn amiss(&self, parity: &Parity, rest: &Rest) -> Option<(f32, f32)> {
        let place = usize::from(rest.sensors.lowest()?);
        let (by, of) = (*parity.row.get(place)?, *rest.row.get(place)?);
        let others = parity.sensors.without(rest.sensors);
        let tells = rest.sensors.count() == 1 && parity.sensors.contains(rest.sensors);
        if !tells || by == 0.0 || !self.change_known.contains(others) {
            return None;
        }
        let share = of / by;
        let residual = |speeds: &SpeedRow| share * row_times(&parity.row, speeds);
        Some((residual(&self.now), residual(&self.change)))
    }
}
