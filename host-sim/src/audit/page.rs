//! The page on guard soundness, with the tightest rows of the demos.

use super::Proof;
use super::text::number;

/// Path and text of the page; `demos` are names and guard rows.
pub fn page(demos: &[(String, Vec<Proof>)]) -> (String, String) {
    let mut text = include_str!("page.md").to_string();
    text += "| demo | finding | rows | limit | margin | true | left | unit | tightest |\n";
    text += "|---|---|--:|--:|--:|--:|--:|---|---|\n";
    for (name, proofs) in demos {
        for kind in kinds(proofs) {
            let p = kind.tightest;
            let figures = [p.limit, p.margin, p.true_limit, p.left].map(number);
            let figures = figures.join(" | ");
            let Proof { id, unit, place, .. } = p;
            text +=
                &format!("| {name} | `{id}` | {} | {figures} | {unit} | {place} |\n", kind.rows);
        }
    }
    ("docs/guard-soundness.md".to_string(), text)
}

/// Rows that would be the same finding, in the same unit.
struct Kind<'a> {
    rows: usize,
    /// The row with the least left for its true limit.
    tightest: &'a Proof,
}

fn kinds(proofs: &[Proof]) -> Vec<Kind<'_>> {
    let mut kinds: Vec<Kind> = Vec::new();
    for proof in proofs {
        let alike = |k: &&mut Kind| k.tightest.id == proof.id && k.tightest.unit == proof.unit;
        match kinds.iter_mut().find(alike) {
            Some(kind) => {
                kind.rows += 1;
                if proof.left < kind.tightest.left {
                    kind.tightest = proof;
                }
            }
            None => kinds.push(Kind { rows: 1, tightest: proof }),
        }
    }
    kinds
}
