//! What a row over the sensors measures, and by how much its measurement can be wrong.

use num_traits::{Signed, Zero};
use supervisor::bits::Bits;

use crate::driveline::Sensor;
use crate::exact::{Matrix, Q, Row, dot, int};

use super::context::Context;
use super::numbers::{exact, exact32, radps_above, roundings, unit_roundoff};

/// Largest errors of a measured row, rad/s and s.
#[derive(Clone, Debug)]
pub(super) struct Errors {
    /// Sensor error, quantisation, different ages and rounding: all that does not depend on how
    /// fast the measured quantity changes.
    pub fixed: Q,
    /// The same with every shaft as fast as the fastest: what a test of sensors may reckon with.
    pub coarse: Q,
    /// The same but for the sensors' own constant error, for the change over a rate distance.
    pub change: Q,
    /// Sensor error of both samples, where it may differ between them.
    pub change_of_errors: Q,
    /// Age of the youngest value when the order takes effect, one tick after the decision.
    pub age_s: Q,
}

/// Why a row measures nothing that it should.
pub(super) struct NotThatRow(pub String);

/// Sensors with a coefficient.
pub(super) fn support(row: &[f32]) -> Bits {
    let with = |bits: Bits, (i, c): (usize, &f32)| bits.with(i as u8, *c != 0.0);
    row.iter().enumerate().fold(Bits::EMPTY, with)
}

/// The row that the f32 coefficients stand for: the exact solution nearest to them of "reads
/// `values` in every one of `motions`", over the same sensors. Each f32 coefficient must be the
/// rounding of its exact one.
pub(super) fn exact_row(
    context: &Context,
    row: &[f32],
    motions: &[Row],
    values: &[Q],
) -> Result<Row, NotThatRow> {
    let d = context.d;
    let used: Vec<usize> = support(row).iter().map(usize::from).collect();
    if used.iter().any(|&s| s >= d.sensors.len() || !row[s].is_finite()) {
        return Err(NotThatRow("it reads a sensor that does not exist, or no number".into()));
    }
    // Correction e with A e = b - A row, of least norm: e = A' y with A A' y = b - A row.
    let reads: Vec<Row> = motions
        .iter()
        .map(|motion| used.iter().map(|&s| motion[d.sensors[s].shaft].clone()).collect())
        .collect();
    let stated: Row = used.iter().map(|&s| exact32(row[s])).collect();
    let missing: Row = reads.iter().zip(values).map(|(a, b)| b - dot(a, &stated)).collect();
    let gram = reads.iter().map(|a| reads.iter().map(|b| dot(a, b)).collect()).collect();
    let Some(y) = Matrix::new(reads.len(), gram).solve(&missing) else {
        return Err(NotThatRow("no coefficients over its sensors measure that".into()));
    };
    let mut exact = vec![Q::zero(); d.sensors.len()];
    for (i, &s) in used.iter().enumerate() {
        let e = y.iter().zip(&reads).fold(Q::zero(), |sum, (y, a)| sum + y * &a[i]);
        let coefficient = &stated[i] + &e;
        // f64 on the way to f32 may round twice.
        if e.abs() > coefficient.abs() * unit_roundoff() * int(2) {
            let name = &d.sensors[s].name;
            return Err(NotThatRow(format!(
                "its coefficient of sensor {name} is {}, not {}",
                row[s],
                crate::exact::to_f64(&coefficient)
            )));
        }
        exact[s] = coefficient;
    }
    Ok(exact)
}

/// Largest errors of a row; `extra` f32 operations come after its sum.
pub(super) fn errors(context: &Context, row: &[f32], exact_row: &[Q], extra: usize) -> Errors {
    let d = context.d;
    let used: Vec<usize> = support(row).iter().map(usize::from).collect();
    let sensors = || used.iter().map(|&s| (exact32(row[s]).abs(), s, &d.sensors[s]));
    let ms = |x: f64| exact(x) / int(1000);
    let youngest = sensors().map(|(_, _, s)| ms(s.latency_ms)).min().unwrap_or_else(Q::zero);
    // Each value is rounded to f32, multiplied and added up.
    let operations = used.len() + 1 + extra;
    let mut errors = Errors {
        fixed: Q::zero(),
        coarse: Q::zero(),
        change: Q::zero(),
        change_of_errors: Q::zero(),
        age_s: &youngest + ms(d.timing.tick_ms),
    };
    for (c, s, sensor) in sensors() {
        let range = readable(context, s);
        let bias = radps_above(&exact(sensor.error_rpm));
        let quantised = radps_above(&exact(sensor.resolution_rpm)) / int(2);
        let older = ms(sensor.latency_ms) - &youngest;
        let (skew, most) = if older.is_zero() {
            (Q::zero(), Q::zero())
        } else {
            let fastest = context.fastest_radps2();
            (&older * context.acceleration_radps2(sensor.shaft), older * fastest)
        };
        let coefficient_off = (exact32(row[s]) - &exact_row[s]).abs();
        let seen = &range + &bias + &quantised + &skew;
        let rounding = &coefficient_off * &seen + &c * &range * roundings(operations);
        // A change is the difference of two rounded values: one rounding more, twice the size.
        let change_rounding =
            (&coefficient_off * seen + &c * range * roundings(operations + 2)) * int(2);
        errors.coarse += &c * (&bias + &quantised + most) + &rounding;
        errors.fixed += &c * (&bias + &quantised + skew) + rounding;
        errors.change += &c * quantised * int(2) + change_rounding;
        errors.change_of_errors += c * bias * int(2);
    }
    errors
}

/// Largest magnitude that the board takes from a sensor.
fn readable(context: &Context, sensor: usize) -> Q {
    let stated = context.table.sensors.get(sensor).map_or(0.0, |s| s.range);
    let range = |s: &Sensor| radps_above(&exact(s.range_rpm));
    if stated.is_finite() { exact32(stated).abs() } else { range(&context.d.sensors[sensor]) }
}

/// What a form over the shafts reads in each motion.
pub(super) fn reads(motions: &[Row], form: &[Q]) -> Row {
    motions.iter().map(|motion| dot(motion, form)).collect()
}

/// The form that reads one shaft.
pub(super) fn shaft(context: &Context, shaft: usize) -> Row {
    (0..context.d.shafts.len()).map(|s| int(i64::from(s == shaft))).collect()
}
