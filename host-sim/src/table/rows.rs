//! Linear forms over the speed sensors, and what a measurement of them can miss.

use num_traits::Zero;
use supervisor::bits::{Bits, MAX_SENSORS};
use supervisor::table::SpeedRow;

use crate::driveline::Driveline;
use crate::exact::{Matrix, Q, Row, dot, to_f64};

/// rad/s per rpm.
pub const RPM: f64 = std::f64::consts::TAU / 60.0;

/// A linear form over the sensors.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SensorRow {
    /// One exact coefficient a sensor.
    pub exact: Row,
}

/// The parts of a measurement's error, rad/s.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct RowError {
    /// Sensor error and quantisation.
    pub sensor: f64,
    /// Different ages of the sensors' values at the fastest change of speed.
    pub skew: f64,
    /// f32 rounding of coefficients, values and sums.
    pub rounding: f64,
    /// Age of the youngest value, with one tick until the order takes effect, s.
    pub age_s: f64,
}

impl RowError {
    /// All that does not depend on how fast the measured quantity changes.
    pub(super) fn fixed(&self) -> f64 {
        self.sensor + self.skew + self.rounding
    }
}

impl SensorRow {
    /// Coefficients as the board has them.
    pub(super) fn coefficients(&self) -> SpeedRow {
        let mut row = [0.0; MAX_SENSORS];
        for (slot, q) in row.iter_mut().zip(&self.exact) {
            *slot = to_f64(q) as f32;
        }
        row
    }

    /// Sensors with a coefficient.
    pub(super) fn sensors(&self) -> Bits {
        let with = |bits: Bits, (i, q): (usize, &Q)| bits.with(i as u8, !q.is_zero());
        self.exact.iter().enumerate().fold(Bits::EMPTY, with)
    }

    /// The error of its measurement.
    pub(super) fn error(&self, d: &Driveline) -> RowError {
        let used: Vec<(f64, &crate::driveline::Sensor)> = self
            .exact
            .iter()
            .zip(&d.sensors)
            .filter(|(q, _)| !q.is_zero())
            .map(|(q, s)| (to_f64(q).abs(), s))
            .collect();
        let youngest = used.iter().map(|(_, s)| s.latency_ms).fold(f64::INFINITY, f64::min);
        let youngest = if youngest.is_finite() { youngest } else { 0.0 };
        let fastest = fastest_change_radps2(d);
        let mut error =
            RowError { age_s: (youngest + d.timing.tick_ms) / 1000.0, ..RowError::default() };
        for (c, sensor) in used {
            error.sensor += c * (sensor.error_rpm + sensor.resolution_rpm / 2.0) * RPM;
            error.skew += c * (sensor.latency_ms - youngest) / 1000.0 * fastest;
            // Rounding of the coefficient, of the value, of the product and of at most eight
            // sums: each at most half a unit in the last place of a quantity no larger than
            // the sum of magnitudes.
            error.rounding += c * sensor.range_rpm * RPM * 11.0 * f64::from(f32::EPSILON) / 2.0;
        }
        error
    }

    /// What the quantisation of two samples can add to a measured change, rad/s.
    pub(super) fn change_noise(&self, d: &Driveline) -> f64 {
        let noise = |(q, s): (&Q, &crate::driveline::Sensor)| to_f64(q).abs() * s.resolution_rpm;
        self.exact.iter().zip(&d.sensors).map(noise).sum::<f64>() * RPM
    }
}

/// Fastest change of any shaft's speed that a machine at full torque can cause, rad/s2.
pub(super) fn fastest_change_radps2(d: &Driveline) -> f64 {
    let mut fastest = d.timing.sync_rate_max_rpm_per_s * RPM;
    for machine in &d.machines {
        let crate::driveline::MachineKind::Electric(electric) = &machine.kind else { continue };
        if let (Some(torque), Some(inertia)) =
            (electric.max_torque_nm, d.shafts[machine.shaft].inertia_kg_m2)
        {
            fastest = fastest.max(torque / inertia);
        }
    }
    fastest
}

/// The best measurement of a quantity: of all sensor subsets that determine `form` in every
/// motion of `motions`, the one with the smallest error. `None`: the sensors do not determine it.
pub(super) fn measure(d: &Driveline, motions: &[Row], form: &[Q]) -> Option<SensorRow> {
    let count = d.sensors.len();
    let values: Row = motions.iter().map(|motion| dot(motion, form)).collect();
    let mut best: Option<(f64, SensorRow)> = None;
    for subset in subsets_by_size(count) {
        // More sensors than motions never help: a smaller subset has been tried.
        if subset.len() > motions.len() {
            break;
        }
        let rows = motions
            .iter()
            .map(|motion| subset.iter().map(|&s| motion[d.sensors[s].shaft].clone()).collect())
            .collect();
        let Some(solution) = Matrix::new(subset.len(), rows).solve(&values) else { continue };
        let mut exact = vec![Q::zero(); count];
        for (&s, c) in subset.iter().zip(solution) {
            exact[s] = c;
        }
        let row = SensorRow { exact };
        let error = row.error(d);
        let score = error.fixed() + error.age_s * d.timing.sync_rate_max_rpm_per_s * RPM;
        if best.as_ref().is_none_or(|(s, _)| score < *s * 0.999_999) {
            best = Some((score, row));
        }
    }
    best.map(|(_, row)| row)
}

/// All subsets of `0..count`, smaller ones first, in a fixed order.
fn subsets_by_size(count: usize) -> Vec<Vec<usize>> {
    let mut masks: Vec<u32> = (0..1u32 << count).collect();
    masks.sort_by_key(|m| (m.count_ones(), *m));
    masks.iter().map(|m| (0..count).filter(|i| m >> i & 1 == 1).collect()).collect()
}

/// The form that reads one shaft.
pub(super) fn shaft_form(d: &Driveline, shaft: usize) -> Row {
    let mut form = vec![Q::zero(); d.shafts.len()];
    form[shaft] = crate::exact::int(1);
    form
}

/// Independent relations between the sensors that hold in every motion: a basis with as few
/// sensors in each as the elimination gives, scaled so that the largest coefficient is one.
pub(super) fn parity_rows(d: &Driveline, motions: &[Row]) -> Vec<SensorRow> {
    let rows = motions
        .iter()
        .map(|motion| d.sensors.iter().map(|s| motion[s.shaft].clone()).collect())
        .collect();
    let relations = Matrix::new(d.sensors.len(), rows).null_space();
    relations
        .into_iter()
        .map(|row| {
            let largest = row.iter().map(num_traits::Signed::abs).max().unwrap_or_else(Q::zero);
            SensorRow { exact: row.iter().map(|q| q / &largest).collect() }
        })
        .collect()
}
