//! The safety rules as `docs/rules.md` states them, and the code of their branches: both are
//! built in, so that a folder holds what was true of the program that wrote it.

use super::sha256::sha256_hex;

const PAGE: &str = include_str!("../../../docs/rules.md");

/// A rule as the page states it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// Its identifier.
    pub id: String,
    /// What must hold, in a sentence or two.
    pub says: String,
    /// What would happen otherwise.
    pub hazard: String,
    /// Why the rule is as it is.
    pub reason: String,
    /// Where its limit comes from.
    pub limit: String,
    /// File of its one branch.
    pub code: String,
    /// Name of its canonical test.
    pub test: String,
    /// File of the test.
    pub test_file: String,
}

/// One paragraph on one line.
fn joined(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn section(text: &str) -> Section {
    let (id, rest) = text.split_once('\n').unwrap_or((text, ""));
    let (says, items) = rest.split_once("\n- ").unwrap_or((rest, ""));
    let item = |label: &str| {
        let found = items.split("\n- ").find_map(|item| item.strip_prefix(label));
        joined(found.unwrap_or(""))
    };
    let test = item("Canonical test:");
    let quoted: Vec<&str> = test.split('`').skip(1).step_by(2).collect();
    Section {
        id: id.trim().to_owned(),
        says: joined(says),
        hazard: item("Hazard:"),
        reason: item("Reason:"),
        limit: item("Limit:"),
        code: item("Code:").trim_matches('`').to_owned(),
        test: quoted.first().copied().unwrap_or("").to_owned(),
        test_file: quoted.get(1).copied().unwrap_or("").to_owned(),
    }
}

/// Every rule, in the order of the page.
pub fn sections() -> Vec<Section> {
    PAGE.split("\n## ").skip(1).map(section).collect()
}

/// Files that hold a rule's branch, with their text.
const FILES: [(&str, &str); 24] = [
    ("supervisor/src/interlock.rs", include_str!("../../../supervisor/src/interlock.rs")),
    ("supervisor/src/race.rs", include_str!("../../../supervisor/src/race.rs")),
    ("supervisor/src/stray.rs", include_str!("../../../supervisor/src/stray.rs")),
    ("supervisor/src/unasked.rs", include_str!("../../../supervisor/src/unasked.rs")),
    ("supervisor/src/unseen.rs", include_str!("../../../supervisor/src/unseen.rs")),
    ("supervisor/src/decide/rest.rs", include_str!("../../../supervisor/src/decide/rest.rs")),
    ("host-sim/src/checkers/conflict.rs", include_str!("../checkers/conflict.rs")),
    ("host-sim/src/checkers/slip.rs", include_str!("../checkers/slip.rs")),
    ("host-sim/src/checkers/energy.rs", include_str!("../checkers/energy.rs")),
    ("host-sim/src/checkers/overspeed.rs", include_str!("../checkers/overspeed.rs")),
    ("host-sim/src/checkers/overlap.rs", include_str!("../checkers/overlap.rs")),
    ("host-sim/src/checkers/engine.rs", include_str!("../checkers/engine.rs")),
    ("host-sim/src/checkers/stated.rs", include_str!("../checkers/stated.rs")),
    ("host-sim/src/checkers/request.rs", include_str!("../checkers/request.rs")),
    ("host-sim/src/checkers/heat.rs", include_str!("../checkers/heat.rs")),
    ("host-sim/src/checkers/begin.rs", include_str!("../checkers/begin.rs")),
    ("host-sim/src/checkers/load.rs", include_str!("../checkers/load.rs")),
    ("host-sim/src/checkers/gap.rs", include_str!("../checkers/gap.rs")),
    ("host-sim/src/checkers/motion.rs", include_str!("../checkers/motion.rs")),
    ("host-sim/src/checkers/decel.rs", include_str!("../checkers/decel.rs")),
    ("host-sim/src/checkers/chatter.rs", include_str!("../checkers/chatter.rs")),
    ("host-sim/src/checkers/reaction.rs", include_str!("../checkers/reaction.rs")),
    ("host-sim/src/checkers/recovery.rs", include_str!("../checkers/recovery.rs")),
    ("host-sim/src/checkers/alarm.rs", include_str!("../checkers/alarm.rs")),
];

/// Lines of code shown of a rule.
const SHOWN: usize = 26;

/// The code of a rule's branch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Excerpt {
    /// Number of its first line, from 1.
    pub(super) line: usize,
    /// Its lines.
    pub(super) text: String,
    /// SHA-256 of the whole file.
    pub(super) sha256: String,
}

/// The branch of a rule; `None` where its file is not built in.
pub(super) fn excerpt(section: &Section) -> Option<Excerpt> {
    let (_, text) = FILES.iter().find(|(path, _)| *path == section.code)?;
    let marked = |line: &str| {
        let line = line.trim();
        line == format!("// {}", section.id)
            || line == format!("const RULE: &str = \"{}\";", section.id)
    };
    let mut lines = text.lines();
    let mut at = lines.position(marked)?;
    // A judge's mark stands at its head; what it does comes with what it looks at.
    if section.code.starts_with("host-sim/") {
        at += 1 + lines.position(|line| line.contains("fn look(")).unwrap_or(0);
    }
    let shown: Vec<&str> =
        text.lines().skip(at).take_while(|line| *line != "#[cfg(test)]").take(SHOWN).collect();
    Some(Excerpt {
        line: at + 1,
        text: shown.join("\n").trim_end().to_owned(),
        sha256: sha256_hex(text.as_bytes()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_of_the_page_is_read_whole_and_has_its_code() {
        let all = sections();
        assert!(all.len() > 20);
        for s in &all {
            for part in [&s.says, &s.hazard, &s.reason, &s.limit, &s.code, &s.test, &s.test_file] {
                assert!(!part.is_empty() && !part.contains('\n'), "{s:?}");
            }
            let code = excerpt(s).unwrap_or_else(|| panic!("no code of {}", s.id));
            assert!(code.text.lines().count() >= 3, "{}: {code:?}", s.id);
            let marked = s.code.starts_with("host-sim/") || code.text.contains(&s.id);
            assert!(marked, "{}: {code:?}", s.id);
        }
    }
}
