//! From the text of a scenario file to a setup that can run.

use crate::drive::closed_loop::Setup;
use crate::drive::driver::Wish;
use crate::drive::faults::TimedFault;
use crate::drive::prepared::plant_step;
use crate::drive::scenario::Scenario;
use crate::drive::scenario::keys::SCENARIO;
use crate::drive::scenario::words::named;
use crate::driveline::diagnostics::Diagnostics;
use crate::driveline::fields::{Fields, Names};
use crate::driveline::walk::{self, Walked};
use crate::driveline::{Driveline, LockKind, source};
use crate::plant::SENSOR_HISTORY;

/// See [`super::parse`].
pub(super) fn parse(
    name: &str,
    text: &str,
    driveline: &Driveline,
) -> Result<Scenario, Diagnostics> {
    let text = source::text_of(name, text.as_bytes())?;
    let mut found = Diagnostics::new(name, &text);
    if text.trim().is_empty() {
        let fix = "copy one of the ready scenarios and change it";
        found.whole("the file is empty", fix);
        return Err(found);
    }
    let Some(parsed) = source::parse(&text, &mut found) else { return Err(found) };
    if !walk::version_is_known(&SCENARIO, &parsed.document, &mut found) {
        return Err(found);
    }
    let names = names_of(driveline);
    let walked = walk::walk(&SCENARIO, &parsed.document, &parsed.gaps, names, &mut found);
    check(&walked, driveline, &mut found);
    if found.has_errors() {
        return Err(found);
    }
    let built = build(&walked, driveline);
    let Some((name, about, setup)) = built else {
        found.whole("the file cannot be made into a drive", "please report this file");
        return Err(found);
    };
    let seed = walked.root.count("seed").map(u64::from);
    Ok(Scenario { name, about, setup, seed, warnings: found })
}

/// The names that a scenario may use.
fn names_of(driveline: &Driveline) -> Names {
    let mut names = Names::new();
    names.insert("shaft", driveline.shafts.iter().map(|s| s.name.clone()).collect());
    names.insert("lock", driveline.locks.iter().map(|l| l.name.clone()).collect());
    names.insert("machine", driveline.machines.iter().map(|m| m.name.clone()).collect());
    names.insert("sensor", driveline.sensors.iter().map(|s| s.name.clone()).collect());
    let arrangements = driveline.arrangements.iter().map(|a| a.name.clone()).collect();
    names.insert("arrangement", arrangements);
    names
}

/// What the values mean together.
fn check(walked: &Walked, driveline: &Driveline, found: &mut Diagnostics) {
    let duration = walked.root.number("duration_s").unwrap_or(f64::INFINITY);
    for (table, strictly) in
        [("speed", false), ("pedal", false), ("grade", false), ("request", true)]
    {
        rising(walked.all(table), strictly, found);
        late(walked.all(table), "t_s", duration, found);
    }
    late(walked.all("fault"), "from_s", duration, found);
    if let (Some(pedal), true) = (walked.one("pedal"), walked.one("speed").is_some()) {
        let message = "the driver cannot follow both [[speed]] and [[pedal]] points";
        found.error(pedal.at.clone(), message, "keep one kind of points and remove the other");
    }
    let top = driveline.vehicle.as_ref().map_or(f64::INFINITY, |v| v.max_speed_kmh);
    let start = Some(&walked.root).filter(|f| f.has("start_speed_kmh"));
    let points = walked.all("speed").iter().map(|f| (f, "kmh"));
    for (fields, key) in points.chain(start.map(|f| (f, "start_speed_kmh"))) {
        if let Some(speed) = fields.number(key).filter(|s| s.abs() > top) {
            found.warning(
                fields.span(key),
                format!("{speed} km/h is above the vehicle's {top} km/h"),
                "lower it, or expect shafts above their limits",
            );
        }
    }
    plates_make_sense(walked.all("plates"), driveline, found);
    walked.all("fault").iter().for_each(|f| fault_makes_sense(f, driveline, found));
}

/// Times must rise from entry to entry; two points of a profile may share a time (a jump).
fn rising(list: &[Fields], strictly: bool, found: &mut Diagnostics) {
    for pair in list.windows(2) {
        let (Some(before), Some(now)) = (pair[0].number("t_s"), pair[1].number("t_s")) else {
            continue;
        };
        if now < before || strictly && now == before {
            found.error(
                pair[1].span("t_s"),
                format!("`t_s` is {now} after {before}: times must rise"),
                "put the entries in the order of their times",
            );
        }
    }
}

/// What comes after the end never happens.
fn late(list: &[Fields], key: &str, duration: f64, found: &mut Diagnostics) {
    for fields in list {
        if let Some(time) = fields.number(key).filter(|t| *t > duration) {
            found.warning(
                fields.span(key),
                format!("{time} s is after the end of the drive at {duration} s"),
                "lengthen `duration_s`, or remove what never happens",
            );
        }
    }
}

/// Only plates get hot, and a lock has them once.
fn plates_make_sense(list: &[Fields], driveline: &Driveline, found: &mut Diagnostics) {
    for (i, fields) in list.iter().enumerate() {
        let Some(lock) = fields.index("lock") else { continue };
        let Some(data) = driveline.locks.get(lock) else { continue };
        if matches!(data.kind, LockKind::Dog(_)) {
            let message = format!("the lock `{}` is a dog: it has no plates", data.name);
            found.error(fields.span("lock"), message, "name a friction lock");
        }
        if list[..i].iter().any(|before| before.index("lock") == Some(lock)) {
            let message = format!("the plates of `{}` are told twice", data.name);
            found.error(fields.span("lock"), message, "keep one of the two");
        }
    }
}

fn fault_makes_sense(f: &Fields, driveline: &Driveline, found: &mut Diagnostics) {
    if let (Some(from), Some(to)) = (f.number("from_s"), f.number("to_s"))
        && to <= from
    {
        let message = format!("the fault ends at {to} s, not after it begins at {from} s");
        found.error(f.span("to_s"), message, "write a later `to_s`, or leave it out");
    }
    let Some(kind) = f.word("kind") else { return };
    if kind.ends_with("-dip") && f.number("to_s").is_none() {
        let message = format!("the fault `{kind}` lacks the key `to_s`");
        found.error(f.span("kind"), message, "write when the supply is back");
    }
    if kind == "sensor-late" {
        late_within_history(f, driveline, found);
    }
    if kind.starts_with("engine-") && driveline.engine().is_none() {
        let message = format!("`{kind}` needs an engine, but the driveline has none");
        found.error(f.span("kind"), message, "choose another kind of fault");
    }
    let lock = f.index("target").filter(|_| kind.starts_with("switch-"));
    if let Some(lock) = lock.and_then(|i| driveline.locks.get(i)).filter(|l| !l.has_switch) {
        let message = format!("the lock `{}` has no position switch that could fail", lock.name);
        found.error(f.span("target"), message, "choose a lock with a switch");
    }
}

/// The plant keeps so many steps of what a sensor saw, and no more.
fn late_within_history(f: &Fields, driveline: &Driveline, found: &mut Diagnostics) {
    let sensor = f.index("target").and_then(|i| driveline.sensors.get(i));
    let (Some(sensor), Some(more_ms)) = (sensor, f.number("value")) else { return };
    let step_ms = 1e3 * plant_step(driveline.timing.tick_ms).0;
    let most_ms = (SENSOR_HISTORY - 1) as f64 * step_ms;
    if sensor.latency_ms + more_ms > most_ms {
        let message = format!(
            "the sensor `{}` would be {} ms late; the plant keeps {most_ms} ms",
            sensor.name,
            sensor.latency_ms + more_ms
        );
        let fix = format!("lower `value` to {} or less", most_ms - sensor.latency_ms);
        found.error(f.span("value"), message, &fix);
    }
}

/// Name, sentence and setup of a file without errors.
fn build(walked: &Walked, driveline: &Driveline) -> Option<(String, String, Setup)> {
    let root = &walked.root;
    let points = |table: &str, key: &str| -> Option<Vec<(f64, f64)>> {
        walked.all(table).iter().map(|f| Some((f.number("t_s")?, f.number(key)?))).collect()
    };
    let speed = points("speed", "kmh")?;
    let pedal = points("pedal", "share")?;
    let start_speed_kmh =
        root.number("start_speed_kmh").or(speed.first().map(|p| p.1)).unwrap_or(0.0);
    let wish = match (pedal.is_empty(), speed.is_empty()) {
        (false, _) => Wish::Pedal(pedal),
        (true, true) => Wish::Speed(vec![(0.0, start_speed_kmh)]),
        (true, false) => Wish::Speed(speed),
    };
    let grade = points("grade", "percent")?.into_iter().map(|(t, p)| (t, p / 100.0)).collect();
    let setup = Setup {
        duration_s: root.number("duration_s")?,
        start_speed_kmh,
        start_arrangement: root.index("start_arrangement"),
        start_charge: root.number("start_charge").unwrap_or_else(|| usual_charge(driveline)),
        start_rises_k: walked
            .all("plates")
            .iter()
            .map(|f| Some((f.index("lock")?, f.number("rise_k")?)))
            .collect::<Option<_>>()?,
        wish,
        grade,
        requests: walked
            .all("request")
            .iter()
            .map(|f| Some((f.number("t_s")?, f.index("arrangement")?)))
            .collect::<Option<_>>()?,
        faults: walked.all("fault").iter().map(timed_fault).collect::<Option<_>>()?,
    };
    Some((root.word("name")?.to_string(), root.word("about")?.to_string(), setup))
}

/// The middle of the battery's window.
fn usual_charge(driveline: &Driveline) -> f64 {
    driveline.battery.as_ref().map_or(0.5, |b| 0.5 * (b.charge_window[0] + b.charge_window[1]))
}

fn timed_fault(f: &Fields) -> Option<TimedFault> {
    let value = f.number("value").or_else(|| f.count("value").map(f64::from));
    Some(TimedFault {
        from_s: f.number("from_s")?,
        to_s: f.number("to_s").unwrap_or(f64::INFINITY),
        fault: named(f.word("kind")?, f.index("target"), value)?,
    })
}
