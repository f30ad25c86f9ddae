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

    /// The error of its measurement; `fastest` is the fastest change of each shaft, rad/s2.
    pub(super) fn error(&self, d: &Driveline, fastest: &[f64]) -> RowError {
        let used: Vec<(f64, &crate::driveline::Sensor)> = self
            .exact
            .iter()
            .zip(&d.sensors)
            .filter(|(q, _)| !q.is_zero())
            .map(|(q, s)| (to_f64(q).abs(), s))
            .collect();
        let youngest = used.iter().map(|(_, s)| s.latency_ms).fold(f64::INFINITY, f64::min);
        let youngest = if youngest.is_finite() { youngest } else { 0.0 };
        let mut error =
            RowError { age_s: (youngest + d.timing.tick_ms) / 1000.0, ..RowError::default() };
        for (c, sensor) in used {
            error.sensor += c * (sensor.error_rpm + sensor.resolution_rpm / 2.0) * RPM;
            error.skew += c * (sensor.latency_ms - youngest) / 1000.0 * fastest[sensor.shaft];
            // Rounding of the coefficient, of the value, of the product and of at most eight
            // sums: each at most half a unit in the last place of a quantity no larger than
            // the sum of magnitudes.
            error.rounding += c * sensor.range_rpm * RPM * 11.0 * f64::from(f32::EPSILON) / 2.0;
        }
        error
    }

    /// What quantisation and f32 rounding of two samples can add to a measured change, rad/s.
    pub(super) fn change_noise(&self, d: &Driveline, fastest: &[f64]) -> f64 {
        let noise = |(q, s): (&Q, &crate::driveline::Sensor)| to_f64(q).abs() * s.resolution_rpm;
        self.exact.iter().zip(&d.sensors).map(noise).sum::<f64>() * RPM
            + 2.0 * self.error(d, fastest).rounding
    }
}

/// Fastest change of a machine's own shaft at full torque, rad/s2: good enough to weigh sensors.
fn fastest_change_radps2(d: &Driveline) -> f64 {
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
///
/// Subsets are tried in floating point first, because there may be 256 of them; the one that is
/// taken is solved exactly.
pub(super) fn measure(d: &Driveline, motions: &[Row], form: &[Q]) -> Option<SensorRow> {
    let count = d.sensors.len();
    let values: Row = motions.iter().map(|motion| dot(motion, form)).collect();
    let numbers: Vec<f64> = values.iter().map(to_f64).collect();
    let reads: Vec<Vec<f64>> = motions
        .iter()
        .map(|motion| d.sensors.iter().map(|s| to_f64(&motion[s.shaft])).collect())
        .collect();
    let mut scored: Vec<(f64, Vec<usize>)> = subsets_by_size(count)
        .into_iter()
        // More sensors than motions never help: a smaller subset does the same.
        .filter(|subset| subset.len() <= motions.len())
        .filter_map(|subset| {
            let solution = determined(&reads, &numbers, &subset)?;
            Some((score(d, &subset, &solution), subset))
        })
        .collect();
    // The sort is stable: of equals, the smaller subset and the earlier sensors.
    scored.sort_by(|a, b| (a.0 * 0.999_999).total_cmp(&b.0));
    scored.iter().find_map(|(_, subset)| {
        let rows = motions
            .iter()
            .map(|motion| subset.iter().map(|&s| motion[d.sensors[s].shaft].clone()).collect())
            .collect();
        let solution = Matrix::new(subset.len(), rows).solve(&values)?;
        let mut exact = vec![Q::zero(); count];
        for (&s, c) in subset.iter().zip(solution) {
            exact[s] = c;
        }
        Some(SensorRow { exact })
    })
}

/// Error of a measurement while speeds change as fast as machines are asked to.
fn score(d: &Driveline, subset: &[usize], solution: &[f64]) -> f64 {
    let used = || {
        let pairs = subset.iter().zip(solution).filter(|(_, c)| c.abs() > 1e-9);
        pairs.map(|(&s, c)| (c.abs(), &d.sensors[s]))
    };
    let youngest = used().map(|(_, s)| s.latency_ms).fold(f64::INFINITY, f64::min);
    let youngest = if youngest.is_finite() { youngest } else { 0.0 };
    let fastest = fastest_change_radps2(d);
    let rate = d.timing.sync_rate_max_rpm_per_s * RPM;
    used()
        .map(|(c, s)| {
            c * ((s.error_rpm + s.resolution_rpm / 2.0) * RPM
                + (s.latency_ms - youngest) / 1000.0 * fastest)
        })
        .sum::<f64>()
        + rate * (youngest + d.timing.tick_ms) / 1000.0
}

/// Coefficients of the subset's sensors that fulfil every row, by elimination with pivoting;
/// `None` when there are none.
fn determined(reads: &[Vec<f64>], values: &[f64], subset: &[usize]) -> Option<Vec<f64>> {
    let cols = subset.len();
    let mut rows: Vec<Vec<f64>> = reads
        .iter()
        .zip(values)
        .map(|(row, value)| subset.iter().map(|&s| row[s]).chain([*value]).collect())
        .collect();
    let mut pivots = Vec::new();
    for col in 0..cols {
        let top = pivots.len();
        let best =
            (top..rows.len()).max_by(|&a, &b| rows[a][col].abs().total_cmp(&rows[b][col].abs()))?;
        if rows[best][col].abs() < 1e-9 {
            continue;
        }
        rows.swap(top, best);
        let lead = rows[top].clone();
        for (r, row) in rows.iter_mut().enumerate() {
            if r != top {
                let factor = row[col] / lead[col];
                row.iter_mut().zip(&lead).for_each(|(x, l)| *x -= factor * l);
            }
        }
        pivots.push(col);
        if pivots.len() == rows.len() {
            break;
        }
    }
    if rows[pivots.len()..].iter().any(|row| row[cols].abs() > 1e-7) {
        return None;
    }
    let mut solution = vec![0.0; cols];
    for (row, &col) in rows.iter().zip(&pivots) {
        solution[col] = row[cols] / row[col];
    }
    Some(solution)
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
