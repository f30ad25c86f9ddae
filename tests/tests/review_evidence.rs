//! Evidence of a review: made or read, refused where it is of something else, traced to rules,
//! and never called a pass where it is not whole.

use std::path::PathBuf;

use host_sim::review::{
    Depth, Evidence, Kind, Making, Options, Origin, Outcome, Part, Progress, Quiet, Report,
    ReviewFile, Says, State, Subject, Work, conduct, files, make, read, requirements, sha256_hex,
};
use serde_json::{Value, json};
use slipwarden_tests::source::root;

/// A little of everything.
const WORK: Work = Work {
    faults: 0,
    states: 300_000,
    memory_mib: 512,
    cases: 40,
    case_faults: 1,
    defects: 3,
    defect_states: 300_000,
    plant_defects: 2,
    plant_defect_cases: 6,
    grid: (5, 4),
};
/// Nothing that takes time.
const LEAST: Work =
    Work { states: 100, cases: 0, defects: 0, plant_defects: 0, grid: (2, 2), ..WORK };

fn subject(demo: &str) -> Subject {
    Subject::read(demo, 1).expect("an embedded demo")
}

fn made(subject: &Subject, work: Work, threads: usize, progress: &mut dyn Progress) -> Evidence {
    make(subject, Vec::new(), &mut Making { work, threads, folder: None, progress })
}

/// The axle's report with all evidence, made on so many threads.
fn report(threads: usize) -> Report {
    let mut report = Report::of(subject("axle"), threads, &mut Quiet);
    report.evidence = made(&report.subject, WORK, threads, &mut Quiet);
    report
}

fn text<'a>(files: &'a [ReviewFile], path: &str) -> &'a str {
    let file = files.iter().find(|f| f.path == path).unwrap_or_else(|| panic!("no {path}"));
    std::str::from_utf8(&file.bytes).expect("text")
}

/// A folder of this process's own.
fn scratch(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("slipwarden-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).expect("a temporary folder");
    path
}

#[test]
fn the_same_inputs_give_the_same_bytes_with_all_evidence() {
    let (one, many) = (files(&report(1)), files(&report(5)));
    assert_eq!(one.len(), many.len());
    for (a, b) in one.iter().zip(&many) {
        assert_eq!(a.path, b.path);
        assert!(a.bytes == b.bytes, "{} differs", a.path);
    }
    for kind in Kind::ALL {
        assert!(one.iter().any(|f| f.path == format!("evidence/{}.json", kind.word())));
    }
}

/// Every rule has its code, its test and its evidence; CSV, JUnit and JSON say the same of it.
#[test]
fn every_rule_is_traced_to_code_test_evidence_and_result() {
    let report = report(2);
    let all = files(&report);
    let traced = requirements(&report);
    let json: Value = serde_json::from_str(text(&all, "review.json")).expect("JSON");
    let (csv, xml) = (text(&all, "requirements.csv"), text(&all, "review.xml"));
    assert!(traced.len() > 20);
    assert_eq!(json["requirements"].as_array().map(Vec::len), Some(traced.len()));
    for (r, told) in traced.iter().zip(json["requirements"].as_array().expect("a list")) {
        let s = &r.section;
        assert!(root().join(&s.code).exists() && root().join(&s.test_file).exists(), "{}", s.id);
        // The line that is named is in the branch of the rule, in the file as it is.
        let code = std::fs::read_to_string(root().join(&s.code)).expect("code");
        assert_eq!(told["code_sha256"], sha256_hex(code.as_bytes()));
        let line = told["code_line"].as_u64().expect("a line") as usize;
        let named = code.lines().nth(line - 1).expect("a line");
        assert!(named.contains(&s.id) || named.contains("fn look("), "{}: {named}", s.id);
        assert_eq!(told["result"], r.result().word());
        assert!(csv.contains(&format!("axle,{},", s.id)), "{}", s.id);
        assert!(xml.contains(&format!("name=\"{}\"", s.id)), "{}", s.id);
        assert!(r.pieces.iter().any(|p| p.by == "canonical test"), "{}", s.id);
        let judged = r.pieces.iter().filter(|p| p.says != Says::Elsewhere).count();
        assert!(judged >= 2, "{}: {:#?}", s.id, r.pieces);
    }
    let lines = csv.matches("\r\n").count();
    let pieces: usize = traced.iter().map(|r| r.pieces.len()).sum();
    assert_eq!(lines, pieces + 1, "one line a piece, and the head");
    assert_eq!(xml.matches("<testcase ").count(), traced.len() + Kind::ALL.len());
    let broken = traced.iter().filter(|r| r.result() == Says::Broken).count();
    let parts = report.evidence.findings().len();
    assert_eq!(xml.matches("<failure ").count(), broken + parts);
}

/// The margins' CSV holds what drives and campaign measured, the worst of each.
#[test]
fn margins_of_drives_and_campaign_stand_in_one_table() {
    let report = report(2);
    let all = files(&report);
    let csv = text(&all, "margins.csv");
    let campaign = report.evidence.of(Kind::Campaign).next().expect("a campaign");
    let of_campaign = campaign.value["margins"].as_array().expect("a list").len();
    assert_eq!(csv.matches("\r\ndrives,").count(), report.margins.len());
    assert_eq!(csv.matches("\r\ncampaign,").count(), of_campaign);
}

fn explored(subject: &Subject) -> Part {
    let work = Work { states: 300_000, ..LEAST };
    let evidence = made(subject, work, 2, &mut Quiet);
    evidence.of(Kind::Explore).next().expect("an exploration").clone()
}

/// Conduct a review of the axle with one file of evidence; exit code and review.json, if written.
fn conducted(name: &str, evidence: &str) -> (i32, Option<Value>) {
    let folder = scratch(name);
    let path = folder.join("evidence.json");
    std::fs::write(&path, evidence).expect("written");
    let out = folder.join("review");
    let options = Options {
        file: "axle".to_owned(),
        out: out.to_str().expect("text").to_owned(),
        force: false,
        seed: 1,
        depth: Depth::Quick,
        work: LEAST,
        evidence: vec![path],
        date: Some("2026-01-02".to_owned()),
    };
    let code = conduct(subject("axle"), &options);
    let json = std::fs::read_to_string(out.join("review.json")).ok();
    let _ = std::fs::remove_dir_all(&folder);
    (code, json.map(|text| serde_json::from_str(&text).expect("JSON")))
}

#[test]
fn evidence_that_was_made_before_is_read_and_named_by_its_hash() {
    let part = explored(&subject("axle"));
    assert_eq!(part.state(), State::Holds);
    let bytes = format!("{:#}\n", part.value);
    let (code, json) = conducted("read", &bytes);
    let json = json.expect("a review");
    assert_eq!(code, 0, "{:#}", json["open_points"]);
    assert_eq!((&json["verdict"], &json["date"]), (&json!("no-finding"), &json!("2026-01-02")));
    let told = &json["evidence"]["parts"][0];
    assert_eq!(told["kind"], "explore");
    assert_eq!(told["read_from"], "evidence.json");
    // FIPS 180-4 in another program: `sha256sum` gives the same of these bytes.
    let folder = scratch("hash");
    std::fs::write(folder.join("x"), &bytes).expect("written");
    let sum = std::process::Command::new("sha256sum").arg(folder.join("x")).output();
    let sum = String::from_utf8(sum.expect("coreutils").stdout).expect("text");
    assert_eq!(told["read_sha256"].as_str(), sum.split_whitespace().next());
    let _ = std::fs::remove_dir_all(&folder);
}

/// What is of another driveline, of another version, or no evidence at all is misuse.
#[test]
fn evidence_of_something_else_is_refused_in_words() {
    let good = explored(&subject("axle")).value;
    let changed = |key: &str, value: Value| {
        let mut other = good.clone();
        other[key] = value;
        other.to_string()
    };
    let other_table = changed("table_hash", json!("00000000"));
    let cases = [
        ("other", other_table.clone(), "is of another driveline: its table hash is 00000000"),
        ("old", changed("explore_format", json!(2)), "is of version 2, this tool reads 3"),
        ("lacks", changed("always", Value::Null), "has no `always`"),
        ("unhashed", changed("table_hash", Value::Null), "has no `table_hash`"),
        ("strange", "{\"a\": 1}".to_owned(), "is not what a command of this tool writes"),
        ("torn", "{\n  \"a\": ".to_owned(), ":2:7: no JSON"),
        ("list", "[]".to_owned(), "is not what a command of this tool writes"),
    ];
    for (name, text, words) in cases {
        let folder = scratch(&format!("refused-{name}"));
        let path = folder.join("evidence.json");
        std::fs::write(&path, &text).expect("written");
        let error = read(&path, &subject("axle")).expect_err(name).to_string();
        assert!(error.contains(words) && error.contains("fix: "), "{name}: {error}");
        let _ = std::fs::remove_dir_all(&folder);
    }
    assert_eq!(conducted("refused", &other_table), (2, None), "nothing is written");
    let missing = read(&PathBuf::from("no-such-file.json"), &subject("axle"));
    assert!(missing.expect_err("no file").to_string().contains("cannot be read"));
    // Another driveline's evidence, as its command wrote it.
    let folder = scratch("shuttle");
    let path = folder.join("evidence.json");
    let energy = made(&subject("shuttle"), LEAST, 2, &mut Quiet);
    let energy = energy.of(Kind::Energy).next().expect("figures").value.to_string();
    std::fs::write(&path, energy).expect("written");
    let error = read(&path, &subject("axle")).expect_err("of the shuttle").to_string();
    assert!(error.contains("its SHA-256 is"), "{error}");
    let _ = std::fs::remove_dir_all(&folder);
}

/// A verdict is worked out from the content: what is broken or not whole is told, whatever the
/// file calls itself.
#[test]
fn what_is_broken_or_not_whole_is_never_a_pass() {
    let good = explored(&subject("axle")).value;
    let with = |change: &dyn Fn(&mut Value)| {
        let mut value = good.clone();
        change(&mut value);
        value.to_string()
    };
    let stopped = with(&|v| v["complete"] = json!(false));
    let (code, json) = conducted("stopped", &stopped);
    let json = json.expect("a review");
    assert_eq!((code, &json["verdict"]), (3, &json!("inconclusive")));
    let result = |json: &Value, rule: &str| {
        let all = json["requirements"].as_array().expect("a list");
        all.iter().find(|r| r["rule"] == rule).expect("the rule")["result"].clone()
    };
    assert_eq!(result(&json, "SW-I1"), "inconclusive");
    let broken = with(&|v| v["always"][1]["broken"] = json!(true));
    let (code, json) = conducted("broken", &broken);
    let json = json.expect("a review");
    assert_eq!((code, &json["verdict"]), (1, &json!("finding")));
    assert_eq!(result(&json, "SW-I1"), "broken", "EX-SLIP is about SW-I1");
    let unexcused = with(&|v| v["sometimes"]["dead"] = json!([{ "name": "x", "excuse": null }]));
    assert_eq!(conducted("dead", &unexcused).0, 1);
    let stuck = with(&|v| v["live"]["holds"] = json!(false));
    assert_eq!(conducted("stuck", &stuck).0, 1);
}

/// Asks to stop after so many looks.
struct StopAfter(usize);

impl Progress for StopAfter {
    fn drive_done(&mut self, _: usize, _: usize, _: usize) {}
    fn end(&mut self) {}
    fn at(&mut self, _: &'static str, _: u64, _: Option<u64>) -> bool {
        self.0 = self.0.saturating_sub(1);
        self.0 > 0
    }
    fn is_stopped(&self) -> bool {
        self.0 == 0
    }
}

#[test]
fn what_was_stopped_half_way_is_inconclusive() {
    let subject = subject("axle");
    let whole = made(&subject, WORK, 2, &mut Quiet);
    assert_eq!(whole.inconclusive(), []);
    for after in [1, 2, 3] {
        let evidence = made(&subject, WORK, 2, &mut StopAfter(after));
        assert!(evidence.parts.len() < Kind::ALL.len(), "{after}: nothing more is begun");
        let mut report = Report::of(subject.clone(), 2, &mut Quiet);
        report.evidence = evidence;
        if !report.evidence.parts.iter().all(|p| p.state() == State::Holds) {
            assert_eq!(report.outcome(), Outcome::Inconclusive, "{after}");
            assert_eq!(report.exit_code(), 3);
        }
    }
    let bounded = made(&subject, Work { states: 100, ..LEAST }, 2, &mut Quiet);
    let part = bounded.of(Kind::Explore).next().expect("an exploration");
    assert!(matches!(part.state(), State::Inconclusive(_)), "a bound on the states");
    assert!(matches!(part.origin, Origin::Made(_)));
}

/// The axle with slip limits a hundred times too wide: campaign and drives find it, the rule is
/// broken in the trace, and the case of the campaign is driven again on the page.
#[test]
fn a_finding_of_the_campaign_is_driven_again() {
    let mut subject = subject("axle");
    for lock in &mut subject.table.locks {
        lock.slip_max *= 100.0;
        lock.begin_max *= 100.0;
        lock.rate_max = f32::MAX;
    }
    subject.table.timing.dwell = 1;
    let mut report = Report::of(subject, 2, &mut Quiet);
    let work = Work { cases: 60, case_faults: 0, ..LEAST };
    report.evidence = made(&report.subject, work, 2, &mut Quiet);
    let findings = report.evidence.findings();
    assert!(findings.iter().any(|(kind, why)| *kind == Kind::Campaign && why.contains("SW-SLIP")));
    assert_eq!(report.exit_code(), 1);
    let traced = requirements(&report);
    let of = |id: &str| traced.iter().find(|r| r.section.id == id).expect("a rule").result();
    assert_eq!((of("SW-SLIP"), of("SW-I1")), (Says::Broken, Says::Broken));
    let all = files(&report);
    let page = text(&all, "index.html");
    assert!(page.contains("It was found again here") && !page.contains("NOT found again"));
    assert!(all.iter().any(|f| f.path.starts_with("scenarios/case-")));
    assert!(text(&all, "review.xml").contains("name=\"SW-SLIP\"><failure"));
}

/// The section of findings and the verdict say the same, wherever the finding was made.
#[test]
fn a_finding_in_the_evidence_stands_among_the_findings() {
    let mut report = Report::of(subject("axle"), 2, &mut Quiet);
    let told = |report: &Report| {
        let all = files(report);
        let part = text(&all, "index.html").split("id=\"findings\"").nth(1).map(str::to_owned);
        part.expect("findings").split("</section>").next().expect("an end").to_owned()
    };
    assert!(told(&report).contains("<p>None.</p>"));
    let value = json!({
        "always": [{ "id": "EX-SLIP", "broken": true, "judged": true }],
        "complete": true, "states": 7, "faults": 0,
    });
    let origin = Origin::Made("slipwarden explore".to_owned());
    report.evidence.parts = vec![Part { kind: Kind::Explore, origin, value }];
    assert_eq!(report.outcome(), Outcome::Finding);
    let told = told(&report);
    assert!(told.contains("broken: EX-SLIP") && told.contains("href=\"#exploration\""), "{told}");
}

/// What campaigns alone do not find is an open point with its figure; what nothing finds is a
/// finding. Exit code, JSON, JUnit and page say the same.
#[test]
fn a_planted_defect_is_a_finding_only_when_nothing_finds_it() {
    let mut report = Report::of(subject("axle"), 2, &mut Quiet);
    let row = |place: &str, outcome: &str| {
        json!({ "kind": "step duty", "place": place, "change": "free", "outcome": outcome,
                "explore": "holds", "found_by": ["audit"] })
    };
    let tried = |place: &str, found: bool| {
        json!({ "kind": "step duty", "place": place, "change": "free", "found": found,
                "excused": null, "by_seed": [] })
    };
    let mut told = |rows: Value, tried: Value| {
        let origin = || Origin::Made("slipwarden".to_owned());
        let rows = json!({ "complete": true, "rows": rows, "defects": 9, "chosen": 2 });
        let tried = json!({ "whole": true, "tried": tried, "defects": 9, "seeds": [1, 2, 3] });
        report.evidence.parts = vec![
            Part { kind: Kind::Defects, origin: origin(), value: rows },
            Part { kind: Kind::PlantDefects, origin: origin(), value: tried },
        ];
        let all = files(&report);
        let json: Value = serde_json::from_str(text(&all, "review.json")).expect("JSON");
        let failures = text(&all, "review.xml").matches("<failure ").count();
        (report.exit_code(), json, failures, text(&all, "index.html").to_owned())
    };
    let missed = json!([tried("step 1", true), tried("step 2", false), tried("step 3", false)]);
    let (code, json, failures, page) =
        told(json!([row("step 1", "found"), row("step 2", "found")]), missed.clone());
    assert_eq!((code, failures, &json["verdict"]), (0, 0, &json!("no-finding")));
    let part = &json["evidence"]["parts"][1];
    assert_eq!(part["result"], "holds");
    assert_eq!(part["why"], "campaigns alone found 1 of 3: a figure, no finding");
    let open = json["open_points"].to_string();
    let point = "Campaigns alone found 1 of 3 planted defects under every seed (33 %)";
    assert!(open.contains(point) && page.contains(point), "{open}");
    assert!(open.contains("1 were found by board, exploration, audit or drives"), "{open}");
    assert!(open.contains("and 1 were not tried there"), "{open}");

    // Nothing finds step 2: a finding.
    let (code, json, failures, _) =
        told(json!([row("step 1", "found"), row("step 2", "survived")]), missed.clone());
    assert_eq!((code, failures, &json["verdict"]), (1, 1, &json!("finding")));
    assert_eq!(json["evidence"]["parts"][0]["result"], "finding");

    // Campaigns find what the others do not: some part found it.
    let (code, json, failures, _) =
        told(json!([row("step 1", "survived"), row("step 2", "found")]), missed);
    assert_eq!((code, failures, &json["verdict"]), (0, 0, &json!("no-finding")));
    assert_eq!(json["evidence"]["parts"][0]["result"], "holds");
}
