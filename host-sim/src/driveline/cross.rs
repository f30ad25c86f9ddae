//! What the parts of a driveline file mean together.

use std::collections::BTreeMap;

use super::diagnostics::{Diagnostics, Span};
use super::fields::Fields;
use super::suggest::quoted;
use super::values::Got;
use super::walk::Walked;

/// Check everything that needs more than one value.
pub(super) fn check(walked: &Walked, found: &mut Diagnostics) {
    for table in ["shaft", "planetary", "gear_pair", "lock", "machine", "sensor", "arrangement"] {
        duplicate_names(table, walked, found);
    }
    walked.all("shaft").iter().for_each(|f| shaft(f, found));
    walked.all("planetary").iter().for_each(|f| planetary(f, found));
    gear_pairs(walked, found);
    locks(walked, found);
    machines(walked, found);
    arrangements(walked, found);
    super::cross_use::check(walked, found);
}

/// "line 12", for messages that point at a second place.
pub(super) fn line(found: &Diagnostics, span: &Span) -> String {
    format!("line {}", found.line_column(span.start).0)
}

fn duplicate_names(table: &str, walked: &Walked, found: &mut Diagnostics) {
    let mut first: BTreeMap<String, Span> = BTreeMap::new();
    for fields in walked.all(table) {
        let given = match (fields.word("name"), fields.index("shaft")) {
            (Some(name), _) => name.to_string(),
            // A sensor without a name bears its shaft's.
            (None, Some(shaft)) if table == "sensor" => walked.names.of("shaft")[shaft].clone(),
            _ => continue,
        };
        let span = fields.span("name");
        match first.get(&given) {
            Some(before) => {
                let message = format!(
                    "a second {table} is named {}; the first is in {}",
                    quoted(&given),
                    line(found, before)
                );
                found.error(span, message, "give each its own `name`");
            }
            None => {
                first.insert(given, span);
            }
        }
    }
}

fn shaft(f: &Fields, found: &mut Diagnostics) {
    if f.has("min_rpm") && !f.has("max_rpm") && !f.broken.contains(&"max_rpm") {
        let message = "this shaft has a `min_rpm` but no `max_rpm`";
        found.error(f.key_span("min_rpm"), message, "give both limits, or neither");
    }
    let (tested, max) = (f.number("tested_rpm"), f.number("max_rpm"));
    if let Some(max) = max.filter(|max| tested.is_some_and(|tested| tested < *max)) {
        found.error(
            f.span("tested_rpm"),
            format!("the shaft was tested at less than its `max_rpm`, which is {max}"),
            "lower `max_rpm` to what was tested, or correct this",
        );
    }
    if tested.is_some() && max.is_none() && !f.broken.contains(&"max_rpm") {
        let message = "this shaft has a `tested_rpm` but no `max_rpm`";
        found.error(f.key_span("tested_rpm"), message, "give the highest allowed speed as well");
    }
    if f.has("tested_s") && tested.is_none() && !f.broken.contains(&"tested_rpm") {
        let message = "`tested_s` says how long, but no `tested_rpm` says how fast";
        found.error(f.key_span("tested_s"), message, "give both, or neither");
    }
}

fn planetary(f: &Fields, found: &mut Diagnostics) {
    if let (Some(sun), Some(ring)) = (f.count("sun_teeth"), f.count("ring_teeth"))
        && ring <= sun
    {
        found.error(
            f.span("ring_teeth"),
            format!("the ring has {ring} teeth, not more than the sun's {sun}"),
            "a ring goes around its sun: exchange or correct the tooth counts",
        );
    }
    let members = ["sun", "ring", "carrier"];
    for (i, key) in members.iter().enumerate().skip(1) {
        let same = members[..i].iter().find(|m| f.index(m).is_some() && f.index(m) == f.index(key));
        if let Some(other) = same {
            found.error(
                f.span(key),
                format!("`{key}` is the same shaft as `{other}`"),
                "a planetary set ties three different shafts; to join two of them use a lock or \
                 describe them as one gear_pair",
            );
        }
    }
}

fn gear_pairs(walked: &Walked, found: &mut Diagnostics) {
    let mut seen: BTreeMap<[usize; 2], Span> = BTreeMap::new();
    for f in walked.all("gear_pair") {
        ratio_or_teeth(f, found);
        let (Some(a), Some(b)) = (f.index("a"), f.index("b")) else { continue };
        if a == b {
            let message = "`a` and `b` are the same shaft";
            found.error(f.span("b"), message, "a gear pair ties two different shafts");
            continue;
        }
        let sides = [a.min(b), a.max(b)];
        if let Some(before) = seen.get(&sides) {
            let message = format!(
                "a second gear pair ties these shafts; the first is in {}",
                line(found, before)
            );
            found.error(
                f.at.clone(),
                message,
                "remove one, or put a shaft and a lock between them",
            );
        } else {
            seen.insert(sides, f.at.clone());
        }
    }
}

/// Exactly one of `ratio` and the two tooth counts.
fn ratio_or_teeth(f: &Fields, found: &mut Diagnostics) {
    let stands = |key: &'static str| f.has(key) || f.broken.contains(&key);
    let ratio = stands("ratio");
    let teeth = [stands("a_teeth"), stands("b_teeth")];
    if ratio {
        for key in ["a_teeth", "b_teeth", "mesh"] {
            if f.has(key) {
                let message = format!("`{key}` and `ratio` cannot both be given");
                found.error(
                    f.key_span(key),
                    message,
                    "keep the ratio or the tooth counts, not both",
                );
            }
        }
        return;
    }
    match teeth {
        [true, true] => {}
        [false, false] => found.error(
            f.at.clone(),
            "this gear pair has neither `ratio` nor tooth counts",
            "add ratio = \"-23/40\", or a_teeth = 40 and b_teeth = 23",
        ),
        [a, _] => {
            let (has, lacks) = if a { ("a_teeth", "b_teeth") } else { ("b_teeth", "a_teeth") };
            let message = format!("this gear pair has `{has}` but not `{lacks}`");
            found.error(f.key_span(has), message, format!("add {lacks}"));
        }
    }
}

fn locks(walked: &Walked, found: &mut Diagnostics) {
    let mut seen: BTreeMap<([Option<usize>; 2], String), Span> = BTreeMap::new();
    for f in walked.all("lock") {
        dog_slip(f, found);
        let Some(Got::Joins(sides)) = f.given("joins").map(|g| &g.value) else { continue };
        if sides[0] == sides[1] {
            let message = match sides[0] {
                Some(_) => "both sides of this lock are the same shaft",
                None => "both sides of this lock are the case",
            };
            found.error(f.span("joins"), message, "name two different sides");
            continue;
        }
        let mut sides = *sides;
        sides.sort_unstable();
        let Some(kind) = f.word("kind") else { continue };
        let key = (sides, kind.to_string());
        if let Some(before) = seen.get(&key) {
            let message = format!(
                "a second {kind} lock joins the same sides; the first is in {}",
                line(found, before)
            );
            found.error(f.span("joins"), message, "correct one of the two, or remove it");
        } else {
            seen.insert(key, f.span("joins"));
        }
    }
}

/// A dog goes in only if the flanks do not pass the gap during the insertion:
/// slip <= backlash angle / insertion time (geometry).
fn dog_slip(f: &Fields, found: &mut Diagnostics) {
    if f.word("kind") != Some("dog") {
        return;
    }
    let slip = f.given("engage_slip_max_rpm").and(f.number("engage_slip_max_rpm"));
    if let (Some(teeth), Some(backlash)) = (f.count("teeth"), f.number("backlash_deg")) {
        let pitch = 360.0 / f64::from(teeth);
        if backlash >= pitch {
            found.error(
                f.span(if f.has("backlash_deg") { "backlash_deg" } else { "teeth" }),
                format!("the backlash of {backlash} deg is not below the pitch of {pitch:.2} deg"),
                "correct `backlash_deg` or `teeth`",
            );
        }
    }
    let (Some(slip), Some(backlash), Some(insertion)) =
        (slip, f.number("backlash_deg"), f.number("insertion_ms"))
    else {
        return;
    };
    // 1 deg/ms is 1000/6 rpm.
    let geometric = backlash / insertion * 1000.0 / 6.0;
    if slip > geometric * (1.0 + 1e-9) {
        found.warning(
            f.span("engage_slip_max_rpm"),
            format!("at {slip} rpm the dogs pass {backlash} deg of backlash before they are in"),
            format!("at most {geometric:.1} rpm fit {backlash} deg in {insertion} ms"),
        );
    }
    if let Some(offset) = f.given("offset_rpm").and(f.number("offset_rpm"))
        && offset >= slip
    {
        found.error(
            f.span("offset_rpm"),
            format!("`offset_rpm` must be below `engage_slip_max_rpm`, which is {slip}"),
            format!("write about {}", 0.2 * slip),
        );
    }
}

fn machines(walked: &Walked, found: &mut Diagnostics) {
    let mut engine: Option<Span> = None;
    for f in walked.all("machine") {
        if f.word("kind") != Some("engine") {
            continue;
        }
        if let Some(before) = &engine {
            let message = format!("a second engine; the first is in {}", line(found, before));
            found.error(f.span("kind"), message, "one engine at most can be described");
        } else {
            engine = Some(f.span("kind"));
        }
        engine_speeds(f, walked, found);
    }
}

fn engine_speeds(f: &Fields, walked: &Walked, found: &mut Diagnostics) {
    let (Some(idle), Some(max)) = (f.number("idle_rpm"), f.number("max_rpm")) else { return };
    if idle >= max {
        let message = format!("`idle_rpm` must be below `max_rpm`, which is {max}");
        found.error(f.span("idle_rpm"), message, "exchange or correct the two speeds");
        return;
    }
    if let Some(stall) = f.number("stall_rpm").filter(|s| *s >= idle) {
        let message = format!("`stall_rpm` is {stall}, not below `idle_rpm`, which is {idle}");
        found.error(f.span("stall_rpm"), message, format!("write about {}", 0.6 * idle));
    }
    if let Some(Got::Curve(points)) = f.given("torque_curve_rpm_nm").map(|g| &g.value) {
        let (first, last) = (points[0].0, points[points.len() - 1].0);
        if first > idle || last < max {
            found.warning(
                f.span("torque_curve_rpm_nm"),
                format!("the curve goes from {first} to {last} rpm, but the engine runs from {idle} to {max}"),
                "add the missing end; outside the curve its last value is kept",
            );
        }
    }
    let shaft = f.index("shaft").and_then(|i| walked.all("shaft").get(i));
    if let Some(limit) = shaft.and_then(|s| s.number("max_rpm")).filter(|l| *l < max) {
        found.warning(
            f.span("max_rpm"),
            format!("the engine runs up to {max} rpm, but its shaft only to {limit}"),
            "lower this, or raise the shaft's `max_rpm`",
        );
    }
}

fn arrangements(walked: &Walked, found: &mut Diagnostics) {
    let has_engine = walked.all("machine").iter().any(|f| f.word("kind") == Some("engine"));
    let kinds_known = walked.all("machine").iter().all(|f| f.word("kind").is_some());
    let mut seen: BTreeMap<(Vec<usize>, String), Span> = BTreeMap::new();
    for f in walked.all("arrangement") {
        if let (Some(min), Some(max)) = (f.number("min_speed_kmh"), f.number("max_speed_kmh"))
            && min >= max
        {
            let message = format!("`min_speed_kmh` must be below `max_speed_kmh`, which is {max}");
            found.error(f.span("min_speed_kmh"), message, "exchange or correct the two speeds");
        }
        let Some(engine) = f.word("engine") else { continue };
        if engine == "on" && !has_engine && kinds_known {
            let message = "this arrangement runs the engine, but no machine is an engine";
            found.error(
                f.span("engine"),
                message,
                "add a [[machine]] with kind = \"engine\", or remove this",
            );
        }
        let Some(Got::Indices(locks)) = f.given("closed").map(|g| &g.value) else { continue };
        let mut locks = locks.clone();
        locks.sort_unstable();
        let key = (locks, engine.to_string());
        if let Some(before) = seen.get(&key) {
            let message = format!(
                "a second arrangement with the same closed locks and engine use; the first is in {}",
                line(found, before)
            );
            found.error(f.span("closed"), message, "remove one, or change its locks or `engine`");
        } else {
            seen.insert(key, f.span("closed"));
        }
    }
}
