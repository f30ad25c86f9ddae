//! Checked values of one table, with their places and defaults.

use std::collections::BTreeMap;

use super::diagnostics::Span;
use super::spec::{Given, Literal, TableSpec};
use super::values::Got;
use crate::exact::Q;

/// Names of the entries of each table; the place in the list is the index.
#[derive(Clone, Debug, Default)]
pub struct Names {
    lists: BTreeMap<String, Vec<String>>,
}

impl Names {
    /// No names.
    pub fn new() -> Names {
        Names::default()
    }

    /// Set the names of a table's entries, in order; an entry without a usable name is "".
    pub fn insert(&mut self, table: &str, names: Vec<String>) {
        self.lists.insert(table.to_string(), names);
    }

    /// Names of a table's entries.
    pub fn of(&self, table: &str) -> &[String] {
        self.lists.get(table).map_or(&[], Vec::as_slice)
    }

    /// Index of a name.
    pub fn index(&self, table: &str, name: &str) -> Option<usize> {
        self.of(table).iter().position(|n| n == name && !name.is_empty())
    }

    /// Whether an entry of the table has no usable name: a name that nothing bears may be its.
    pub fn is_unsure(&self, table: &str) -> bool {
        self.of(table).iter().any(String::is_empty)
    }

    /// A table in which the name stands.
    pub fn table_with(&self, name: &str) -> Option<&str> {
        self.lists.iter().find(|(_, l)| l.iter().any(|n| n == name)).map(|(t, _)| t.as_str())
    }
}

/// A value and where it stands.
#[derive(Clone, Debug)]
pub struct Found {
    /// The value.
    pub value: Got,
    /// Place of the value.
    pub span: Span,
    /// Place of the key.
    pub key_span: Span,
}

/// The checked keys of one table.
#[derive(Clone, Debug)]
pub struct Fields {
    /// Its description.
    pub spec: &'static TableSpec,
    /// Place of its header.
    pub at: Span,
    /// Its kind, when its description has kinds and the file says which.
    pub kind: Option<&'static str>,
    /// Whether nothing in it was refused.
    pub sound: bool,
    /// Keys whose values were refused.
    pub broken: Vec<&'static str>,
    found: BTreeMap<&'static str, Found>,
}

impl Fields {
    /// No values yet.
    pub fn new(spec: &'static TableSpec, at: Span) -> Fields {
        Fields { spec, at, kind: None, sound: true, broken: Vec::new(), found: BTreeMap::new() }
    }

    /// Put a value in.
    pub fn insert(&mut self, key: &'static str, value: Got, span: Span, key_span: Span) {
        self.found.insert(key, Found { value, span, key_span });
    }

    /// Whether the file gives a good value.
    pub fn has(&self, key: &str) -> bool {
        self.found.contains_key(key)
    }

    /// The value that the file gives.
    pub fn given(&self, key: &str) -> Option<&Found> {
        self.found.get(key)
    }

    /// Place of the value, or of the header.
    pub fn span(&self, key: &str) -> Span {
        self.given(key).map_or_else(|| self.at.clone(), |f| f.span.clone())
    }

    /// Place of the key, or of the header.
    pub fn key_span(&self, key: &str) -> Span {
        self.given(key).map_or_else(|| self.at.clone(), |f| f.key_span.clone())
    }

    /// The default of the description, for this table's kind.
    fn default(&self, key: &str, kind: Option<&str>) -> Option<Literal> {
        match self.spec.key(key, kind.or(self.kind))?.given {
            Given::Default(literal, _) => Some(literal),
            _ => None,
        }
    }

    /// A number: given, or the default.
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.given(key).map(|f| &f.value) {
            Some(Got::Number(x)) => Some(*x),
            Some(_) => None,
            None => match self.default(key, None)? {
                Literal::Number(x) => Some(x),
                _ => None,
            },
        }
    }

    /// A whole number: given, or the default.
    pub fn count(&self, key: &str) -> Option<u32> {
        self.count_of(key, None)
    }

    /// A whole number: given, or the default for that kind.
    pub fn count_of(&self, key: &str, kind: Option<&str>) -> Option<u32> {
        match self.given(key).map(|f| &f.value) {
            Some(Got::Count(n)) => Some(*n),
            Some(_) => None,
            None => match self.default(key, kind)? {
                Literal::Count(n) => Some(n),
                _ => None,
            },
        }
    }

    /// True or false: given, or the default.
    pub fn flag(&self, key: &str) -> Option<bool> {
        match self.given(key).map(|f| &f.value) {
            Some(Got::Flag(b)) => Some(*b),
            Some(_) => None,
            None => match self.default(key, None)? {
                Literal::Flag(b) => Some(b),
                _ => None,
            },
        }
    }

    /// A word or text: given, or the default.
    pub fn word(&self, key: &str) -> Option<&str> {
        match self.given(key).map(|f| &f.value) {
            Some(Got::Text(t)) => Some(t),
            Some(_) => None,
            None => match self.default(key, None)? {
                Literal::Word(w) => Some(w),
                _ => None,
            },
        }
    }

    /// An exact ratio, if given.
    pub fn exact(&self, key: &str) -> Option<&Q> {
        match &self.given(key)?.value {
            Got::Exact(q) => Some(q),
            _ => None,
        }
    }

    /// Index of a named entry, if given.
    pub fn index(&self, key: &str) -> Option<usize> {
        match &self.given(key)?.value {
            Got::Index(i) => Some(*i),
            _ => None,
        }
    }

    /// Numbers: given, or the default.
    pub fn numbers(&self, key: &str) -> Option<Vec<f64>> {
        match self.given(key).map(|f| &f.value) {
            Some(Got::Numbers(xs)) => Some(xs.clone()),
            Some(_) => None,
            None => match self.default(key, None)? {
                Literal::List(xs) => Some(xs.to_vec()),
                _ => None,
            },
        }
    }

    /// A table in braces, if given.
    pub fn table(&self, key: &str) -> Option<&Fields> {
        match &self.given(key)?.value {
            Got::Table(fields) => Some(fields),
            _ => None,
        }
    }
}
