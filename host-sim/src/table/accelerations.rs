//! How fast each shaft can change its speed, for sensors whose values are of different ages.

use num_traits::{One, Zero};

use crate::driveline::Driveline;
use crate::exact::{Q, to_f64};
use crate::kinematics::Kinematics;

use super::motion::inertia;
use super::rows::{RPM, SensorRow};
use super::steps::{machine_torque_max, output_acceleration_max};

/// What elimination in f64 may take from a bound.
const SAFE: f64 = 1.0 + 1e-6;

/// Fastest change of each shaft's speed, rad/s2: all machines at full torque, each the way that
/// suits it worst, and the output taken along by tyres in grip; in the worst lock set that is
/// allowed. Where the sensors' values are all of one age nobody asks, and it is left out.
pub(super) fn fastest_changes_radps2(d: &Driveline, k: &Kinematics) -> Vec<f64> {
    let mut fastest = vec![d.timing.sync_rate_max_rpm_per_s * RPM; d.shafts.len()];
    if d.sensors.windows(2).all(|pair| pair[0].latency_ms == pair[1].latency_ms) {
        return fastest;
    }
    for set in k.sets.iter().filter(|s| !s.verdict.is_forbidden()) {
        let motions: Vec<Vec<f64>> =
            set.basis.iter().map(|n| n.iter().map(to_f64).collect()).collect();
        for (known, here) in fastest.iter_mut().zip(in_set(d, &motions)) {
            *known = known.max(here * SAFE);
        }
    }
    fastest
}

/// How far the value of each sensor may be from the speed that its shaft had when the youngest of
/// all values was taken, rad/s: error, quantisation, age and f32 rounding.
pub fn sensor_bands_radps(d: &Driveline, k: &Kinematics) -> Vec<f64> {
    let fastest = fastest_changes_radps2(d, k);
    let youngest = d.sensors.iter().map(|s| s.latency_ms).fold(f64::INFINITY, f64::min);
    let band = |(i, sensor): (usize, &crate::driveline::Sensor)| {
        let mut exact = vec![Q::zero(); d.sensors.len()];
        exact[i] = Q::one();
        let error = SensorRow { exact }.error(d, &fastest);
        error.fixed() + (sensor.latency_ms - youngest) / 1000.0 * fastest[sensor.shaft]
    };
    d.sensors.iter().enumerate().map(band).collect()
}

/// The same in one lock set. A motion that stays free when the output stands is taken out of the
/// others, weighed by the inertias; then each answers a torque by itself.
fn in_set(d: &Driveline, motions: &[Vec<f64>]) -> Vec<f64> {
    let inertias: Vec<f64> = d.shafts.iter().map(|s| to_f64(&inertia(s))).collect();
    let weigh = |a: &[f64], b: &[f64]| -> f64 {
        a.iter().zip(b).zip(&inertias).map(|((x, y), j)| x * y * j).sum()
    };
    let mut free: Vec<Vec<f64>> = Vec::new();
    let mut turning = vec![0.0; d.shafts.len()];
    // The motion that turns the output comes first in the basis: last here.
    for motion in motions.iter().rev() {
        let mut motion = motion.clone();
        for other in &free {
            let share = weigh(&motion, other) / weigh(other, other);
            motion.iter_mut().zip(other).for_each(|(x, y)| *x -= share * y);
        }
        if motion[d.output.shaft].is_zero() {
            free.push(motion);
        } else {
            turning = motion;
        }
    }
    let grip = output_acceleration_max(d);
    let answer = |shaft: usize, machine: usize| -> f64 {
        let at = d.machines[machine].shaft;
        free.iter().map(|n| n[shaft] * n[at] / weigh(n, n)).sum()
    };
    (0..d.shafts.len())
        .map(|shaft| {
            let machines = (0..d.machines.len())
                .map(|m| answer(shaft, m).abs() * machine_torque_max(d, m))
                .sum::<f64>();
            machines + turning[shaft].abs() * grip / turning[d.output.shaft].abs().max(1e-12)
        })
        .collect()
}
