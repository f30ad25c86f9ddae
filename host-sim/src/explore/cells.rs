//! Which slip and rest bits can be true together: the cells into which the guards' hyperplanes
//! divide the motions of a lock set, each hyperplane as thick as the sensors' errors.
//!
//! A guard compares a row over sensors with a limit. In a motion `q` of the lock set that truly
//! holds, the row measures `a . q` with an error of at most its band. So a bit that says *within*
//! allows `|a . q| <= limit + band`, and one that says *beyond* allows `|a . q| >= limit - band`:
//! neither leaves out a motion in which the board can say so. Bits that compare the same row
//! compare the same value. Bands are taken for each row by itself, which lets more together than
//! the sensors can say. Each question is an exact linear
//! programme; its answer is kept.

use std::collections::HashMap;
use std::sync::RwLock;

use num_traits::{Signed, Zero};
use supervisor::bits::{MAX_LOCKS, MAX_SENSORS};
use supervisor::table::{SpeedRow, Table};

use crate::driveline::Driveline;
use crate::exact::{Q, Row, dot, from_f64};
use crate::kinematics::{Kinematics, LockSet, is_feasible};
use crate::table::sensor_bands_radps;

/// A guard bit of one tick, as a bit of a mask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuardBit {
    /// The sides of this lock move apart for sure.
    Moving(u8),
    /// Their slip is small enough to go on closing.
    Within(u8),
    /// Their slip is small enough to begin to close.
    Near(u8),
    /// This machine's shaft is at rest.
    Rest(u8),
}

impl GuardBit {
    /// Its bit.
    pub fn mask(self) -> u32 {
        let locks = MAX_LOCKS as u32;
        1 << match self {
            GuardBit::Moving(lock) => u32::from(lock),
            GuardBit::Within(lock) => locks + u32::from(lock),
            GuardBit::Near(lock) => 2 * locks + u32::from(lock),
            GuardBit::Rest(machine) => 3 * locks + u32::from(machine),
        }
    }
}

/// What is measured by one row, in the motions of one lock set.
#[derive(Clone, Debug)]
struct Measure {
    /// Over the motions.
    row: Row,
    /// How far the measured value may be from the true one.
    band: Q,
    /// Bits that compare its magnitude with a limit: whether they are true beyond it.
    bits: Vec<(u32, bool, Q)>,
}

/// What can be measured together in each lock set.
#[derive(Debug)]
pub struct Cells {
    sets: Vec<Vec<Measure>>,
    known: RwLock<HashMap<(u8, u32, u32), bool>>,
}

impl Cells {
    /// Of a table; its thresholds are those of the board.
    pub fn new(d: &Driveline, k: &Kinematics, table: &Table) -> Cells {
        Cells::with_bands(d, k, table, &sensor_bands_radps(d, k))
    }

    /// With other bands: how far each sensor's value may be from its shaft's speed, rad/s.
    pub fn with_bands(d: &Driveline, k: &Kinematics, table: &Table, bands: &[f64]) -> Cells {
        let measures = |set: &LockSet| {
            let measure = |row: &SpeedRow, bits: &[(GuardBit, bool, f32)]| {
                let band: f64 = row.iter().zip(bands).map(|(c, b)| f64::from(c.abs()) * b).sum();
                let exact = |&(bit, beyond, limit): &(GuardBit, bool, f32)| {
                    Some((bit.mask(), beyond, from_f64(f64::from(limit))?))
                };
                Measure {
                    row: set.basis.iter().map(|motion| over_motion(d, motion, row)).collect(),
                    band: from_f64(band).unwrap_or_else(Q::zero),
                    bits: bits.iter().filter_map(exact).collect(),
                }
            };
            let locks = (0..).zip(table.locks).filter(|(_, lock)| !lock.sensors.is_empty());
            let slips = locks.map(|(i, lock)| {
                let bits = [
                    (GuardBit::Moving(i), true, lock.moving_min),
                    (GuardBit::Within(i), false, lock.slip_max),
                    (GuardBit::Near(i), false, lock.begin_max.min(lock.slip_max)),
                ];
                measure(&lock.slip_row, &bits)
            });
            let rests = (0..).zip(table.rests).filter(|(_, rest)| rest.max > 0.0);
            let rests = rests.map(|(i, r)| measure(&r.row, &[(GuardBit::Rest(i), false, r.max)]));
            slips.chain(rests).collect()
        };
        Cells { sets: k.sets.iter().map(measures).collect(), known: RwLock::default() }
    }

    /// Whether in some motion of the lock set that holds, the bits of `yes` can be measured as
    /// true and those of `no` as false, all in one tick.
    pub fn allow(&self, held: u8, yes: u32, no: u32) -> bool {
        let key = (held, yes, no);
        if let Some(&known) = self.known.read().unwrap_or_else(|e| e.into_inner()).get(&key) {
            return known;
        }
        let answer = self.solve(held, yes, no);
        self.known.write().unwrap_or_else(|e| e.into_inner()).insert(key, answer);
        answer
    }

    fn solve(&self, held: u8, yes: u32, no: u32) -> bool {
        let Some(measures) = self.sets.get(usize::from(held)) else { return true };
        let (mut rows, mut limits, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
        for measure in measures {
            let (at_most, more_than) = measure.between(yes, no);
            if let (Some(most), Some(more)) = (&at_most, &more_than)
                && more >= most
            {
                return false;
            }
            if let Some(most) = at_most {
                let most = most + &measure.band;
                rows.extend([measure.row.clone(), negative(&measure.row)]);
                limits.extend([most.clone(), most]);
            }
            // A magnitude that is not negative is no condition.
            if let Some(least) = more_than.map(|more| more - &measure.band)
                && least.is_positive()
            {
                beyond.push((&measure.row, -least));
            }
        }
        either_side(&mut rows, &mut limits, &beyond, true)
    }

    /// Every way in which all bits can be answered in this lock set, as masks of those that are
    /// true.
    pub fn all(&self, held: u8) -> Vec<u32> {
        let Some(measures) = self.sets.get(usize::from(held)) else { return Vec::new() };
        let mut found = vec![(0, 0)];
        for (mask, ..) in measures.iter().flat_map(|measure| &measure.bits) {
            let both = |(yes, no)| [(yes | mask, no), (yes, no | mask)];
            found = found.into_iter().flat_map(both).collect();
            found.retain(|&(yes, no)| self.solve(held, yes, no));
        }
        found.into_iter().map(|(yes, _)| yes).collect()
    }

    /// How many bits there are in each lock set.
    pub fn bits(&self) -> usize {
        self.sets.first().map_or(0, |measures| measures.iter().map(|m| m.bits.len()).sum())
    }
}

impl Measure {
    /// The measured magnitude is at most this, and more than that.
    fn between(&self, yes: u32, no: u32) -> (Option<Q>, Option<Q>) {
        let (mut at_most, mut more_than): (Option<Q>, Option<Q>) = (None, None);
        for (mask, beyond, limit) in self.bits.iter().filter(|(mask, ..)| mask & (yes | no) != 0) {
            if (mask & yes != 0) == *beyond {
                more_than = Some(more_than.map_or(limit.clone(), |more| more.max(limit.clone())));
            } else {
                at_most = Some(at_most.map_or(limit.clone(), |most| most.min(limit.clone())));
            }
        }
        (at_most, more_than)
    }
}

fn negative(row: &Row) -> Row {
    row.iter().map(|x| -x).collect()
}

/// Of each magnitude that is at least so much, one side or the other. What is true of a motion is
/// true of the opposite one, so that the first has only one side.
fn either_side(
    rows: &mut Vec<Row>,
    limits: &mut Vec<Q>,
    beyond: &[(&Row, Q)],
    first: bool,
) -> bool {
    if !is_feasible(rows, limits) {
        return false;
    }
    let Some(((row, limit), others)) = beyond.split_first() else { return true };
    let sides = if first { vec![negative(row)] } else { vec![negative(row), (*row).clone()] };
    sides.into_iter().any(|side| {
        rows.push(side);
        limits.push(limit.clone());
        let can = either_side(rows, limits, others, false);
        rows.pop();
        limits.pop();
        can
    })
}

/// What the row reads in this motion, with exact coefficients of the board.
fn over_motion(d: &Driveline, motion: &Row, row: &SpeedRow) -> Q {
    let coefficients: Row = row
        .iter()
        .take(d.sensors.len().min(MAX_SENSORS))
        .map(|&c| from_f64(f64::from(c)).unwrap_or_else(Q::zero))
        .collect();
    let read: Row = d.sensors.iter().map(|sensor| motion[sensor.shaft].clone()).collect();
    dot(&coefficients, &read)
}
