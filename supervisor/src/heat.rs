//! Estimate of how hot each friction lock is, and the inhibit when it is too hot.
//!
//! An estimate, not a guard: the exponential comes from `micromath`, whose stated
//! error is added as a margin ([`EXP_ERROR`]). Cooling is reckoned only when a value
//! is needed, from the ticks that have passed.

use crate::bits::{Bits, MAX_LOCKS};
use crate::table::Table;
use micromath::F32Ext;

/// Largest relative error of `micromath` 2.1's `exp` for arguments from -8 to 0, found by a
/// scan against f64 (a test repeats the scan).
pub const EXP_ERROR: f32 = 0.02;

/// Estimated temperature rise over the oil, per lock.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Heat {
    rise_k: [f32; MAX_LOCKS],
    /// Tick at which the rise was last reckoned.
    at: [u32; MAX_LOCKS],
    /// Magnitude of the slip when it was last known, rad/s.
    slip_radps: [f32; MAX_LOCKS],
    now: u32,
}

impl Heat {
    /// Advance one tick; `working` are the locks that may carry torque while they slip, and
    /// `slip_radps` gives the magnitude of a lock's slip. Where it is not known, the last
    /// known one stands.
    pub(crate) fn tick(
        &mut self,
        table: &Table,
        working: Bits,
        slip_radps: impl Fn(u8) -> Option<f32>,
    ) {
        self.now = self.now.wrapping_add(1);
        for lock in 0..table.lock_count() {
            let i = usize::from(lock);
            if let (Some(slot), Some(slip)) = (self.slip_radps.get_mut(i), slip_radps(lock)) {
                *slot = slip;
            }
            if working.has(lock) {
                self.add(table, lock);
            }
        }
    }

    fn add(&mut self, table: &Table, lock: u8) {
        let i = usize::from(lock);
        let (Some(data), Some(&slip)) = (table.locks.get(i), self.slip_radps.get(i)) else {
            return;
        };
        let gained = slip * data.heat_k_per_radps_tick;
        if data.rise_max_k <= 0.0 || gained <= 0.0 {
            return;
        }
        let rise = self.rise_k(table, lock) + gained;
        if let (Some(slot), Some(at)) = (self.rise_k.get_mut(i), self.at.get_mut(i)) {
            // Beyond what a number holds it is hot, and stays a number.
            *slot = if rise < f32::MAX { rise } else { f32::MAX };
            *at = self.now;
        }
    }

    /// Estimated rise over the oil now, K, on the safe side.
    pub fn rise_k(&self, table: &Table, lock: u8) -> f32 {
        let (Some(&rise), Some(&at), Some(data)) = (
            self.rise_k.get(lock as usize),
            self.at.get(lock as usize),
            table.locks.get(lock as usize),
        ) else {
            return 0.0;
        };
        if rise <= 0.0 || data.cooling_ticks <= 0.0 {
            return rise;
        }
        let ticks = self.now.wrapping_sub(at) as f32;
        // Beyond eight time constants it counts as e^-8, which is still on the safe side.
        let share = ticks / data.cooling_ticks;
        let share = if share < 8.0 { share } else { 8.0 };
        let left = F32Ext::exp(-share) * (1.0 + EXP_ERROR);
        rise * if left < 1.0 { left } else { 1.0 }
    }

    /// Whether the lock may be closed.
    pub(crate) fn cool(&self, table: &Table, lock: u8) -> bool {
        match table.locks.get(lock as usize) {
            Some(data) => data.rise_max_k <= 0.0 || self.rise_k(table, lock) <= data.rise_max_k,
            None => false,
        }
    }
}
