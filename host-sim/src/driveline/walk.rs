//! Walks a TOML document along its description and checks every key and value.
//!
//! Knows formats only as data ([`FileSpec`]); what values mean together is
//! checked by the reader of each format.

use std::collections::BTreeMap;

use toml_edit::{Document, Item, TableLike};

use super::diagnostics::{Diagnostics, Span};
use super::entries::{Entry, entries_of, key_span, name_of, unknown_at_top};
use super::fields::{Fields, Names};
use super::source::{self, Gaps};
use super::spec::{FileSpec, Given, Literal, Purpose, Shape, TableSpec, Type};
use super::suggest::{self, quoted};
use super::values;

/// A key or table that some purpose cannot do without, and where it would stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// From this purpose on it is missed.
    pub purpose: Purpose,
    /// The table that lacks it; `None` when a whole table is lacking.
    pub at: Option<Span>,
    /// What is missing.
    pub message: String,
    /// What to do.
    pub fix: String,
}

/// A document's tables with checked values.
pub struct Walked {
    /// Keys at the top.
    pub root: Fields,
    /// Entries of each table, in file order.
    pub tables: BTreeMap<&'static str, Vec<Fields>>,
    /// What is lacking for later purposes.
    pub gaps: Vec<Gap>,
    /// Names of the entries of each table.
    pub names: Names,
}

impl Walked {
    /// Entries of a table, in file order.
    pub fn all(&self, table: &str) -> &[Fields] {
        self.tables.get(table).map_or(&[], Vec::as_slice)
    }

    /// The one entry of a table that may stand once.
    pub fn one(&self, table: &str) -> Option<&Fields> {
        self.all(table).first()
    }
}

/// Walk `document`; names of other files' parts come in with `names`.
pub fn walk(
    spec: &'static FileSpec,
    document: &Document<String>,
    left_out: &Gaps,
    mut names: Names,
    found: &mut Diagnostics,
) -> Walked {
    let mut entries: BTreeMap<&'static str, Vec<Entry<'_>>> = BTreeMap::new();
    let root = document.as_table();
    for (key, item) in root.iter() {
        let at = key_span(root, key, item);
        if let Some(table) = spec.table(key) {
            entries.insert(table.name, entries_of(table, item, at, found));
        } else if left_out.may_hold_tables() && source::is_stand_in(key) {
            // The keys below a header that could not be read.
        } else if spec.root.keys_named(key).next().is_none() {
            unknown_at_top(spec, key, item, at, found);
        }
    }
    for (table, list) in &entries {
        names.insert(table, list.iter().map(|e| name_of(e.table)).collect());
    }
    let mut reader = Reader { spec, names, left_out, gaps: Vec::new(), found };
    let top = Entry { table: root, at: 0..0 };
    let root_fields = reader.table(spec.root, &top);
    let mut tables = BTreeMap::new();
    for table in spec.tables {
        let list = entries.remove(table.name).unwrap_or_default();
        if list.is_empty() {
            reader.absent_table(table);
        }
        tables.insert(table.name, list.iter().map(|e| reader.table(table, e)).collect());
    }
    let Reader { names, gaps, .. } = reader;
    Walked { root: root_fields, tables, gaps, names }
}

/// What is needed while walking.
struct Reader<'d> {
    spec: &'static FileSpec,
    names: Names,
    left_out: &'d Gaps,
    gaps: Vec<Gap>,
    found: &'d mut Diagnostics,
}

impl Reader<'_> {
    /// One table: every key known, every value checked, nothing missing.
    fn table(&mut self, spec: &'static TableSpec, entry: &Entry<'_>) -> Fields {
        let mut fields = Fields::new(spec, entry.at.clone());
        fields.kind = self.kind_of(spec, entry.table);
        for (name, item) in entry.table.iter() {
            if spec.shape == Shape::Root && self.spec.table(name).is_some() {
                continue;
            }
            let at = key_span(entry.table, name, item);
            let Some(key) = spec.key(name, fields.kind) else {
                if spec.shape != Shape::Root || spec.keys_named(name).next().is_some() {
                    let meant = self.misplaced_key(spec, fields.kind, name, item, at);
                    fields.broken.extend(meant);
                    fields.sound = false;
                }
                continue;
            };
            let span = item.span().filter(|_| !item.is_table()).unwrap_or_else(|| at.clone());
            let value = match &key.ty {
                Type::Inline(inner) => self.inline(inner, key.name, item, &at),
                _ => values::read(key, item, &span, &self.names, self.left_out, self.found),
            };
            match value {
                Some(value) => fields.insert(key.name, value, span, at),
                None => {
                    fields.sound = false;
                    fields.broken.push(key.name);
                }
            }
        }
        self.missing_keys(spec, &mut fields);
        fields
    }

    /// A table in braces (or a sub-table) with keys of its own.
    fn inline(
        &mut self,
        spec: &'static TableSpec,
        name: &str,
        item: &Item,
        at: &Span,
    ) -> Option<values::Got> {
        let Some(table) = item.as_table_like() else {
            let message = format!("{} must be a table in braces", quoted(name));
            let first = spec.keys.first().map_or("key", |k| k.name);
            let fix = format!("write {name} = {{ {first} = ..., }} with the keys you need");
            self.found.error(item.span().unwrap_or_else(|| at.clone()), message, fix);
            return None;
        };
        let fields = self.table(spec, &Entry { table, at: at.clone() });
        fields.sound.then_some(values::Got::Table(Box::new(fields)))
    }

    /// The value of `kind`, when the table has such a key and it is one of its words.
    fn kind_of(&self, spec: &'static TableSpec, table: &dyn TableLike) -> Option<&'static str> {
        let key = spec.key("kind", None)?;
        let Type::Choice(words) = &key.ty else { return None };
        match table.get("kind") {
            Some(item) => {
                let given = item.as_str()?;
                words.iter().map(|(w, _)| *w).find(|w| *w == given)
            }
            None => match key.given {
                Given::Default(Literal::Word(word), _) => Some(word),
                _ => None,
            },
        }
    }

    /// A key that the table does not have, or not for its kind; gives the key that was meant.
    fn misplaced_key(
        &mut self,
        spec: &'static TableSpec,
        kind: Option<&str>,
        name: &str,
        item: &Item,
        at: Span,
    ) -> Option<&'static str> {
        if self.found.is_full() {
            self.found.error(at, "unknown key", "");
            return None;
        }
        let owners: Vec<&str> =
            spec.keys_named(name).flat_map(|k| k.only.iter().copied()).collect();
        if let (Some(kind), Some(first)) = (kind, owners.first()) {
            let fix = format!("remove it, or write kind = \"{first}\"");
            let owners = suggest::list(&owners, 3);
            let message = format!(
                "{} belongs to {} of kind {owners}, but this one is of kind {kind}",
                quoted(name),
                super::spec::with_article(spec.name)
            );
            self.found.error(at, message, fix);
            return None;
        }
        let value = item.as_float().or_else(|| item.as_integer().map(|i| i as f64));
        let advice = suggest::for_unknown_key(self.spec, spec, kind, name, value);
        let message = format!("unknown key {} in {}", quoted(name), place(spec));
        self.found.error(at, message, advice.fix);
        advice.meant
    }

    /// Report keys that must be given, note those that later purposes need.
    fn missing_keys(&mut self, spec: &'static TableSpec, fields: &mut Fields) {
        for key in spec.keys {
            let other_kind = match fields.kind {
                Some(kind) => !key.fits(kind),
                None => !key.only.is_empty(),
            };
            if other_kind || fields.has(key.name) || fields.broken.contains(&key.name) {
                continue;
            }
            let example = if key.example.is_empty() { "..." } else { key.example };
            let fix = format!("add {} = {example} ({})", key.name, first_clause(key.doc));
            match key.given {
                Given::Always => {
                    fields.sound = false;
                    if !self.left_out.may_hold(key.name) {
                        let message = format!("{} lacks the key {}", this(spec), quoted(key.name));
                        self.found.error(fields.at.clone(), message, fix);
                    }
                }
                Given::Needed(purpose) => self.gaps.push(Gap {
                    purpose,
                    at: Some(fields.at.clone()),
                    message: format!(
                        "{} lacks the key {}, which {} needs",
                        this(spec),
                        quoted(key.name),
                        purpose.word()
                    ),
                    fix,
                }),
                Given::Default(..) | Given::Derived(_) | Given::Absent(_) => {}
            }
        }
    }

    /// A table that does not stand in the file at all.
    fn absent_table(&mut self, spec: &'static TableSpec) {
        let Some(purpose) = spec.need else { return };
        let message = format!("the file has no {}", spec.header());
        let fix = format!("add {}: {}", spec.header(), first_clause(spec.doc));
        if purpose > Purpose::Survey {
            let message = format!("{message}, which {} needs", purpose.word());
            self.gaps.push(Gap { purpose, at: None, message, fix });
        } else if !self.left_out.may_hold_tables() {
            self.found.whole(message, fix);
        }
    }
}

/// The table for "in ...".
fn place(spec: &TableSpec) -> String {
    if spec.name == "loss" { "the table `loss`".into() } else { spec.header() }
}

/// The table for "... lacks".
fn this(spec: &TableSpec) -> String {
    match spec.shape {
        Shape::Root => "the file".into(),
        Shape::One | Shape::Many { .. } => format!("this {}", spec.header()),
    }
}

/// A sentence up to its first stop, without the stop, small first letter kept as it is.
pub(super) fn first_clause(doc: &str) -> &str {
    let end = doc.find([';', ':', '.']).unwrap_or(doc.len());
    &doc[..end]
}

/// Whether the file has the version that is read; a wrong one is reported, a missing one is left
/// to [`walk`]. Other faults of a file of another version would only mislead.
pub fn version_is_known(
    spec: &FileSpec,
    document: &Document<String>,
    found: &mut Diagnostics,
) -> bool {
    let Some(item) = document.as_table().get("format") else { return true };
    let Some(version) = item.as_integer() else { return true };
    if version == i64::from(spec.version) {
        return true;
    }
    found.error(
        item.span().unwrap_or(0..0),
        format!("format {version} is not known; this program reads format {}", spec.version),
        format!("write format = {} and the keys of that version", spec.version),
    );
    false
}
