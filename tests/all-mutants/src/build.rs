//! Writes the woven workspace and builds it; what the compiler rejects is taken out.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::list::{Mutant, Sources};
use crate::places::{Place, Places};
use crate::weave::{MUTANT_RS, Site, Woven, weave};

/// A program of tests.
pub struct Program {
    /// The built file.
    pub path: PathBuf,
    /// Where it is run.
    pub folder: PathBuf,
}

/// Makes `root` a workspace with all mutants that can be chosen at run time; answers their numbers.
pub fn woven(root: &Path, mutants: &[Mutant], sources: &Sources) -> BTreeSet<usize> {
    let places: BTreeMap<&String, Places> =
        sources.iter().map(|(file, text)| (file, Places::new(text))).collect();
    let mut chosen: BTreeMap<usize, Place> = BTreeMap::new();
    for (i, m) in mutants.iter().enumerate() {
        if let Some(place) = places[&m.file].of(&m.genre, m.from, m.to) {
            chosen.insert(i + 1, place);
        }
    }
    println!("{} of {} mutants have a place", chosen.len(), mutants.len());
    std::fs::write(root.join("host-sim/src/mutant.rs"), MUTANT_RS).expect("written");
    let lib = root.join("host-sim/src/lib.rs");
    let text = std::fs::read_to_string(&lib).expect("a library");
    if !text.contains("mod mutant;") {
        std::fs::write(&lib, text + "pub mod mutant;\n").expect("written");
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
        std::fs::write(root.join(file), &woven.text).expect("written");
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
