//! Tests of shafts and sensors: rest, parity, the running engine, the output, the sensors' range.

use num_traits::{Signed, Zero};

use crate::exact::{Matrix, Q, Row, int, ratio};

use super::Audited;
use super::context::Context;
use super::forms::{Errors, NotThatRow, errors, exact_row, reads, shaft, support};
use super::numbers::{Claim, exact, exact32, radps_above, radps_below, rounds_to};

/// A test that tells healthy from sick must let the healthy pass, and may be blunter than that
/// by a quarter (common practice, no source).
pub(super) fn bluntest() -> Q {
    ratio(5, 4)
}

pub(super) fn examine(context: &Context, out: &mut Audited) {
    for (i, sensor) in context.table.sensors.iter().enumerate() {
        let stated = &context.d.sensors[i];
        if !rounds_to(sensor.range, &radps_above(&exact(stated.range_rpm))) {
            let sentence = format!("it is not the file's {} rpm", stated.range_rpm);
            out.find("AU-SENSOR", format!("sensor {} range", stated.name), sentence);
        }
        let shaft = &context.d.shafts[stated.shaft];
        let most = shaft.max_rpm.unwrap_or(f64::MAX);
        let engine = context.d.engine().map(|(machine, _)| context.d.machines[machine].shaft);
        let backwards = if engine == Some(stated.shaft) { context.d.timing.rest_rpm } else { most };
        let least = shaft.min_rpm.unwrap_or(-most).max(-backwards);
        let (min, max) = (f64::from(sensor.allowed.min), f64::from(sensor.allowed.max));
        // Inside the file's limits by 0.5 %, within rounding.
        let fits = |x: f64, rpm: f64| {
            let most = f64::from(f32::MAX);
            let radps = 0.995 * (rpm * std::f64::consts::PI / 30.0).clamp(-most, most);
            x.abs() <= radps.abs() && (x - radps).abs() <= 1e-6 * radps.abs()
        };
        if !fits(max, most) || !fits(min, least) {
            let sentence = format!("{min} to {max} rad/s is not what {} allows", shaft.name);
            out.find("AU-SENSOR", format!("sensor {} allowed", stated.name), sentence);
        }
    }
    (0..context.d.machines.len()).for_each(|machine| rest(context, machine, out));
    parities(context, out);
    engine_min(context, out);
    output(context, out);
}

/// Errors of a row that must read one shaft in every motion of the gears.
fn shaft_errors(context: &Context, row: &[f32], of: usize) -> Result<Errors, NotThatRow> {
    let motions = &context.k.set(0).basis;
    let exact = exact_row(context, row, motions, &reads(motions, &shaft(context, of)))?;
    Ok(errors(context, row, &exact, 0))
}

/// Whether the sensors determine a shaft's speed at all.
fn measurable(context: &Context, of: usize) -> bool {
    let motions = &context.k.set(0).basis;
    let sensed = |s: usize| -> Row { motions.iter().map(|m| m[s].clone()).collect() };
    let rows = context.d.sensors.iter().map(|s| sensed(s.shaft)).collect();
    Matrix::new(motions.len(), rows).combine_rows(&sensed(of)).is_some()
}

/// A fast change near rest: a quarter of the limit over the age of the value, unless machines are
/// asked for less.
fn rest_rate(context: &Context, limit: &Q, age_s: &Q) -> Q {
    let asked = radps_above(&exact(context.d.timing.sync_rate_max_rpm_per_s));
    if age_s.is_zero() {
        return asked;
    }
    let slow = limit / age_s / int(4);
    if slow < asked { slow } else { asked }
}

fn rest(context: &Context, machine: usize, out: &mut Audited) {
    let data = &context.table.rests[machine];
    let of = context.d.machines[machine].shaft;
    let place = |field: &str| format!("rest of {} {field}", context.d.shafts[of].name);
    if data.max <= 0.0 {
        // Never at rest: sound, and nothing to prove.
        return;
    }
    let error = match shaft_errors(context, &data.row, of) {
        Ok(error) => error,
        Err(NotThatRow(why)) => return out.find("AU-ROW", place("row"), why),
    };
    if data.sensors != support(&data.row) {
        let sentence = "it does not name the sensors that its row reads";
        out.find("AU-SENSORS", place("sensors"), sentence);
    }
    let limit = radps_below(&exact(context.d.timing.rest_rpm));
    let rate = rest_rate(context, &limit, &error.age_s);
    out.proofs.push(
        Claim {
            id: "AU-REST-LIMIT",
            place: place("max"),
            implies: "measured at rest is truly at rest".into(),
            unit: "rpm",
        }
        .at_most(&exact32(data.max), &(&error.fixed + rate * &error.age_s), &limit),
    );
}

fn parities(context: &Context, out: &mut Audited) {
    let motions = &context.k.set(0).basis;
    let sensed: Vec<Row> = motions
        .iter()
        .map(|m| context.d.sensors.iter().map(|s| m[s.shaft].clone()).collect())
        .collect();
    let wanted = context.d.sensors.len() - Matrix::new(context.d.sensors.len(), sensed).rank();
    let mut sound: Vec<Row> = Vec::new();
    for (i, parity) in context.table.parities.iter().enumerate() {
        let place = |field: &str| format!("parity {i} {field}");
        let exact = match parity_row(context, &parity.row) {
            Ok(row) => row,
            Err(NotThatRow(why)) => {
                out.find("AU-ROW", place("row"), why);
                continue;
            }
        };
        if parity.sensors != support(&parity.row) {
            let sentence = "it does not name the sensors that its row reads";
            out.find("AU-SENSORS", place("sensors"), sentence);
        }
        let error = errors(context, &parity.row, &exact, 0);
        out.proofs.extend(two_sided(
            "AU-PARITY",
            &place("max"),
            ["healthy sensors never speak against each other", "a sick sensor is seen"],
            &exact32(parity.max),
            [&error.fixed, &error.coarse],
            &Q::zero(),
        ));
        sound.push(exact);
    }
    let rank = Matrix::new(context.d.sensors.len(), sound).rank();
    if rank != wanted {
        let sentence = format!("{rank} independent relations, the sensors have {wanted}");
        out.find("AU-PARITY", "parities", sentence);
    }
}

/// A relation may be scaled: its largest coefficient is taken as it is.
fn parity_row(context: &Context, row: &[f32]) -> Result<Row, NotThatRow> {
    let motions = &context.k.set(0).basis;
    let largest = (0..context.d.sensors.len())
        .max_by(|&a, &b| row[a].abs().total_cmp(&row[b].abs()))
        .filter(|&s| row[s] != 0.0 && row[s].is_finite());
    let Some(largest) = largest else {
        return Err(NotThatRow("it reads no sensor".into()));
    };
    let given = exact32(row[largest]);
    let of = context.d.sensors[largest].shaft;
    let values: Row = motions.iter().map(|m| -(&m[of] * &given)).collect();
    let mut others = row.to_vec();
    others[largest] = 0.0;
    let mut exact = exact_row(context, &others, motions, &values)?;
    exact[largest] = given;
    Ok(exact)
}

/// A limit that healthy sensors never reach, and that is not blunter than need be. `noise` is
/// what the healthy can show beyond `base`, and what a coarse reckoning would grant them.
fn two_sided(
    id: &'static str,
    place: &str,
    implies: [&str; 2],
    limit: &Q,
    noise: [&Q; 2],
    base: &Q,
) -> [super::Proof; 2] {
    let [healthy, sick] = implies;
    let most = (noise[1] + base) * bluntest();
    let claim = |suffix: &str, implies: &str| Claim {
        id,
        place: format!("{place}{suffix}"),
        implies: implies.to_string(),
        unit: "rpm",
    };
    let none = Q::zero();
    [
        claim("", healthy).at_least(limit, noise[0], base),
        claim(" (at most)", sick).at_most(limit, &none, &most),
    ]
}

fn engine_min(context: &Context, out: &mut Audited) {
    let stated = exact32(context.table.engine_min);
    let place = "engine_min";
    let machine = context.d.engine().map(|(machine, _)| machine);
    if context.table.engine.map(usize::from) != machine {
        out.find("AU-ENGINE", "engine", "it is not the machine that is the engine");
    }
    let Some((machine, engine)) = context.d.engine() else { return };
    let of = context.d.machines[machine].shaft;
    if !measurable(context, of) {
        if stated.is_positive() {
            out.find("AU-ENGINE", place, "the engine's speed cannot be measured");
        }
        return;
    }
    let Ok(error) = shaft_errors(context, &context.table.rests[machine].row, of) else {
        // The rest test has said so already, or there is none: then nothing reads the engine.
        return;
    };
    let asked = radps_above(&exact(context.d.timing.sync_rate_max_rpm_per_s));
    let margin = &error.fixed + asked * &error.age_s;
    let stall = radps_below(&exact(engine.stall_rpm));
    let highest = &stall - &margin;
    if highest.is_positive() {
        let none = Q::zero();
        let claim = |suffix: &str, implies: &str| Claim {
            id: "AU-ENGINE",
            place: format!("{place}{suffix}"),
            implies: implies.to_string(),
            unit: "rpm",
        };
        let lowest = &highest / bluntest();
        out.proofs.extend([
            claim("", "a running engine is never taken for a sick sensor")
                .at_most(&stated, &margin, &stall),
            claim(" (at least)", "a sensor that loses a running engine is seen")
                .at_least(&stated, &none, &lowest),
        ]);
    } else if stated.is_positive() {
        out.find("AU-ENGINE", place, "its sensors are too poor for any limit");
    }
}

fn output(context: &Context, out: &mut Audited) {
    let table = context.table;
    let error = match shaft_errors(context, &table.output_row, context.d.output.shaft) {
        Ok(error) => error,
        Err(NotThatRow(why)) => return out.find("AU-ROW", "output_row", why),
    };
    if table.output_sensors != support(&table.output_row) {
        let sentence = "it does not name the sensors that the output row reads";
        out.find("AU-SENSORS", "output_sensors", sentence);
    }
    let in_grip = context.output_acceleration_radps2() * context.rate_span_s();
    out.proofs.extend(two_sided(
        "AU-OUTPUT-RATE",
        "output_rate_max",
        ["tyres in grip never count as slipping", "tyres that lose their grip are seen"],
        &exact32(table.output_rate_max),
        [&error.change, &error.change],
        &in_grip,
    ));
}

/// Largest error of the measured output speed when the order takes effect, rad/s; `None` where
/// the row does not read the output.
pub(super) fn output_error(context: &Context) -> Option<Q> {
    let error = shaft_errors(context, &context.table.output_row, context.d.output.shaft).ok()?;
    Some(error.fixed + context.output_acceleration_radps2() * error.age_s)
}
