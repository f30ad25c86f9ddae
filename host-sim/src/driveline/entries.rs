//! The tables of a document, however TOML lets them be written.

use toml_edit::{Item, TableLike, Value};

use super::diagnostics::{Diagnostics, Span};
use super::spec::{FileSpec, Shape, TableSpec};
use super::suggest::{self, quoted};

/// One table of the document and the span of its header.
pub(super) struct Entry<'a> {
    /// Its keys.
    pub(super) table: &'a dyn TableLike,
    /// Place of its header.
    pub(super) at: Span,
}

/// The name of an entry; "" when it has none that is text.
pub(super) fn name_of(table: &dyn TableLike) -> String {
    table.get("name").and_then(Item::as_str).unwrap_or("").to_string()
}

/// Span of a key as written, or of its value, or of nothing.
pub(super) fn key_span(table: &dyn TableLike, key: &str, item: &Item) -> Span {
    table
        .key(key)
        .and_then(|k| k.span())
        .or_else(|| first_header(item))
        .or_else(|| item.span())
        .unwrap_or(0..0)
}

fn first_header(item: &Item) -> Option<Span> {
    match item {
        Item::ArrayOfTables(list) => list.iter().next().and_then(|t| t.span()),
        _ => None,
    }
}

/// The entries of a table, however TOML lets them be written.
pub(super) fn entries_of<'a>(
    spec: &'static TableSpec,
    item: &'a Item,
    at: Span,
    found: &mut Diagnostics,
) -> Vec<Entry<'a>> {
    let one = |table: &'a dyn TableLike, span: Option<Span>| Entry {
        table,
        at: span.unwrap_or_else(|| at.clone()),
    };
    let mut list: Vec<Entry<'a>> = match item {
        Item::ArrayOfTables(array) => array.iter().map(|t| one(t, t.span())).collect(),
        Item::Table(table) => vec![one(table, table.span())],
        Item::Value(Value::InlineTable(table)) => vec![one(table, None)],
        Item::Value(Value::Array(array)) if array.iter().all(|v| v.is_inline_table()) => {
            array.iter().filter_map(|v| v.as_inline_table().map(|t| one(t, v.span()))).collect()
        }
        _ => {
            let fix = format!("write {} on a line of its own, its keys below", spec.header());
            let message = format!("{} must be a table", quoted(spec.name));
            found.error(item.span().unwrap_or(at), message, fix);
            return Vec::new();
        }
    };
    let header = spec.header();
    let is_list = matches!(item, Item::ArrayOfTables(_) | Item::Value(Value::Array(_)));
    match spec.shape {
        Shape::Many { .. } if !is_list => found.error(
            list.first().map_or(at, |e| e.at.clone()),
            format!(
                "there may be several of {}, so its header has two brackets",
                quoted(spec.name)
            ),
            format!("write {header}"),
        ),
        Shape::One if is_list => {
            if let Some(second) = list.get(1) {
                let message = format!("{header} may stand only once");
                found.error(second.at.clone(), message, "keep one and remove the other");
            } else {
                let message =
                    format!("there is one {} at most, so its header has one bracket", spec.name);
                found.error(
                    list.first().map_or(at, |e| e.at.clone()),
                    message,
                    format!("write {header}"),
                );
            }
        }
        Shape::Many { max } if list.len() > max => {
            let message = format!("this is {header} number {}; at most {max} are read", max + 1);
            let fix = format!("leave out {} of them, or split the driveline", list.len() - max);
            found.error(list[max].at.clone(), message, fix);
            list.truncate(max);
        }
        _ => {}
    }
    list
}

/// Report a key or table at the top of the file that the format does not have.
pub(super) fn unknown_at_top(
    spec: &'static FileSpec,
    key: &str,
    item: &Item,
    at: Span,
    found: &mut Diagnostics,
) {
    if found.is_full() {
        return found.error(at, "unknown key", "");
    }
    let is_table = item.is_table() || item.is_array_of_tables();
    let tables = || spec.tables.iter().map(|t| t.name);
    let (what, fix) = if is_table {
        let fix = match suggest::nearest(key, tables()).and_then(|n| spec.table(n)) {
            Some(near) => format!("did you mean {}?", near.header()),
            None => {
                let names: Vec<String> = spec.tables.iter().map(|t| t.header()).collect();
                let names: Vec<&str> = names.iter().map(String::as_str).collect();
                format!("remove it; the tables of this file are {}", suggest::list(&names, 20))
            }
        };
        ("table", fix)
    } else {
        let value = item.as_float().or_else(|| item.as_integer().map(|i| i as f64));
        ("key", suggest::for_unknown_key(spec, spec.root, None, key, value).fix)
    };
    let place = if is_table { "" } else { " at the top of the file" };
    found.error(at, format!("unknown {what} {}{place}", quoted(key)), fix);
}
