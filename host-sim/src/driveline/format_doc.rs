//! The reference page (Markdown) of a file format, made from its description.

use super::spec::{FileSpec, Given, Key, Purpose, Shape, TableSpec, Type};

/// The page; its first line says that it is generated.
pub fn of(spec: &FileSpec) -> String {
    let mut out = String::new();
    out.push_str("<!-- Generated from the key list in the source; do not edit. -->\n\n");
    out.push_str(&format!("# {}\n\n{}\n\n", spec.title, spec.about));
    out.push_str("A key that is not listed here is an error.");
    let needed = |k: &Key| matches!(k.given, Given::Needed(_));
    if spec.tables.iter().any(|t| t.keys.iter().any(needed)) {
        out.push_str(" \"Needed for\" marks keys that may be left out until that command is used.");
    }
    out.push_str("\n\n");
    out.push_str("## Tables\n\n| table | how many | left out | what |\n|---|---|---|---|\n");
    for table in spec.tables {
        out.push_str(&format!(
            "| [`{}`](#{}) | {} | {} | {} |\n",
            table.header(),
            anchor(table),
            how_many(table),
            left_out(table),
            cell(super::walk::first_clause(table.doc))
        ));
    }
    out.push_str("\n## Top of the file\n\n");
    keys(&mut out, spec.root);
    for table in spec.tables {
        out.push_str(&format!("\n## `{}`\n\n{}\n\n", table.header(), table.doc));
        keys(&mut out, table);
    }
    out
}

/// Anchor that Markdown viewers make of the heading.
fn anchor(table: &TableSpec) -> String {
    table.name.to_string()
}

fn how_many(table: &TableSpec) -> String {
    let least = if table.need == Some(Purpose::Survey) { 1 } else { 0 };
    match table.shape {
        Shape::Root | Shape::One if least == 1 => "1".into(),
        Shape::Root | Shape::One => "0 or 1".into(),
        Shape::Many { max } => format!("{least} to {max}"),
    }
}

fn left_out(table: &TableSpec) -> String {
    match table.need {
        Some(Purpose::Survey) => "an error".into(),
        Some(purpose) => format!("{}; needed for {}", cell(table.absent), purpose.word()),
        None => cell(table.absent),
    }
}

/// The keys of a table, then the words of its choices and its inner tables.
fn keys(out: &mut String, table: &TableSpec) {
    out.push_str("| key | value | left out | meaning |\n|---|---|---|---|\n");
    for key in table.keys {
        let only = match key.only {
            [] => String::new(),
            kinds => format!(" ({} only)", kinds.join(", ")),
        };
        let unit =
            if key.unit.is_empty() { String::new() } else { format!(", in {}", cell(key.unit)) };
        out.push_str(&format!(
            "| `{}`{only} | {}{unit} | {} | {} |\n",
            key.name,
            cell(&value_words(key)),
            cell(&given(key)),
            cell(key.doc)
        ));
    }
    for key in table.keys {
        match &key.ty {
            Type::Choice(list) => words(out, key.name, list),
            Type::Words { words: list, .. } => words(out, key.name, list),
            Type::Inline(inner) => {
                out.push_str(&format!("\nKeys of `{}`:\n\n", key.name));
                keys(out, inner);
            }
            _ => {}
        }
    }
}

/// The type in words; a long list of words stands below the table only.
fn value_words(key: &Key) -> String {
    match &key.ty {
        Type::Choice(list) if list.len() > 4 => "one of the words below".into(),
        ty => ty.words(),
    }
}

fn words(out: &mut String, name: &str, list: &[(&str, &str)]) {
    out.push_str(&format!("\n`{name}`:\n\n"));
    for (word, meaning) in list {
        out.push_str(&format!("- `\"{word}\"`: {meaning}\n"));
    }
}

fn given(key: &Key) -> String {
    match key.given {
        Given::Always => "an error".into(),
        Given::Needed(purpose) => format!("needed for {}", purpose.word()),
        Given::Default(literal, why) => format!("`{}`: {why}", literal.toml()),
        Given::Derived(how) => how.to_string(),
        Given::Absent(means) => means.to_string(),
    }
}

/// Text that may stand in a cell of a table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}
