//! The form in which a file format is described: tables, keys, types, ranges, defaults.
//!
//! One description drives everything: the reader's checks, the JSON Schema, the
//! reference page and the commented starter file. No key is listed anywhere else.

/// A file format.
#[derive(Debug)]
pub struct FileSpec {
    /// Short title ("Driveline file").
    pub title: &'static str,
    /// One paragraph for the reference page and the schema.
    pub about: &'static str,
    /// Version written as `format = N`; the only one that is read.
    pub version: u32,
    /// Keys at the top of the file.
    pub root: &'static TableSpec,
    /// Tables, in the order in which they are documented.
    pub tables: &'static [&'static TableSpec],
}

impl FileSpec {
    /// The table of that name.
    pub fn table(&self, name: &str) -> Option<&'static TableSpec> {
        self.tables.iter().copied().find(|t| t.name == name)
    }
}

/// How often a table may stand in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// The keys before the first table header.
    Root,
    /// `[name]`, once.
    One,
    /// `[[name]]`, up to `max` times.
    Many {
        /// Most entries.
        max: usize,
    },
}

/// What a part of the file is needed for; each purpose includes those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// Kinematics.
    Survey,
    /// The supervisor's table and explanations from it.
    Table,
    /// Dynamics: drive and review.
    Plant,
}

impl Purpose {
    /// Word for messages.
    pub fn word(self) -> &'static str {
        match self {
            Purpose::Survey => "every command",
            Purpose::Table => "the supervisor's table",
            Purpose::Plant => "driving the plant",
        }
    }
}

/// A table and its keys.
#[derive(Debug)]
pub struct TableSpec {
    /// Name in the file.
    pub name: &'static str,
    /// Once or many times.
    pub shape: Shape,
    /// Purpose that cannot do without at least one; `None` when it may always be left out.
    pub need: Option<Purpose>,
    /// What it is, in one or two sentences.
    pub doc: &'static str,
    /// What it means to leave the table out; empty where it cannot be left out.
    pub absent: &'static str,
    /// Its keys, in the order in which they are documented.
    pub keys: &'static [Key],
}

impl TableSpec {
    /// The key of that name, for a table whose `kind` is `kind` (if that is known).
    pub fn key(&self, name: &str, kind: Option<&str>) -> Option<&'static Key> {
        let mut named = self.keys.iter().filter(|k| k.name == name);
        let first = named.clone().next();
        match kind {
            Some(kind) => named.find(|k| k.fits(kind)),
            None => first,
        }
    }

    /// Every key of that name, whatever the kind.
    pub fn keys_named(&self, name: &str) -> impl Iterator<Item = &'static Key> {
        self.keys.iter().filter(move |k| k.name == name)
    }

    /// The table as it is written in the file: `[name]`, `[[name]]`.
    pub fn header(&self) -> String {
        match self.shape {
            Shape::Root => "the top of the file".to_string(),
            Shape::One => format!("[{}]", self.name),
            Shape::Many { .. } => format!("[[{}]]", self.name),
        }
    }
}

/// A key of a table.
#[derive(Debug)]
pub struct Key {
    /// Name in the file; its last part is the unit.
    pub name: &'static str,
    /// Unit for a person ("rpm"); empty when there is none.
    pub unit: &'static str,
    /// Type and range.
    pub ty: Type,
    /// What happens when it is left out.
    pub given: Given,
    /// The values of the table's `kind` key to which this key belongs; none: to all.
    pub only: &'static [&'static str],
    /// One sentence.
    pub doc: &'static str,
    /// A value as written in a file, for the starter and the generated tests.
    pub example: &'static str,
}

impl Key {
    /// A key that must always be given.
    pub const fn new(name: &'static str, ty: Type, doc: &'static str) -> Key {
        Key { name, unit: "", ty, given: Given::Always, only: &[], doc, example: "" }
    }

    /// With a unit.
    pub const fn unit(mut self, unit: &'static str) -> Key {
        self.unit = unit;
        self
    }

    /// Only for tables of these kinds.
    pub const fn only(mut self, kinds: &'static [&'static str]) -> Key {
        self.only = kinds;
        self
    }

    /// With a value as it could stand in a file.
    pub const fn example(mut self, example: &'static str) -> Key {
        self.example = example;
        self
    }

    /// Needed from this purpose on.
    pub const fn needed(mut self, purpose: Purpose) -> Key {
        self.given = Given::Needed(purpose);
        self
    }

    /// May be left out: then this value, for this reason.
    pub const fn default(mut self, value: Literal, why: &'static str) -> Key {
        self.given = Given::Default(value, why);
        self
    }

    /// May be left out: then a value worked out from others, as told in these words.
    pub const fn derived(mut self, words: &'static str) -> Key {
        self.given = Given::Derived(words);
        self
    }

    /// May be left out, which means what these words say.
    pub const fn absent(mut self, words: &'static str) -> Key {
        self.given = Given::Absent(words);
        self
    }

    /// Whether it belongs to tables of this kind.
    pub fn fits(&self, kind: &str) -> bool {
        self.only.is_empty() || self.only.contains(&kind)
    }
}

/// What happens when a key is left out.
#[derive(Clone, Copy, Debug)]
pub enum Given {
    /// An error.
    Always,
    /// Allowed, but an error for this purpose and later ones.
    Needed(Purpose),
    /// This value, and why it is a sensible one.
    Default(Literal, &'static str),
    /// A value worked out from others, in words.
    Derived(&'static str),
    /// No value; what that means, in words.
    Absent(&'static str),
}

/// A default value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Literal {
    /// A number.
    Number(f64),
    /// A whole number.
    Count(u32),
    /// True or false.
    Flag(bool),
    /// One of the words of a choice, or free text.
    Word(&'static str),
    /// An exact ratio, as written.
    Exact(&'static str),
    /// A list of numbers.
    List(&'static [f64]),
    /// An empty list or table.
    Empty,
}

impl Literal {
    /// As written in a TOML file.
    pub fn toml(&self) -> String {
        match self {
            Literal::Number(x) => format!("{x}"),
            Literal::Count(n) => format!("{n}"),
            Literal::Flag(b) => format!("{b}"),
            Literal::Word(w) | Literal::Exact(w) => format!("\"{w}\""),
            Literal::List(xs) => {
                format!("[{}]", xs.iter().map(f64::to_string).collect::<Vec<_>>().join(", "))
            }
            Literal::Empty => "{}".to_string(),
        }
    }
}

/// Type and range of a value.
#[derive(Debug)]
pub enum Type {
    /// Free text, one line.
    Text,
    /// A name: letters, digits, `-` and `_`.
    Name,
    /// The format version.
    Version,
    /// A number, whole or with decimals.
    Number(Within),
    /// A whole number.
    Count {
        /// Least.
        min: u32,
        /// Most.
        max: u32,
    },
    /// True or false.
    Flag,
    /// One of these words, each with its meaning.
    Choice(&'static [(&'static str, &'static str)]),
    /// An exact ratio: "p/q", a decimal in quotes or a number.
    Ratio(Within),
    /// The name of an entry of one of these tables.
    Ref(&'static [&'static str]),
    /// Two shafts, or a shaft and "case".
    Joins,
    /// A list of names of entries of that table, each at most once.
    Refs(&'static str),
    /// A fixed count of numbers.
    Numbers {
        /// How many.
        count: usize,
        /// Range of each.
        each: Within,
        /// Whether they must rise.
        rising: bool,
    },
    /// A list of pairs, the first of each rising.
    Curve {
        /// Range of the first of each pair.
        x: Within,
        /// Range of the second.
        y: Within,
    },
    /// A table in braces with these keys.
    Inline(&'static TableSpec),
    /// A table in braces: entries of that table, each with one of these words.
    Words {
        /// Table whose entries are the keys.
        of: &'static str,
        /// The words, each with its meaning.
        words: &'static [(&'static str, &'static str)],
    },
}

impl Type {
    /// The type in words, as it follows "must be".
    pub fn words(&self) -> String {
        match self {
            Type::Text => "text in quotes".into(),
            Type::Name => "a name in quotes (letters, digits, - and _)".into(),
            Type::Version => "the version of the file format".into(),
            Type::Number(within) => format!("a number {}", within.words()),
            Type::Count { min, max } => format!("a whole number from {min} to {max}"),
            Type::Flag => "true or false".into(),
            Type::Choice(words) => one_of(words),
            Type::Ratio(within) => format!("an exact ratio such as \"41/13\" {}", within.words()),
            Type::Ref(tables) => {
                let with_article: Vec<String> = tables.iter().map(|t| with_article(t)).collect();
                format!("the name of {}", with_article.join(" or "))
            }
            Type::Joins => "two names: a shaft and a shaft, or a shaft and \"case\"".into(),
            Type::Refs(table) => format!("a list of {table} names"),
            Type::Numbers { count, each, rising } => {
                let rising = if *rising { " rising" } else { "" };
                format!("a list of {count}{rising} numbers, each {}", each.words())
            }
            Type::Curve { x, y } => {
                format!("a list of pairs [x, y], x rising, x {}, y {}", x.words(), y.words())
            }
            Type::Inline(_) => "a table in braces { key = value, ... }".into(),
            Type::Words { of, words } => {
                format!("a table in braces {{ {of} = word, ... }}, each word {}", one_of(words))
            }
        }
    }
}

/// "a lock", "an arrangement".
pub(super) fn with_article(noun: &str) -> String {
    let an = noun.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {noun}", if an { "an" } else { "a" })
}

/// `"a", "b" or "c"`.
fn one_of(words: &[(&str, &str)]) -> String {
    let quoted: Vec<String> = words.iter().map(|(w, _)| format!("\"{w}\"")).collect();
    match quoted.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// A range of numbers; each end may be closed or open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Within {
    /// Lower end.
    pub min: f64,
    /// Whether the lower end itself is outside.
    pub min_open: bool,
    /// Upper end.
    pub max: f64,
    /// Whether zero is taken out of the range.
    pub not_zero: bool,
}

impl Within {
    /// From `min` to `max`, both allowed.
    pub const fn new(min: f64, max: f64) -> Within {
        Within { min, min_open: false, max, not_zero: false }
    }

    /// Above `min`, to `max`.
    pub const fn above(min: f64, max: f64) -> Within {
        Within { min, min_open: true, max, not_zero: false }
    }

    /// From `-max` to `max`, but not zero.
    pub const fn signed(max: f64) -> Within {
        Within { min: -max, min_open: false, max, not_zero: true }
    }

    /// Whether `x` lies in it (never for NaN and infinities).
    pub fn holds(&self, x: f64) -> bool {
        let low = if self.min_open { x > self.min } else { x >= self.min };
        low && x <= self.max && !(self.not_zero && x == 0.0)
    }

    /// "above 0, at most 5".
    pub fn words(&self) -> String {
        let zero = if self.not_zero { ", not 0" } else { "" };
        if self.min_open {
            format!("above {}, at most {}{zero}", self.min, self.max)
        } else {
            format!("from {} to {}{zero}", self.min, self.max)
        }
    }
}
