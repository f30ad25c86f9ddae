//! One value against its type, range and names.

use toml_edit::{Item, Value};

use super::diagnostics::{Diagnostics, Span};
use super::fields::{Fields, Names};
use super::ratio;
use super::source::Gaps;
use super::spec::{Key, Type, Within};
use super::suggest::{self, quoted, six_digits};
use crate::exact::{self, Q};

/// Longest name of a part, in characters: it goes into tables of 80 columns and into code.
const LONGEST_NAME: usize = 32;

/// A checked value.
#[derive(Clone, Debug)]
pub enum Got {
    /// Text, a name, or a word of a choice.
    Text(String),
    /// A number.
    Number(f64),
    /// A whole number.
    Count(u32),
    /// True or false.
    Flag(bool),
    /// An exact ratio.
    Exact(Q),
    /// Index of a named entry.
    Index(usize),
    /// Two sides; `None` is the case.
    Joins([Option<usize>; 2]),
    /// Indices of named entries.
    Indices(Vec<usize>),
    /// Numbers.
    Numbers(Vec<f64>),
    /// Pairs.
    Curve(Vec<(f64, f64)>),
    /// Entries with a word each.
    Words(Vec<(usize, &'static str)>),
    /// A table in braces.
    Table(Box<Fields>),
}

/// Read `item` as the value of `key`; faults go to `found`. Names that nothing bears are not
/// reported when their part may have stood in a line that was `left_out`.
pub fn read(
    key: &'static Key,
    item: &Item,
    span: &Span,
    names: &Names,
    left_out: &Gaps,
    found: &mut Diagnostics,
) -> Option<Got> {
    let mut check = Check { key, names, left_out, found };
    if let Type::Words { of, words } = &key.ty {
        return check.words(of, words, item, span);
    }
    match item.as_value() {
        Some(value) => check.value(value, span),
        None => check.wrong_type("a table", span, None),
    }
}

/// What a value is, in words.
pub(super) fn what(value: &Value) -> &'static str {
    match value {
        Value::String(_) => "text",
        Value::Integer(_) => "a whole number",
        Value::Float(_) => "a number",
        Value::Boolean(_) => "true or false",
        Value::Datetime(_) => "a date",
        Value::Array(_) => "a list",
        Value::InlineTable(_) => "a table in braces",
    }
}

/// One value under check.
pub(super) struct Check<'a> {
    pub(super) key: &'static Key,
    names: &'a Names,
    left_out: &'a Gaps,
    pub(super) found: &'a mut Diagnostics,
}

impl Check<'_> {
    fn value(&mut self, value: &Value, span: &Span) -> Option<Got> {
        let key = self.key;
        match &key.ty {
            Type::Text => self.text(value, span).map(|t| Got::Text(t.to_string())),
            Type::Name => self.name(value, span).map(Got::Text),
            Type::Version => self.whole(value, span, 0, u32::MAX).map(Got::Count),
            Type::Number(within) => self.number(value, span, within).map(Got::Number),
            Type::Count { min, max } => self.whole(value, span, *min, *max).map(Got::Count),
            Type::Flag => match value.as_bool() {
                Some(flag) => Some(Got::Flag(flag)),
                None => {
                    self.wrong_type(what(value), span, Some("write true or false, without quotes"))
                }
            },
            Type::Choice(words) => self.choice(value, span, words),
            Type::Ratio(within) => self.ratio(value, span, within),
            Type::Ref(tables) => {
                let name = self.text(value, span)?.to_string();
                self.entry(tables, &name, span).map(Got::Index)
            }
            Type::Joins => self.joins(value, span),
            Type::Refs(table) => self.entries(value, span, table),
            Type::Numbers { count, each, rising } => {
                self.numbers(value, span, *count, each, *rising).map(Got::Numbers)
            }
            Type::Curve { x, y } => self.curve(value, span, x, y),
            // Read by the walker, which knows sub-tables.
            Type::Inline(_) | Type::Words { .. } => None,
        }
    }

    pub(super) fn wrong_type<T>(&mut self, is: &str, span: &Span, fix: Option<&str>) -> Option<T> {
        let must = self.key.ty.words();
        let message = format!("`{}` must be {must}, but this is {is}", self.key.name);
        let example = self.key.example;
        let fix = match fix {
            Some(fix) => fix.to_string(),
            None if example.is_empty() => format!("write {must}"),
            None => format!("write for example {} = {example}", self.key.name),
        };
        self.found.error(span.clone(), message, fix);
        None
    }

    pub(super) fn text<'v>(&mut self, value: &'v Value, span: &Span) -> Option<&'v str> {
        match value.as_str() {
            Some(text) => Some(text),
            None => self.wrong_type(what(value), span, Some("put it in quotes")),
        }
    }

    fn name(&mut self, value: &Value, span: &Span) -> Option<String> {
        let name = self.text(value, span)?;
        let fix = "use letters, digits, - and _, and begin with a letter";
        let fault = if name.is_empty() {
            "the name is empty".to_string()
        } else if name == "case" {
            let message = "\"case\" is the housing and cannot be the name of a part";
            self.found.error(span.clone(), message, "choose another name");
            return None;
        } else if let Some(c) = name.chars().find(|c| !is_name_character(*c)) {
            format!("the name {} has the character '{}'", quoted(name), c.escape_debug())
        } else if !name.starts_with(|c: char| c.is_ascii_alphabetic()) {
            format!("the name {} does not begin with a letter", quoted(name))
        } else if name.len() > LONGEST_NAME {
            let message =
                format!("the name {} has more than {LONGEST_NAME} characters", quoted(name));
            self.found.error(span.clone(), message, "choose a shorter name");
            return None;
        } else {
            return Some(name.to_string());
        };
        self.found.error(span.clone(), fault, fix);
        None
    }

    pub(super) fn number(&mut self, value: &Value, span: &Span, within: &Within) -> Option<f64> {
        let x = match value {
            Value::Integer(i) => *i.value() as f64,
            Value::Float(x) => *x.value(),
            Value::String(text) => return self.number_in_quotes(text.value(), span),
            other => return self.wrong_type(what(other), span, None),
        };
        let name = self.key.name;
        if !x.is_finite() {
            let message = format!("`{name}` must be a finite number");
            self.found.error(span.clone(), message, format!("write a number {}", within.words()));
            return None;
        }
        if !within.holds(x) {
            let unit = if self.key.unit.is_empty() { "" } else { " " };
            let message = format!("`{name}` must be {}{unit}{}", within.words(), self.key.unit);
            self.found.error(span.clone(), message, self.range_fix(x, within));
            return None;
        }
        Some(x)
    }

    /// How to bring a number into its range.
    fn range_fix(&self, x: f64, within: &Within) -> String {
        let name = self.key.name;
        if self.key.unit.is_empty() && within.max == 1.0 && within.holds(x / 100.0) {
            return format!("for {x} % write {name} = {}", six_digits(x / 100.0));
        }
        if x < 0.0 && within.holds(-x) {
            return format!("write it without the minus sign: {name} = {}", -x);
        }
        if x > 0.0 && within.holds(-x) {
            return format!("write it with a minus sign: {name} = {}", -x);
        }
        if self.key.unit.is_empty() {
            "correct the value".into()
        } else {
            format!("correct the value; its unit is {}", self.key.unit)
        }
    }

    fn number_in_quotes(&mut self, text: &str, span: &Span) -> Option<f64> {
        let name = self.key.name;
        let digits: String =
            text.trim().chars().take_while(|c| matches!(c, '0'..='9' | '.' | '-' | '+')).collect();
        let fix = match digits.parse::<f64>() {
            Ok(_) if digits == text.trim() => format!("write it without quotes: {name} = {digits}"),
            Ok(_) if !self.key.unit.is_empty() => {
                format!("write the number alone, in {}: {name} = {digits}", self.key.unit)
            }
            _ => return self.wrong_type("text", span, None),
        };
        self.wrong_type("text", span, Some(&fix))
    }

    fn whole(&mut self, value: &Value, span: &Span, min: u32, max: u32) -> Option<u32> {
        let i = match value {
            Value::Integer(i) => *i.value(),
            Value::Float(x) if x.value().fract() == 0.0 && x.value().abs() < 1e9 => {
                *x.value() as i64
            }
            Value::String(text) => {
                self.number_in_quotes(text.value(), span);
                return None;
            }
            other => return self.wrong_type(what(other), span, None),
        };
        match u32::try_from(i) {
            Ok(n) if (min..=max).contains(&n) => Some(n),
            _ => {
                let message =
                    format!("`{}` must be a whole number from {min} to {max}", self.key.name);
                self.found.error(span.clone(), message, "correct the value");
                None
            }
        }
    }

    fn choice(
        &mut self,
        value: &Value,
        span: &Span,
        words: &'static [(&'static str, &'static str)],
    ) -> Option<Got> {
        let text = self.text(value, span)?;
        self.word_of(text, span, words).map(|w| Got::Text(w.to_string()))
    }

    pub(super) fn word_of(
        &mut self,
        text: &str,
        span: &Span,
        words: &'static [(&'static str, &'static str)],
    ) -> Option<&'static str> {
        if let Some((word, _)) = words.iter().find(|(w, _)| *w == text) {
            return Some(word);
        }
        let all: Vec<&str> = words.iter().map(|(w, _)| *w).collect();
        let message = format!("{} is not a word of `{}`", quoted(text), self.key.name);
        let fix = match suggest::nearest(text, all.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("write one of {}", suggest::list(&all, 30)),
        };
        self.found.error(span.clone(), message, fix);
        None
    }

    fn ratio(&mut self, value: &Value, span: &Span, within: &Within) -> Option<Got> {
        let written = match value {
            Value::String(text) => text.value().clone(),
            Value::Integer(i) => i.value().to_string(),
            // The decimal as written is exact; its binary value would not be.
            Value::Float(x) => x.display_repr().replace('_', ""),
            other => return self.wrong_type(what(other), span, None),
        };
        let ratio = match ratio::read(&written) {
            Ok(ratio) => ratio,
            Err(fault) => {
                self.found.error(span.clone(), fault.message, fault.fix);
                return None;
            }
        };
        if !within.holds(exact::to_f64(&ratio)) {
            let message = format!("`{}` must be {}", self.key.name, within.words());
            self.found.error(span.clone(), message, "correct the ratio");
            return None;
        }
        if let Some(near) = ratio::rounded_from(&written, &ratio) {
            let near = exact::text(&near);
            self.found.warning(
                span.clone(),
                format!("this decimal may be {near}, rounded: the kinematics take it as exact"),
                format!("if it stands for tooth counts write {} = \"{near}\"", self.key.name),
            );
        }
        Some(Got::Exact(ratio))
    }

    /// Index of a named entry of one of `tables`.
    pub(super) fn entry(&mut self, tables: &[&str], name: &str, span: &Span) -> Option<usize> {
        if let Some(index) = tables.iter().find_map(|t| self.names.index(t, name)) {
            return Some(index);
        }
        let unsure =
            self.left_out.may_hold("name") || tables.iter().any(|t| self.names.is_unsure(t));
        if !unsure {
            self.dangling(tables, name, span);
        }
        None
    }

    fn dangling(&mut self, tables: &[&str], name: &str, span: &Span) {
        if self.found.is_full() {
            return self.found.error(span.clone(), "no such name", "");
        }
        let what = tables.join(" or ");
        let known: Vec<&str> = tables
            .iter()
            .flat_map(|t| self.names.of(t))
            .map(String::as_str)
            .filter(|n| !n.is_empty())
            .collect();
        let mut seen = std::collections::BTreeSet::new();
        let known: Vec<&str> = known.into_iter().filter(|n| seen.insert(*n)).collect();
        let message = format!("there is no {what} named {}", quoted(name));
        let fix = if known.is_empty() {
            format!("there is no {what} yet: add one with this name")
        } else if let Some(near) = suggest::nearest(name, known.iter().copied()) {
            format!("did you mean \"{near}\"?")
        } else if let Some(other) = self.names.table_with(name) {
            format!("\"{name}\" is a {other}; name one of {}", suggest::list(&known, 16))
        } else {
            format!("name one of {}, or add the {what}", suggest::list(&known, 16))
        };
        self.found.error(span.clone(), message, fix);
    }
}

/// Whether a name may have this character.
fn is_name_character(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '-' || c == '_'
}
