//! The mutants that `cargo mutants --list --json` names, with their places in bytes.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

/// One change of the source.
pub struct Mutant {
    /// As `cargo mutants` names it: place, change, function.
    pub name: String,
    /// Path from the workspace's root.
    pub file: String,
    /// What kind of change it is.
    pub genre: String,
    /// What is replaced, in bytes of the file.
    pub from: usize,
    /// The end of it.
    pub to: usize,
    /// What stands there instead.
    pub replacement: String,
}

/// Text of every file that is changed, by its path.
pub type Sources = BTreeMap<String, String>;

/// The list in `json`, and the files under `root` that it speaks of.
pub fn read(json: &Path, root: &Path) -> (Vec<Mutant>, Sources) {
    let text = std::fs::read_to_string(json).expect("the list of mutants");
    let list: Vec<Value> = serde_json::from_str(&text).expect("a list in JSON");
    let mut sources = Sources::new();
    let mut mutants = Vec::new();
    for entry in &list {
        let of = |key: &str| entry[key].as_str().expect("text").to_string();
        let file = of("file");
        let source = sources.entry(file.clone()).or_insert_with(|| {
            std::fs::read_to_string(root.join(&file)).expect("a file that the list names")
        });
        let place = |end: &str| {
            let at = |key: &str| entry["span"][end][key].as_u64().expect("a number") as usize;
            offset(source, at("line"), at("column"))
        };
        let (from, to) = (place("start"), place("end"));
        let (name, genre, replacement) = (of("name"), of("genre"), of("replacement"));
        mutants.push(Mutant { name, file, genre, from, to, replacement });
    }
    (mutants, sources)
}

/// Lines and columns count from one, and columns count characters.
fn offset(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line - 1).map(str::len).sum();
    let chars = text[start..].char_indices().map(|(at, _)| at);
    start + chars.chain([text.len() - start]).nth(column - 1).expect("a column of the line")
}
