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

pub(crate) use away::{Course, Wheels};
#[cfg(test)]
pub(crate) use engine::Powers;
use engine::{implausible_engine, running_engine};

mod away;
mod engine;
#[cfg(test)]
mod tests;

/// Share of the allowed speeds within which a torque that was cut may come back, or may begin while a
/// change is not known.
const BACK_SHARE: f32 = 0.97;

/// Two older samples, for rates of change.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub(crate) struct Samples {
    /// Speeds that passed the range check,
    radps: [SpeedRow; 2],
    /// and which of them did.
    valid: [Bits; 2],
    /// Whether the second one is the newer.
    second_is_newer: bool,
    /// Ticks since the newer one was taken.
    age: u16,
    /// How many of them are real samples, not the one of the reset.
    filled: u8,
    /// Sensors that a relation spoke against when it could be looked at last.
    doubted: Bits,
}

/// What `observe` remembers between ticks.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Memory {
    pub(crate) samples: Samples,
    /// Magnitude of each lock's slip when it was last known, rad/s.
    pub(crate) slips: [f32; MAX_LOCKS],
}

/// The measured bits of one tick.
#[derive(PartialEq, Debug)]
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
    slips: &'a mut [f32; MAX_LOCKS],
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

/// Sum of products.
pub(crate) fn row_times(row: &SpeedRow, values: &SpeedRow) -> f32 {
    row_times_here(row, values)
}

/// The same where every tick asks for it. Written out: a large part of what a tick does are such sums.
#[inline(always)]
fn row_times_here(row: &SpeedRow, values: &SpeedRow) -> f32 {
    let [a, b, c, d, e, f, g, h] = row;
    let [s, t, u, v, w, x, y, z] = values;
    0.0 + a * s + b * t + c * u + d * v + e * w + f * x + g * y + h * z
}

/// Absolute value; NaN stays NaN, so that every guard on it is false.
#[inline]
pub(crate) fn magnitude(x: f32) -> f32 {
    x.abs()
}

/// How often each change happens again, and how much of the allowed speeds counts as inside.
#[derive(Clone, Copy)]
struct Foresight {
    ahead: f32,
    share: f32,
}

impl Foresight {
    /// Whether a speed will be outside of what is allowed.
    fn leaves(self, allowed: Window, now: f32, change: f32) -> bool {
        let soon = now + self.ahead * change;
        !(self.share * allowed.min <= soon && soon <= self.share * allowed.max)
    }
}

/// Of `sensors`, whose change is not known (after a reset, after a dropout), those so near their limits that
/// a torque may take them over before it is.
fn unforeseen(table: &Table, now: &SpeedRow, sensors: Bits) -> Bits {
    let near = Foresight { ahead: 0.0, share: BACK_SHARE };
    sensors.filter(|sensor| {
        let known = table.sensors.get(usize::from(sensor)).zip(now.get(usize::from(sensor)));
        known.is_some_and(|(sensor, now)| near.leaves(sensor.allowed, *now, 0.0))
    })
}

/// How often the change over `age_share` times the table's rate distance happens again within so
/// many ticks.
fn ahead(table: &Table, age_share: f32, ticks: u16) -> f32 {
    f32::from(ticks) / (f32::from(table.timing.rate_ticks.max(1)) * age_share)
}

impl<'a> Reading<'a> {
    /// Measure, while no torque is cut: speeds in, bits out.
    pub fn new(
        table: &'a Table<'a>,
        inputs: &'a Inputs,
        heat: &'a Heat,
        memory: &'a mut Memory,
    ) -> Reading<'a> {
        let mut reading = Reading::before(table, inputs, heat, &memory.samples, &mut memory.slips);
        reading.measure(&mut memory.samples, false);
        reading
    }

    /// Not measured yet.
    #[inline(always)]
    pub(crate) const fn before(
        table: &'a Table<'a>,
        inputs: &'a Inputs,
        heat: &'a Heat,
        samples: &Samples,
        slips: &'a mut [f32; MAX_LOCKS],
    ) -> Reading<'a> {
        let (blank, _) = samples.older(); // Zero where there is no sensor; cheap to copy.
        Reading {
            table,
            inputs,
            heat,
            now: *blank,
            change: *blank,
            trusted: Bits::EMPTY,
            change_known: Bits::EMPTY,
            racing: Bits::EMPTY,
            age_share: 0.0,
            slips,
            known: Bits::EMPTY,
            moving: Bits::EMPTY,
            reports: Reports { switched: Bits::EMPTY, open: Bits::EMPTY, closed: Bits::EMPTY },
            output: None,
        }
    }

    /// Speeds in, bits out; `torque_cut`: whether the torque is cut for a shaft that raced.
    #[inline(never)]
    pub(crate) fn measure(&mut self, samples: &mut Samples, torque_cut: bool) {
        let rate_ticks = self.table.timing.rate_ticks.max(1);
        let age = rate_ticks.saturating_add(samples.age).saturating_add(1);
        self.age_share = f32::from(age) / f32::from(rate_ticks);
        let foresight = Foresight {
            ahead: ahead(self.table, self.age_share, self.table.timing.react),
            share: if torque_cut { BACK_SHARE } else { 1.0 },
        };
        let (older, known) = samples.older();
        let (valid, outside) = self.sense(older, foresight);
        self.change_known = if samples.filled >= 2 { valid.and(known) } else { Bits::EMPTY };
        samples.push(&self.now, valid, rate_ticks);
        samples.doubted = self.judge(valid, outside, samples.doubted);
        self.look_at_locks();
    }

    /// Speeds and changes; what is not to be used counts as zero. Gives what is, and what will be outside.
    fn sense(&mut self, older: &SpeedRow, foresight: Foresight) -> (Bits, Bits) {
        let (mut valid, mut outside, mut one) = (Bits::EMPTY, Bits::EMPTY, Bits::one(0));
        let told = self.table.sensors.iter().zip(&self.inputs.speeds).zip(older);
        let places = self.now.iter_mut().zip(&mut self.change);
        for (((sensor, speed), older), (now, change)) in told.zip(places) {
            let good = speed.valid && magnitude(speed.radps) <= sensor.range;
            let radps = if good { speed.radps } else { 0.0 };
            let changed = radps - older;
            (*now, *change) = (radps, changed);
            valid = valid.or(if good { one } else { Bits::EMPTY });
            if foresight.leaves(sensor.allowed, radps, changed) {
                outside = outside.or(one);
            }
            one = Bits(one.0 << 1);
        }
        (valid, outside)
    }

    /// Which of the valid sensors are to be trusted, and what they say of the shafts. Gives those that a
    /// relation speaks against; `doubted` were those of the tick before.
    fn judge(&mut self, valid: Bits, outside: Bits, doubted: Bits) -> Bits {
        let engine = running_engine(self.table, self.inputs);
        let doubted = implausible(self.table, valid, doubted, &self.now);
        let of_engine = implausible_engine(self.table, engine, valid, &self.now);
        self.trusted = valid.without(doubted.or(of_engine));
        let unforeseen = unforeseen(self.table, &self.now, self.trusted.without(self.change_known));
        self.racing = outside.and(self.trusted).and(self.change_known).or(unforeseen);
        self.output = self.value(&self.table.output_row, self.table.output_sensors);
        doubted
    }

    /// Look at each lock once; of those whose slip is known it is kept.
    fn look_at_locks(&mut self) {
        let (mut known, mut moving, mut one) = (Bits::EMPTY, Bits::EMPTY, Bits::one(0));
        let mut reports = Reports::default();
        let locks = self.table.locks.iter().zip(&self.inputs.reports).zip(self.slips.iter_mut());
        for ((lock, report), told) in locks {
            reports.put(one, lock.has_switch, *report);
            if self.trusted.contains(lock.sensors) {
                let slip = magnitude(row_times_here(&lock.slip_row, &self.now));
                *told = slip;
                known = known.or(one);
                if slip > lock.moving_min {
                    moving = moving.or(one);
                }
            }
            one = Bits(one.0 << 1);
        }
        (self.known, self.moving, self.reports) = (known, moving, reports);
    }
}

/// Sensors that a relation which healthy sensors fulfil speaks against: all that the relation reads, for
/// as long as it cannot be looked at again because one of them is missing: that one need not be the one
/// that was wrong.
fn implausible(table: &Table, valid: Bits, doubted: Bits, now: &SpeedRow) -> Bits {
    let mut implausible = Bits::EMPTY;
    for parity in table.parities {
        let agrees = if valid.contains(parity.sensors) {
            magnitude(row_times_here(&parity.row, now)) <= parity.max
        } else {
            !doubted.contains(parity.sensors)
        };
        if !agrees {
            implausible = implausible.or(parity.sensors);
        }
    }
    implausible
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

    /// Speed of the output shaft in rad/s; `None` when its sensors are not to be trusted.
    pub const fn output_radps(&self) -> Option<f32> {
        self.output
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

impl Samples {
    const fn older(&self) -> (&SpeedRow, Bits) {
        let ([first, second], [of_first, of_second]) = (&self.radps, self.valid);
        if self.second_is_newer { (first, of_first) } else { (second, of_second) }
    }

    fn push(&mut self, radps: &SpeedRow, valid: Bits, rate_ticks: u16) {
        self.age = self.age.saturating_add(1);
        if self.age >= rate_ticks || self.filled == 0 {
            let ([first, second], [of_first, of_second]) = (&mut self.radps, &mut self.valid);
            let (to, of) =
                if self.second_is_newer { (first, of_first) } else { (second, of_second) };
            (*to, *of) = (*radps, valid);
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
