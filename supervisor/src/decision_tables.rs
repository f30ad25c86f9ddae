//! Readable decision tables: labelled rows, a legend, prose for each label. The tests try every
//! combination of inputs against them, and the page in `docs/` is written from them.

use std::string::String;
use std::{format, fs, path::PathBuf};

/// One column: its name, what it asks, and what each of its letters means.
pub(crate) struct Column {
    pub(crate) name: &'static str,
    pub(crate) letters: &'static str,
}

/// One row: a label, one letter a column (`.` stands for any), what comes of it, in words.
pub(crate) struct Row<E> {
    pub(crate) label: &'static str,
    pub(crate) when: &'static str,
    pub(crate) then: E,
    pub(crate) prose: &'static str,
}

/// A whole table.
pub(crate) struct Decisions<E: 'static> {
    pub(crate) title: &'static str,
    pub(crate) about: &'static str,
    pub(crate) columns: &'static [Column],
    pub(crate) rows: &'static [Row<E>],
}

impl<E> Decisions<E> {
    /// The one row that the letters hit.
    ///
    /// Panics when there is none or more than one: then the table is no decision table.
    pub(crate) fn row(&self, letters: &str) -> &Row<E> {
        let hit = |row: &&Row<E>| {
            assert_eq!(row.when.len(), self.columns.len(), "row {} has other columns", row.label);
            row.when.bytes().zip(letters.bytes()).all(|(w, l)| w == b'.' || w == l)
                && row.when.len() == letters.len()
        };
        let mut hits = self.rows.iter().filter(hit);
        let (first, second) = (hits.next(), hits.next());
        match (first, second) {
            (Some(row), None) => row,
            (Some(a), Some(b)) => panic!("{letters:?} hits {} and {}", a.label, b.label),
            _ => panic!("{}: {letters:?} hits no row", self.title),
        }
    }

    fn markdown(&self) -> String {
        let mut text = format!("## {}\n\n{}\n\n", self.title, self.about);
        for column in self.columns {
            text += &format!("- {}: {}\n", column.name, column.letters);
        }
        text += "\n| label |";
        for column in self.columns {
            text += &format!(" {} |", column.name);
        }
        text += " what comes of it |\n|---|";
        for _ in self.columns {
            text += "---|";
        }
        text += "---|\n";
        for row in self.rows {
            text += &format!("| {} |", row.label);
            for letter in row.when.chars() {
                text += &format!(" {letter} |");
            }
            text += &format!(" {} |\n", row.prose);
        }
        text
    }
}

/// The page in `docs/` is these tables: a stale one fails, `SLIPWARDEN_WRITE=1` rewrites it.
#[test]
fn the_page_in_docs_is_up_to_date() {
    let tables = [
        crate::locks::decision_table::BELIEF.markdown(),
        crate::locks::decision_table::SWITCH.markdown(),
        crate::choose::decision_table::MAY_TAKE.markdown(),
        crate::decide::phase_table::PREPARE.markdown(),
        crate::decide::phase_table::CLOSING.markdown(),
        crate::decide::phase_table::OPENING.markdown(),
        crate::decide::phase_table::REST.markdown(),
    ];
    let page = format!(
        "# How the supervisor decides\n\n\
         Written from the tables that the tests of the `supervisor` crate try over every\n\
         combination of inputs; do not edit. A `.` stands for any letter.\n\n{}",
        tables.join("\n")
    );
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../docs/supervisor-decisions.md");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        fs::write(&path, &page).expect("the page can be written");
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == page, "docs/supervisor-decisions.md is stale: run with SLIPWARDEN_WRITE=1");
}
