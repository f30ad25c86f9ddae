//! Did-you-mean: near names, keys with another unit, keys of another table.

use super::spec::{FileSpec, Shape, TableSpec};

/// Longer names are not compared: nothing in a file is called like that.
const LONGEST: usize = 48;

/// A foreign word as it may stand in a message: cut short, control characters escaped.
pub fn quoted(word: &str) -> String {
    let short: String = word.chars().take(40).flat_map(char::escape_debug).collect();
    if word.chars().nth(40).is_some() { format!("`{short}...`") } else { format!("`{short}`") }
}

/// The nearest of `known` to `word`, if it is near enough to be a slip of the pen.
pub fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > LONGEST || word.is_empty() {
        return None;
    }
    let lower = word.to_lowercase();
    let allowed = (lower.chars().count() / 3).max(1);
    known
        .filter(|k| !k.is_empty() && k.len() <= LONGEST)
        .map(|k| (distance(&lower, &k.to_lowercase()), k))
        .filter(|(d, _)| *d <= allowed)
        .min_by_key(|(d, _)| *d)
        .map(|(_, k)| k)
}

/// Edit distance with transpositions (optimal string alignment); `-` and `_` count as equal.
pub fn distance(a: &str, b: &str) -> usize {
    let chars =
        |s: &str| -> Vec<char> { s.chars().map(|c| if c == '-' { '_' } else { c }).collect() };
    let (a, b) = (chars(a), chars(b));
    let mut rows = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for (j, cell) in rows[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        rows[i][0] = i;
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut best =
                (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

/// `a, b and 3 more`.
pub fn list(words: &[&str], most: usize) -> String {
    let shown: Vec<&str> = words.iter().copied().take(most).collect();
    let rest = words.len() - shown.len();
    match (shown.split_last(), rest) {
        (None, _) => "none".into(),
        (Some((last, [])), 0) => (*last).to_string(),
        (Some((last, front)), 0) => format!("{} and {last}", front.join(", ")),
        _ => format!("{} and {rest} more", shown.join(", ")),
    }
}

/// What to do about a key that the table does not have.
pub struct Advice {
    /// A sentence.
    pub fix: String,
    /// The key of the same table that was most likely meant.
    pub meant: Option<&'static str>,
}

/// Advice about a key that the table does not have.
pub fn for_unknown_key(
    file: &FileSpec,
    table: &'static TableSpec,
    kind: Option<&str>,
    name: &str,
    value: Option<f64>,
) -> Advice {
    let fitting =
        || table.keys.iter().filter(move |k| kind.is_none_or(|kind| k.fits(kind))).map(|k| k.name);
    if let Some((fix, meant)) = other_unit(name, value, fitting()) {
        return Advice { fix, meant: Some(meant) };
    }
    if let Some(near) = nearest(name, fitting()) {
        return Advice { fix: format!("did you mean `{near}`?"), meant: Some(near) };
    }
    let elsewhere = file.tables.iter().find(|t| t.keys_named(name).next().is_some());
    let other_table = match table.shape {
        Shape::Root => nearest(name, file.tables.iter().map(|t| t.name)),
        Shape::One | Shape::Many { .. } => Some(name),
    };
    let fix = if let Some(other) = elsewhere {
        format!("`{name}` is a key of {}: move it there", other.header())
    } else if let Some(other) = other_table.and_then(|n| file.table(n)) {
        format!("did you mean the table {0}? Write {0} on a line of its own", other.header())
    } else {
        let mut names: Vec<&str> = fitting().collect();
        names.dedup();
        format!("remove it; the keys of {} are {}", table.header(), list(&names, 40))
    };
    Advice { fix, meant: None }
}

/// A unit as it may end a key's name: suffix, what it measures, size in the first unit of its kind.
struct Unit(&'static str, &'static str, f64);

#[rustfmt::skip]
static UNITS: &[Unit] = &[
    Unit("rpm", "speed", 1.0), Unit("krpm", "speed", 1000.0),
    Unit("rad_s", "speed", 9.549296585513721), Unit("radps", "speed", 9.549296585513721),
    Unit("rads", "speed", 9.549296585513721), Unit("rad_per_s", "speed", 9.549296585513721),
    Unit("hz", "speed", 60.0), Unit("rps", "speed", 60.0), Unit("per_min", "speed", 1.0),
    Unit("rpm_per_s", "speed rate", 1.0), Unit("radps2", "speed rate", 9.549296585513721),
    Unit("rad_s2", "speed rate", 9.549296585513721),
    Unit("kg_m2", "inertia", 1.0), Unit("kgm2", "inertia", 1.0), Unit("g_m2", "inertia", 1e-3),
    Unit("gm2", "inertia", 1e-3), Unit("kg_cm2", "inertia", 1e-4), Unit("kgcm2", "inertia", 1e-4),
    Unit("g_cm2", "inertia", 1e-7), Unit("gcm2", "inertia", 1e-7), Unit("kg_mm2", "inertia", 1e-6),
    Unit("kgmm2", "inertia", 1e-6),
    Unit("nm", "torque", 1.0), Unit("n_m", "torque", 1.0), Unit("knm", "torque", 1000.0),
    Unit("lbft", "torque", 1.3558179483), Unit("lb_ft", "torque", 1.3558179483),
    Unit("ftlb", "torque", 1.3558179483),
    Unit("w", "power", 1.0), Unit("kw", "power", 1000.0), Unit("mw", "power", 1e6),
    Unit("ps", "power", 735.49875), Unit("hp", "power", 745.6998715822702),
    Unit("s", "time", 1.0), Unit("ms", "time", 1e-3), Unit("us", "time", 1e-6),
    Unit("sec", "time", 1.0), Unit("min", "time", 60.0),
    Unit("mps", "road speed", 1.0), Unit("m_s", "road speed", 1.0), Unit("kmh", "road speed", 1.0 / 3.6),
    Unit("km_h", "road speed", 1.0 / 3.6), Unit("kph", "road speed", 1.0 / 3.6),
    Unit("mph", "road speed", 0.44704),
    Unit("mps2", "acceleration", 1.0), Unit("m_s2", "acceleration", 1.0),
    Unit("j", "energy", 1.0), Unit("kj", "energy", 1e3), Unit("mj", "energy", 1e6),
    Unit("wh", "energy", 3600.0), Unit("kwh", "energy", 3.6e6),
    Unit("deg", "angle", 1.0), Unit("rad", "angle", 57.29577951308232),
    Unit("m", "length", 1.0), Unit("mm", "length", 1e-3), Unit("cm", "length", 1e-2),
    Unit("km", "length", 1e3), Unit("inch", "length", 0.0254),
    Unit("kg", "mass", 1.0), Unit("t", "mass", 1000.0), Unit("g", "mass", 1e-3),
    Unit("v", "voltage", 1.0), Unit("kv", "voltage", 1e3), Unit("mv", "voltage", 1e-3),
    Unit("ohm", "resistance", 1.0), Unit("mohm", "resistance", 1e-3),
    Unit("milliohm", "resistance", 1e-3),
    Unit("bar", "pressure", 1.0), Unit("pa", "pressure", 1e-5), Unit("kpa", "pressure", 1e-2),
    Unit("mpa", "pressure", 10.0),
    Unit("l", "volume", 1.0), Unit("cc", "volume", 1e-3), Unit("cm3", "volume", 1e-3),
    Unit("ccm", "volume", 1e-3), Unit("n", "force", 1.0), Unit("kn", "force", 1e3),
    Unit("k", "temperature rise", 1.0), Unit("kj_per_k", "heat capacity", 1e3),
    Unit("j_per_k", "heat capacity", 1.0), Unit("mj_per_kg", "heating value", 1e6),
    Unit("kj_per_kg", "heating value", 1e3), Unit("j_per_kg", "heating value", 1.0),
    Unit("n_per_mps", "force over speed", 1.0), Unit("n_per_kmh", "force over speed", 3.6),
    Unit("n_per_mps2", "force over speed squared", 1.0),
];

/// Split a key into stem and unit; the longest suffix wins.
fn split_unit(name: &str) -> (&str, Option<&'static Unit>) {
    UNITS
        .iter()
        .filter_map(|unit| {
            let stem = name.strip_suffix(unit.0)?;
            // A name may be nothing but its unit.
            let stem = if stem.is_empty() { stem } else { stem.strip_suffix('_')? };
            Some((stem, Some(unit)))
        })
        .min_by_key(|(stem, _)| stem.len())
        .unwrap_or((name, None))
}

/// The fix for a key that differs from a known one by its unit only, and that known key.
fn other_unit(
    name: &str,
    value: Option<f64>,
    known: impl Iterator<Item = &'static str>,
) -> Option<(String, &'static str)> {
    if name.len() > LONGEST {
        return None;
    }
    let lower = name.to_lowercase();
    let (stem, unit) = split_unit(&lower);
    let (right, right_unit) = known.filter(|k| *k != name).find_map(|k| {
        let (known_stem, known_unit) = split_unit(k);
        let known_unit = known_unit?;
        let fits = !stem.is_empty() || unit.is_some_and(|u| u.1 == known_unit.1);
        (known_stem == stem && fits).then_some((k, known_unit))
    })?;
    let Some(unit) = unit.filter(|u| u.1 == right_unit.1) else {
        let fix = format!("did you mean `{right}`? The unit is the last part of a name");
        return Some((fix, right));
    };
    let factor = unit.2 / right_unit.2;
    let fix = if (factor - 1.0).abs() < 1e-12 {
        format!("did you mean `{right}`? It is the same unit, spelt as this file does")
    } else if let Some(x) = value {
        let x = six_digits(x * factor);
        format!("did you mean `{right}`? In that unit it is `{right} = {x}`")
    } else {
        format!("did you mean `{right}`? Multiply the value by {}", six_digits(factor))
    };
    Some((fix, right))
}

/// A number with six significant digits, without trailing zeros.
pub fn six_digits(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let magnitude = x.abs().log10().floor() as i32;
    let decimals = (5 - magnitude).clamp(0, 15) as usize;
    let text = format!("{x:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The classic pairs: kitten/sitting is 3 (Wagner and Fischer's measure; from memory).
    #[test]
    fn distance_counts_edits_and_swaps() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("rign", "ring"), 1, "a swap is one slip");
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("ring-brake", "ring_brake"), 0);
    }

    #[test]
    fn only_near_names_are_offered() {
        let known = ["ring", "output", "generator"];
        assert_eq!(nearest("Generater", known.into_iter()), Some("generator"));
        assert_eq!(nearest("sun", known.into_iter()), None);
        assert_eq!(nearest(&"x".repeat(1000), known.into_iter()), None);
    }

    /// Each unit's own size: 1 rad/s is 30/pi rpm, 1 km/h is 1/3.6 m/s, and so on.
    #[test]
    fn units_convert_to_what_the_file_uses() {
        let fix = |name: &str, value: f64, known: &'static str| {
            other_unit(name, Some(value), [known].into_iter())
                .map(|(fix, _)| fix)
                .unwrap_or_default()
        };
        assert!(fix("max_radps", std::f64::consts::PI, "max_rpm").contains("max_rpm = 30`"));
        assert!(fix("max_speed_mps", 10.0, "max_speed_kmh").contains("max_speed_kmh = 36`"));
        assert!(fix("inertia_kgm2", 0.1, "inertia_kg_m2").contains("the same unit"));
        assert!(fix("tyre_radius_mm", 355.0, "tyre_radius_m").contains("tyre_radius_m = 0.355`"));
        assert!(fix("energy_mj", 3.6, "energy_kwh").contains("energy_kwh = 1`"));
        assert_eq!(fix("wheel_mm", 1.0, "tyre_radius_m"), "");
    }

    #[test]
    fn six_digits_are_enough_and_never_an_exponent() {
        assert_eq!(six_digits(9549.296585), "9549.3");
        assert_eq!(six_digits(1e-7 * 12.0), "0.0000012");
        assert_eq!(six_digits(-250.0), "-250");
        assert_eq!(six_digits(0.0), "0");
    }
}
