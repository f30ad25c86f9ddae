//! Exact stick or slip: the torques of all Coulomb contacts at one instant.
//!
//! Sliding contacts carry their sliding capacity against the slip. For contacts at zero slip the
//! torques minimise `1/2 l'Wl + b'l` within `|l| <= capacity`: the optimum is exactly Coulomb's
//! law (no slip acceleration inside the box; at a bound, acceleration against the torque). `W`
//! may be singular (redundant locks); the slip accelerations are unique all the same.

use super::MAX_CONTACTS;
use super::model::{PlantModel, ShaftValues, sum_rows};

/// Slip below which a contact counts as standing, rad/s (1e-8 rpm; rounding is far below it).
pub(super) const ZERO_SLIP: f64 = 1e-9;
/// Slip above which a contact that stuck has been torn apart (by an impact), rad/s.
const TORN_SLIP: f64 = 1e-7;
/// Bound of the active-set search; each round moves at least one contact for good.
const MAX_ROUNDS: usize = 64;

/// Capacities and modes of all contacts within one step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Contacts {
    /// Torque when it slides, Nm.
    pub(super) slide: [f64; MAX_CONTACTS],
    /// Torque up to which it sticks, Nm; infinite for a dog that is in.
    pub(super) stick: [f64; MAX_CONTACTS],
    /// Those that stand still at present, a bit each.
    pub(super) stuck: usize,
    /// Slip when last looked at, rad/s.
    pub(super) slip: [f64; MAX_CONTACTS],
    /// Sign of the slip of one that slides.
    pub(super) way: [f64; MAX_CONTACTS],
}

/// Torques and accelerations at one instant.
#[derive(Default)]
pub(super) struct Solution {
    /// Torque of each contact on its first shaft.
    pub(super) torque: [f64; MAX_CONTACTS],
    /// Accelerations of all shafts.
    pub(super) accel: ShaftValues,
}

impl Contacts {
    /// Whether a contact stands still.
    #[inline]
    pub(super) fn is_stuck(&self, contact: usize) -> bool {
        self.stuck >> contact & 1 == 1
    }

    /// Sort every contact into standing or sliding at the start of a step.
    #[inline]
    pub(super) fn classify(&mut self, model: &PlantModel, speed: &ShaftValues) {
        let mut stuck = 0;
        for i in 0..model.contacts.min(MAX_CONTACTS) {
            let slip = model.slip(i, speed);
            let stands = if self.stick[i] <= 0.0 {
                false
            } else if self.stick[i] == f64::INFINITY {
                true
            } else {
                slip.abs() <= if self.is_stuck(i) { TORN_SLIP } else { ZERO_SLIP }
            };
            self.slip[i] = slip;
            self.way[i] = if stands { 0.0 } else { sign(slip) };
            stuck |= usize::from(stands) << i;
        }
        self.stuck = stuck;
    }

    /// Look at the slips again.
    pub(super) fn look(&mut self, model: &PlantModel, speed: &ShaftValues) {
        for i in 0..model.contacts.min(MAX_CONTACTS) {
            self.slip[i] = model.slip(i, speed);
        }
    }

    /// Solve for the torques; contacts that break away are marked as sliding. False when the
    /// search did not end within its bound.
    ///
    /// One that breaks away loses its static bonus for the rest of the step, and the whole is
    /// solved again with its sliding capacity, so that the result is consistent.
    #[inline]
    pub(super) fn solve<const SHAFTS: usize>(
        &mut self,
        model: &PlantModel,
        base: &ShaftValues,
        solution: &mut Solution,
    ) -> bool {
        let Solution { torque, accel } = solution;
        let mut sliding = 0;
        for i in 0..model.contacts.min(MAX_CONTACTS) {
            let slides = !self.is_stuck(i) && self.slide[i] > 0.0;
            torque[i] = if slides { -self.way[i] * self.slide[i] } else { 0.0 };
            sliding |= usize::from(slides) << i;
        }
        let candidates = self.stuck;
        let settled = candidates == 0 || self.hold(model, base, candidates, sliding, torque);
        let rows = &model.contact_response[..model.contacts.min(MAX_CONTACTS)];
        let sum = sum_rows::<SHAFTS>(base, rows, torque);
        accel[..SHAFTS].copy_from_slice(&sum);
        settled
    }

    /// The torques of the contacts that stand still, beside those that slide; false when the
    /// search hit its bound.
    #[inline]
    fn hold(
        &mut self,
        model: &PlantModel,
        base: &ShaftValues,
        candidates: usize,
        sliding: usize,
        torque: &mut [f64; MAX_CONTACTS],
    ) -> bool {
        // Slip accelerations without the torques that are sought.
        let mut drive = [0.0; MAX_CONTACTS];
        for i in members(candidates) {
            let mobility = &model.contact_mobility[i];
            drive[i] =
                members(sliding).fold(model.slip(i, base), |sum, j| sum + mobility[j] * torque[j]);
        }
        self.hold_all(model, &drive, candidates, torque)
            || self.hold_or_break(model, &drive, candidates, torque)
    }

    /// The usual case: every contact that stands holds within its bound. It is the first round of
    /// the search and comes to the same bits; false, and nothing is changed, when one does not.
    #[inline]
    fn hold_all(
        &self,
        model: &PlantModel,
        drive: &[f64; MAX_CONTACTS],
        candidates: usize,
        torque: &mut [f64; MAX_CONTACTS],
    ) -> bool {
        let matrix = model.table.of(candidates);
        let mut held = [0.0; MAX_CONTACTS];
        for i in members(candidates) {
            let row = &matrix[i];
            held[i] = 0.0 - members(candidates).fold(0.0, |sum, j| sum + row[j] * drive[j]);
            if held[i].abs() > self.stick[i] {
                return false;
            }
        }
        for i in members(candidates) {
            torque[i] = held[i];
        }
        true
    }

    /// The same where some may break away.
    #[inline(never)]
    fn hold_or_break(
        &mut self,
        model: &PlantModel,
        drive: &[f64; MAX_CONTACTS],
        candidates: usize,
        torque: &mut [f64; MAX_CONTACTS],
    ) -> bool {
        let mut settled = true;
        let mut broken = 0;
        for _ in 0..=model.contacts {
            let boxed = BoxSearch { model, drive, bound: &self.stick };
            let found = boxed.run(candidates);
            settled = found.settled;
            broken = found.broken;
            for i in members(candidates) {
                torque[i] = found.torque[i];
            }
            let mut bonus_lost = false;
            for i in members(broken) {
                bonus_lost |= self.stick[i] > self.slide[i];
                self.stick[i] = self.slide[i];
            }
            if !bonus_lost {
                break;
            }
        }
        self.stuck &= !broken;
        for i in members(broken) {
            self.way[i] = -sign(torque[i]);
        }
        settled
    }
}

/// Indices of a bit set, rising.
#[inline]
pub(super) fn members(set: usize) -> impl Iterator<Item = usize> {
    let mut left = set;
    core::iter::from_fn(move || {
        if left == 0 {
            return None;
        }
        let index = left.trailing_zeros() as usize;
        left &= left - 1;
        Some(index)
    })
}

/// The sign of a number; of zero and of what is none, zero.
fn sign(x: f64) -> f64 {
    if x > 0.0 {
        1.0
    } else if x < 0.0 {
        -1.0
    } else {
        0.0
    }
}

/// Impulses that bring every slip of `set` to zero, applied to the speeds.
#[inline]
pub(super) fn project<const SHAFTS: usize>(
    model: &PlantModel,
    speed: &mut ShaftValues,
    set: usize,
) {
    let mut slip = [0.0; MAX_CONTACTS];
    for i in members(set) {
        slip[i] = model.slip(i, speed);
    }
    let matrix = model.table.of(set);
    for i in members(set) {
        let row = &matrix[i];
        let impulse = -members(set).fold(0.0, |sum, j| sum + row[j] * slip[j]);
        let response = &model.contact_response[i];
        for s in 0..SHAFTS {
            speed[s] += response[s] * impulse;
        }
    }
}

struct BoxSearch<'a> {
    model: &'a PlantModel,
    /// Slip accelerations without the torques that are sought.
    drive: &'a [f64; MAX_CONTACTS],
    bound: &'a [f64; MAX_CONTACTS],
}

struct Found {
    torque: [f64; MAX_CONTACTS],
    broken: usize,
    settled: bool,
}

impl BoxSearch<'_> {
    /// Primal active-set search: from the inside of the box towards the optimum of the free
    /// contacts, stopping at the first bound; a bound that pulls the wrong way is freed again.
    fn run(&self, candidates: usize) -> Found {
        let mut torque = [0.0; MAX_CONTACTS];
        let mut free = candidates;
        let scale = members(candidates).fold(0.0, |most: f64, i| most.max(self.drive[i].abs()));
        let tolerance = 1e-11 * scale;
        for _ in 0..MAX_ROUNDS {
            let fixed = candidates & !free;
            let target = self.optimum(candidates, free, &torque);
            match self.first_bound(free, &torque, &target) {
                Some((hit, share)) => {
                    for i in members(free) {
                        torque[i] += share * (target[i] - torque[i]);
                    }
                    let up = target[hit] > 0.0;
                    torque[hit] = if up { self.bound[hit] } else { -self.bound[hit] };
                    free &= !(1 << hit);
                }
                None => {
                    for i in members(free) {
                        torque[i] = target[i];
                    }
                    let (worst, broken) = self.judge(candidates, fixed, &torque, tolerance);
                    match worst {
                        Some(i) => free |= 1 << i,
                        None => return Found { torque, broken, settled: true },
                    }
                }
            }
        }
        let broken = self.judge(candidates, candidates & !free, &torque, tolerance).1;
        Found { torque, broken, settled: false }
    }

    /// Torques of the free contacts that leave them without slip acceleration, by the least
    /// change of the torques so far. (The least torques themselves would pull a redundant, weak
    /// contact back to its bound for ever.)
    fn optimum(
        &self,
        candidates: usize,
        free: usize,
        torque: &[f64; MAX_CONTACTS],
    ) -> [f64; MAX_CONTACTS] {
        let mut accel = [0.0; MAX_CONTACTS];
        for i in members(free) {
            let mobility = &self.model.contact_mobility[i];
            accel[i] =
                members(candidates).fold(self.drive[i], |sum, j| sum + mobility[j] * torque[j]);
        }
        let mut target = *torque;
        for i in members(free) {
            let row = &self.model.table.of(free)[i];
            let pairs = row.iter().zip(&accel).take(self.model.contacts);
            target[i] -= pairs.fold(0.0, |sum, (l, x)| sum + l * x);
        }
        target
    }

    /// The free contact whose bound comes first on the way to the target, and the share of the way.
    fn first_bound(
        &self,
        free: usize,
        torque: &[f64; MAX_CONTACTS],
        target: &[f64; MAX_CONTACTS],
    ) -> Option<(usize, f64)> {
        let mut first: Option<(usize, f64)> = None;
        for i in members(free) {
            if target[i].abs() > self.bound[i] {
                let bound = if target[i] > 0.0 { self.bound[i] } else { -self.bound[i] };
                let way = target[i] - torque[i];
                let share = if way == 0.0 { 0.0 } else { (bound - torque[i]) / way };
                if first.is_none_or(|(_, s)| share < s) {
                    first = Some((i, share));
                }
            }
        }
        first
    }

    /// Of the contacts at a bound: the one that should be freed most, and those that break away.
    fn judge(
        &self,
        candidates: usize,
        fixed: usize,
        torque: &[f64; MAX_CONTACTS],
        tolerance: f64,
    ) -> (Option<usize>, usize) {
        let mut worst: Option<(usize, f64)> = None;
        let mut broken = 0;
        for i in members(fixed) {
            let mobility = &self.model.contact_mobility[i];
            let mut accel = self.drive[i];
            let mut size = 0.0;
            for j in members(candidates) {
                let part = mobility[j] * torque[j];
                accel += part;
                size += part.abs();
            }
            // Large torques that cancel leave rounding of their own size.
            let tolerance = tolerance + 1e-12 * size;
            let along = if torque[i] >= 0.0 { accel } else { -accel };
            if along > tolerance && worst.is_none_or(|(_, most)| along > most) {
                worst = Some((i, along));
            }
            if along < -tolerance {
                broken |= 1 << i;
            }
        }
        (worst.map(|(i, _)| i), broken)
    }
}
