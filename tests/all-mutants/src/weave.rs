//! Source in which each mutant is chosen at run time: `if mutant::is(7) { a - b } else { a + b }`.

use std::cmp::Reverse;
use std::ops::Range;

use crate::list::Mutant;
use crate::places::{Place, Way};

/// A place and the numbers of its mutants: a mutant's number is its index in the list, from one.
pub struct Site {
    /// Where.
    pub place: Place,
    /// Which.
    pub numbers: Vec<usize>,
}

/// The new text of a file, and which bytes of it are there for which mutant.
#[derive(Default)]
pub struct Woven {
    /// The text.
    pub text: String,
    /// Bytes and number.
    pub parts: Vec<(Range<usize>, usize)>,
}

struct Weaver<'a> {
    source: &'a str,
    mutants: &'a [Mutant],
    out: Woven,
}

/// A file with its sites woven in.
pub fn weave(source: &str, mutants: &[Mutant], mut sites: Vec<Site>) -> Woven {
    // What is only put in comes first, then the larger of two that begin together.
    sites.sort_by_key(|s| {
        (s.place.from, s.place.to > s.place.from, Reverse(s.place.to), s.place.way)
    });
    let mut weaver = Weaver { source, mutants, out: Woven::default() };
    weaver.part(0, source.len(), &sites);
    weaver.out
}

impl Weaver<'_> {
    /// The source between two bytes; all of `sites` stand between them.
    fn part(&mut self, from: usize, to: usize, sites: &[Site]) {
        let (mut at, mut left) = (from, sites);
        while let Some((site, rest)) = left.split_first() {
            let within = rest.iter().take_while(|s| s.place.to <= site.place.to).count();
            let within = if site.place.from == site.place.to { 0 } else { within };
            self.out.text.push_str(&self.source[at..site.place.from]);
            self.site(site, &rest[..within]);
            (at, left) = (site.place.to, &rest[within..]);
        }
        self.out.text.push_str(&self.source[at..to]);
    }

    fn site(&mut self, site: &Site, within: &[Site]) {
        let Place { from, to, way } = site.place;
        match way {
            Way::Return => {
                for &n in &site.numbers {
                    let instead = self.mutants[n - 1].replacement.clone();
                    self.marked(n, &format!("if crate::mutant::is({n}) {{ return {instead}; }}\n"));
                }
            }
            Way::Guard => {
                let number = |word: &str| {
                    let mut of = site.numbers.iter();
                    of.find(|n| self.mutants[**n - 1].replacement == word).copied().unwrap_or(0)
                };
                let (yes, no) = (number("true"), number("false"));
                self.out.text.push_str(&format!(
                    "({yes} != 0 && crate::mutant::is({yes}) || ({no} == 0 || !crate::mutant::is({no})) && ("
                ));
                self.part(from, to, within);
                self.out.text.push_str("))");
            }
            Way::Arm => {
                let not = format!("!crate::mutant::is({})", site.numbers[0]);
                if from == to {
                    self.out.text.push_str(&format!(" if {not}"));
                } else {
                    self.out.text.push_str(&format!("({not} && ("));
                    self.part(from, to, within);
                    self.out.text.push_str("))");
                }
            }
            Way::Expression => self.expression(site, within),
        }
    }

    /// The unchanged expression first: it says what type is expected.
    fn expression(&mut self, site: &Site, within: &[Site]) {
        let Place { from, to, .. } = site.place;
        let numbers: Vec<String> = site.numbers.iter().map(ToString::to_string).collect();
        self.out.text.push_str(&format!(
            "(if !matches!(crate::mutant::active(), {}) {{ ",
            numbers.join(" | ")
        ));
        self.part(from, to, within);
        for (i, &n) in site.numbers.iter().enumerate() {
            let last = i + 1 == site.numbers.len();
            let which = if last { String::new() } else { format!(" if crate::mutant::is({n})") };
            let m = &self.mutants[n - 1];
            let changed = format!(
                "{} {} {}",
                &self.source[from..m.from],
                m.replacement,
                &self.source[m.to..to]
            );
            self.out.text.push_str(&format!(" }} else{which} {{ "));
            self.marked(n, &changed);
        }
        self.out.text.push_str(" })");
    }

    fn marked(&mut self, number: usize, text: &str) {
        let from = self.out.text.len();
        self.out.text.push_str(text);
        self.out.parts.push((from..self.out.text.len(), number));
    }
}

/// What the woven source asks.
pub const MUTANT_RS: &str = "//! Which mutant this process runs: none, if it is not told.

use std::sync::LazyLock;

static ACTIVE: LazyLock<u32> = LazyLock::new(|| {
    std::env::var(\"MUTANT\").map_or(0, |n| n.parse().expect(\"a number\"))
});

#[inline(always)]
pub fn active() -> u32 {
    *ACTIVE
}

#[inline(always)]
pub fn is(number: u32) -> bool {
    *ACTIVE == number
}
";
