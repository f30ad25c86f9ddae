//! The review as a whole: same bytes, sound pages, planted defects found, no half-written folder.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use host_sim::drive::scenario;
use host_sim::drive::simulate::simulate;
use host_sim::driveline::{DEMOS, EngineUse};
use host_sim::review::{
    Answer, Case, MARKER, Options, Quiet, Report, ReviewFile, Subject, check_free, conduct, files,
    write,
};
use host_sim::table;
use supervisor::bits::Bits;
use supervisor::table::{Action, Step, StepDuty};

fn subject(demo: &str) -> Subject {
    Subject::read(demo, 1).expect("an embedded demo")
}

/// The report and the files of a demo, made once for all tests.
fn review(demo: &str) -> &'static (Report, Vec<ReviewFile>) {
    static MADE: [OnceLock<(Report, Vec<ReviewFile>)>; 3] = [const { OnceLock::new() }; 3];
    let index = DEMOS.iter().position(|d| *d == demo).expect("an embedded demo");
    MADE[index].get_or_init(|| {
        let report = Report::of(subject(demo), 2, &mut Quiet);
        let all = files(&report);
        (report, all)
    })
}

/// A fresh folder of this test's own, removed at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Scratch {
        let path = std::env::temp_dir().join(format!("slipwarden-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Scratch(path)
    }

    fn out(&self) -> PathBuf {
        self.0.join("review")
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn text<'a>(files: &'a [ReviewFile], path: &str) -> &'a str {
    let file = files.iter().find(|f| f.path == path).unwrap_or_else(|| panic!("no {path}"));
    std::str::from_utf8(&file.bytes).expect("text")
}

#[test]
fn the_demos_have_no_finding_and_every_pair_is_driven() {
    for demo in DEMOS {
        let (report, _) = review(demo);
        assert!(report.is_clean(), "{demo}: {:#?}", report.findings);
        assert_eq!(report.exit_code(), 0);
        let n = report.subject.driveline.arrangements.len();
        let pairs: BTreeSet<(usize, usize)> =
            report.drives.iter().map(|d| (d.from, d.to)).collect();
        assert_eq!(pairs.len(), n * (n - 1), "{demo}");
        let reached = report.results.iter().filter(|r| r.answer == Answer::Reached).count();
        assert!(2 * reached > report.results.len(), "{demo}: {reached} reached");
        assert!(report.results.iter().all(|r| r.repeats), "{demo}");
        assert!(report.results.iter().any(|r| matches!(r.answer, Answer::Refused(_))), "{demo}");
    }
}

#[test]
fn the_same_inputs_give_the_same_bytes_on_any_number_of_threads() {
    let (_, one) = review("axle");
    let one_thread = files(&Report::of(subject("axle"), 1, &mut Quiet));
    assert!(*one == one_thread, "the folders differ");
    let many = files(&Report::of(subject("axle"), 7, &mut Quiet));
    assert!(*one == many, "the folders differ");
    // The seed matters: sensor noise and dog positions come from it.
    let other = files(&Report::of(Subject::read("axle", 2).expect("a demo"), 2, &mut Quiet));
    assert_ne!(text(one, "review.json"), text(&other, "review.json"));
}

/// Values of `attribute` in a page.
fn values<'a>(page: &'a str, attribute: &str) -> Vec<&'a str> {
    let lead = format!(" {attribute}=\"");
    let found = page.match_indices(&lead);
    found.filter_map(|(at, _)| page[at + lead.len()..].split('"').next()).collect()
}

#[test]
fn every_link_of_the_page_leads_somewhere_and_nothing_is_fetched() {
    for demo in ["shuttle", "railcar"] {
        let (_, all) = review(demo);
        let page = text(all, "index.html");
        let ids: Vec<&str> = values(page, "id");
        let unique: BTreeSet<&&str> = ids.iter().collect();
        assert_eq!(unique.len(), ids.len(), "an id twice");
        let targets = values(page, "href");
        assert!(targets.len() > 100);
        for target in targets {
            match target.strip_prefix('#') {
                Some(id) => assert!(ids.contains(&id), "no {target}"),
                None => assert!(all.iter().any(|f| f.path == target), "no {target}"),
            }
        }
        for labelled in values(page, "aria-labelledby") {
            assert!(labelled.split(' ').all(|id| ids.contains(&id)), "no {labelled}");
        }
        assert!(!page.contains("<script") && !page.contains("<link") && !page.contains("@import"));
        assert!(values(page, "src").is_empty());
        // The name of the drawing's XML namespace is a name; nothing is fetched from it.
        let elsewhere = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!elsewhere.contains("http:") && !elsewhere.contains("https:"));
    }
}

/// Elements without an end tag (WHATWG HTML, "void elements").
const VOID: [&str; 14] = [
    "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "param", "source",
    "track", "wbr",
];

/// Whether every start tag of a page has its end tag in the right place; names the first fault.
fn balanced(page: &str) -> Result<usize, String> {
    let mut open: Vec<&str> = Vec::new();
    let mut count = 0;
    let mut rest = page.trim_start_matches("<!DOCTYPE html>");
    while let Some(at) = rest.find('<') {
        if rest[..at].contains('>') && open.last() != Some(&"style") {
            return Err(format!("a bare > in {:?}", &rest[..at]));
        }
        let end = rest[at..].find('>').ok_or("a tag without end")? + at;
        let inner = &rest[at + 1..end];
        if inner.matches('"').count() % 2 == 1 {
            return Err(format!("a quote is open in <{inner}>"));
        }
        if let Some(name) = inner.strip_prefix('/') {
            if open.pop() != Some(name) {
                return Err(format!("</{name}> ends what is not open"));
            }
        } else {
            let name = inner.split([' ', '\n', '/']).next().unwrap_or("");
            if name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric()) {
                return Err(format!("<{inner}> is no tag"));
            }
            count += 1;
            if !inner.ends_with('/') && !VOID.contains(&name) {
                open.push(name);
            }
        }
        rest = &rest[end + 1..];
    }
    if open.is_empty() { Ok(count) } else { Err(format!("never ended: {open:?}")) }
}

#[test]
fn the_balance_check_sees_faults() {
    assert_eq!(balanced("<!DOCTYPE html><p>a<br>b</p>"), Ok(2));
    assert!(balanced("<p><b>x</p></b>").is_err());
    assert!(balanced("<p>x").is_err());
    assert!(balanced("<p class=\"a>x</p>").is_err());
    assert!(balanced("<p>1 < 2</p>").is_err());
}

#[test]
fn the_page_is_well_formed_and_has_its_landmarks() {
    for demo in DEMOS {
        let (report, all) = review(demo);
        let page = text(all, "index.html");
        let count = balanced(page).unwrap_or_else(|fault| panic!("{demo}: {fault}"));
        assert!(count > 500);
        for landmark in ["<html lang=\"en\">", "<header>", "<nav ", "<main ", "<footer>", "<h1>"] {
            assert_eq!(page.matches(landmark).count(), 1, "{landmark}");
        }
        assert_eq!(page.matches("<table").count(), page.matches("<caption").count());
        assert_eq!(page.matches("<svg").count(), page.matches("<title id=").count());
        for drawing in all.iter().filter(|f| f.path.ends_with(".svg")) {
            let svg = std::str::from_utf8(&drawing.bytes).expect("text");
            balanced(svg).unwrap_or_else(|fault| panic!("{}: {fault}", drawing.path));
        }
        assert_eq!(page.matches("id=\"drive-").count(), report.drives.len());
        let bytes: usize = all.iter().map(|f| f.bytes.len()).sum();
        assert!(bytes < 20_000_000, "{demo}: {bytes} bytes");
    }
}

#[test]
fn hostile_names_stay_text() {
    let mut hostile = subject("axle");
    hostile.driveline.about = "<script>alert(1)</script> & \"quotes\"".to_owned();
    hostile.file_name = "<b>\"&.toml".to_owned();
    let all = files(&Report::of(hostile, 2, &mut Quiet));
    let page = text(&all, "index.html");
    balanced(page).expect("still well formed");
    assert!(!page.contains("<script") && !page.contains("<b>\""));
}

/// Run the whole command on a subject; the exit code and the folder's review.json.
fn conducted(subject: Subject, scratch: &Scratch) -> (i32, serde_json::Value) {
    let options = Options {
        file: "unused".to_owned(),
        out: scratch.out().to_str().expect("a path of text").to_owned(),
        force: false,
        seed: subject.seed,
    };
    let code = conduct(subject, &options);
    let json = std::fs::read(scratch.out().join("review.json")).expect("a review.json");
    (code, serde_json::from_slice(&json).expect("JSON"))
}

/// A finding of `rule` with exit code 1, in the page too, that its scenario repeats.
fn finds(subject: Subject, rule: &str) {
    let scratch = Scratch::new(rule);
    let (code, json) = conducted(subject.clone(), &scratch);
    assert_eq!(code, 1, "{rule}");
    assert_eq!(json["verdict"], "finding");
    let found = json["findings"].as_array().expect("a list");
    let first = found.iter().find(|f| f["rule"] == rule).unwrap_or_else(|| panic!("no {rule}"));
    let page = std::fs::read_to_string(scratch.out().join("index.html")).expect("a page");
    let plain = |text: &str| text.replace("&#39;", "'").replace("&lt;", "<").replace("&gt;", ">");
    assert!(plain(&page).contains(first["text"].as_str().expect("text")));
    assert!(!page.contains(scratch.0.to_str().expect("text")), "a path of this machine");

    let path = scratch.out().join(first["scenario"].as_str().expect("a path"));
    let d = &subject.driveline;
    let read = std::fs::read_to_string(path).expect("the scenario is there");
    let setup = scenario::parse("drive", &read, d).expect("a valid scenario").setup;
    let seed = first["seed"].as_u64().expect("a seed");
    let again = simulate(d, &subject.kinematics, subject.table.table(), &setup, seed, None);
    let again = again.expect("it runs").summary.findings;
    let same = |f: &host_sim::checkers::Finding| f.rule == rule && first["text"] == f.text.as_str();
    assert!(again.iter().any(same), "{rule} is not repeated: {again:#?}");
}

/// A table whose slip limits are a hundred times too wide, while nothing waits for the slip to go.
#[test]
fn a_broken_slip_limit_is_found() {
    let mut subject = subject("shuttle");
    for lock in &mut subject.table.locks {
        lock.slip_max *= 100.0;
        lock.begin_max *= 100.0;
        lock.rate_max = f32::MAX;
    }
    subject.table.timing.dwell = 1;
    finds(subject, "SW-SLIP");
}

/// A table that has lost its conflicts and closes ring-clutch on the braked ring while the engine
/// is joined: all three locks together hold the running engine.
#[test]
fn a_lost_conflict_is_found() {
    let mut subject = subject("shuttle");
    let d = &subject.driveline;
    let lock = |name: &str| d.locks.iter().position(|l| l.name == name).expect("a lock");
    let arrangement =
        |name: &str| d.arrangements.iter().position(|a| a.name == name).expect("an arrangement");
    let (series, split) = (arrangement("series"), arrangement("power-split"));
    let clutch = lock("ring-clutch");
    let data = &mut subject.table;
    let from = data.arrangements[series].closed;
    let like = *data.steps.iter().find(|s| usize::from(s.lock) == clutch).expect("a step");
    let step = Step {
        from,
        action: Action::Close,
        duties: like.duties.map(|_| StepDuty::Free),
        demand_max: f32::MAX,
        rest: Bits::EMPTY,
        limits_count: 0,
        target_min: f32::MIN,
        target_max: f32::MAX,
        window: data.arrangements[series].window,
        ..like
    };
    data.conflicts.clear();
    data.overlaps.clear();
    // Nor does anything else of it know what the three locks hold (SW-D2 would end that at once).
    data.sets.iter_mut().for_each(|set| set.held_machines = Bits::EMPTY);
    data.locks[clutch].slip_max = f32::MAX;
    data.locks[clutch].begin_max = f32::MAX;
    data.locks[clutch].rate_max = f32::MAX;
    let number = u16::try_from(data.steps.len()).expect("few steps");
    data.steps.push(step);
    data.notes.push(data.notes[0].clone());
    let sets = data.sets.len();
    let arrangements = data.arrangements.len();
    // Way 0, nothing stuck.
    data.next[usize::from(from.0) * arrangements + split] = number;
    assert!(sets > usize::from(from.0));
    finds(subject, "SW-CONFLICT");
}

#[test]
fn an_interrupted_writing_leaves_nothing_that_looks_whole() {
    let scratch = Scratch::new("interrupted");
    let out = scratch.out();
    let file = |path: &str| ReviewFile { path: path.to_owned(), bytes: b"{}".to_vec() };
    // The third file cannot be written: its folder's name is taken by a file.
    let broken = [file("review.json"), file("traces"), file("traces/a.csv")];
    assert!(write(&out, &broken, false).is_err());
    assert!(!out.exists(), "the review's folder must not appear");
    let left = scratch.0.join("review.incomplete");
    assert!(left.join(MARKER).exists(), "what is left must say that it is not whole");

    // The next writing clears it away; a whole review replaces a whole one.
    let whole = [file("review.json"), file("index.html")];
    write(&out, &whole, false).expect("written");
    assert!(out.join("index.html").exists() && !out.join(MARKER).exists() && !left.exists());
    assert!(write(&out, &broken, false).is_err());
    assert!(out.join("index.html").exists(), "the earlier review stays whole");
    assert!(!out.join(MARKER).exists());
    write(&out, &[file("review.json")], false).expect("written again");
    assert!(!out.join("index.html").exists(), "nothing of the earlier review is left");
}

#[test]
fn a_folder_of_someone_else_is_kept() {
    let scratch = Scratch::new("foreign");
    let out = scratch.out();
    let file = ReviewFile { path: "review.json".to_owned(), bytes: b"{}".to_vec() };
    let files = [file];
    std::fs::create_dir(&out).expect("a folder");
    check_free(&out, false).expect("an empty folder may be used");
    std::fs::write(out.join("notes.txt"), "mine").expect("written");
    assert!(check_free(&out, false).is_err());
    assert!(write(&out, &files, false).is_err());
    assert_eq!(std::fs::read(out.join("notes.txt")).expect("kept"), b"mine");
    // By force it is moved aside, never removed.
    let aside = write(&out, &files, true).expect("written").expect("moved");
    assert_eq!(std::fs::read(aside.join("notes.txt")).expect("kept"), b"mine");
    assert!(out.join("review.json").exists());
    // A review with a stranger's file in it is no longer ours alone.
    std::fs::write(out.join("notes.txt"), "more").expect("written");
    assert!(write(&out, &files, false).is_err());
    assert!(check_free(Path::new("/"), true).is_err());
    let plain = scratch.0.join("file");
    std::fs::write(&plain, "x").expect("written");
    assert!(check_free(&plain, true).is_err(), "a file is not a folder");
}

/// With the engine joined and standing, a start in reverse must not turn it backwards.
#[test]
fn no_drive_starts_with_the_engine_backwards() {
    let mut subject = subject("railcar");
    let d = &mut subject.driveline;
    let clutch = d.locks.iter().position(|l| l.name == "engine-clutch").expect("a lock");
    let mut joined = d.arrangements[0].clone();
    joined.name = "engine-joined".to_owned();
    joined.closed = 1 << clutch;
    joined.engine = EngineUse::Either;
    d.arrangements.truncate(1);
    d.arrangements.push(joined);
    subject.table = table::build(d, &subject.kinematics).expect("a table");
    let report = Report::of(subject, 2, &mut Quiet);
    let reverse = report.drives.iter().filter(|d| d.from == 1 && d.case == Case::Reverse).count();
    assert_eq!(reverse, 1);
    assert!(report.is_clean(), "{:#?}", report.findings);
}
