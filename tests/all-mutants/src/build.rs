//! Writes the woven workspace and builds it; what the compiler rejects is taken out.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::list::{Mutant, Sources};
use crate::places::{Place, Places, Way};
use crate::weave::{MUTANT_RS, Site, Woven, is_faithful, weave};

/// A program of tests.
pub struct Program {
    /// The built file.
    pub path: PathBuf,
    /// Where it is run.
    pub folder: PathBuf,
}

/// What is the same already is left alone, so that it is not compiled again.
fn written(path: &Path, text: &[u8]) {
    if std::fs::read(path).ok().as_deref() != Some(text) {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, text).expect("written");
    }
}

/// Copies all files of `from` to `to`, but for those that are woven.
pub fn copied(from: &Path, to: &Path, sources: &Sources) {
    let mut folders = vec![from.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry")) {
            let path = entry.path();
            let name = path.strip_prefix(from).expect("within it");
            if path.is_dir() {
                folders.push(path);
            } else if !sources.contains_key(&*name.to_string_lossy()) {
                let mut text = std::fs::read(&path).expect("a file");
                if name == Path::new("host-sim/src/lib.rs") {
                    text.extend(b"pub mod mutant;\n");
                }
                written(&to.join(name), &text);
            }
        }
    }
    written(&to.join("host-sim/src/mutant.rs"), MUTANT_RS.as_bytes());
}

/// Makes `root` a workspace with all mutants that can be chosen at run time; answers their numbers. Those
/// that are `known` cannot.
pub fn woven(
    root: &Path,
    mutants: &[Mutant],
    sources: &Sources,
    known: &BTreeSet<&str>,
) -> BTreeSet<usize> {
    let places: BTreeMap<&String, Places> =
        sources.iter().map(|(file, text)| (file, Places::new(text))).collect();
    let mut chosen: BTreeMap<usize, Place> = BTreeMap::new();
    for (i, m) in mutants.iter().enumerate() {
        let place = places[&m.file].of(&m.genre, m.from, m.to);
        if let (Some(place), false) = (place, known.contains(&*m.name)) {
            chosen.insert(i + 1, place);
        }
    }
    println!("{} of {} mutants have a place", chosen.len(), mutants.len());
    let expressions = chosen.iter().filter(|(_, place)| place.way == Way::Expression);
    // Not once more when a run goes on.
    for (n, place) in expressions.filter(|_| known.is_empty()) {
        let m = &mutants[n - 1];
        assert!(is_faithful(&sources[&m.file], place, m), "another change: {}", m.name);
    }
    loop {
        let files = write(root, mutants, sources, &chosen);
        let rejected = rejected(root, &files);
        if rejected.is_empty() {
            return chosen.into_keys().collect();
        }
        println!("the compiler rejects {}", rejected.len());
        chosen.retain(|n, _| !rejected.contains(n));
    }
}

fn write(
    root: &Path,
    mutants: &[Mutant],
    sources: &Sources,
    chosen: &BTreeMap<usize, Place>,
) -> BTreeMap<String, Woven> {
    let mut files = BTreeMap::new();
    for (file, source) in sources {
        let mut sites: BTreeMap<&Place, Vec<usize>> = BTreeMap::new();
        for (&n, place) in chosen.iter().filter(|(n, _)| mutants[**n - 1].file == *file) {
            sites.entry(place).or_default().push(n);
        }
        let site = |(place, numbers): (&Place, Vec<usize>)| Site { place: place.clone(), numbers };
        let woven = weave(source, mutants, sites.into_iter().map(site).collect());
        written(&root.join(file), woven.text.as_bytes());
        files.insert(file.clone(), woven);
    }
    files
}

fn cargo(root: &Path, args: &[&str]) -> Vec<Value> {
    let out = Command::new("cargo")
        .args(args)
        .args(["--message-format=json"])
        .current_dir(root)
        .stderr(Stdio::null())
        .output()
        .expect("cargo");
    let text = String::from_utf8(out.stdout).expect("text");
    let lines = text.lines().filter(|l| l.starts_with('{'));
    lines.map(|l| serde_json::from_str(l).expect("JSON")).collect()
}

/// The mutants that errors of the compiler lie in.
fn rejected(root: &Path, files: &BTreeMap<String, Woven>) -> BTreeSet<usize> {
    let mut found = BTreeSet::new();
    let messages = cargo(root, &["check", "-p", "host-sim", "--lib"]);
    for message in messages.iter().map(|m| &m["message"]).filter(|m| m["level"] == "error") {
        let spans = message["spans"].as_array().map_or(&[][..], |s| &s[..]);
        let within = |span: &Value| -> Vec<usize> {
            let file = span["file_name"].as_str().and_then(|f| files.get(f));
            let at = |key: &str| span[key].as_u64().unwrap_or(0) as usize;
            let parts = file.map_or(&[][..], |f| &f.parts[..]).iter();
            let holds = |p: &&(std::ops::Range<usize>, usize)| {
                p.0.start <= at("byte_start") && at("byte_end") <= p.0.end
            };
            parts.filter(holds).map(|p| p.1).collect()
        };
        let mut own: Vec<usize> =
            spans.iter().filter(|s| s["is_primary"] == true).flat_map(within).collect();
        if own.is_empty() {
            own = spans.iter().flat_map(within).collect();
        }
        let summary = message["message"].as_str().unwrap_or("").starts_with("aborting due to");
        assert!(
            !own.is_empty() || spans.is_empty() || summary,
            "{}",
            message["rendered"].as_str().unwrap_or("")
        );
        found.extend(own);
    }
    found
}

/// Builds the tests; the programs that were made.
pub fn tests(root: &Path) -> Vec<Program> {
    let messages =
        cargo(root, &["test", "--no-run", "-j2", "-p", "host-sim", "-p", "slipwarden-tests"]);
    let mut programs = Vec::new();
    for m in &messages {
        if let (Some(path), true) = (m["executable"].as_str(), m["profile"]["test"] == true) {
            let manifest = Path::new(m["manifest_path"].as_str().expect("a path"));
            let folder = manifest.parent().expect("a folder").to_path_buf();
            programs.push(Program { path: path.into(), folder });
        }
    }
    let finished = messages.iter().any(|m| m["reason"] == "build-finished" && m["success"] == true);
    assert!(finished, "the tests do not build");
    programs
}
