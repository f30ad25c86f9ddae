//! The drive controller's limits: machine torque and power, and the battery's.

use supervisor::bits::MAX_MACHINES;

use super::governor::Seen;
use super::knowledge::{Knowledge, SetKnown};
use crate::drive::balance::{Answer, Asked, Part};
use crate::drive::dense::EMPTY_SUM;

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Share of the engine's highest speed at which it gives no torque any more.
const ENGINE_END_SHARE: f64 = 0.985;
/// Share of the highest speed over which the torque fades out.
const ENGINE_FADE_SHARE: f64 = 0.1;

/// The limits of one tick, and what they hold for.
pub(super) struct Limits<'a, const MACHINES: usize> {
    known: &'a Knowledge,
    set: &'a SetKnown,
    machine_radps: [f64; MAX_MACHINES],
    /// Lowest and highest torque of each machine, Nm.
    pub(super) nm: [(f64, f64); MACHINES],
}

impl<'a, const MACHINES: usize> Limits<'a, MACHINES> {
    /// Those of this tick.
    pub(super) fn new(
        known: &'a Knowledge,
        set: &'a SetKnown,
        seen: &Seen,
        full_nm: f64,
    ) -> Limits<'a, MACHINES> {
        let mut nm = [(0.0, 0.0); MACHINES];
        for (m, slot) in nm.iter_mut().enumerate() {
            *slot = machine_nm(known, m, seen, full_nm);
        }
        Limits { known, set, machine_radps: seen.machine_radps, nm }
    }

    /// Solve within the limits of the machines and the battery.
    pub(super) fn solved_within(&self, parts: &[Part; MACHINES], asked: &Asked) -> Answer {
        let answer = self.within_torques(parts, asked);
        let Some((low, high)) = self.known.battery_w else { return answer };
        let power = self.electric_w(&answer);
        if (low..=high).contains(&power) {
            return answer;
        }
        // Electric power is affine in the wheel torque between nothing and what was found.
        let none = self.within_torques(parts, &Asked { output_nm: 0.0, ..*asked });
        let base = self.electric_w(&none);
        if (power - base).abs() < 1.0 {
            return answer;
        }
        let share = (power.clamp(low, high) - base) / (power - base);
        let less = answer.output_nm * share.clamp(0.0, 1.0);
        self.within_torques(parts, &Asked { output_nm: less, ..*asked })
    }

    /// Solve; machines beyond their limits are set to them and the rest solved again.
    #[inline]
    fn within_torques(&self, parts: &[Part; MACHINES], asked: &Asked) -> Answer {
        let answer = self.known.balance(self.set, parts).answer_of::<MACHINES>(asked);
        match self.worst(parts, &answer) {
            Some(worst) => self.at_limits(parts, asked, worst),
            None => answer,
        }
    }

    /// The same, with the `worst` machine at its limit, and then further ones.
    #[inline(never)]
    fn at_limits(
        &self,
        parts: &[Part; MACHINES],
        asked: &Asked,
        mut worst: (usize, f64),
    ) -> Answer {
        let (mut parts, mut asked) = (*parts, *asked);
        let mut answer = Answer::default();
        for _ in 0..MACHINES {
            let (m, inside) = worst;
            parts[m] = parts[m].at_limit();
            asked.torque_nm[m] = inside;
            answer = self.known.balance(self.set, &parts).answer_of::<MACHINES>(&asked);
            match self.worst(&parts, &answer) {
                Some(next) => worst = next,
                None => break,
            }
        }
        answer
    }

    /// The open machine that is farthest beyond its limits, as a share of its largest torque, and
    /// the torque that is within; `None` when none is beyond.
    #[inline]
    fn worst(&self, parts: &[Part; MACHINES], answer: &Answer) -> Option<(usize, f64)> {
        let mut worst: Option<(usize, f64, f64)> = None;
        for m in 0..MACHINES {
            if !parts[m].is_open() {
                continue;
            }
            let (low, high) = self.nm[m];
            let nm = answer.torque_nm[m];
            let inside = nm.min(high).max(low);
            if inside == nm {
                continue;
            }
            let beyond = (nm - inside).abs() / self.known.machine[m].largest_nm.max(1e-3);
            if worst.is_none_or(|(_, _, most)| beyond >= most) {
                worst = Some((m, inside, beyond));
            }
        }
        worst.filter(|(_, _, beyond)| *beyond > 1e-9).map(|(m, inside, _)| (m, inside))
    }

    #[inline]
    fn electric_w(&self, answer: &Answer) -> f64 {
        let mut sum = EMPTY_SUM;
        for m in 0..MACHINES {
            if self.known.machine[m].electric {
                sum += answer.torque_nm[m] * self.machine_radps[m];
            }
        }
        sum
    }
}

/// Lowest and highest torque of a machine, Nm; `full_nm` is the full load of a running engine.
fn machine_nm(known: &Knowledge, m: usize, seen: &Seen, full_nm: f64) -> (f64, f64) {
    let machine = &known.machine[m];
    let speed = seen.machine_radps[m];
    match &known.engine {
        Some(engine) if engine.machine == m && seen.engine_running => {
            // Its own speed limiter fades the torque out before the limit, whatever is asked.
            let share = speed / RPM / engine.end_rpm;
            let room = ((ENGINE_END_SHARE - share) / ENGINE_FADE_SHARE).clamp(0.0, 1.0);
            (-engine.data.drag_nm, full_nm * room)
        }
        Some(engine) if engine.machine == m => (-engine.data.drag_nm, engine.data.drag_nm),
        _ => {
            let high = machine.largest_nm.min(machine.power_w / speed.abs().max(1e-3));
            (-high, high)
        }
    }
}
