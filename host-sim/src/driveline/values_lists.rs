//! Values made of several: sides of a lock, lists of names and numbers, pairs, words.

use toml_edit::{Array, Item, Value};

use super::diagnostics::Span;
use super::spec::Within;
use super::suggest::{self, quoted};
use super::values::{Check, Got, what};

impl Check<'_> {
    pub(super) fn joins(&mut self, value: &Value, span: &Span) -> Option<Got> {
        let Some(list) = value.as_array() else {
            return self.wrong_type(what(value), span, Some("write joins = [\"one\", \"other\"]"));
        };
        if list.len() != 2 {
            let message =
                format!("`{}` must name two sides, but this names {}", self.key.name, list.len());
            let fix = "write two shafts for a clutch, a shaft and \"case\" for a brake";
            self.found.error(span.clone(), message, fix);
            return None;
        }
        let sides: Vec<Option<Option<usize>>> = list
            .iter()
            .map(|side| {
                let at = side.span().unwrap_or_else(|| span.clone());
                let name = self.text(side, &at)?.to_string();
                if name == "case" {
                    Some(None)
                } else {
                    self.entry(&["shaft"], &name, &at).map(Some)
                }
            })
            .collect();
        match sides[..] {
            [Some(a), Some(b)] => Some(Got::Joins([a, b])),
            _ => None,
        }
    }

    pub(super) fn entries(&mut self, value: &Value, span: &Span, table: &str) -> Option<Got> {
        let Some(list) = value.as_array() else {
            let fix = format!("write a list: {} = [\"name\", \"name\"]", self.key.name);
            return self.wrong_type(what(value), span, Some(&fix));
        };
        let mut indices = Vec::new();
        let mut sound = true;
        for name in list.iter() {
            let at = name.span().unwrap_or_else(|| span.clone());
            let Some(name) = self.text(name, &at).map(str::to_string) else {
                sound = false;
                continue;
            };
            match self.entry(&[table], &name, &at) {
                Some(index) if indices.contains(&index) => {
                    let message = format!("{} stands twice in this list", quoted(&name));
                    self.found.error(at, message, "remove one of the two");
                    sound = false;
                }
                Some(index) => indices.push(index),
                None => sound = false,
            }
        }
        sound.then_some(Got::Indices(indices))
    }

    pub(super) fn numbers(
        &mut self,
        value: &Value,
        span: &Span,
        count: usize,
        each: &Within,
        rising: bool,
    ) -> Option<Vec<f64>> {
        let list = self.list(value, span)?;
        if list.len() != count {
            let name = self.key.name;
            let message =
                format!("`{name}` must have {count} numbers, but this has {}", list.len());
            self.found.error(
                span.clone(),
                message,
                format!("write for example {name} = {}", self.key.example),
            );
            return None;
        }
        let numbers = self.each_number(list, span, each)?;
        if rising && numbers.windows(2).any(|w| w[0] >= w[1]) {
            let message = format!("the numbers of `{}` must rise", self.key.name);
            self.found.error(span.clone(), message, "write the smaller number first");
            return None;
        }
        Some(numbers)
    }

    fn list<'v>(&mut self, value: &'v Value, span: &Span) -> Option<&'v Array> {
        match value.as_array() {
            Some(list) => Some(list),
            None => self.wrong_type(what(value), span, None),
        }
    }

    fn each_number(&mut self, list: &Array, span: &Span, each: &Within) -> Option<Vec<f64>> {
        let read: Vec<Option<f64>> = list
            .iter()
            .map(|v| self.number(v, &v.span().unwrap_or_else(|| span.clone()), each))
            .collect();
        read.into_iter().collect()
    }

    pub(super) fn curve(
        &mut self,
        value: &Value,
        span: &Span,
        x: &Within,
        y: &Within,
    ) -> Option<Got> {
        let list = self.list(value, span)?;
        let name = self.key.name;
        if list.is_empty() || list.len() > 200 {
            let message = format!("`{name}` must have 1 to 200 pairs, but this has {}", list.len());
            self.found.error(
                span.clone(),
                message,
                format!("write for example {name} = {}", self.key.example),
            );
            return None;
        }
        let mut points: Vec<(f64, f64)> = Vec::new();
        let mut sound = true;
        for pair in list.iter() {
            let at = pair.span().unwrap_or_else(|| span.clone());
            let sides = match pair.as_array() {
                Some(p) if p.len() == 2 => [p.get(0), p.get(1)],
                _ => {
                    let message = format!("each entry of `{name}` must be a pair of numbers");
                    self.found.error(
                        at,
                        message,
                        format!("write for example {name} = {}", self.key.example),
                    );
                    sound = false;
                    continue;
                }
            };
            let [Some(first), Some(second)] = sides else { continue };
            let place = |v: &Value| v.span().unwrap_or_else(|| at.clone());
            let got =
                (self.number(first, &place(first), x), self.number(second, &place(second), y));
            let (Some(px), Some(py)) = got else {
                sound = false;
                continue;
            };
            if points.last().is_some_and(|(before, _)| *before >= px) {
                let message = format!("the first numbers of the pairs of `{name}` must rise");
                self.found.error(place(first), message, "put the pairs in rising order, each once");
                sound = false;
            }
            points.push((px, py));
        }
        sound.then_some(Got::Curve(points))
    }

    pub(super) fn words(
        &mut self,
        of: &str,
        words: &'static [(&'static str, &'static str)],
        item: &Item,
        span: &Span,
    ) -> Option<Got> {
        let Some(table) = item.as_table_like() else {
            let is = item.as_value().map_or("a list of tables", what);
            return self.wrong_type(is, span, None);
        };
        let mut list = Vec::new();
        let mut sound = true;
        for (name, item) in table.iter() {
            let at = table.key(name).and_then(|k| k.span()).unwrap_or_else(|| span.clone());
            let place = item.span().unwrap_or_else(|| at.clone());
            let entry = self.entry(&[of], name, &at);
            let word = match item.as_str() {
                Some(text) => self.word_of(text, &place, words),
                None => {
                    let all: Vec<&str> = words.iter().map(|(w, _)| *w).collect();
                    let fix = format!("write one of {}", suggest::list(&all, 30));
                    self.wrong_type("no word in quotes", &place, Some(&fix))
                }
            };
            match (entry, word) {
                (Some(entry), Some(word)) => list.push((entry, word)),
                _ => sound = false,
            }
        }
        sound.then_some(Got::Words(list))
    }
}
