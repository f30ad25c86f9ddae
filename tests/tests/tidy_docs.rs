//! Pages for readers tell the truth: safety rules are paired with code and tests, every module
//! and dependency is on its page, links lead somewhere, commands are those that CI runs.

use std::collections::BTreeSet;

use slipwarden_tests::source::{functions, paths, read, root};

/// `SW-...` identifiers that stand in a text.
fn identifiers(text: &str) -> BTreeSet<String> {
    let part = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit();
    text.match_indices("SW-")
        .map(|(at, _)| text[at + 3..].chars().take_while(|&c| part(c)).collect::<String>())
        .filter(|name| !name.is_empty())
        .map(|name| format!("SW-{name}"))
        .collect()
}

/// Identifiers with the file of their one branch: in the supervisor a comment of its own, in a
/// checker the constant `RULE`.
fn rules_in_code() -> Vec<(String, String)> {
    let mut found = Vec::new();
    for path in paths() {
        let line_of = |line: &str| -> Option<String> {
            let line = line.trim();
            let id = match path.as_str() {
                "supervisor/src/interlock.rs"
                | "supervisor/src/race.rs"
                | "supervisor/src/stray.rs"
                | "supervisor/src/unasked.rs"
                | "supervisor/src/unseen.rs"
                | "supervisor/src/decide/rest.rs" => line.strip_prefix("// ")?,
                p if p.starts_with("host-sim/src/checkers/") => {
                    line.strip_prefix("const RULE: &str = \"")?.strip_suffix("\";")?
                }
                _ => return None,
            };
            id.starts_with("SW-").then(|| id.to_string())
        };
        if path.ends_with(".rs") {
            found.extend(read(&path).lines().filter_map(line_of).map(|id| (id, path.clone())));
        }
    }
    found
}

/// Sections of the rules page: identifier and text.
fn rules_page() -> Vec<(String, String)> {
    let page = read("docs/rules.md");
    let sections = page.split("\n## ").skip(1);
    sections
        .map(|s| s.split_once('\n').expect("a heading and a text"))
        .map(|(id, text)| (id.to_string(), text.to_string()))
        .collect()
}

fn after<'a>(text: &'a str, label: &str) -> &'a str {
    let line = text.lines().find_map(|l| l.strip_prefix(label));
    line.unwrap_or_else(|| panic!("{label:?} is missing in:\n{text}")).trim()
}

#[test]
fn each_safety_rule_has_one_branch_one_section_and_its_test() {
    let code = rules_in_code();
    let page = rules_page();
    let ids =
        |pairs: &[(String, String)]| pairs.iter().map(|(id, _)| id.clone()).collect::<Vec<_>>();
    let unique: BTreeSet<String> = ids(&code).into_iter().collect();
    assert_eq!(unique.len(), code.len(), "an identifier has two branches: {:?}", ids(&code));
    assert_eq!(unique, ids(&page).into_iter().collect(), "code against docs/rules.md");
    for (id, text) in &page {
        for label in ["- Hazard:", "- Reason:", "- Limit:"] {
            assert!(!after(text, label).is_empty(), "{id}: {label}");
        }
        let file = after(text, "- Code:").trim_matches('`');
        assert!(code.contains(&(id.clone(), file.to_string())), "{id} is not in {file}");
        let words: Vec<&str> = after(text, "- Canonical test:").split('`').collect();
        let [_, test, _, file, _] = words[..] else { panic!("{id}: {words:?}") };
        let prefix = format!("{}_", id.to_lowercase().replace('-', "_"));
        assert!(test.starts_with(&prefix), "{id}: {test}");
        assert!(functions(&read(file)).iter().any(|f| f.0 == test), "{id}: no {test} in {file}");
    }
}

/// No page, test or report speaks of a rule that does not exist.
#[test]
fn no_unknown_safety_rule_is_named() {
    assert_eq!(identifiers("SW-I1: x, SW-FOO. SW-").len(), 2);
    let mut known: BTreeSet<String> = rules_in_code().into_iter().map(|(id, _)| id).collect();
    // The interlock's rules as a family, those for machines, and those that end what a fault began.
    known.extend(["SW-I", "SW-M", "SW-D"].map(str::to_string));
    for path in paths() {
        let text = path.ends_with(".rs") || path.ends_with(".md");
        if !text || path == "tests/tests/tidy_docs.rs" {
            continue;
        }
        let strange: Vec<String> = identifiers(&read(&path)).difference(&known).cloned().collect();
        assert!(strange.is_empty(), "{path}: {strange:?}");
    }
}

/// Modules of the crates, as the code map must name them: `host-sim/src/plant`.
fn modules() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for path in paths() {
        for root in ["supervisor/src/", "host-sim/src/", "tests/src/"] {
            let Some(rest) = path.strip_prefix(root) else { continue };
            let module = rest.split('/').next().unwrap_or(rest).trim_end_matches(".rs");
            if !["lib", "main"].contains(&module) {
                found.insert(format!("{root}{module}"));
            }
        }
    }
    found
}

#[test]
fn the_code_map_names_every_module_and_nothing_that_is_gone() {
    let page = read("docs/architecture.md");
    let map = page.split("## Code map").nth(1).expect("a code map");
    let mapped: BTreeSet<String> = map
        .lines()
        .filter_map(|l| l.strip_prefix("- `"))
        .filter_map(|l| l.split('`').next())
        .filter(|p| p.contains("/src/"))
        .map(str::to_string)
        .collect();
    assert_eq!(mapped, modules());
    assert!(page.matches("**Architecture invariant:**").count() >= 8);
}

#[test]
fn every_dependency_is_explained_and_none_that_is_gone() {
    let manifest = read("Cargo.toml");
    let section = manifest
        .split("[workspace.dependencies]")
        .nth(1)
        .and_then(|s| s.split("\n[").next())
        .expect("dependencies");
    let used: BTreeSet<&str> = section
        .lines()
        .filter(|l| !l.contains("path =") && l.contains('='))
        .filter_map(|l| l.split([' ', '=']).next())
        .collect();
    let page = read("docs/dependencies.md");
    let explained: BTreeSet<&str> = page.lines().filter_map(|l| l.strip_prefix("## ")).collect();
    assert_eq!(explained, used);
    let supervisor = read("supervisor/Cargo.toml");
    let own = supervisor.split("[dependencies]").nth(1).and_then(|s| s.split("\n[").next());
    let own: Vec<&str> =
        own.expect("a section").lines().filter_map(|l| l.split_once(" = ")).map(|p| p.0).collect();
    assert_eq!(
        own,
        ["defmt", "embedded-hal", "heapless", "micromath"],
        "the board's dependencies are few"
    );
}

/// Targets of Markdown links and pictures that are files.
fn links(text: &str) -> Vec<String> {
    let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    let files = targets.filter(|t| !t.contains("://") && !t.starts_with('#'));
    files.map(|t| t.split('#').next().unwrap_or(t).to_string()).collect()
}

#[test]
fn links_and_named_files_exist() {
    assert_eq!(links("[a](b.md#c) ![d](e.svg) [f](https://rustup.rs)"), ["b.md", "e.svg"]);
    let mut checked = 0;
    for path in paths().iter().filter(|p| p.ends_with(".md")) {
        let text = read(path);
        let folder = path.rsplit_once('/').map_or(String::new(), |(f, _)| format!("{f}/"));
        for link in links(&text) {
            assert!(root().join(format!("{folder}{link}")).exists(), "{path}: {link}");
            checked += 1;
        }
        // `docs/file-format.md` and the like, in backticks and without placeholders.
        for word in text.split('`').skip(1).step_by(2) {
            let named = ["docs/", "supervisor/", "host-sim/", "tests/"].iter();
            if named.clone().any(|f| word.starts_with(f)) && !word.contains([' ', '<', '*', '{']) {
                let file = root().join(word);
                let module = root().join(format!("{word}.rs"));
                assert!(file.exists() || module.exists(), "{path}: {word}");
                checked += 1;
            }
        }
    }
    assert!(checked > 20, "{checked}");
}

/// How a heading is called in a link: small letters, digits and `_`, spaces as `-`.
fn anchor(heading: &str) -> String {
    let kept = heading.trim().chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
    kept.map(|c| if c == ' ' { '-' } else { c.to_ascii_lowercase() }).collect()
}

#[test]
fn links_into_pages_meet_a_heading() {
    assert_eq!(anchor("`[[gear_pair]]`"), "gear_pair");
    assert_eq!(anchor("A vehicle, and more"), "a-vehicle-and-more");
    let mut checked = 0;
    for path in paths().iter().filter(|p| p.ends_with(".md")) {
        let text = read(path);
        let folder = path.rsplit_once('/').map_or(String::new(), |(f, _)| format!("{f}/"));
        let targets = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
        for target in targets.filter(|t| !t.contains("://")) {
            let Some((file, place)) = target.split_once('#') else { continue };
            let page =
                if file.is_empty() { text.clone() } else { read(&format!("{folder}{file}")) };
            let mut headings = page.lines().filter(|l| l.starts_with('#'));
            let meets = headings.any(|h| anchor(h.trim_start_matches('#')) == place);
            assert!(meets, "{path}: {target}");
            checked += 1;
        }
    }
    assert!(checked > 5, "{checked}");
}

/// Every page of the book stands in its table of contents, once, and pages do not repeat each
/// other: no long sentence stands in two of them.
#[test]
fn the_book_has_every_page_once_and_nothing_twice() {
    let contents = read("docs/README.md");
    let listed = links(&contents);
    let pages: Vec<String> = paths()
        .into_iter()
        .filter(|p| p.starts_with("docs/") && p.ends_with(".md") && p != "docs/README.md")
        .collect();
    let mut seen: BTreeSet<(String, String)> = BTreeSet::new();
    for path in &pages {
        let name = path.trim_start_matches("docs/");
        if name.contains('/') {
            continue;
        }
        assert_eq!(listed.iter().filter(|l| *l == name).count(), 1, "{name} in the contents");
        // Generated pages repeat what keys have in common.
        let text = read(path);
        if text.starts_with("<!-- Generated")
            || ["Generated by `cargo renew`", "do not edit"].iter().any(|s| text.contains(s))
        {
            continue;
        }
        let prose: String = text.split("```").step_by(2).collect();
        for sentence in prose.split(['.', '|']).map(|s| s.split_whitespace().collect::<Vec<_>>()) {
            let sentence = sentence.join(" ");
            if sentence.len() < 90 {
                continue;
            }
            let twin = seen.iter().find(|s| s.0 == sentence && s.1 != *path);
            assert!(twin.is_none(), "{path} and {twin:?}");
            seen.insert((sentence, path.clone()));
        }
    }
    assert!(seen.len() > 100, "{}", seen.len());
}

#[test]
fn the_two_commands_stand_in_the_readme_and_tests_run_so_in_ci() {
    let readme = read("README.md");
    let block = readme.split("```sh\n").nth(1).and_then(|s| s.split("```").next());
    let commands: Vec<&str> = block
        .expect("a block of commands")
        .lines()
        .map(|l| l.split('#').next().unwrap_or(l).trim())
        .collect();
    assert_eq!(commands, ["cargo run --release -- review", "cargo test --workspace"]);
    assert!(read(".ci/run").contains(&format!("step {}\n", commands[1])));
    assert!(read("DEVELOPERS.md").contains("bash .ci/run"));
}

/// Keys of JSON objects, at any depth, but not below objects whose keys are names.
fn keys(value: &serde_json::Value, found: &mut BTreeSet<String>) {
    match value {
        serde_json::Value::Array(list) => list.iter().for_each(|v| keys(v, found)),
        serde_json::Value::Object(map) => {
            for (key, value) in map {
                found.insert(key.clone());
                if !["target_row", "load_row"].contains(&key.as_str()) {
                    keys(value, found);
                }
            }
        }
        _ => {}
    }
}

#[test]
fn every_key_of_the_table_json_is_described() {
    let page = read("docs/table-json.md");
    for name in host_sim::driveline::DEMOS {
        let (d, data) = host_sim::generated::demo_table(name).expect("a table");
        let mut found = BTreeSet::new();
        let k = host_sim::kinematics::analyse(&d).expect("demos can move");
        let guards = host_sim::audit::json(&host_sim::audit::proofs(&d, &k, &data));
        keys(&host_sim::table::json(&d, &data, &guards), &mut found);
        assert!(found.len() > 30, "{found:?}");
        for key in found {
            let told = [format!("`{key}`"), format!("`{key}[]`")].iter().any(|k| page.contains(k));
            assert!(told, "{name}: {key} is not on its page");
        }
    }
}
