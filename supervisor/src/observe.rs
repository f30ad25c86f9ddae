//! From measurements to bits: all floating point of the decisions lives here.
//!
//! Guards are comparisons of sums of products. The limits in the table are already
//! tightened, so that "measured within limit" implies "truly within limit".
//! Values that are not finite, out of range or not vouched for by their sender are
//! not used at all.

use crate::bits::{Bits, MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};
use crate::guards::{Guards, SlipBits};
use crate::heat::Heat;
use crate::io::{Inputs, LockReport};
use crate::table::{SpeedRow, Step, Table};

#[cfg(test)]
mod tests;

/// An engine that will be slower than this share of its least speed is being dragged down.
const DRAGGED_SHARE: f32 = 1.1;

/// Share of the allowed speeds within which a torque that was cut may come back.
const BACK_SHARE: f32 = 0.97;

/// Speeds of one tick that passed the range check.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
struct Sample {
    radps: SpeedRow,
    valid: Bits,
}

/// What `observe` remembers between ticks: two older samples, for rates of change.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Memory {
    newer: Sample,
    older: Sample,
    /// Ticks since `newer` was taken.
    age: u16,
    /// Whether `older` is a real sample, not the one of the reset.
    filled: u8,
}

/// The measured bits of one tick.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading<'a> {
    table: &'a Table<'a>,
    inputs: &'a Inputs,
    heat: &'a Heat,
    now: Sample,
    change: SpeedRow,
    /// Magnitude of each lock's slip, rad/s, whether or not it is to be trusted.
    slips: [f32; MAX_LOCKS],
    change_known: Bits,
    /// Age of the older sample over the table's rate distance (from one to two of it).
    age_share: f32,
    implausible: Bits,
    known: Bits,
    within: Bits,
    near: Bits,
    steady: Bits,
    moving: Bits,
}

impl PartialEq for Table<'_> {
    fn eq(&self, other: &Self) -> bool {
        self.hash == other.hash
    }
}

/// Sum of products; bounded by the number of sensors.
#[inline]
pub(crate) fn row_times(row: &SpeedRow, values: &SpeedRow) -> f32 {
    let mut sum = 0.0;
    for (coefficient, value) in row.iter().zip(values) {
        sum += coefficient * value;
    }
    sum
}

/// Absolute value by comparison; NaN stays NaN, so that every guard on it is false.
#[inline]
pub(crate) fn magnitude(x: f32) -> f32 {
    if x < 0.0 { -x } else { x }
}

fn take_sample(table: &Table, inputs: &Inputs) -> Sample {
    let mut sample = Sample::default();
    let read = table.sensors.iter().zip(&inputs.speeds).zip(&mut sample.radps);
    for (i, ((limit, speed), slot)) in read.enumerate() {
        if speed.valid && magnitude(speed.radps) <= limit.range {
            *slot = speed.radps;
            sample.valid = sample.valid.with(i as u8, true);
        }
    }
    sample
}

impl<'a> Reading<'a> {
    /// Measure: speeds in, bits out.
    pub fn new(
        table: &'a Table<'a>,
        inputs: &'a Inputs,
        heat: &'a Heat,
        memory: &mut Memory,
    ) -> Reading<'a> {
        let now = take_sample(table, inputs);
        let older = memory.older;
        let rate_ticks = table.timing.rate_ticks.max(1);
        let age = rate_ticks.saturating_add(memory.age).saturating_add(1);
        let age_share = f32::from(age) / f32::from(rate_ticks);
        let mut change = [0.0; MAX_SENSORS];
        for ((slot, new), old) in change.iter_mut().zip(&now.radps).zip(&older.radps) {
            *slot = new - old;
        }
        let filled = if memory.filled >= 2 { older.valid } else { Bits::EMPTY };
        let mut reading = Reading {
            table,
            inputs,
            heat,
            now,
            change,
            slips: [0.0; MAX_LOCKS],
            change_known: now.valid.and(filled),
            age_share,
            implausible: Bits::EMPTY,
            known: Bits::EMPTY,
            within: Bits::EMPTY,
            near: Bits::EMPTY,
            steady: Bits::EMPTY,
            moving: Bits::EMPTY,
        };
        memory.push(now, rate_ticks);
        reading.check_parities();
        reading.check_engine();
        reading.measure_slips();
        reading
    }

    /// A residual of a relation that healthy sensors fulfil speaks against all its sensors.
    fn check_parities(&mut self) {
        for parity in self.table.parities {
            let readable = self.now.valid.contains(parity.sensors);
            let residual = magnitude(row_times(&parity.row, &self.now.radps));
            let agrees = residual <= parity.max;
            if readable && !agrees {
                self.implausible = self.implausible.or(parity.sensors);
            }
        }
    }

    /// An engine that runs by itself turns forward and above its stall speed: a reading that
    /// says otherwise speaks against its sensors. (With its clutch open no parity sees them.)
    fn check_engine(&mut self) {
        let rest = self.table.engine.and_then(|engine| self.table.rests.get(engine as usize));
        let Some(rest) = rest.filter(|_| self.inputs.engine_running) else { return };
        let readable = rest.max > 0.0 && self.now.valid.contains(rest.sensors);
        let speed = row_times(&rest.row, &self.now.radps);
        let turns = speed >= self.table.engine_min;
        if self.table.engine_min > 0.0 && readable && !turns {
            self.implausible = self.implausible.or(rest.sensors);
        }
    }

    fn measure_slips(&mut self) {
        let trusted = self.trusted();
        for (i, (lock, told)) in self.table.locks.iter().zip(&mut self.slips).enumerate() {
            let i = i as u8;
            let slip = magnitude(row_times(&lock.slip_row, &self.now.radps));
            *told = slip;
            let change = magnitude(row_times(&lock.slip_row, &self.change));
            let known = trusted.contains(lock.sensors);
            let change_known = self.change_known.contains(lock.sensors);
            self.known = self.known.with(i, known);
            self.within = self.within.with(i, known && slip <= lock.slip_max);
            let near = slip <= lock.begin_max && slip <= lock.slip_max;
            self.near = self.near.with(i, known && near);
            self.moving = self.moving.with(i, known && slip > lock.moving_min);
            let steady = change <= lock.rate_max * self.age_share;
            self.steady = self.steady.with(i, known && change_known && steady);
        }
    }

    /// How often the change that was measured happens again within so many ticks.
    fn ahead(&self, ticks: u16) -> f32 {
        f32::from(ticks) / (f32::from(self.table.timing.rate_ticks.max(1)) * self.age_share)
    }

    /// Sensors of shafts that, as they accelerate now, pass their speed limits before a torque
    /// that is cut now is gone.
    ///
    /// `again`: while the torque is cut, until there is room for it to come back.
    pub fn racing(&self, again: bool) -> Bits {
        let share = if again { BACK_SHARE } else { 1.0 };
        let ahead = self.ahead(self.table.timing.react);
        let known = self.trusted().and(self.change_known);
        let mut racing = Bits::EMPTY;
        for (i, ((sensor, now), change)) in
            self.table.sensors.iter().zip(&self.now.radps).zip(&self.change).enumerate()
        {
            let soon = now + ahead * change;
            let inside = share * sensor.allowed.min <= soon && soon <= share * sensor.allowed.max;
            racing = racing.with(i as u8, known.has(i as u8) && !inside);
        }
        racing
    }

    fn trusted(&self) -> Bits {
        self.now.valid.without(self.implausible)
    }

    /// Sensors that are missing or that a parity relation speaks against.
    pub fn bad_sensors(&self) -> Bits {
        let all = Bits::first(self.table.sensors.len().min(MAX_SENSORS) as u8);
        all.without(self.trusted())
    }

    /// Locks whose slip is known, small enough to begin to close, and steady.
    pub fn ready_locks(&self) -> Bits {
        self.known.and(self.near).and(self.steady)
    }

    /// Locks whose sides move apart for sure.
    pub fn moving_locks(&self) -> Bits {
        self.moving
    }

    /// Locks whose slip is known and small enough for them to be locked.
    pub fn not_moving_locks(&self) -> Bits {
        self.known.without(self.moving)
    }

    /// Locks whose switch says `what`; a lock without a switch says nothing.
    fn reported(&self, what: LockReport) -> Bits {
        let mut saying = Bits::EMPTY;
        for lock in 0..self.table.lock_count() {
            saying = saying.with(lock, self.report_of(lock) == what);
        }
        saying
    }

    fn report_of(&self, lock: u8) -> LockReport {
        let with_switch = self.table.locks.get(lock as usize).is_some_and(|data| data.has_switch);
        match self.inputs.reports.get(lock as usize) {
            Some(&report) if with_switch => report,
            _ => LockReport::Missing,
        }
    }

    /// Locks whose switch says closed.
    pub fn reported_closed(&self) -> Bits {
        self.reported(LockReport::Closed)
    }

    /// Locks that nothing shows to be open: neither does the switch say so, nor do the sides
    /// move apart for sure.
    pub fn doubtful_locks(&self) -> Bits {
        let all = Bits::first(self.table.lock_count());
        all.without(self.reported(LockReport::Open)).without(self.moving)
    }

    /// Machines whose shafts are at rest.
    pub fn machines_at_rest(&self) -> Bits {
        let mut at_rest = Bits::EMPTY;
        for (i, rest) in self.table.rests.iter().enumerate().take(MAX_MACHINES) {
            let speed = magnitude(row_times(&rest.row, &self.now.radps));
            let readable = rest.max > 0.0 && self.trusted().contains(rest.sensors);
            at_rest = at_rest.with(i as u8, readable && speed <= rest.max);
        }
        at_rest
    }

    /// Whether the engine gives torque, or nobody says that it does not.
    pub fn engine_pushes(&self) -> bool {
        let torque = self.table.engine.and_then(|engine| self.inputs.torques.get(engine as usize));
        torque.is_some_and(|torque| {
            let gives_none = torque.valid && torque.nm <= 0.0;
            !gives_none
        })
    }

    /// Speed of a machine's shaft in rad/s; `None` when its sensors are not to be trusted.
    pub fn machine_radps(&self, machine: u8) -> Option<f32> {
        let rest = self.table.rests.get(machine as usize).filter(|rest| rest.max > 0.0)?;
        self.value(&rest.row, rest.sensors)
    }

    /// Whether a machine's shaft moves away from a speed in rad/s, faster than a change of `rate_max`
    /// over the distance of the rates; not when that is not known.
    pub fn goes_away(&self, machine: u8, from_radps: f32, rate_max: f32) -> bool {
        let rest = self.table.rests.get(machine as usize);
        let (Some(rest), Some(radps)) = (rest, self.machine_radps(machine)) else { return false };
        let change = row_times(&rest.row, &self.change);
        let known = self.change_known.contains(rest.sensors);
        let fast = magnitude(change) > rate_max * self.age_share;
        known && fast && (from_radps - radps) * change < 0.0
    }

    /// Speed of the output shaft in rad/s; `None` when its sensors are not to be trusted.
    pub fn output_radps(&self) -> Option<f32> {
        self.value(&self.table.output_row, self.table.output_sensors)
    }

    /// Magnitude of a lock's slip in rad/s; `None` when it is not known.
    pub fn slip_radps(&self, lock: u8) -> Option<f32> {
        self.slips.get(lock as usize).copied().filter(|_| self.known.has(lock))
    }

    /// Target speed of a step's synchronising machine in rad/s.
    pub fn target_radps(&self, step: &Step) -> Option<f32> {
        Some(self.value(&step.target_row, step.sensors)? + step.target_offset)
    }

    fn value(&self, row: &SpeedRow, sensors: Bits) -> Option<f32> {
        self.trusted().contains(sensors).then(|| row_times(row, &self.now.radps))
    }
}

impl Memory {
    fn push(&mut self, now: Sample, rate_ticks: u16) {
        self.age = self.age.saturating_add(1);
        if self.age >= rate_ticks || self.filled == 0 {
            self.older = self.newer;
            self.newer = now;
            self.age = 0;
            self.filled = self.filled.saturating_add(1).min(2);
        }
    }
}

impl Guards for Reading<'_> {
    fn slip(&mut self, lock: u8) -> SlipBits {
        SlipBits {
            known: self.known.has(lock),
            within: self.within.has(lock),
            near: self.near.has(lock),
            steady: self.steady.has(lock),
            moving: self.moving.has(lock),
        }
    }

    fn report(&mut self, lock: u8) -> LockReport {
        self.report_of(lock)
    }

    fn plausible(&mut self, sensors: Bits) -> bool {
        self.trusted().contains(sensors)
    }

    fn at_rest(&mut self, machines: Bits) -> bool {
        self.machines_at_rest().contains(machines)
    }

    fn unloaded(&mut self, step: u16) -> bool {
        let Some(step) = self.table.step(step) else { return false };
        let mut load = 0.0;
        for (coefficient, torque) in step.load_row.iter().zip(&self.inputs.torques) {
            if *coefficient != 0.0 {
                if !torque.valid {
                    return false;
                }
                load += coefficient * torque.nm;
            }
        }
        magnitude(load) <= step.load_max
    }

    fn arrangement_in_window(&mut self, arrangement: u8) -> bool {
        match (self.table.arrangements.get(arrangement as usize), self.output_radps()) {
            (Some(a), Some(output)) => a.window.min <= output && output <= a.window.max,
            _ => false,
        }
    }

    fn arrangement_may_stay(&mut self, arrangement: u8) -> bool {
        match (self.table.arrangements.get(arrangement as usize), self.output_radps()) {
            (Some(a), Some(output)) => a.keep.min <= output && output <= a.keep.max,
            // Without a trusted road speed there is no reason to leave.
            (Some(_), None) => true,
            (None, _) => false,
        }
    }

    fn in_window(&mut self, step: u16) -> bool {
        match (self.table.step(step), self.output_radps()) {
            (Some(step), Some(output)) => step.window.min <= output && output <= step.window.max,
            _ => false,
        }
    }

    fn target_allowed(&mut self, step: u16) -> bool {
        let Some(step) = self.table.step(step) else { return false };
        let Some(target) = self.target_radps(step) else { return false };
        let inside = |x: f32, min: f32, max: f32| min <= x && x <= max;
        let limits = self.table.limits_of(step);
        // Limits that the table has lost must not count as kept.
        inside(target, step.target_min, step.target_max)
            && limits.len() == usize::from(step.limits_count)
            && limits
                .iter()
                .all(|limit| inside(row_times(&limit.row, &self.now.radps), limit.min, limit.max))
    }

    fn demand_within(&mut self, step: u16) -> bool {
        let Some(step) = self.table.step(step) else { return false };
        magnitude(self.inputs.demand_nm) <= step.demand_max
    }

    fn cool(&mut self, lock: u8) -> bool {
        self.heat.cool(self.table, lock)
    }

    fn calm(&mut self) -> bool {
        let sensors = self.table.output_sensors;
        let change = magnitude(row_times(&self.table.output_row, &self.change));
        let known = self.change_known.contains(sensors) && self.trusted().contains(sensors);
        known && change <= self.table.output_rate_max * self.age_share
    }

    fn engine_running(&mut self) -> bool {
        self.inputs.engine_running
    }

    fn engine_endangered(&mut self) -> bool {
        let rest = self.table.engine.and_then(|engine| self.table.rests.get(engine as usize));
        let Some(rest) = rest.filter(|_| self.inputs.engine_running) else { return false };
        let known = self.trusted().and(self.change_known).contains(rest.sensors);
        let letting_go = self.table.release_ticks_max().saturating_add(self.table.timing.react);
        let soon = row_times(&rest.row, &self.now.radps)
            + self.ahead(letting_go) * row_times(&rest.row, &self.change);
        // The least speed of an engine that runs has no room for what this foresees wrongly.
        let least = self.table.engine_min * DRAGGED_SHARE;
        let dragged = self.table.engine_min > 0.0 && soon < least;
        // The limits are those of a sensor that sits on the engine's own shaft.
        let own = rest.sensors.lowest().filter(|_| rest.sensors.count() == 1);
        let data = own.and_then(|sensor| self.table.sensors.get(sensor as usize));
        let driven = data.is_some_and(|sensor| soon > sensor.allowed.max);
        known && (dragged || driven)
    }

    fn request(&mut self) -> Option<u8> {
        self.inputs.request
    }
}
