//! What a campaign writes: its files follow their standards and pages, and its findings repeat.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::campaign::crc32c;
use crate::program::{Folder, run};

/// A file of the repository.
fn read(path: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    std::fs::read_to_string(root.join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// The axle under a limit that its drives break: the judge's, which the table knows nothing of.
/// Its name is one that XML, CSV and shells would stumble over.
const STRICT: &str = "a & b <\"c\">.toml";

/// A campaign of it, in a folder of its own, with one finding or more.
fn with_findings(name: &str) -> (Folder, PathBuf) {
    let folder = Folder::new(name);
    let axle = read("host-sim/drivelines/axle.toml");
    let strict = axle.replace("[vehicle]\n", "[vehicle]\ndriveline_decel_max_mps2 = 0.001\n");
    assert_ne!(axle, strict);
    folder.write(STRICT, strict);
    let ran =
        run(folder.path(), &["campaign", STRICT, "--cases", "40", "--faults", "0", "--out", "out"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let out = folder.path().join("out");
    (folder, out)
}

fn file(out: &Path, name: &str) -> String {
    std::fs::read_to_string(out.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn campaign_json(out: &Path) -> Value {
    serde_json::from_str(&file(out, "campaign.json")).expect("JSON")
}

/// An element with its attributes and its text, its children behind it.
struct Element {
    name: String,
    attributes: Vec<(String, String)>,
    text: String,
    depth: usize,
}

/// Text with its references resolved: those that XML 1.0 predefines, and the number of the
/// apostrophe (4.1, "character reference").
fn unescaped(text: &str) -> String {
    assert!(!text.contains(['<', '>']), "{text}");
    let text_char = |c: char| c == '\n' || c == '\t' || c >= ' ' && !"\u{fffe}\u{ffff}".contains(c);
    assert!(text.chars().all(text_char), "{text:?} holds what XML 1.0 does not allow");
    let mut parts = text.split('&');
    let mut out = parts.next().unwrap_or("").to_string();
    for part in parts {
        let (name, rest) = part.split_once(';').expect("a reference that ends");
        let names = [("amp", "&"), ("lt", "<"), ("gt", ">"), ("quot", "\""), ("#39", "'")];
        let found = names.iter().find(|(n, _)| *n == name);
        out += found.unwrap_or_else(|| panic!("&{name}; is not predefined")).1;
        out += rest;
    }
    out
}

fn attributes(mut text: &str) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    while !text.trim().is_empty() {
        let (name, rest) = text.trim_start().split_once("=\"").expect("name=\"value\"");
        let (value, rest) = rest.split_once('"').expect("a value that ends");
        assert!(found.iter().all(|(n, _)| n != name), "{name} twice");
        found.push((name.to_string(), unescaped(value)));
        text = rest;
    }
    found
}

/// The elements of a document (XML 1.0, 2.1: one root, tags nest); what we write needs no more.
fn elements(xml: &str) -> Vec<Element> {
    let body = xml.strip_prefix("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n").expect("a head");
    let (mut all, mut open): (Vec<Element>, Vec<usize>) = (Vec::new(), Vec::new());
    for piece in body.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').expect("a tag that ends");
        if let Some(name) = tag.strip_prefix('/') {
            let closed = open.pop().expect("an open element");
            assert_eq!(all[closed].name, name);
        } else {
            let (tag, closed) = tag.strip_suffix('/').map_or((tag, false), |tag| (tag, true));
            let (name, rest) = tag.split_once(' ').unwrap_or((tag, ""));
            assert!(!open.is_empty() || all.is_empty(), "a second root");
            all.push(Element {
                name: name.to_string(),
                attributes: attributes(rest),
                text: String::new(),
                depth: open.len(),
            });
            if !closed {
                open.push(all.len() - 1);
            }
        }
        match open.last() {
            Some(&inner) => all[inner].text += &unescaped(text),
            None => assert!(text.trim().is_empty()),
        }
    }
    assert!(open.is_empty(), "an element does not end");
    all
}

#[test]
fn the_junit_file_is_well_formed_and_counts_right() {
    for bad in ["<a><b></a></b>", "<a>", "<a/><b/>", "<a b=\"1\" b=\"2\"/>", "<a>&x;</a>"] {
        let xml = format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{bad}");
        assert!(std::panic::catch_unwind(|| elements(&xml)).is_err(), "{bad} passes");
    }
    let (_folder, out) = with_findings("campaign-junit");
    let all = elements(&file(&out, "campaign.xml"));
    let of = |name: &str| all.iter().filter(|e| e.name == name).collect::<Vec<_>>();
    let get = |e: &Element, key: &str| {
        let found = e.attributes.iter().find(|(name, _)| name == key);
        found.unwrap_or_else(|| panic!("{} has no {key}", e.name)).1.clone()
    };
    assert_eq!((all[0].name.as_str(), all[1].name.as_str()), ("testsuites", "testsuite"));
    let cases = of("testcase");
    let json = campaign_json(&out);
    let rules: Vec<&str> = json["rules"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|r| r["rule"].as_str().expect("text"))
        .collect();
    let names: Vec<String> = cases.iter().map(|c| get(c, "name")).collect();
    assert_eq!(names, [&rules[..], &["every case ran"]].concat());
    assert_eq!(get(&all[1], "tests"), cases.len().to_string());
    let broken = json["rules"].as_array().expect("a list").iter().filter(|r| r["broken"] != 0);
    let failures = of("failure");
    assert_eq!(get(&all[1], "failures"), failures.len().to_string());
    assert_eq!(failures.len(), broken.count());
    assert_eq!(get(&all[1], "errors"), of("error").len().to_string());
    // As a shell takes it: the name has blanks and marks.
    assert!(failures[0].text.contains(&format!("slipwarden replay '{STRICT}' --case")));
    assert!(all.iter().all(|e| e.depth <= 3));
}

/// Records of a CSV text (RFC 4180, section 2: CRLF ends every record here; quotes are doubled).
fn records(text: &str) -> Vec<Vec<String>> {
    let body = text.strip_suffix("\r\n").expect("CRLF ends the last record too");
    let mut records = vec![vec![String::new()]];
    let mut chars = body.chars().peekable();
    let mut quoted = false;
    while let Some(c) = chars.next() {
        let fields = records.last_mut().expect("never empty");
        let field = fields.last_mut().expect("never empty");
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => field.extend(chars.next()),
            '"' if quoted => quoted = false,
            '"' if field.is_empty() => quoted = true,
            c if quoted => field.push(c),
            ',' => fields.push(String::new()),
            '\r' => {
                assert_eq!(chars.next(), Some('\n'), "a carriage return alone");
                records.push(vec![String::new()]);
            }
            c => {
                assert!(c != '\n' && c != '"', "{c:?} outside of quotes");
                field.push(c);
            }
        }
    }
    assert!(!quoted, "a quote that does not end");
    records
}

#[test]
fn the_margins_are_csv_and_say_what_the_json_says() {
    assert_eq!(records("a,\"b \"\"c\"\", d\"\r\n1,\r\n"), [["a", "b \"c\", d"], ["1", ""]]);
    let (_folder, out) = with_findings("campaign-csv");
    let all = records(&file(&out, "margins.csv"));
    let (head, rows) = all.split_first().expect("a head");
    assert!(rows.iter().all(|row| row.len() == head.len()), "as many fields in each record");
    let json = campaign_json(&out);
    let margins = json["margins"].as_array().expect("a list");
    assert_eq!(rows.len(), margins.len());
    assert!(rows.len() > 10);
    for (row, margin) in rows.iter().zip(margins) {
        let bins = margin["bins"].as_array().expect("a list");
        let first_bin = head.iter().position(|h| h == "beyond").expect("a column");
        for (name, value) in head.iter().zip(row).take(first_bin) {
            let told = match (name.as_str(), &margin[name]) {
                ("cases", _) => bins.iter().filter_map(Value::as_u64).sum::<u64>() == number(value),
                (_, Value::String(text)) => text == value,
                (_, told) => told.as_f64() == value.parse().ok(),
            };
            assert!(told, "{name}: {value} and {}", margin[name]);
        }
        let counts: Vec<u64> = row[first_bin..].iter().map(|n| number(n)).collect();
        assert_eq!(counts, bins.iter().filter_map(Value::as_u64).collect::<Vec<_>>());
        // The worst value and the histogram were counted apart: its bin is the lowest with a case.
        let left = margin["left_share"].as_f64().expect("a number");
        let lowest = counts.iter().position(|n| *n > 0).expect("a case");
        let bin = if left < 0.0 { 0 } else { 1 + ((left * 20.0) as usize).min(19) };
        assert_eq!(lowest, bin, "{margin}");
    }
    let page = read("docs/campaign-json.md");
    for name in head.iter().filter(|name| !name.starts_with("left_") || *name == "left_share") {
        assert!(page.contains(&format!("`{name}`")), "{name} is not on its page");
    }
    assert!(page.contains("`left_0`") && page.contains("`left_95`"));
}

fn number(text: &str) -> u64 {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

/// Keys of JSON objects, at any depth.
fn keys(value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Array(list) => list.iter().for_each(|v| keys(v, found)),
        Value::Object(map) => map.iter().for_each(|(key, value)| {
            found.insert(key.clone());
            keys(value, found);
        }),
        _ => {}
    }
}

#[test]
fn every_key_that_is_written_is_described() {
    let (folder, out) = with_findings("campaign-keys");
    let page = read("docs/campaign-json.md");
    let mut found = BTreeSet::new();
    keys(&campaign_json(&out), &mut found);
    for line in file(&out, "share-0-of-1.results").lines() {
        let (_, text) = line.split_once(' ').expect("a checksum and a text");
        keys(&serde_json::from_str(text).expect("JSON"), &mut found);
    }
    let defects = ["campaign", "axle", "--defects", "--cases", "3", "--sample", "4", "--json"];
    let defects = run(folder.path(), &defects);
    assert!(defects.code < 2, "{}", defects.stderr);
    let defects: Value = serde_json::from_str(&defects.stdout).expect("JSON");
    assert_eq!(defects["tried"].as_array().map(Vec::len), Some(4));
    keys(&defects, &mut found);
    assert!(found.len() > 50, "{found:?}");
    for key in found {
        let told = [format!("`{key}`"), format!("`{key}[]`")].iter().any(|k| page.contains(k));
        assert!(told, "{key} is not on its page");
    }
    let example = page.lines().find(|l| l.contains(" {\"block\":")).expect("an example");
    let (sum, text) = example.split_once(' ').expect("a checksum and a text");
    assert_eq!(sum, format!("{:08x}", crc32c(text.as_bytes())), "the example's checksum");
    assert_eq!(format!("{:08x}", crc32c(b"123456789")), "e3069283");
    let json = campaign_json(&out);
    assert_eq!((json["campaign"].as_u64(), json["chance_bound_95"].is_null()), (Some(1), true));
}

/// The commands that a campaign tells repeat what it found.
#[test]
fn findings_repeat_and_shrunk_ones_are_smaller() {
    let (folder, out) = with_findings("campaign-replay");
    let json = campaign_json(&out);
    let found = &json["findings"][0];
    let (case, rule) = (found["case"].to_string(), found["rule"].as_str().expect("text"));
    let text = found["text"].as_str().expect("text");
    let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let whole = run(
        folder.path(),
        &["replay", STRICT, "--case", &case, "--faults", "0", "--write", "case.toml"],
    );
    assert_eq!(whole.code, 1, "{}", whole.stderr);
    let says = one_line(&whole.stdout);
    assert!(says.contains(rule) && says.contains(text), "{text}: {}", whole.stdout);
    // The same from the scenario that it wrote, by both commands that read scenarios.
    for command in ["replay", "drive"] {
        let again = run(folder.path(), &[command, STRICT, "case.toml"]);
        assert_eq!((again.code, &again.stdout), (1, &whole.stdout), "{}", again.stderr);
    }
    let stem = format!("out/findings/{}-{case}", rule.to_lowercase());
    let small =
        run(folder.path(), &["replay", STRICT, &format!("{stem}.toml"), "--svg", "small.svg"]);
    assert_eq!(small.code, 1, "{}", small.stderr);
    assert!(small.stdout.contains(rule), "{}", small.stdout);
    let seconds = |name: &str| -> f64 {
        let text = std::fs::read_to_string(folder.path().join(name)).expect("it is there");
        let line = text.lines().find_map(|l| l.strip_prefix("duration_s = ")).expect("a duration");
        line.parse().expect("a number")
    };
    assert!(seconds(&format!("{stem}.toml")) < seconds("case.toml"));
    for picture in ["small.svg", &format!("{stem}.svg")] {
        let svg = std::fs::read_to_string(folder.path().join(picture)).expect("it is there");
        assert!(svg.contains("<svg") && svg.trim_end().ends_with("</svg>"), "{picture}");
    }
    // Another case of the campaign is sound.
    let list = json["findings"].as_array().expect("a list");
    let sound = (0..40u64).find(|n| list.iter().all(|f| f["case"].as_u64() != Some(*n)));
    let sound = sound.expect("some cases are sound").to_string();
    let ran = run(folder.path(), &["replay", STRICT, "--case", &sound, "--faults", "0"]);
    assert_eq!(ran.code, 0, "{}", ran.stdout);
}

/// What a campaign found of a planted defect is seen again with that defect, and not without it.
#[test]
fn a_planted_defect_is_replayed() {
    let folder = Folder::new("campaign-defect-replay");
    let kind = ["--kind", "unload check", "--cases", "30", "--json"];
    let ran = run(folder.path(), &[&["campaign", "axle", "--defects"], &kind[..]].concat());
    let json: Value = serde_json::from_str(&ran.stdout).expect("JSON");
    let (seed, tried) = (json["seeds"][0].to_string(), &json["tried"][0]);
    let found = &tried["by_seed"][0];
    let rule = found["by"].as_str().expect("it is found in so many cases");
    let (number, case) = (tried["number"].to_string(), found["cases"].as_u64().expect("a number"));
    let case = (case - 1).to_string();
    let case = ["replay", "axle", "--case", &case, "--seed", &seed];
    let planted = ["--defect", &number, "--trace", "ticks.csv"];
    let with = run(folder.path(), &[&case[..], &planted].concat());
    assert_eq!(with.code, 1, "{}", with.stderr);
    assert!(with.stdout.contains(rule) && with.stderr.contains("planted: unload check"));
    let ticks = std::fs::read_to_string(folder.path().join("ticks.csv")).expect("it is there");
    assert!(ticks.lines().filter(|line| !line.starts_with('#')).count() > 1000);
    let findings = |text: &str| {
        let (_, rest) = text.split_once("Findings of").expect("a part of its own");
        rest.split_once("Nearest").expect("and what is nearest").0.contains(rule)
    };
    let without = run(folder.path(), &case);
    assert!(findings(&with.stdout) && !findings(&without.stdout), "{}", without.stdout);
}

/// Examples for array jobs use commands and options that exist.
#[test]
fn the_examples_of_array_jobs_use_existing_options() {
    let folder = Folder::new("campaign-examples");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/array-jobs");
    let entries = std::fs::read_dir(&root).unwrap_or_else(|e| panic!("docs/array-jobs: {e}"));
    let mut texts: Vec<(String, String)> = entries
        .map(|entry| entry.expect("an entry").path())
        .map(|path| (path.display().to_string(), std::fs::read_to_string(path).expect("text")))
        .collect();
    texts.push(("docs/campaign.md".to_string(), read("docs/campaign.md")));
    let mut checked = BTreeSet::new();
    for (path, text) in &texts {
        // A command may go on on the next line, in a shell or as a list of YAML.
        let text = text.replace("\\\n", " ").replace("\", \"", " ").replace(['"', '`', '\''], " ");
        for (at, _) in text.match_indices("slipwarden ") {
            let rest = text[at..].split(['\n', '|', '&', ';', ']']).next().unwrap_or("");
            let words: Vec<&str> = rest.split_whitespace().skip(1).collect();
            let Some(command) =
                words.first().filter(|w| ["campaign", "merge", "replay"].contains(w))
            else {
                continue;
            };
            let help = run(folder.path(), &[command, "--help"]);
            for option in words.iter().filter_map(|w| w.strip_prefix("--")) {
                let option = option.split('=').next().unwrap_or(option);
                let known = format!("--{option}");
                let there = help.stdout.split_whitespace().any(|w| w == known);
                assert!(there, "{path}: slipwarden {command} has no {known}");
                checked.insert(format!("{command} {known}"));
            }
        }
    }
    for needed in ["campaign --shards", "campaign --resume", "merge --out", "replay --case"] {
        assert!(checked.contains(needed), "no example uses {needed}: {checked:?}");
    }
}
