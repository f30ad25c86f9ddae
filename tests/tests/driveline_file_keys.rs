//! Every key of the description, one by one: its example is accepted, values outside its
//! range are refused at the value, and the JSON Schema says the same as the reader.
//!
//! The schema is judged by a small validator written here from the text of JSON Schema
//! draft 2020-12; it stops at any keyword that it does not know.

use host_sim::driveline::keys::DRIVELINE;
use host_sim::driveline::spec::{Key, Literal, Shape, TableSpec, Type, Within};
use host_sim::driveline::{self, DEMOS, Severity};
use serde_json::{Value, json};
use toml_edit::{DocumentMut, Item, TableLike};

/// A good file in which every table stands: the starter with its comments taken in.
fn full() -> DocumentMut {
    let text: Vec<String> = driveline::starter("full")
        .lines()
        .map(|l| match l.strip_prefix('#') {
            Some(rest) if !rest.starts_with(' ') => rest.to_string(),
            _ => l.to_string(),
        })
        .collect();
    text.join("\n").parse().expect("TOML")
}

/// The table (entry) of `document` in which `key` may stand.
fn entry<'d>(
    document: &'d mut DocumentMut,
    table: &TableSpec,
    key: &Key,
) -> Option<&'d mut dyn TableLike> {
    match table.shape {
        Shape::Root => Some(document.as_table_mut()),
        Shape::One => document.get_mut(table.name)?.as_table_like_mut(),
        Shape::Many { .. } => document
            .get_mut(table.name)?
            .as_array_of_tables_mut()?
            .iter_mut()
            .find(|t| {
                let kind = t.get("kind").and_then(Item::as_str);
                // The kind of a sensor is taken out below.
                let any = key.only.is_empty() || table.name == "sensor";
                any || kind.is_some_and(|k| key.fits(k))
            })
            .map(|t| t as &mut dyn TableLike),
    }
}

/// The full file with `key = value` in its place; ways to say the same otherwise are taken out.
fn with(table: &TableSpec, key: &Key, value: &str) -> String {
    let mut document = full();
    let place = entry(&mut document, table, key)
        .unwrap_or_else(|| panic!("the full file has a {} for {}", table.name, key.name));
    if ["a_teeth", "b_teeth", "mesh"].contains(&key.name) {
        place.remove("ratio");
        place.insert("a_teeth", toml_edit::value(40));
        place.insert("b_teeth", toml_edit::value(23));
    }
    if key.name == "pulses_per_turn" {
        place.remove("kind");
    }
    let parsed: DocumentMut = format!("x = {value}").parse().expect("a TOML value");
    place.insert(key.name, parsed["x"].clone());
    document.to_string()
}

/// Every key with its table; inner tables are read by their own test.
fn all_keys() -> impl Iterator<Item = (&'static TableSpec, &'static Key)> {
    [DRIVELINE.root]
        .into_iter()
        .chain(DRIVELINE.tables.iter().copied())
        .flat_map(|t| t.keys.iter().map(move |k| (t, k)))
}

/// Values that must be refused; for each, whether a schema can see it.
fn bad_values(key: &Key) -> Vec<(String, bool)> {
    let seen = |values: &[&str]| values.iter().map(|v| (v.to_string(), true)).collect::<Vec<_>>();
    let unseen = |value: &str| (value.to_string(), false);
    let mut bad = match &key.ty {
        Type::Text => vec![],
        Type::Name => seen(&["\"\"", "\"a b\"", "\"case\""]),
        Type::Version => seen(&["2", "0"]),
        Type::Flag => seen(&["1", "\"true\""]),
        Type::Choice(_) => seen(&["\"no-such-word\"", "1"]),
        Type::Number(w) => [outside(w), seen(&["\"1\""])].concat(),
        Type::Ratio(w) => [outside(w), seen(&["\"pi\""])].concat(),
        Type::Count { min, max } => {
            let (below, above) = (i64::from(*min) - 1, i64::from(*max) + 1);
            seen(&[&below.to_string(), &above.to_string(), &format!("{min}.5")])
        }
        Type::Ref(_) => seen(&["1"]),
        Type::Joins => seen(&["[\"sun\"]", "[\"sun\", \"sun\"]", "[\"sun\", \"ring\", \"case\"]"]),
        Type::Refs(_) => seen(&["\"low\""]),
        Type::Numbers { count, each, .. } => {
            let below = vec![format!("{:?}", each.min - 1.0); *count].join(", ");
            seen(&["[]", &format!("[{below}]")])
        }
        Type::Curve { y, .. } => seen(&["[]", "[[1]]", &format!("[[1, {:?}]]", y.min - 1.0)]),
        Type::Inline(_) => seen(&["{ no-such-key = 1 }", "1"]),
        Type::Words { .. } => seen(&["{ traction = \"no-such-word\" }"]),
    };
    // Faults that only the reader can see.
    match &key.ty {
        Type::Number(_) => bad.extend([unseen("nan"), unseen("inf")]),
        Type::Ratio(_) => bad.push(unseen("\"1/0\"")),
        Type::Ref(_) => bad.push(unseen("\"no-such-part\"")),
        Type::Joins => bad.push(unseen("[\"sun\", \"no-such-part\"]")),
        Type::Refs(_) => bad.push(unseen("[\"no-such-part\"]")),
        Type::Numbers { count, rising: true, .. } => {
            bad.push((format!("[{}]", vec!["0.5"; *count].join(", ")), false));
        }
        Type::Curve { .. } => bad.push(unseen("[[2, 1], [1, 1]]")),
        Type::Words { .. } => bad.push(unseen("{ none = \"idle\" }")),
        _ => {}
    }
    bad.push(unseen("1979-05-27"));
    bad
}

/// Numbers just outside a range.
fn outside(w: &Within) -> Vec<(String, bool)> {
    let below = if w.min_open { w.min } else { w.min - 0.001 * w.min.abs().max(1.0) };
    let mut bad =
        vec![(format!("{below:?}"), true), (format!("{:?}", w.max * 1.001 + 0.001), true)];
    if w.not_zero {
        bad.push(("0".into(), true));
    }
    bad
}

#[test]
fn the_example_of_every_key_is_accepted() {
    let mut tried = 0;
    for (table, key) in all_keys().filter(|(_, k)| !k.example.is_empty()) {
        let text = with(table, key, key.example);
        let read = driveline::parse("full.toml", &text);
        // Names and values of other keys may now disagree; the key itself must be good.
        let complaints: Vec<String> = match &read {
            Ok(_) => Vec::new(),
            Err(found) => found
                .sorted()
                .iter()
                .filter(|d| d.severity == Severity::Error)
                .filter(|d| d.message.contains(&format!("`{}`", key.name)))
                .map(|d| d.message.clone())
                .collect(),
        };
        assert!(complaints.is_empty(), "{} in {}: {complaints:?}", key.name, table.name);
        tried += 1;
    }
    assert!(tried > 60, "{tried} keys have an example");
}

#[test]
fn every_default_is_inside_its_own_range() {
    for (table, key) in all_keys() {
        let host_sim::driveline::spec::Given::Default(literal, why) = key.given else { continue };
        assert!(!why.is_empty(), "{} says why", key.name);
        let inside = match (&key.ty, literal) {
            (Type::Number(w), Literal::Number(x)) => w.holds(x),
            (Type::Count { min, max }, Literal::Count(n)) => (*min..=*max).contains(&n),
            (Type::Flag, Literal::Flag(_)) | (Type::Text, Literal::Word(_)) => true,
            (Type::Choice(words), Literal::Word(w)) => words.iter().any(|(word, _)| *word == w),
            (Type::Numbers { count, each, .. }, Literal::List(xs)) => {
                xs.len() == *count && xs.iter().all(|x| each.holds(*x))
            }
            (Type::Inline(_), Literal::Empty) => true,
            _ => false,
        };
        assert!(inside, "{} in {}: {literal:?}", key.name, table.name);
    }
}

#[test]
fn every_value_out_of_range_is_refused_at_its_place_and_by_the_schema() {
    let schema = driveline::schema();
    let mut refused = 0;
    for (table, key) in all_keys() {
        for (value, schema_sees) in bad_values(key) {
            let text = with(table, key, &value);
            let found = match driveline::parse("full.toml", &text) {
                Ok(_) => panic!("{} = {value} in {} was accepted", key.name, table.name),
                Err(found) => found,
            };
            let at_place = found.sorted().iter().any(|d| {
                let Some(span) = d.span.clone() else { return false };
                let line = found.line_column(span.start).0;
                text.lines()
                    .nth(line - 1)
                    .is_some_and(|l| l.contains(&value) || l.contains(key.name))
            });
            assert!(at_place, "{} = {value}:\n{found}", key.name);
            if schema_sees {
                let faults = validate(&schema, &json_of(&text));
                assert!(!faults.is_empty(), "the schema accepts {} = {value}", key.name);
            }
            refused += 1;
        }
    }
    assert!(refused > 300, "{refused} values were tried");
}

#[test]
fn the_schema_accepts_what_the_reader_accepts() {
    let schema = driveline::schema();
    let mut files: Vec<String> =
        DEMOS.iter().filter_map(|n| driveline::demo(n)).map(str::to_string).collect();
    files.push(driveline::starter("mine"));
    files.push(full().to_string());
    for text in files {
        assert!(driveline::parse("file.toml", &text).is_ok());
        let faults = validate(&schema, &json_of(&text));
        assert!(faults.is_empty(), "{faults:?}");
    }
}

#[test]
fn the_schema_refuses_keys_of_another_kind_and_unknown_ones() {
    let schema = driveline::schema();
    let refuses = |from: &str, to: &str| {
        let text = full().to_string().replacen(from, to, 1);
        assert!(text.contains(to));
        !validate(&schema, &json_of(&text)).is_empty()
    };
    assert!(refuses("kind = \"friction\"", "kind = \"friction\"\nteeth = 36"));
    assert!(refuses("max_torque_nm = ", "max_torque = "));
    assert!(refuses("[timing]", "[timings]"));
    assert!(refuses("idle_rpm = 950\n", "\n"));
    assert!(refuses("format = 1", "format = 2"));
}

/// A TOML text as JSON.
fn json_of(text: &str) -> Value {
    let document: DocumentMut = text.parse().expect("TOML");
    item(document.as_item())
}

fn item(from: &Item) -> Value {
    match from {
        Item::None => Value::Null,
        Item::Value(v) => value(v),
        Item::Table(t) => table(t),
        Item::ArrayOfTables(list) => list.iter().map(|t| table(t)).collect(),
    }
}

fn table(from: &dyn TableLike) -> Value {
    from.iter().map(|(k, v)| (k.to_string(), item(v))).collect::<serde_json::Map<_, _>>().into()
}

fn value(from: &toml_edit::Value) -> Value {
    match from {
        toml_edit::Value::String(s) => json!(s.value()),
        toml_edit::Value::Integer(i) => json!(i.value()),
        toml_edit::Value::Float(x) => json!(x.value()),
        toml_edit::Value::Boolean(b) => json!(b.value()),
        toml_edit::Value::Datetime(d) => json!(d.value().to_string()),
        toml_edit::Value::Array(a) => a.iter().map(value).collect(),
        toml_edit::Value::InlineTable(t) => table(t),
    }
}

/// Faults of `value` against `schema`.
fn validate(schema: &Value, value: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    let Some(keywords) = schema.as_object() else {
        if schema == &json!(false) {
            faults.push(format!("nothing may stand here: {value}"));
        }
        return faults;
    };
    for (keyword, argument) in keywords {
        let good = match keyword.as_str() {
            "$schema" | "title" | "description" | "default" | "then" => true,
            "if" => {
                let applies = validate(argument, value).is_empty();
                if applies && let Some(then) = keywords.get("then") {
                    faults.extend(validate(then, value));
                }
                true
            }
            "type" => has_type(argument, value),
            "const" => same(argument, value),
            "enum" => argument.as_array().expect("list").iter().any(|a| same(a, value)),
            "minimum" => bound(argument, value, |limit, x| x >= limit),
            "maximum" => bound(argument, value, |limit, x| x <= limit),
            "exclusiveMinimum" => bound(argument, value, |limit, x| x > limit),
            "pattern" => value.as_str().is_none_or(|s| matches(argument, s)),
            "minItems" => value.as_array().is_none_or(|a| a.len() as u64 >= count(argument)),
            "maxItems" => value.as_array().is_none_or(|a| a.len() as u64 <= count(argument)),
            "uniqueItems" => value
                .as_array()
                .is_none_or(|a| a.iter().enumerate().all(|(i, x)| !a[..i].contains(x))),
            "required" => value.as_object().is_none_or(|o| {
                argument
                    .as_array()
                    .expect("list")
                    .iter()
                    .all(|k| o.contains_key(k.as_str().expect("name")))
            }),
            "not" => !validate(argument, value).is_empty(),
            "anyOf" => {
                argument.as_array().expect("list").iter().any(|s| validate(s, value).is_empty())
            }
            "allOf" => {
                for part in argument.as_array().expect("list") {
                    faults.extend(validate(part, value));
                }
                true
            }
            "items" | "prefixItems" | "properties" | "additionalProperties" | "propertyNames" => {
                faults.extend(children(keyword, argument, keywords, value));
                true
            }
            other => panic!("the validator does not know {other}"),
        };
        if !good {
            faults.push(format!("{keyword} {argument}: {value}"));
        }
    }
    faults
}

fn children(
    keyword: &str,
    argument: &Value,
    keywords: &serde_json::Map<String, Value>,
    value: &Value,
) -> Vec<String> {
    let list = value.as_array().cloned().unwrap_or_default();
    let object = value.as_object().cloned().unwrap_or_default();
    match keyword {
        "items" => list.iter().flat_map(|x| validate(argument, x)).collect(),
        "prefixItems" => argument
            .as_array()
            .expect("list")
            .iter()
            .zip(&list)
            .flat_map(|(s, x)| validate(s, x))
            .collect(),
        "properties" => object
            .iter()
            .filter_map(|(k, x)| argument.get(k).map(|s| validate(s, x)))
            .flatten()
            .collect(),
        "propertyNames" => object.keys().flat_map(|k| validate(argument, &json!(k))).collect(),
        _ => {
            let known = keywords.get("properties").and_then(Value::as_object);
            object
                .iter()
                .filter(|(k, _)| known.is_none_or(|p| !p.contains_key(*k)))
                .flat_map(|(_, x)| validate(argument, x))
                .collect()
        }
    }
}

fn count(argument: &Value) -> u64 {
    argument.as_u64().expect("a count")
}

fn bound(limit: &Value, value: &Value, holds: impl Fn(f64, f64) -> bool) -> bool {
    let limit = limit.as_f64().expect("a limit");
    value.as_f64().is_none_or(|x| holds(limit, x))
}

fn same(a: &Value, b: &Value) -> bool {
    a == b || (a.is_number() && a.as_f64() == b.as_f64())
}

fn has_type(argument: &Value, value: &Value) -> bool {
    match argument.as_str().expect("one type") {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|x| x.fract() == 0.0),
        other => panic!("the validator does not know the type {other}"),
    }
}

/// The two patterns that the schema uses, by hand.
fn matches(pattern: &Value, text: &str) -> bool {
    match pattern.as_str().expect("a pattern") {
        "^[A-Za-z][A-Za-z0-9_-]{0,31}$" => {
            text.starts_with(|c: char| c.is_ascii_alphabetic())
                && text.len() <= 32
                && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
        }
        "^ *[+-]?[0-9]+(\\.[0-9]+)? *(/ *[+-]?[0-9]+(\\.[0-9]+)? *)?$" => {
            let decimal = |part: &str| {
                let part = part.trim_matches(' ');
                let digits = part.strip_prefix(['+', '-']).unwrap_or(part);
                let all = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
                match digits.split_once('.') {
                    Some((whole, rest)) => all(whole) && all(rest),
                    None => all(digits),
                }
            };
            match text.split_once('/') {
                Some((over, under)) => decimal(over) && decimal(under),
                None => decimal(text),
            }
        }
        other => panic!("the validator does not know the pattern {other}"),
    }
}
