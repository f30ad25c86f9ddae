//! Exact ratios as a person writes them: "41/13", "-23/40", "3.15", 4.

use num_bigint::BigInt;
use num_traits::{Signed, ToPrimitive, Zero};

use crate::exact::{self, Q};

/// More digits than this in a ratio are not a gear but a slip.
const MOST_DIGITS: usize = 15;

/// Why a text is not an exact ratio: what is wrong, and what to do.
pub struct NotExact {
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub fix: String,
}

/// Read "p/q", a whole number or a decimal, exactly.
pub fn read(text: &str) -> Result<Q, NotExact> {
    let text = text.trim();
    let (over, under) = match text.split_once('/') {
        Some((over, under)) => (over.trim(), Some(under.trim())),
        None => (text, None),
    };
    let Some(over) = decimal(over) else { return Err(not_rational(text)) };
    let Some(under) = under else { return Ok(over) };
    let Some(under) = decimal(under) else { return Err(not_rational(text)) };
    if under.is_zero() {
        return Err(NotExact {
            message: "the ratio divides by zero".into(),
            fix: "write tooth counts, such as \"41/13\"".into(),
        });
    }
    Ok(over / under)
}

fn not_rational(text: &str) -> NotExact {
    NotExact {
        message: format!("{} is not a rational number", super::suggest::quoted(text)),
        fix: "write a quotient of whole numbers (tooth counts), such as \"41/13\", or a decimal \
              such as \"3.15\""
            .into(),
    }
}

/// A signed decimal without exponent, exactly.
fn decimal(text: &str) -> Option<Q> {
    let (negative, digits) = match text.as_bytes().first()? {
        b'-' => (true, &text[1..]),
        b'+' => (false, &text[1..]),
        _ => (false, text),
    };
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let all = format!("{whole}{part}");
    let is_number = !whole.is_empty() && all.bytes().all(|b| b.is_ascii_digit());
    if !is_number || all.len() > MOST_DIGITS || digits.ends_with('.') {
        return None;
    }
    let value = Q::new(all.parse::<BigInt>().ok()?, BigInt::from(10).pow(part.len() as u32));
    Some(if negative { -value } else { value })
}

/// The quotient of small whole numbers that `written` (a decimal) looks rounded from, if any.
pub fn rounded_from(written: &str, value: &Q) -> Option<Q> {
    let places = written.trim().split_once('.')?.1.len();
    let small = |q: &Q| q.numer().abs() <= BigInt::from(300) && *q.denom() <= BigInt::from(300);
    if places < 3 || small(value) {
        return None;
    }
    let half_a_place =
        Q::new(BigInt::from(1), BigInt::from(2) * BigInt::from(10).pow(places as u32));
    (1..=150i64).find_map(|under| {
        let over = (value * exact::int(under)).round().to_integer().to_i64()?;
        let candidate = exact::ratio(over, under);
        let near = (&candidate - value).abs() <= half_a_place;
        (near && over != 0 && small(&candidate)).then_some(candidate)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_what_is_meant() {
        let good = |text: &str| read(text).ok();
        assert_eq!(good("41/13"), Some(exact::ratio(41, 13)));
        assert_eq!(good("-0.1"), Some(exact::ratio(-1, 10)), "not the nearest binary fraction");
        assert_eq!(good("1/-2"), Some(exact::ratio(-1, 2)));
        for bad in
            ["", "/", "1/", "/2", "1/2/3", "1e3", "1.", ".5", "--1", "0x10", "1 000", "\u{661}"]
        {
            assert!(good(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn a_rounded_quotient_is_recognised() {
        let from = |text: &str| rounded_from(text, &read(text).ok()?);
        assert_eq!(from("0.333"), Some(exact::ratio(1, 3)));
        assert_eq!(from("-0.5750"), None, "-23/40 exactly");
        assert_eq!(from("3.15"), None);
        assert_eq!(from("3.1538"), Some(exact::ratio(41, 13)));
        assert_eq!(from("41/13"), None);
    }
}
