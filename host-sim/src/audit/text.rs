//! The audit in words, for a terminal, for programs and for the documentation.

use serde_json::{Value, json as value};

use super::{Audited, Proof};
use crate::text::Table;

/// Guard rows as JSON.
pub fn json(proofs: &[Proof]) -> Value {
    let row = |p: &Proof| {
        value!({
            "place": p.place, "id": p.id, "implies": p.implies, "unit": p.unit,
            "limit": p.limit, "margin": p.margin, "true_limit": p.true_limit,
            "left": p.left, "holds": p.holds,
        })
    };
    proofs.iter().map(row).collect()
}

/// Guard rows for a person: limit, margin, what is left. Rows of steps that say the same stand
/// together.
pub fn text(proofs: &[Proof], width: usize) -> String {
    let mut rows: Vec<(Vec<String>, String, Vec<&str>)> = Vec::new();
    for p in proofs {
        let figures = [p.limit, p.margin, p.true_limit, p.left].map(number);
        let figures: Vec<String> = figures.into_iter().chain([p.unit.to_string()]).collect();
        let step = p.place.strip_prefix("step ").and_then(|rest| rest.split_once(' '));
        let (numbers, field) = match step {
            Some((number, field)) => (vec![number], field),
            None => (Vec::new(), p.place.as_str()),
        };
        let alike = |(f, named, numbers): &&mut (Vec<String>, String, Vec<&str>)| {
            *f == figures && named == field && !numbers.is_empty()
        };
        match rows.iter_mut().find(alike) {
            Some((_, _, known)) if known.contains(&numbers[0]) => {}
            Some((_, _, known)) => known.extend(numbers),
            None => rows.push((figures, field.to_string(), numbers)),
        }
    }
    let mut table = Table::new(&["limit", "margin", "true", "left", "unit", "of"]);
    for (mut cells, field, numbers) in rows {
        cells.push(match numbers[..] {
            [] => field,
            [one] => format!("step {one} {field}"),
            _ => format!("{field} of steps {}", numbers.join(", ")),
        });
        table.row(cells);
    }
    let title = "Guards, proved with exact fractions against the worst that sensors, age and f32 \
                 rounding can do: the limit in the table, what measuring can miss, what must truly \
                 be kept, and what is left (docs/guard-soundness.md)";
    table.titled(title, width)
}

/// At most five significant places, and no column of a huge open end.
pub(super) fn number(x: f64) -> String {
    match x.abs() {
        size if size >= 1e8 => format!("{x:.0e}"),
        size if size >= 1000.0 => format!("{x:.0}"),
        size if size >= 10.0 => format!("{x:.1}"),
        size if size >= 0.01 || size == 0.0 => format!("{x:.3}"),
        _ => format!("{x:.2e}"),
    }
}

/// What the findings of a freshly built table are: not the user's fault.
pub fn explained(audited: &Audited) -> String {
    let mut out = String::new();
    for finding in &audited.findings {
        out += &format!("finding: {}: {}: {}\n", finding.id, finding.place, finding.sentence);
    }
    out + "This is a fault of Slipwarden, not of your file: the table that it built does not \
           stand up to\nits own audit. Do not use it, and report it with the driveline file.\n"
}
