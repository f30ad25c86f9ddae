//! The commented starter file: a small driveline that works, every optional key beside it.
//!
//! The parts are listed here; keys, texts and defaults come from the key list.

use super::keys::DRIVELINE;
use super::show;
use super::spec::{Given, Key, Shape, TableSpec};

/// A part of the starter driveline: its table and the values that it gives.
struct Part {
    table: &'static str,
    given: &'static [(&'static str, &'static str)],
    how: How,
}

/// How much of a part is shown.
#[derive(Clone, Copy, PartialEq)]
enum How {
    /// Every key with its meaning.
    Full,
    /// Only what is given: an entry like it stands above.
    Short,
    /// As a comment, every key with its meaning but those named.
    Sample(&'static [&'static str]),
}

const fn part(
    table: &'static str,
    how: How,
    given: &'static [(&'static str, &'static str)],
) -> Part {
    Part { table, given, how }
}

/// The starter driveline: invented, two speeds, one planetary set, one electric machine.
#[rustfmt::skip]
static PARTS: &[Part] = &[
    part("shaft", How::Full,
        &[("name", "\"sun\""), ("inertia_kg_m2", "0.05"), ("max_rpm", "9000")]),
    part("shaft", How::Short,
        &[("name", "\"ring\""), ("inertia_kg_m2", "0.03"), ("max_rpm", "5000")]),
    part("shaft", How::Short,
        &[("name", "\"output\""), ("inertia_kg_m2", "0.05"), ("max_rpm", "5000")]),
    part("planetary", How::Full,
        &[("name", "\"reduction\""), ("sun", "\"sun\""), ("ring", "\"ring\""),
          ("carrier", "\"output\""), ("sun_teeth", "30"), ("ring_teeth", "66"), ("planets", "4")]),
    part("gear_pair", How::Sample(&["a_teeth", "b_teeth", "mesh"]),
        &[("name", "\"transfer\""), ("a", "\"sun\""), ("b", "\"output\""), ("ratio", "\"-23/40\"")]),
    part("lock", How::Full,
        &[("name", "\"low-brake\""), ("joins", "[\"ring\", \"case\"]"), ("kind", "\"friction\""),
          ("capacity_nm", "900"), ("engage_slip_max_rpm", "60")]),
    part("lock", How::Short,
        &[("name", "\"high-clutch\""), ("joins", "[\"ring\", \"output\"]"),
          ("kind", "\"friction\""), ("capacity_nm", "700"), ("engage_slip_max_rpm", "60")]),
    part("lock", How::Sample(&[]),
        &[("name", "\"park-dog\""), ("joins", "[\"sun\", \"case\"]"), ("kind", "\"dog\""),
          ("capacity_nm", "900"), ("engage_slip_max_rpm", "20"), ("drag_nm", "1")]),
    part("machine", How::Full,
        &[("name", "\"traction\""), ("kind", "\"electric\""), ("shaft", "\"sun\""),
          ("max_torque_nm", "300"), ("max_power_kw", "120")]),
    part("machine", How::Sample(&[]),
        &[("name", "\"engine\""), ("kind", "\"engine\""), ("shaft", "\"ring\""),
          ("idle_rpm", "950"), ("max_rpm", "4200")]),
    part("sensor", How::Sample(&["pulses_per_turn"]),
        &[("shaft", "\"sun\""), ("kind", "\"resolver\""), ("range_rpm", "12000")]),
    part("output", How::Full,
        &[("shaft", "\"output\""), ("final_drive", "\"41/13\""), ("tyre_radius_m", "0.35")]),
    part("vehicle", How::Full,
        &[("mass_kg", "3000"), ("road_load_f0_n", "300"), ("road_load_f2_n_per_mps2", "0.9"),
          ("max_speed_kmh", "120")]),
    part("battery", How::Sample(&[]), &[]),
    part("arrangement", How::Full,
        &[("name", "\"low\""), ("closed", "[\"low-brake\"]"), ("max_speed_kmh", "90")]),
    part("arrangement", How::Short,
        &[("name", "\"high\""), ("closed", "[\"high-clutch\"]")]),
    part("arrangement", How::Short, &[("name", "\"neutral\""), ("closed", "[]")]),
    part("costs", How::Full, &[]),
    part("timing", How::Full, &[]),
];

/// Text of a commented starter file that works; `name` is the driveline's name.
pub fn starter(name: &str) -> String {
    let mut out = String::new();
    comment(
        &mut out,
        "A driveline file. All data in it is invented: replace them by your own. A line such as \
         \"#planets = 3\" shows a key that may be left out, with its default or an example: remove \
         the # to set it. Check the file by `slipwarden check FILE`.",
    );
    out.push('\n');
    let about = "\"Starter: an invented two-speed electric drive.\"";
    let named = format!("\"{name}\"");
    let top = [("format", "1"), ("name", named.as_str()), ("about", about)];
    for key in DRIVELINE.root.keys {
        explain(&mut out, key);
        let value = top.iter().find(|(k, _)| *k == key.name).map_or(key.example, |(_, v)| v);
        out.push_str(&format!("{} = {value}\n", key.name));
    }
    for (index, part) in PARTS.iter().enumerate() {
        let explained = PARTS[..index].iter().any(|p| p.table == part.table);
        if let Some(spec) = DRIVELINE.table(part.table) {
            one(&mut out, spec, part, explained);
        }
    }
    out
}

/// One part with as much of its keys as it shows; what was `explained` above is not again.
fn one(out: &mut String, spec: &'static TableSpec, part: &Part, explained: bool) {
    if part.how != How::Short {
        out.push('\n');
        if !explained {
            comment(out, spec.doc);
        }
        if let How::Sample(_) = part.how {
            comment(out, &sample_says(spec));
        }
    }
    let mark = if matches!(part.how, How::Sample(_)) { "#" } else { "" };
    out.push_str(&format!("{mark}{}\n", spec.header()));
    let given = |name: &str| part.given.iter().find(|(k, _)| *k == name).map(|(_, v)| *v);
    let kind = given("kind").map(|k| k.trim_matches('"'));
    for key in spec.keys.iter().filter(|k| kind.is_none_or(|kind| k.fits(kind))) {
        match (given(key.name), part.how) {
            (Some(value), How::Short) => out.push_str(&format!("{} = {value}\n", key.name)),
            (None, How::Short) => {}
            (_, How::Sample(without)) if without.contains(&key.name) => {}
            (None, _) if explained && key.only.is_empty() => {}
            (value, _) => {
                if !explained || !key.only.is_empty() {
                    explain(out, key);
                }
                let mark = if value.is_none() { "#" } else { mark };
                let value = value.map_or_else(|| optional_value(key), str::to_string);
                out.push_str(&format!("{mark}{} = {value}\n", key.name));
            }
        }
    }
}

fn sample_says(spec: &TableSpec) -> String {
    match spec.shape {
        Shape::Many { .. } if spec.absent.is_empty() || spec.need.is_some() => {
            format!("Another {} could read:", spec.name)
        }
        _ => format!("Left out: {}. It could read:", spec.absent),
    }
}

/// The default where it is a fixed value, else an example.
fn optional_value(key: &Key) -> String {
    match key.given {
        Given::Default(literal, _) => literal.toml(),
        _ if key.example.is_empty() => match &key.ty {
            // The two keys whose example depends on the driveline.
            super::spec::Type::Words { words, .. } => {
                format!("{{ traction = \"{}\" }}", words.first().map_or("", |w| w.0))
            }
            super::spec::Type::Choice(words) => {
                format!("\"{}\"", words.first().map_or("", |w| w.0))
            }
            _ => "\"\"".into(),
        },
        _ => key.example.to_string(),
    }
}

/// Meaning, unit and what leaving it out means, as a comment.
fn explain(out: &mut String, key: &Key) {
    let mut words = key.doc.to_string();
    if !key.unit.is_empty() {
        words.push_str(&format!(" [{}]", key.unit));
    }
    match key.given {
        Given::Always => {}
        Given::Needed(purpose) => words.push_str(&format!(" Needed for {}.", purpose.word())),
        Given::Default(value, why) => {
            words.push_str(&format!(" Default {}: {why}.", value.toml()));
        }
        Given::Derived(how) => words.push_str(&format!(" Default: {how}.")),
        Given::Absent(means) => words.push_str(&format!(" Left out: {means}.")),
    }
    comment(out, &words);
}

/// A comment broken to the width of a terminal.
fn comment(out: &mut String, words: &str) {
    // Two columns go to "# ".
    for line in show::wrap_to(words, 0, 78).lines() {
        out.push_str(&format!("# {line}\n"));
    }
}
