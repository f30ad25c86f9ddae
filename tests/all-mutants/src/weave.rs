//! Source in which each mutant is chosen at run time: `if mutant::is(7) { a - b } else { a + b }`.

use std::cmp::Reverse;
use std::ops::Range;

use syn::visit_mut::{self, VisitMut};

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
            let changed = changed(self.source, &site.place, &self.mutants[n - 1]);
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

/// The expression at a place as a mutant has it.
fn changed(source: &str, place: &Place, m: &Mutant) -> String {
    format!("{} {} {}", &source[place.from..m.from], m.replacement, &source[m.to..place.to])
}

/// Whether a choice means what cargo-mutants would compile, which puts the change into the file as text:
/// the same syntax tree but for parentheses. (`a - b * c` with `+` for `*` is `(a - b) + c`.)
pub fn is_faithful(source: &str, place: &Place, m: &Mutant) -> bool {
    let tree = |from: usize, text: &str, to: usize| {
        let mut tree = syn::parse_file(&[&source[..from], text, &source[to..]].concat()).ok()?;
        WithoutParentheses.visit_file_mut(&mut tree);
        Some(tree)
    };
    let choice = format!("({})", changed(source, place, m));
    let wanted = tree(m.from, &format!(" {} ", m.replacement), m.to);
    wanted.is_some() && wanted == tree(place.from, &choice, place.to)
}

struct WithoutParentheses;

impl VisitMut for WithoutParentheses {
    fn visit_expr_mut(&mut self, node: &mut syn::Expr) {
        while let syn::Expr::Paren(inner) = node {
            *node = (*inner.expr).clone();
        }
        visit_mut::visit_expr_mut(self, node);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::Places;

    const SOURCE: &str = "fn f(a: i32, b: i32, c: i32) -> i32 { a - b * c }\n";

    fn product() -> Mutant {
        let from = SOURCE.find('*').expect("a product");
        let (file, genre) = ("f.rs".to_string(), "BinaryOperator".to_string());
        Mutant { name: String::new(), file, genre, from, to: from + 1, replacement: "+".into() }
    }

    #[test]
    fn an_operator_is_changed_with_all_that_it_may_bind_otherwise() {
        let m = product();
        let place = Places::new(SOURCE).of(&m.genre, m.from, m.to).expect("a place");
        assert_eq!(&SOURCE[place.from..place.to], "a - b * c");
        assert!(is_faithful(SOURCE, &place, &m));
        let woven = weave(SOURCE, &[m], vec![Site { place, numbers: vec![1] }]).text;
        let wanted =
            "{ (if !matches!(crate::mutant::active(), 1) { a - b * c } else { a - b  +  c }) }";
        assert!(woven.ends_with(&format!("{wanted}\n")), "{woven}");
    }

    #[test]
    fn a_place_that_is_too_small_is_told() {
        let m = product();
        let from = SOURCE.find("b *").expect("a product");
        let place = Place { from, to: from + "b * c".len(), way: Way::Expression };
        assert!(!is_faithful(SOURCE, &place, &m));
    }

    #[test]
    fn every_kind_of_choice_has_its_form() {
        let source = "fn f(a: bool) -> u8 { match 1 { 1 if a => 2, 2 => 3, _ => 4 } }\n";
        let places = Places::new(source);
        let mutant = |genre: &str, text: &str, replacement: &str| {
            let from = source.find(text).expect("in the source");
            let (file, genre) = ("f.rs".to_string(), genre.to_string());
            let (to, replacement) = (from + text.len(), replacement.to_string());
            Mutant { name: String::new(), file, genre, from, to, replacement }
        };
        let guard = source.find("a =>").expect("a guard");
        let whole = "match 1 { 1 if a => 2, 2 => 3, _ => 4 }";
        let mut all = vec![mutant("FnValue", whole, "0"), mutant("MatchArm", "2 => 3,", "")];
        for replacement in ["true", "false"] {
            all.push(Mutant {
                from: guard,
                to: guard + 1,
                ..mutant("MatchArmGuard", "a", replacement)
            });
        }
        let at = |m: &Mutant| places.of(&m.genre, m.from, m.to).expect("a place");
        let mut sites: Vec<Site> = Vec::new();
        for (i, m) in all.iter().enumerate() {
            match sites.iter_mut().find(|s| s.place == at(m)) {
                Some(site) => site.numbers.push(i + 1),
                None => sites.push(Site { place: at(m), numbers: vec![i + 1] }),
            }
        }
        let woven = weave(source, &all, sites);
        assert!(syn::parse_file(&woven.text).is_ok(), "{}", woven.text);
        for part in [
            "{ if crate::mutant::is(1) { return 0; }\nmatch 1",
            "if (3 != 0 && crate::mutant::is(3) || (4 == 0 || !crate::mutant::is(4)) && (a)) => 2",
            "2 if !crate::mutant::is(2) => 3",
        ] {
            assert!(woven.text.contains(part), "{part}: {}", woven.text);
        }
    }
}
