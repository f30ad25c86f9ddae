//! What the use of a driveline says about its parts: sensors, road speed, battery, timing.

use super::diagnostics::Diagnostics;
use super::fields::Fields;
use super::suggest::quoted;
use super::values::Got;
use super::walk::Walked;
use crate::exact;

/// Check sensors, road speed, timing, and parts that nothing uses.
pub(super) fn check(walked: &Walked, found: &mut Diagnostics) {
    walked.all("sensor").iter().for_each(|f| sensor(f, walked, found));
    output_speed(walked, found);
    arrangement_speeds(walked, found);
    if let Some(timing) = walked.one("timing") {
        dwell(timing, found);
    }
    unused_shafts(walked, found);
}

fn sensor(f: &Fields, walked: &Walked, found: &mut Diagnostics) {
    let Some(shaft) = f.index("shaft").and_then(|i| walked.all("shaft").get(i)) else { return };
    let limit = shaft.number("max_rpm").unwrap_or(0.0).max(-shaft.number("min_rpm").unwrap_or(0.0));
    if let Some(range) = f.number("range_rpm").filter(|r| *r < limit) {
        found.warning(
            f.span("range_rpm"),
            format!("the sensor reads to {range} rpm, but its shaft turns to {limit}"),
            "an overspeed would not be seen: raise the range",
        );
    }
}

/// At the highest road speed the output shaft must be inside its limit.
fn output_speed(walked: &Walked, found: &mut Diagnostics) {
    let (Some(output), Some(vehicle)) = (walked.one("output"), walked.one("vehicle")) else {
        return;
    };
    let Some(shaft) = output.index("shaft").and_then(|i| walked.all("shaft").get(i)) else {
        return;
    };
    let (Some(drive), Some(radius), Some(speed), Some(limit)) = (
        output.exact("final_drive").map(exact::to_f64),
        output.number("tyre_radius_m"),
        vehicle.number("max_speed_kmh"),
        shaft.number("max_rpm"),
    ) else {
        return;
    };
    let rpm = speed / 3.6 / radius * drive * 30.0 / std::f64::consts::PI;
    if rpm > limit {
        found.warning(
            vehicle.span("max_speed_kmh"),
            format!(
                "at {speed} km/h the output shaft turns at {rpm:.0} rpm, above its {limit} rpm"
            ),
            "correct the speed, `final_drive`, `tyre_radius_m` or the shaft's `max_rpm`",
        );
    }
}

fn arrangement_speeds(walked: &Walked, found: &mut Diagnostics) {
    let top = walked.one("vehicle").and_then(|f| f.number("max_speed_kmh"));
    let Some(top) = top else { return };
    for f in walked.all("arrangement") {
        if let Some(min) = f.number("min_speed_kmh").filter(|m| *m > top) {
            found.warning(
                f.span("min_speed_kmh"),
                format!("the arrangement begins at {min} km/h, but the vehicle ends at {top}"),
                "it can never be asked: correct one of the two",
            );
        }
    }
}

fn dwell(f: &Fields, found: &mut Diagnostics) {
    let Some(tick) = f.number("tick_ms") else { return };
    for key in ["sync_dwell_ms", "sync_timeout_ms", "unload_timeout_ms", "confirm_timeout_ms"] {
        if let Some(time) = f.number(key).filter(|t| *t < tick) {
            found.error(
                f.span(if f.has(key) { key } else { "tick_ms" }),
                format!("`{key}` is {time} ms, shorter than one tick of {tick} ms"),
                format!("write at least {tick}, or shorten the tick"),
            );
        }
    }
}

/// A shaft that nothing is tied to is most often a slip of the pen.
fn unused_shafts(walked: &Walked, found: &mut Diagnostics) {
    let mut used = vec![false; walked.all("shaft").len()];
    let single = [
        ("planetary", ["sun", "ring", "carrier"].as_slice()),
        ("gear_pair", ["a", "b"].as_slice()),
        ("machine", ["shaft"].as_slice()),
        ("output", ["shaft"].as_slice()),
    ];
    let named = single.iter().flat_map(|(table, keys)| {
        walked.all(table).iter().flat_map(move |f| keys.iter().map(move |k| (f, *k)))
    });
    for (fields, key) in named {
        // A reference that was refused may have meant any shaft.
        if fields.broken.contains(&key) {
            return;
        }
        if let Some(shaft) = fields.index(key).and_then(|i| used.get_mut(i)) {
            *shaft = true;
        }
    }
    for lock in walked.all("lock") {
        if lock.broken.contains(&"joins") {
            return;
        }
        if let Some(Got::Joins(sides)) = lock.given("joins").map(|g| &g.value) {
            for side in sides.iter().flatten() {
                if let Some(shaft) = used.get_mut(*side) {
                    *shaft = true;
                }
            }
        }
    }
    for (f, used) in walked.all("shaft").iter().zip(used) {
        if let (false, Some(name)) = (used, f.word("name")) {
            found.warning(
                f.span("name"),
                format!("nothing is tied to the shaft {}", quoted(name)),
                "remove it, or name it in a gear, lock, machine or [output]",
            );
        }
    }
}
