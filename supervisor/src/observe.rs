//! From measurements to bits: all floating point of the decisions lives here.
//!
//! Guards are comparisons of sums of products. The limits in the table are already
//! tightened, so that "measured within limit" implies "truly within limit".
//! Values that are not finite, out of range or not vouched for by their sender are
//! not used at all.

use crate::bits::{Bits, MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};
use crate::guards::{Guards, SlipBits};
use crate::heat::Heat;
use crate::io::{Inputs, LockReport, Reports};
use crate::table::{Lock, SpeedRow, Step, Table, Window};

#[cfg(test)]
pub(crate) use engine::Powers;
use engine::{implausible_engine, running_engine};

mod engine;
#[cfg(test)]
mod tests;

/// Share of the allowed speeds within which a torque that was cut may come back, or may begin while a
/// change is not known.
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
    samples: [Sample; 2],
    /// Whether the second one is the newer.
    second_is_newer: bool,
    /// Ticks since the newer one was taken.
    age: u16,
    /// How many of them are real samples, not the one of the reset.
    filled: u8,
    /// Magnitude of each lock's slip when it was last known, rad/s.
    slips: [f32; MAX_LOCKS],
    /// Whether the torque is cut for a shaft that raced.
    pub(crate) torque_cut: bool,
}

/// The measured bits of one tick.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading<'a> {
    table: &'a Table<'a>,
    inputs: &'a Inputs,
    heat: &'a Heat,
    now: SpeedRow,
    change: SpeedRow,
    /// Sensors that are valid and that nothing speaks against.
    trusted: Bits,
    change_known: Bits,
    racing: Bits,
    /// Age of the older sample over the table's rate distance (from one to two of it).
    age_share: f32,
    /// Magnitude of each lock's slip when it was last known, rad/s.
    slips: [f32; MAX_LOCKS],
    known: Bits,
    moving: Bits,
    reports: Reports,
    output: Option<f32>,
}

impl PartialEq for Table<'_> {
    fn eq(&self, other: &Self) -> bool {
        self.hash == other.hash
    }
}

/// Sum of products, written out: half of what a tick does are such sums.
pub(crate) fn row_times(row: &SpeedRow, values: &SpeedRow) -> f32 {
    let [a, b, c, d, e, f, g, h] = row;
    let [s, t, u, v, w, x, y, z] = values;
    0.0 + a * s + b * t + c * u + d * v + e * w + f * x + g * y + h * z
}

/// Absolute value; NaN stays NaN, so that every guard on it is false.
#[inline]
pub(crate) fn magnitude(x: f32) -> f32 {
    x.abs()
}

/// The speeds of this tick; what is not to be used counts as zero.
fn take_sample(table: &Table, inputs: &Inputs) -> Sample {
    let mut valid = Bits::EMPTY;
    let radps = core::array::from_fn(|i| match (table.sensors.get(i), inputs.speeds.get(i)) {
        (Some(sensor), Some(speed)) if speed.valid && magnitude(speed.radps) <= sensor.range => {
            valid = valid.or(Bits::one(i as u8));
            speed.radps
        }
        _ => 0.0,
    });
    Sample { radps, valid }
}

/// Sensors whose speed will be outside of what is allowed when its change has happened `ahead`
/// times again; `share`: how much of the allowed speeds counts as inside.
fn outside(table: &Table, now: &SpeedRow, change: &SpeedRow, ahead: f32, share: f32) -> Bits {
    let mut outside = Bits::EMPTY;
    for (i, ((sensor, now), change)) in (0u8..8).zip(table.sensors.iter().zip(now).zip(change)) {
        let soon = now + ahead * change;
        let Window { min, max } = sensor.allowed;
        if !(share * min <= soon && soon <= share * max) {
            outside = outside.or(Bits::one(i));
        }
    }
    outside
}

/// Of `sensors`, whose change is not known (after a reset, after a dropout), those so near their limits that
/// a torque may take them over before it is.
fn unforeseen(table: &Table, now: &SpeedRow, sensors: Bits) -> Bits {
    match sensors.is_empty() {
        true => Bits::EMPTY,
        false => outside(table, now, now, 0.0, BACK_SHARE).and(sensors),
    }
}

/// How often the change over `age_share` times the table's rate distance happens again within so
/// many ticks.
fn ahead(table: &Table, age_share: f32, ticks: u16) -> f32 {
    f32::from(ticks) / (f32::from(table.timing.rate_ticks.max(1)) * age_share)
}

impl<'a> Reading<'a> {
    /// Measure: speeds in, bits out.
    #[inline(never)]
    pub fn new(
        table: &'a Table<'a>,
        inputs: &'a Inputs,
        heat: &'a Heat,
        memory: &mut Memory,
    ) -> Reading<'a> {
        let rate_ticks = table.timing.rate_ticks.max(1);
        let age = rate_ticks.saturating_add(memory.age).saturating_add(1);
        let age_share = f32::from(age) / f32::from(rate_ticks);
        let ahead = ahead(table, age_share, table.timing.react);
        let share = if memory.torque_cut { BACK_SHARE } else { 1.0 };
        let older = memory.older();
        let now = take_sample(table, inputs);
        let mut olds = older.radps.iter();
        let change = now.radps.map(|now| now - olds.next().unwrap_or(&0.0));
        let outside = outside(table, &now.radps, &change, ahead, share);
        let filled = if memory.filled >= 2 { older.valid } else { Bits::EMPTY };
        memory.push(&now, rate_ticks);
        let engine = running_engine(table, inputs);
        let implausible = implausible(table, &now).or(implausible_engine(table, engine, &now));
        let trusted = now.valid.without(implausible);
        let change_known = now.valid.and(filled);
        let unforeseen = unforeseen(table, &now.radps, trusted.without(change_known));
        let mut slips = memory.slips;
        let sight = look_at_locks(table, inputs, trusted, &now.radps, &mut slips);
        memory.slips = slips;
        let output = trusted.contains(table.output_sensors);
        Reading {
            table,
            inputs,
            heat,
            now: now.radps,
            change,
            trusted,
            change_known,
            racing: outside.and(trusted).and(change_known).or(unforeseen),
            age_share,
            slips,
            known: sight.known,
            moving: sight.moving,
            reports: sight.reports,
            output: output.then(|| row_times(&table.output_row, &now.radps)),
        }
    }
}

/// Of the valid sensors, those that a relation which healthy sensors fulfil speaks against: all
/// that the relation reads.
fn implausible(table: &Table, now: &Sample) -> Bits {
    let mut implausible = Bits::EMPTY;
    for parity in table.parities {
        let residual = magnitude(row_times(&parity.row, &now.radps));
        let agrees = residual <= parity.max;
        if now.valid.contains(parity.sensors) && !agrees {
            implausible = implausible.or(parity.sensors);
        }
    }
    implausible
}

/// What one look at each lock gives.
struct Sight {
    known: Bits,
    moving: Bits,
    reports: Reports,
}

/// Look at each lock once; of those whose slip is known it is put into `slips`.
fn look_at_locks(
    table: &Table,
    inputs: &Inputs,
    trusted: Bits,
    now: &SpeedRow,
    slips: &mut [f32; MAX_LOCKS],
) -> Sight {
    let (mut known, mut moving) = (Bits::EMPTY, Bits::EMPTY);
    let mut reports = Reports::default();
    let locks = table.locks.iter().zip(&inputs.reports).zip(slips);
    for (i, ((lock, report), told)) in (0u8..8).zip(locks) {
        reports.put(i, lock.has_switch, *report);
        if trusted.contains(lock.sensors) {
            let slip = magnitude(row_times(&lock.slip_row, now));
            *told = slip;
            known = known.or(Bits::one(i));
            if slip > lock.moving_min {
                moving = moving.or(Bits::one(i));
            }
        }
    }
    Sight { known, moving, reports }
}

impl Reading<'_> {
    /// Whether a lock's slip changes no faster than the margin allows for.
    fn is_steady(&self, lock: &Lock) -> bool {
        let change = magnitude(row_times(&lock.slip_row, &self.change));
        self.change_known.contains(lock.sensors) && change <= lock.rate_max * self.age_share
    }

    /// Sensors of shafts that, as they accelerate now, pass their speed limits before a torque
    /// that is cut now is gone; while it is cut, until there is room for it to come back.
    pub const fn racing(&self) -> Bits {
        self.racing
    }

    /// Whether all of these sensors are there and nothing speaks against them.
    pub(crate) const fn trusts(&self, sensors: Bits) -> bool {
        self.trusted.contains(sensors)
    }

    /// Sensors that are missing or that a parity relation speaks against.
    pub fn bad_sensors(&self) -> Bits {
        let all = Bits::first(self.table.sensors.len().min(MAX_SENSORS) as u8);
        all.without(self.trusted)
    }

    /// Locks whose slip is known, small enough to begin to close, and steady.
    pub fn ready_locks(&self) -> Bits {
        self.known.filter(|lock| self.slip_bits(lock).ready())
    }

    /// Locks whose sides move apart for sure.
    pub const fn moving_locks(&self) -> Bits {
        self.moving
    }

    /// Locks whose slip is known and small enough for them to be locked.
    pub const fn not_moving_locks(&self) -> Bits {
        self.known.without(self.moving)
    }

    /// Locks whose switch says closed.
    pub const fn reported_closed(&self) -> Bits {
        self.reports.closed
    }

    /// Locks that nothing shows to be open: neither does the switch say so, nor do the sides
    /// move apart for sure.
    pub fn doubtful_locks(&self) -> Bits {
        let all = Bits::first(self.table.lock_count());
        all.without(self.reports.open).without(self.moving)
    }

    /// Machines whose shafts are at rest.
    pub fn machines_at_rest(&self) -> Bits {
        Bits::first(MAX_MACHINES as u8).filter(|machine| self.is_at_rest(machine))
    }

    fn is_at_rest(&self, machine: u8) -> bool {
        let Some(rest) = self.table.rests.get(usize::from(machine)) else { return false };
        let speed = || magnitude(row_times(&rest.row, &self.now));
        rest.max > 0.0 && self.trusted.contains(rest.sensors) && speed() <= rest.max
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
    pub const fn output_radps(&self) -> Option<f32> {
        self.output
    }

    /// Magnitude of each lock's slip in rad/s when it was last known.
    pub(crate) const fn slips(&self) -> [f32; MAX_LOCKS] {
        self.slips
    }

    /// Magnitude of a lock's slip in rad/s; `None` when it is not known.
    pub fn slip_radps(&self, lock: u8) -> Option<f32> {
        self.slips.get(lock as usize).copied().filter(|_| self.known.has(lock))
    }

    /// Everything that is known of a lock's slip.
    fn slip_bits(&self, lock: u8) -> SlipBits {
        match (self.table.locks.get(usize::from(lock)), self.slip_radps(lock)) {
            (Some(data), Some(slip)) => SlipBits {
                known: true,
                within: slip <= data.slip_max,
                near: slip <= data.begin_max && slip <= data.slip_max,
                steady: self.is_steady(data),
                moving: self.moving.has(lock),
            },
            _ => SlipBits::default(),
        }
    }

    /// Target speed of a step's synchronising machine in rad/s.
    pub fn target_radps(&self, step: &Step) -> Option<f32> {
        Some(self.value(&step.target_row, step.sensors)? + step.target_offset)
    }

    fn value(&self, row: &SpeedRow, sensors: Bits) -> Option<f32> {
        self.trusted.contains(sensors).then(|| row_times(row, &self.now))
    }
}

impl Memory {
    const fn older(&self) -> &Sample {
        let [first, second] = &self.samples;
        if self.second_is_newer { first } else { second }
    }

    fn push(&mut self, now: &Sample, rate_ticks: u16) {
        self.age = self.age.saturating_add(1);
        if self.age >= rate_ticks || self.filled == 0 {
            let [first, second] = &mut self.samples;
            *(if self.second_is_newer { first } else { second }) = *now;
            self.second_is_newer = !self.second_is_newer;
            self.age = 0;
            self.filled = self.filled.saturating_add(1).min(2);
        }
    }
}

impl Guards for Reading<'_> {
    fn slip(&mut self, lock: u8) -> SlipBits {
        self.slip_bits(lock)
    }

    fn slip_known(&mut self, lock: u8) -> bool {
        self.known.has(lock)
    }

    fn slip_moving(&mut self, lock: u8) -> bool {
        self.moving.has(lock)
    }

    fn moving(&mut self, locks: Bits) -> Bits {
        locks.and(self.moving)
    }

    fn still(&mut self, locks: Bits) -> Bits {
        locks.and(self.known).without(self.moving)
    }

    fn report(&mut self, lock: u8) -> LockReport {
        self.reports.of(lock)
    }

    fn reports(&mut self, _: &Table) -> Reports {
        self.reports
    }

    fn plausible(&mut self, sensors: Bits) -> bool {
        self.trusted.contains(sensors)
    }

    fn at_rest(&mut self, machines: Bits) -> bool {
        machines.iter().all(|machine| self.is_at_rest(machine))
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
                .all(|limit| inside(row_times(&limit.row, &self.now), limit.min, limit.max))
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
        let known = self.change_known.contains(sensors) && self.trusted.contains(sensors);
        known && change <= self.table.output_rate_max * self.age_share
    }

    fn engine_running(&mut self) -> bool {
        self.inputs.engine_running
    }

    fn engine_endangered(&mut self) -> bool {
        self.is_engine_endangered()
    }

    fn request(&mut self) -> Option<u8> {
        self.inputs.request
    }
}
