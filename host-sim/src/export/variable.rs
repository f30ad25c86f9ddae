//! Variables of a unit: names, kinds, units, start values.

use supervisor::bits::Bits;

use crate::driveline::Driveline;

/// A value of a variable.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A number.
    Real(f64),
    /// A whole number, or a choice by its number.
    Whole(i32),
    /// Yes or no.
    Truth(bool),
    /// Words.
    Text(String),
}

/// What a variable holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A number in this unit, one of `UNITS`.
    Real(&'static str),
    /// A whole number.
    Whole,
    /// Yes or no.
    Truth,
    /// Words.
    Text,
    /// One of a list: which [`Choice`].
    Choice(usize),
}

/// Which way a variable goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Time itself.
    Time,
    /// Set before the start.
    Parameter,
    /// Into the unit.
    Input,
    /// Out of it.
    Output,
}

/// A list to choose from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Its name.
    pub name: &'static str,
    /// Words and their numbers.
    pub items: Vec<(String, i32)>,
}

/// A variable. Its value reference is its place in the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Variable {
    /// Its name, unique in the unit.
    pub name: String,
    /// One sentence for a person.
    pub about: String,
    /// What it holds.
    pub kind: Kind,
    /// Which way it goes.
    pub role: Role,
    /// Value before anything was said or done.
    pub start: Value,
}

/// All variables of a unit.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Variables {
    /// The variables.
    pub list: Vec<Variable>,
    /// The lists that some choose from.
    pub choices: Vec<Choice>,
}

/// Units of numbers: name, powers of kg, m, s and rad, factor to these.
pub(super) const UNITS: [(&str, [i8; 4], f64); 8] = [
    ("s", [0, 0, 1, 0], 1.0),
    ("m", [0, 1, 0, 0], 1.0),
    ("m/s", [0, 1, -1, 0], 1.0),
    ("km/h", [0, 1, -1, 0], 1.0 / 3.6),
    ("rad/s", [0, 0, -1, 1], 1.0),
    ("N.m", [1, 2, -2, 0], 1.0),
    ("J", [1, 2, -2, 0], 1.0),
    ("1", [0, 0, 0, 0], 1.0),
];

/// What a lock is ordered.
pub(super) const LOCK_ORDER: usize = 0;
/// What a switch says.
pub(super) const LOCK_REPORT: usize = 1;
/// What a lock really does.
pub(super) const LOCK_ACTUAL: usize = 2;
/// What a machine is ordered.
pub(super) const MACHINE_ORDER: usize = 3;
/// Arrangements by name.
pub(super) const ARRANGEMENT: usize = 4;
/// How a supervisor begins anew.
pub(super) const RESET: usize = 5;
/// Where the supervisor stands in its work.
pub(super) const PHASE: usize = 6;

/// A machine's order that goes round the drive controller: this torque, at once.
pub(super) const DIRECT: i32 = 5;
/// The number of no arrangement.
pub(super) const NONE: i32 = -1;

/// The lists, in the order of their constants.
pub(super) fn choices(d: &Driveline) -> Vec<Choice> {
    let list = |name, words: &[&str]| Choice {
        name,
        items: words.iter().zip(0..).map(|(w, n)| ((*w).to_owned(), n)).collect(),
    };
    let mut arrangements = vec![("(none)".to_owned(), NONE)];
    arrangements.extend(d.arrangements.iter().zip(0..).map(|(a, n)| (a.name.clone(), n)));
    vec![
        list("lock_order", &["open", "prefill", "close"]),
        list("lock_report", &["open", "closed", "missing"]),
        list("lock_actual", &["open", "slipping", "locked"]),
        list("machine_order", &["free", "hold", "take", "unload", "off", "direct"]),
        Choice { name: "arrangement", items: arrangements },
        list("reset", &["(none)", "warm", "cold"]),
        list("phase", &["wake", "rest", "prepare", "closing", "opening", "settle"]),
    ]
}

impl Variables {
    /// With time alone.
    pub(super) fn new(d: &Driveline) -> Variables {
        let mut all = Variables { list: Vec::new(), choices: choices(d) };
        all.add(Role::Time, "time", "Time", Kind::Real("s"), Value::Real(0.0));
        all
    }

    /// One more; its place.
    pub(super) fn add(
        &mut self,
        role: Role,
        name: impl Into<String>,
        about: impl Into<String>,
        kind: Kind,
        start: Value,
    ) -> usize {
        let (name, about) = (name.into(), about.into());
        self.list.push(Variable { name, about, kind, role, start });
        self.list.len() - 1
    }

    /// One more for each of these names, `WHAT:NAME`; the place of the first.
    pub(super) fn each<'n>(
        &mut self,
        role: Role,
        (what, about): (&str, &str),
        kind: Kind,
        start: &Value,
        names: impl Iterator<Item = &'n String>,
    ) -> usize {
        let first = self.list.len();
        for name in names {
            self.add(role, format!("{what}:{name}"), about, kind, start.clone());
        }
        first
    }

    /// Whether a value is of that variable's kind and in its list; a sentence when not.
    ///
    /// # Errors
    /// It is not.
    pub fn takes(&self, variable: &Variable, value: &Value) -> Result<(), String> {
        match (variable.kind, value) {
            (Kind::Real(_), Value::Real(_))
            | (Kind::Whole, Value::Whole(_))
            | (Kind::Truth, Value::Truth(_))
            | (Kind::Text, Value::Text(_)) => Ok(()),
            (Kind::Choice(list), Value::Whole(n)) => {
                let items = self.choices.get(list).map_or(&[][..], |c| &c.items);
                match items.iter().any(|item| item.1 == *n) {
                    true => Ok(()),
                    false => {
                        Err(format!("{} cannot be {n}: that is not in its list", variable.name))
                    }
                }
            }
            _ => Err(format!("{} is of another type", variable.name)),
        }
    }

    /// Start values of all.
    pub(super) fn start(&self) -> Vec<Value> {
        self.list.iter().map(|v| v.start.clone()).collect()
    }
}

/// The number at a place; 0 where there is none.
pub(super) fn real(values: &[Value], at: usize) -> f64 {
    match values.get(at) {
        Some(Value::Real(x)) => *x,
        _ => 0.0,
    }
}

/// The whole number at a place.
pub(super) fn whole(values: &[Value], at: usize) -> i32 {
    match values.get(at) {
        Some(Value::Whole(n)) => *n,
        _ => 0,
    }
}

/// The yes or no at a place.
pub(super) fn truth(values: &[Value], at: usize) -> bool {
    matches!(values.get(at), Some(Value::Truth(true)))
}

/// The arrangement at a place.
pub(super) fn arrangement(values: &[Value], at: usize) -> Option<u8> {
    u8::try_from(whole(values, at)).ok()
}

/// An arrangement as a value.
pub(super) fn of_arrangement(number: Option<u8>, count: usize) -> Value {
    let known = number.filter(|n| usize::from(*n) < count);
    Value::Whole(known.map_or(NONE, i32::from))
}

/// A set as a value: bit `i` is the i-th of the file.
pub(super) fn of_set(bits: Bits) -> Value {
    Value::Whole(i32::from(bits.0))
}
