//! The JSON Schema (draft 2020-12) of a file format, so that editors complete and check it.
//!
//! Made from the same description that the reader uses. What a schema cannot say
//! (names that must exist, values that depend on each other) is left to the reader.

use serde_json::{Map, Value, json};

use super::spec::{FileSpec, Given, Key, Literal, Shape, TableSpec, Type, Within};

/// Pattern of a name of a part.
const NAME: &str = "^[A-Za-z][A-Za-z0-9_-]{0,31}$";
/// Pattern of an exact ratio in quotes.
const RATIO: &str = "^ *[+-]?[0-9]+(\\.[0-9]+)? *(/ *[+-]?[0-9]+(\\.[0-9]+)? *)?$";

/// The schema of a file format.
pub fn of(spec: &FileSpec) -> Value {
    let mut schema = table(spec.root);
    let mut required = required_keys(spec.root, None);
    let Some(object) = schema.as_object_mut() else { return schema };
    if let Some(format) = object.get_mut("properties").and_then(|p| p.get_mut("format")) {
        *format = json!({ "description": "Version of the file format.", "const": spec.version });
    }
    for one in spec.tables {
        let mut entry = table(one);
        entry["description"] = json!(one.doc);
        let value = match one.shape {
            Shape::Many { max } => {
                let least = usize::from(one.need == Some(super::spec::Purpose::Survey));
                json!({ "type": "array", "minItems": least, "maxItems": max, "items": entry })
            }
            Shape::Root | Shape::One => entry,
        };
        object["properties"][one.name] = value;
        if one.need == Some(super::spec::Purpose::Survey) {
            required.push(one.name);
        }
    }
    let mut whole = Map::new();
    whole.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
    whole.insert("title".into(), json!(spec.title));
    whole.insert("description".into(), json!(spec.about));
    object["required"] = json!(required);
    whole.append(object);
    Value::Object(whole)
}

/// A table as an object schema.
fn table(spec: &TableSpec) -> Value {
    let mut properties = Map::new();
    for one in spec.keys {
        // Of several keys with one name (one for each kind) the loosest form stands here, and
        // the form for its kind below.
        let several = spec.keys_named(one.name).count() > 1;
        let form = if several { loose(one) } else { key(one) };
        properties.entry(one.name).or_insert(form);
    }
    let mut object = Map::new();
    object.insert("type".into(), json!("object"));
    object.insert("properties".into(), Value::Object(properties));
    object.insert("additionalProperties".into(), json!(false));
    let required = required_keys(spec, None);
    if !required.is_empty() {
        object.insert("required".into(), json!(required));
    }
    let by_kind = kinds(spec);
    if !by_kind.is_empty() {
        object.insert("allOf".into(), json!(by_kind));
    }
    Value::Object(object)
}

/// A key that has another form for each kind: only what they share.
fn loose(one: &Key) -> Value {
    let full = key(one);
    let mut form = Map::new();
    if let Some(kind) = full.get("type") {
        form.insert("type".into(), kind.clone());
    }
    form.insert("description".into(), json!(one.doc));
    Value::Object(form)
}

/// For each kind: its own keys' forms and duties, and the keys that it must not have.
fn kinds(spec: &TableSpec) -> Vec<Value> {
    let Some(Key { ty: Type::Choice(words), .. }) = spec.key("kind", None) else {
        return Vec::new();
    };
    words
        .iter()
        .map(|(kind, _)| {
            let mut properties = Map::new();
            for one in spec.keys.iter().filter(|k| !k.only.is_empty()) {
                if one.fits(kind) {
                    if spec.keys_named(one.name).count() > 1 {
                        properties.insert(one.name.into(), key(one));
                    }
                } else if spec.key(one.name, Some(kind)).is_none() {
                    properties.insert(one.name.into(), json!(false));
                }
            }
            json!({
                "if": { "properties": { "kind": { "const": kind } }, "required": ["kind"] },
                "then": { "properties": properties, "required": required_keys(spec, Some(kind)) },
            })
        })
        .collect()
}

/// Names of the keys that must be given: those of every kind, or those of one kind only.
fn required_keys(spec: &TableSpec, kind: Option<&str>) -> Vec<&'static str> {
    spec.keys
        .iter()
        .filter(|k| matches!(k.given, Given::Always))
        .filter(|k| match kind {
            None => k.only.is_empty(),
            Some(kind) => k.only.contains(&kind),
        })
        .map(|k| k.name)
        .collect()
}

/// A key with its description, type, range and default.
fn key(one: &Key) -> Value {
    let mut form = form(&one.ty);
    let mut words = one.doc.to_string();
    if !one.unit.is_empty() {
        words.push_str(&format!(" Unit: {}.", one.unit));
    }
    match one.given {
        Given::Always => {}
        Given::Needed(purpose) => words.push_str(&format!(" Needed for {}.", purpose.word())),
        Given::Default(literal, why) => {
            words.push_str(&format!(" Default: {} ({why}).", literal.toml()));
        }
        Given::Derived(how) => words.push_str(&format!(" Default: {how}.")),
        Given::Absent(means) => words.push_str(&format!(" Left out: {means}.")),
    }
    if let Some(object) = form.as_object_mut() {
        object.insert("description".into(), json!(words));
        if let Given::Default(literal, _) = one.given {
            object.insert("default".into(), default(literal));
        }
    }
    form
}

fn default(literal: Literal) -> Value {
    match literal {
        Literal::Number(x) => json!(x),
        Literal::Count(n) => json!(n),
        Literal::Flag(b) => json!(b),
        Literal::Word(w) | Literal::Exact(w) => json!(w),
        Literal::List(xs) => json!(xs),
        Literal::Empty => json!({}),
    }
}

/// A type and its range.
fn form(ty: &Type) -> Value {
    match ty {
        Type::Text => json!({ "type": "string" }),
        Type::Name => json!({ "type": "string", "pattern": NAME, "not": { "const": "case" } }),
        Type::Version => json!({ "type": "integer" }),
        Type::Number(within) => number(within),
        Type::Count { min, max } => json!({ "type": "integer", "minimum": min, "maximum": max }),
        Type::Flag => json!({ "type": "boolean" }),
        Type::Choice(words) => choice(words),
        Type::Ratio(within) => json!({
            "anyOf": [{ "type": "string", "pattern": RATIO }, number(within)],
        }),
        Type::Ref(_) => json!({ "type": "string", "pattern": NAME }),
        Type::Joins => json!({
            "type": "array",
            "items": { "type": "string", "pattern": NAME },
            "minItems": 2,
            "maxItems": 2,
            "uniqueItems": true,
        }),
        Type::Refs(_) => json!({
            "type": "array",
            "items": { "type": "string", "pattern": NAME },
            "uniqueItems": true,
        }),
        Type::Numbers { count, each, .. } => json!({
            "type": "array",
            "items": number(each),
            "minItems": count,
            "maxItems": count,
        }),
        Type::Curve { x, y } => json!({
            "type": "array",
            "minItems": 1,
            "maxItems": 200,
            "items": {
                "type": "array",
                "prefixItems": [number(x), number(y)],
                "minItems": 2,
                "maxItems": 2,
            },
        }),
        Type::Inline(inner) => table(inner),
        Type::Words { words, .. } => json!({
            "type": "object",
            "propertyNames": { "pattern": NAME },
            "additionalProperties": choice(words),
        }),
    }
}

fn choice(words: &[(&str, &str)]) -> Value {
    json!({ "enum": words.iter().map(|(w, _)| *w).collect::<Vec<_>>() })
}

fn number(within: &Within) -> Value {
    let mut form = Map::new();
    form.insert("type".into(), json!("number"));
    let low = if within.min_open { "exclusiveMinimum" } else { "minimum" };
    form.insert(low.into(), json!(within.min));
    form.insert("maximum".into(), json!(within.max));
    if within.not_zero {
        form.insert("not".into(), json!({ "const": 0 }));
    }
    Value::Object(form)
}
