//! Estimate of how hot each friction lock is, and the inhibit when it is too hot.
//!
//! An estimate, not a guard: the exponential comes from `micromath`, whose stated
//! error is added as a margin ([`EXP_ERROR`]). Cooling is reckoned only when a value
//! is needed, from the ticks that have passed. The drag of oil heats open plates as well: far less,
//! but for as long as their sides turn apart, so that one lock a tick is enough to look at.

use crate::bits::{Bits, MAX_LOCKS};
use crate::table::{Lock, Table};
use micromath::F32Ext;

/// Largest relative error of `micromath` 2.1's `exp` for arguments from -8 to 0, found by a
/// scan against f64 (a test repeats the scan).
pub const EXP_ERROR: f32 = 0.003;

/// The ticks for which one look at a lock's drag stands: each lock has its turn once in so many.
/// A little more, since what is added is cooled from when the rise was last reckoned, which may be
/// [`REFRESH_SHARE`] of the time constant ago: e^(1/16) is 1.0645 (a test holds it).
const DRAG_TICKS: f32 = 1.065 * MAX_LOCKS as f32;

/// A rise to which drag is added is reckoned anew after this share of the time constant, so that the error
/// of the exponential is taken seldom.
const REFRESH_SHARE: f32 = 1.0 / 16.0;

/// Estimated temperature rise over the oil, per lock.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Heat {
    plates: [Plates; MAX_LOCKS],
    now: u32,
}

/// The plates of one lock.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
struct Plates {
    rise_k: f32,
    /// Tick at which the rise was last reckoned.
    at: u32,
}

impl Heat {
    /// Advance one tick; `working` are the locks that may carry torque while they slip, `slips`
    /// the magnitude of each lock's slip.
    pub(crate) fn tick(&mut self, table: &Table, working: Bits, slips: &[f32; MAX_LOCKS]) {
        self.now = self.now.wrapping_add(1);
        for lock in working.iter() {
            let i = usize::from(lock);
            let parts = (self.plates.get_mut(i), slips.get(i), table.locks.get(i));
            if let (Some(plates), Some(slip), Some(data)) = parts {
                plates.add(data, *slip, self.now);
            }
        }
        // Locks that are pressed have had more than their drag.
        let i = self.now as usize % MAX_LOCKS;
        let parts = (self.plates.get_mut(i), slips.get(i), table.locks.get(i));
        if let (Some(plates), Some(slip), Some(data)) = parts
            && !working.has(i as u8)
        {
            plates.drag(data, *slip, self.now);
        }
    }

    /// What may outlive a reset: the rise of each lock's plates when it was last reckoned, [stored].
    /// Since then they have only cooled.
    pub(crate) fn kept(&self) -> [u16; MAX_LOCKS] {
        self.plates.map(|plates| stored(plates.rise_k))
    }

    /// As after a reset that left this. What is no rise counts as the hottest that there is.
    pub(crate) fn of_kept(rises: [u16; MAX_LOCKS]) -> Heat {
        let plates = rises.map(|rise| {
            let rise_k = f32::from_bits(u32::from(rise) << 16);
            Plates {
                rise_k: if (0.0..=f32::MAX).contains(&rise_k) { rise_k } else { f32::MAX },
                at: 0,
            }
        });
        Heat { plates, now: 0 }
    }

    /// Estimated rise over the oil now, K, on the safe side.
    pub fn rise_k(&self, table: &Table, lock: u8) -> f32 {
        let i = usize::from(lock);
        let known = self.plates.get(i).zip(table.locks.get(i));
        known.map_or(0.0, |(plates, data)| plates.rise_k(data, self.now))
    }

    /// Whether the lock may be closed.
    pub(crate) fn cool(&self, table: &Table, lock: u8) -> bool {
        match table.locks.get(lock as usize) {
            Some(data) => data.rise_max_k <= 0.0 || self.is_below(lock, data),
            None => false,
        }
    }

    /// Whether a lock's plates are below its limit. They only cool: what was below it still is.
    fn is_below(&self, lock: u8, data: &Lock) -> bool {
        self.plates.get(usize::from(lock)).is_none_or(|plates| {
            plates.rise_k <= data.rise_max_k || plates.rise_k(data, self.now) <= data.rise_max_k
        })
    }
}

/// A rise in K as the upper half of an `f32`, rounded up; what is no rise as the hottest that there is.
pub(crate) fn stored(rise_k: f32) -> u16 {
    let rounded = rise_k.to_bits().saturating_add(0xffff) >> 16;
    // The largest number, and not beyond it.
    rounded.min(0x7f7f) as u16
}

impl Plates {
    fn add(&mut self, data: &Lock, slip_radps: f32, now: u32) {
        let gained = slip_radps * data.heat_k_per_radps_tick;
        if data.rise_max_k <= 0.0 || gained <= 0.0 {
            return;
        }
        self.gain(self.rise_k(data, now), gained);
        self.at = now;
    }

    /// What the oil between plates that are not pressed adds in [`DRAG_TICKS`].
    fn drag(&mut self, data: &Lock, slip_radps: f32, now: u32) {
        let gained = slip_radps * data.drag_k_per_radps_tick * DRAG_TICKS;
        if data.rise_max_k <= 0.0 || gained <= 0.0 {
            return;
        }
        let share = now.wrapping_sub(self.at) as f32 / data.cooling_ticks;
        if share >= REFRESH_SHARE {
            self.rise_k = self.rise_k(data, now);
            self.at = now;
        }
        self.gain(self.rise_k, gained);
    }

    /// Beyond what a number holds it is hot, and stays a number.
    fn gain(&mut self, before_k: f32, gained_k: f32) {
        let rise = before_k + gained_k;
        self.rise_k = if rise < f32::MAX { rise } else { f32::MAX };
    }

    fn rise_k(&self, data: &Lock, now: u32) -> f32 {
        if self.rise_k <= 0.0 || data.cooling_ticks <= 0.0 {
            return self.rise_k;
        }
        let ticks = now.wrapping_sub(self.at) as f32;
        // Beyond eight time constants it counts as e^-8, which is still on the safe side.
        let share = ticks / data.cooling_ticks;
        // So short a time leaves less than the margin takes.
        if share <= EXP_ERROR / 2.0 {
            return self.rise_k;
        }
        let share = if share < 8.0 { share } else { 8.0 };
        let left = F32Ext::exp(-share) * (1.0 + EXP_ERROR);
        self.rise_k * if left < 1.0 { left } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{Owned, STRIDE, ticks};

    /// So short a time that the exponential need not be asked: it would leave everything.
    #[test]
    fn a_short_time_leaves_everything() {
        for n in 0..=ticks(100_000) {
            let share = EXP_ERROR / 2.0 * (n as f32 / 100_000.0);
            assert!(F32Ext::exp(-share) * (1.0 + EXP_ERROR) >= 1.0, "{share}");
        }
    }

    /// A scan of the whole used range against f64: the stated error bounds it, and is not
    /// idle (half of it would not).
    #[test]
    fn the_stated_error_bounds_the_exponential() {
        let mut worst = (0.0f64, 0.0f32);
        for n in (0..=4_000_000u32).step_by(STRIDE * STRIDE) {
            let x = -8.0 * (n as f32 / 4_000_000.0);
            let exact = f64::from(x).exp();
            let error = (f64::from(F32Ext::exp(x)) - exact).abs() / exact;
            if error > worst.0 {
                worst = (error, x);
            }
        }
        std::println!("largest relative error of exp: {:.5} at {}", worst.0, worst.1);
        assert!(worst.0 <= f64::from(EXP_ERROR), "{worst:?}");
        assert!(worst.0 > f64::from(EXP_ERROR) / 2.0, "the stated error is idle: {worst:?}");
    }

    /// The same first-order model in f64, without any margin.
    struct Exact {
        rise_k: f64,
    }

    impl Exact {
        fn tick(&mut self, cooling_ticks: f64, gained: f64) {
            self.rise_k = self.rise_k * (-1.0 / cooling_ticks).exp() + gained;
        }
    }

    /// Random work against the exact model: never below it (but for f32 rounding), and not so
    /// far above it that it would inhibit for nothing.
    #[test]
    fn never_optimistic() {
        let owned = Owned::new();
        let table = owned.table();
        let data = table.locks[0];
        let mut random = 12345u64;
        for round in (0..40).step_by(STRIDE.min(39)) {
            let mut heat = Heat::default();
            let mut exact = Exact { rise_k: 0.0 };
            let mut working = false;
            for tick in 0..ticks(20_000) {
                random = random.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                let chance = (random >> 40) as f32 / 16_777_216.0;
                if chance < 0.004 {
                    working = !working && round % 4 != 3 || chance < 0.0005;
                }
                let slip = 100.0 * chance;
                let gained = slip * data.heat_k_per_radps_tick;
                heat.tick(&table, if working { Bits::one(0) } else { Bits::EMPTY }, &[slip; 8]);
                exact.tick(
                    f64::from(data.cooling_ticks),
                    if working { f64::from(gained) } else { 0.0 },
                );
                let estimate = f64::from(heat.rise_k(&table, 0));
                assert!(
                    estimate >= exact.rise_k * (1.0 - 1e-4) - 1e-6,
                    "round {round} tick {tick}: {estimate} below {}",
                    exact.rise_k
                );
            }
        }
    }

    /// Open plates that turn, with pressed ones between: never below the exact model but by what one turn
    /// of the locks adds, and in the long run not more than an eighth above it.
    #[test]
    fn drag_is_not_forgotten() {
        assert!(f64::from(REFRESH_SHARE).exp() * 8.0 <= f64::from(DRAG_TICKS));
        let owned = Owned::new();
        let table = owned.table();
        let data = table.locks[0];
        let (drag, cooling) =
            (f64::from(data.drag_k_per_radps_tick), f64::from(data.cooling_ticks));
        for (lock, slip) in [(0, 10.0f32), (0, 100.0), (0, 377.0)] {
            let mut heat = Heat::default();
            let mut exact = Exact { rise_k: 0.0 };
            let steady = f64::from(slip) * drag * cooling;
            for tick in 0..ticks(40_000) {
                // Turning, standing, and pressed in the end.
                let (still, pressed) = ((10_000..15_000).contains(&tick), tick > 39_900);
                let slip = if still { 0.0 } else { slip };
                let per_tick = if pressed { f64::from(data.heat_k_per_radps_tick) } else { drag };
                heat.tick(&table, if pressed { Bits::one(lock) } else { Bits::EMPTY }, &[slip; 8]);
                exact.tick(cooling, f64::from(slip) * per_tick);
                let estimate = f64::from(heat.rise_k(&table, lock));
                let late = 8.0 * f64::from(slip) * drag;
                assert!(
                    estimate >= exact.rise_k * (1.0 - 1e-4) - late,
                    "{slip} {tick}: {estimate}"
                );
                let most = exact.rise_k * 1.03 + 0.125 * steady + late;
                assert!(pressed || estimate <= most, "{slip} {tick}: {estimate} {}", exact.rise_k);
            }
        }
        let mut heat = Heat::default();
        for _ in 0..100 {
            heat.tick(&table, Bits::EMPTY, &[f32::MAX; 8]);
        }
        assert_eq!(heat.rise_k(&table, 1), 0.0, "a dog has no plates");
        assert!(!heat.cool(&table, 0) && heat.rise_k(&table, 0) <= f32::MAX);
    }

    /// What outlives a reset is never less than it was, and by no more than one in 128 above; and what is
    /// no rise is as hot as can be.
    #[test]
    fn what_is_kept_is_on_the_safe_side() {
        let owned = Owned::new();
        let table = owned.table();
        for n in 0..2000u16 {
            let rise_k = 1e-3 * 1.013f32.powi(i32::from(n));
            let plates = [Plates { rise_k, at: 7 }; MAX_LOCKS];
            let back = Heat::of_kept(Heat { plates, now: 9 }.kept());
            let now = back.rise_k(&table, 0);
            assert!(now >= rise_k && now <= rise_k * (1.0 + 1.0 / 128.0), "{rise_k} {now}");
        }
        let of = |rise_k| Heat { plates: [Plates { rise_k, at: 0 }; MAX_LOCKS], now: 0 };
        assert_eq!(Heat::of_kept(of(0.0).kept()), Heat::default());
        assert_eq!(of(f32::MAX).kept(), [0x7f7f; MAX_LOCKS], "the largest number, no infinity");
        for strange in [f32::NAN, f32::INFINITY, -1.0] {
            let rises = [(strange.to_bits() >> 16) as u16; MAX_LOCKS];
            assert_eq!(Heat::of_kept(rises), of(f32::MAX), "{strange}");
            assert!(!Heat::of_kept(rises).cool(&table, 0), "{strange}");
        }
    }

    /// Cooling only goes down, up to the error of the exponential where the estimate is taken
    /// at another time; and it ends below the limit, so that the inhibit works and releases.
    #[test]
    fn the_inhibit_works_and_releases() {
        let owned = Owned::new();
        let table = owned.table();
        let mut heat = Heat::default();
        let mut heated = 0;
        while heat.cool(&table, 0) {
            heat.tick(&table, Bits::one(0), &[100.0; 8]);
            heated += 1;
            assert!(heated < 100);
        }
        assert_eq!(heated, 51, "1 K a tick up to 50 K");
        let mut last = heat.rise_k(&table, 0);
        let mut released = None;
        for tick in 0..ticks(20_000) {
            heat.tick(&table, Bits::EMPTY, &[0.0; 8]);
            let now = heat.rise_k(&table, 0);
            assert!(now <= last * (1.0 + 2.0 * EXP_ERROR), "{tick}: {last} -> {now}");
            last = last.min(now);
            if released.is_none() && heat.cool(&table, 0) {
                released = Some(tick);
            }
        }
        // Exact: 1000 ticks * ln(51/50) = 20; with the margin of 0.3 %, a few more.
        assert!(released.is_some_and(|t| (20..30).contains(&t)), "{released:?}");
        assert!(cfg!(miri) || last < 0.03, "eight time constants leave e^-8: {last}");
    }

    #[test]
    fn dogs_locks_out_of_range_and_overflow() {
        let owned = Owned::new();
        let table = owned.table();
        let mut heat = Heat::default();
        for _ in 0..1000 {
            heat.tick(&table, Bits(0xff), &[f32::MAX; 8]);
        }
        assert_eq!((heat.rise_k(&table, 1), heat.cool(&table, 1)), (0.0, true));
        assert!(!heat.cool(&table, 7) && !heat.cool(&table, 200));
        assert!(heat.rise_k(&table, 0) <= f32::MAX && !heat.cool(&table, 0));
    }

    /// Work without slip heats nothing, and does not keep the plates from cooling.
    #[test]
    fn plates_cool_while_they_are_pressed_without_slip() {
        let owned = Owned::new();
        let table = owned.table();
        let mut heat = Heat::default();
        heat.tick(&table, Bits::one(0), &[3000.0; 8]);
        assert_eq!(heat.rise_k(&table, 0), 30.0);
        for _ in 0..1000 {
            heat.tick(&table, Bits::one(0), &[0.0; 8]);
        }
        let left = heat.rise_k(&table, 0) / 30.0;
        assert!((left - 0.3679).abs() < 0.002, "a time constant leaves 1/e: {left}");
    }

    /// Without a limit nothing is reckoned; without a time constant nothing cools.
    #[test]
    fn no_limit_and_no_cooling() {
        let mut owned = Owned::new();
        (owned.locks[0].rise_max_k, owned.locks[1].rise_max_k) = (0.0, 50.0);
        owned.locks[1].heat_k_per_radps_tick = 0.01;
        let table = owned.table();
        let mut heat = Heat::default();
        heat.tick(&table, Bits(3), &[3000.0; 8]);
        for _ in 0..1000 {
            heat.tick(&table, Bits::EMPTY, &[0.0; 8]);
        }
        assert_eq!((heat.rise_k(&table, 0), heat.rise_k(&table, 1)), (0.0, 30.0));
    }
}
