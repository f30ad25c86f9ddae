//! The drive controller's limits: machine torque and power, and the battery's.

use super::governor::{Governor, Seen};
use crate::drive::balance::{Answer, Asked, Balance, Part};
use crate::drive::charge;
use crate::driveline::MachineKind;

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Share of the engine's highest speed at which it gives no torque any more.
const ENGINE_END_SHARE: f64 = 0.985;
/// Share of the highest speed over which the torque fades out.
const ENGINE_FADE_SHARE: f64 = 0.1;

impl Governor {
    /// Solve within the limits of the machines and the battery.
    pub(super) fn within_limits(&mut self, seen: &Seen, parts: &[Part], asked: &Asked) -> Answer {
        let answer = self.within_torques(seen, parts, asked);
        let Some((low, high)) = self.battery_w() else { return answer };
        let power = self.electric_w(&answer, seen);
        if (low..=high).contains(&power) {
            return answer;
        }
        // Electric power is affine in the wheel torque between nothing and what was found.
        let none = Asked { output_nm: 0.0, ..asked.clone() };
        let none = self.within_torques(seen, parts, &none);
        let base = self.electric_w(&none, seen);
        if (power - base).abs() < 1.0 {
            return answer;
        }
        let share = (power.clamp(low, high) - base) / (power - base);
        let less = answer.output_nm * share.clamp(0.0, 1.0);
        self.within_torques(seen, parts, &Asked { output_nm: less, ..asked.clone() })
    }

    /// Solve; machines beyond their limits are set to them and the rest solved again.
    fn within_torques(&mut self, seen: &Seen, parts: &[Part], asked: &Asked) -> Answer {
        let (mut parts, mut asked) = (parts.to_vec(), asked.clone());
        let mut answer = self.solved(seen.held, &parts, &asked);
        for _ in 0..parts.len() {
            let worst = (0..parts.len())
                .filter(|&m| parts[m].is_open())
                .map(|m| {
                    let (low, high) = self.limits_nm(m, seen);
                    let nm = answer.torque_nm[m];
                    let inside = nm.min(high).max(low);
                    (m, inside, (nm - inside).abs() / self.largest_nm(m).max(1e-3))
                })
                .max_by(|a, b| a.2.total_cmp(&b.2));
            match worst {
                Some((m, inside, beyond)) if beyond > 1e-9 => {
                    parts[m] = parts[m].at_limit();
                    asked.torque_nm[m] = inside;
                }
                _ => break,
            }
            answer = self.solved(seen.held, &parts, &asked);
        }
        answer
    }

    fn battery_w(&self) -> Option<(f64, f64)> {
        let b = self.driveline.battery.as_ref()?;
        Some((-1e3 * b.charge_max_kw, 1e3 * b.discharge_max_kw))
    }

    fn electric_w(&self, answer: &Answer, seen: &Seen) -> f64 {
        let machines = self.driveline.machines.iter().enumerate();
        machines
            .filter(|(_, m)| matches!(m.kind, MachineKind::Electric(_)))
            .map(|(i, _)| answer.torque_nm[i] * seen.machine_radps[i])
            .sum()
    }

    fn solved(&mut self, set: u8, parts: &[Part], asked: &Asked) -> Answer {
        let key = parts.iter().fold(0u16, |k, p| k << 3 | *p as u16);
        let (driveline, motions) = (&self.driveline, &self.motions);
        let balance = self
            .balances
            .entry((set, key))
            .or_insert_with(|| Balance::new(driveline, &motions[&set].0, parts));
        balance.answer(asked)
    }

    pub(super) fn largest_nm(&self, m: usize) -> f64 {
        match &self.driveline.machines[m].kind {
            MachineKind::Electric(e) => e.max_torque_nm.unwrap_or(0.0),
            MachineKind::Engine(e) => {
                e.torque_curve_rpm_nm.iter().fold(1.0, |most: f64, p| most.max(p.1))
            }
        }
    }

    pub(super) fn limits_nm(&self, m: usize, seen: &Seen) -> (f64, f64) {
        let speed = seen.machine_radps[m];
        match &self.driveline.machines[m].kind {
            MachineKind::Electric(e) => {
                let most = e.max_torque_nm.unwrap_or(0.0);
                let power = e.max_power_kw.map_or(f64::INFINITY, |kw| 1e3 * kw);
                let high = most.min(power / speed.abs().max(1e-3));
                (-high, high)
            }
            MachineKind::Engine(e) if seen.engine_running => {
                // Its own speed limiter fades the torque out before the limit, whatever is asked.
                let shaft = self.driveline.machines[m].shaft;
                let most_rpm = self.driveline.shafts[shaft].max_rpm.unwrap_or(f64::INFINITY);
                let share = speed / RPM / e.max_rpm.min(most_rpm).max(1.0);
                let room = ((ENGINE_END_SHARE - share) / ENGINE_FADE_SHARE).clamp(0.0, 1.0);
                (-e.drag_nm, charge::full_load_nm(e, speed) * room)
            }
            MachineKind::Engine(e) => (-e.drag_nm, e.drag_nm),
        }
    }
}
