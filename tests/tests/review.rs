//! The review as a whole: same bytes, sound pages, planted defects found, no half-written folder.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use host_sim::drive::scenario;
use host_sim::drive::simulate::simulate;
use host_sim::driveline::{DEMOS, EngineUse};
use host_sim::picture::palette::{AREAS, ROLES};
use host_sim::review::{
    Answer, Case, Depth, MARKER, Options, Quiet, Report, ReviewFile, Subject, Work, check_free,
    conduct, files, sections, write,
};
use host_sim::table;
use slipwarden_tests::page::{contrast, faults, palettes, read};
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

/// The page of a demo and the paths beside it.
fn page(all: &[ReviewFile]) -> (&str, Vec<&str>) {
    (text(all, "index.html"), all.iter().map(|f| f.path.as_str()).collect())
}

#[test]
fn the_page_is_sound_and_nothing_is_fetched() {
    for demo in DEMOS {
        let (report, all) = review(demo);
        let (page, paths) = page(all);
        let found = faults(page, &paths);
        assert!(
            found.is_empty(),
            "{demo}: {} faults: {:#?}",
            found.len(),
            &found[..found.len().min(12)]
        );
        // The name of the drawing's XML namespace is a name; nothing is fetched from it.
        let elsewhere = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!elsewhere.contains("http:") && !elsewhere.contains("https:"));
        assert_eq!(page.matches("id=\"drive-").count(), report.drives.len());
        assert_eq!(page.matches("class=\"rule\" id=\"rule-").count(), sections().len());
        let bytes: usize = all.iter().map(|f| f.bytes.len()).sum();
        assert!(bytes < 20_000_000, "{demo}: {bytes} bytes");
    }
}

/// The checker finds what is planted into a sound page.
#[test]
fn planted_faults_of_the_page_are_found() {
    let (_, all) = review("axle");
    let (page, paths) = page(all);
    let planted = [
        ("<main ", "<main><main ", "ends <main>"),
        ("href=\"#rules\"", "href=\"#rule\"", "leads nowhere"),
        ("href=\"driveline.toml\"", "href=\"elsewhere.html\"", "leads nowhere"),
        ("id=\"rules\"", "id=\"energy\"", "id energy twice"),
        (" scope=\"col\"", "", "without scope"),
        ("<caption>", "<caption></caption><caption>", "without caption"),
        ("role=\"img\" ", "", "<svg> without a title"),
        ("</main>", "<img src=\"driveline.toml\"></main>", "<img> without alt"),
        ("<h3 ", "<h4></h4><h3 ", "h4 after h2"),
        ("<p>", "<p><ul></ul>", "<ul> in <p>"),
        ("<p>", "<p>a & b", "a bare &"),
        ("<p>", "<p>1 > 0", "a bare >"),
        ("<p>", "<p class=\"x\" class=\"y\">", "attribute class twice"),
        ("<p>", "<blink></blink><p>", "no element that belongs there"),
        ("<html lang=\"en\">", "<html>", "no language"),
        ("href=\"#main\"", "href=\"#rules\"", "does not skip"),
        ("<p>", "<p onclick=\"x()\">", "a handler"),
        ("<style>", "<style>@import 'x';", "fetches"),
        (" aria-label=\"Sections\"", "", "<nav> without a name"),
        ("<title>", "<title></title><title>", "2 titles in the head"),
        ("<footer>", "<footer></footer><footer>", "2 times <footer>"),
        ("aria-labelledby=\"rules-title\"", "aria-labelledby=\"nothing\"", "is not there"),
        (" aria-label=\"Transition matrix\"", "", "a region without a name"),
        (" tabindex=\"0\"", "", "not reached by keys"),
        (">review.json</a>", "></a>", "<a> without words"),
    ];
    assert!(faults(page, &paths).is_empty());
    for (from, to, expected) in planted {
        assert!(page.contains(from), "{from}");
        let found = faults(&page.replacen(from, to, 1), &paths);
        assert!(found.iter().any(|f| f.contains(expected)), "{to}: {found:?}");
    }
}

/// Faults of the words themselves, as a reader with a red pen finds them.
fn slips_of_the_pen(page: &str) -> Vec<String> {
    let root = read(page).expect("well formed");
    let body = root.named("main")[0];
    let mut found = Vec::new();
    for e in body.all().iter().filter(|e| e.children.is_empty()) {
        let text = e.text.trim();
        let words: Vec<&str> = text.split_whitespace().collect();
        let one_of_many = words.windows(2).any(|w| {
            w[0] == "1" && ["drives", "cases", "findings", "states", "faults"].contains(&w[1])
        });
        let program = ["code", "pre", "script", "style"].contains(&e.name.as_str());
        for (what, is) in [
            ("minus zero", text == "-0.00" || text == "\u{2212}0.00"),
            ("a plural of one", one_of_many),
            ("a bare backtick", text.contains('`') && !program),
            ("a unit as typed", text.contains("m/s2") && !program),
            ("not a number", text.contains("NaN") && !program),
            ("a hyphen for a minus", e.name == "td" && text.starts_with('-') && text.len() > 1),
        ] {
            if is {
                found.push(format!("{what}: <{}> {text:?}", e.name));
            }
        }
    }
    found
}

#[test]
fn no_slip_of_the_pen_is_on_a_page() {
    for demo in DEMOS {
        let (_, all) = review(demo);
        let found = slips_of_the_pen(page(all).0);
        assert!(found.is_empty(), "{demo}: {:#?}", &found[..found.len().min(8)]);
    }
    // What is planted is seen.
    let (_, all) = review("axle");
    let sound = page(all).0;
    let planted = ["-0.00", "1 drives ended", "`cargo test`", "3 m/s2", "NaN rpm", "-4.00"];
    for words in planted {
        let row = format!("<table><caption>x</caption><tr><td>{words}</td></tr></table></main>");
        assert!(!slips_of_the_pen(&sound.replacen("</main>", &row, 1)).is_empty(), "{words}");
    }
}

/// Both pictures of a card show one and the same moment: two would contradict each other.
#[test]
fn the_pictures_of_a_card_agree() {
    for demo in DEMOS {
        let (report, all) = review(demo);
        let root = read(page(all).0).expect("well formed");
        let cards: Vec<_> =
            root.all().into_iter().filter(|e| e.get("class") == Some("card")).collect();
        let d = &report.subject.driveline;
        assert_eq!(cards.len(), d.arrangements.len());
        for card in cards {
            let output = &d.shafts[d.output.shaft].name;
            let texts: Vec<&str> = card.named("text").iter().map(|t| t.text.trim()).collect();
            let label = format!("{output}: ");
            let stick = texts.iter().find_map(|t| t.strip_prefix(&label)?.strip_suffix(" rpm"));
            let lever = card.named("text").into_iter().find_map(|t| {
                let shaft: usize = t.get("data-speed")?.parse().ok()?;
                (shaft == d.output.shaft).then(|| t.text.trim())
            });
            assert!(stick.is_some() && stick == lever, "{demo}: {stick:?}, {lever:?}");
        }
    }
}

/// Colours of words in light, dark and print that stand out too little from what is below them.
fn weak(style: &str) -> Vec<String> {
    let palettes = palettes(style);
    assert_eq!(palettes.len(), 3, "light, dark, print");
    let mut list = Vec::new();
    for (palette, name) in palettes.iter().zip(["light", "dark", "print"]) {
        for words in ["ink", "soft", "blue", "good", "warn", "bad"] {
            for ground in ["paper", "sheet"] {
                let (a, b) = (&palette[words], &palette[ground]);
                let ratio = contrast(a, b).unwrap_or_else(|| panic!("{a}, {b}"));
                if ratio < 4.5 {
                    list.push(format!("{name}: {words} {a} on {ground} {b}: {ratio:.2}"));
                }
            }
        }
    }
    list
}

/// WCAG 2.2, 1.4.3: text has a contrast of at least 4.5 with what it stands on.
#[test]
fn words_stand_out_in_light_dark_and_print() {
    // Black on white is 21 to 1 (WCAG 2.2, "contrast ratio"); #767676 is the lightest grey that
    // reaches 4.5 on white, #777777 does not (common knowledge of the trade, worked out again here).
    assert!((contrast("#000", "#ffffff").expect("colours") - 21.0).abs() < 1e-9);
    assert!(contrast("#767676", "#fff").expect("colours") >= 4.5);
    assert!(contrast("#777777", "#fff").expect("colours") < 4.5);
    let (_, all) = review("axle");
    let (page, _) = page(all);
    let root = read(page).expect("well formed");
    let style = &root.named("style")[0].text;
    assert_eq!(weak(style), Vec::<String>::new());
    // A weak colour in any of the three is seen.
    for palette in palettes(style) {
        let soft = format!("--soft:{};", palette["soft"]);
        let weaker = format!("--soft:{};", palette["rule"]);
        assert!(!weak(&style.replacen(&soft, &weaker, 1)).is_empty(), "{soft}");
    }
    // Letters on the fills of the energy map.
    let ink = ROLES.iter().find(|role| role.0 == "ink").expect("a role");
    for (name, light, dark) in AREAS {
        for (fill, letter) in [(light, ink.1), (dark, ink.2)] {
            let ratio = contrast(fill, letter).expect("colours");
            assert!(ratio >= 4.5, "{name}: {ratio:.2}");
        }
    }
}

/// What takes the keyboard and does not show it on a screen: WCAG 2.2, 2.4.7, "focus visible".
fn unseen_focus(page: &str) -> BTreeSet<String> {
    let root = read(page).expect("well formed");
    let style = root.named("style")[0].text.replace('\n', "");
    let screen = style.split("@media print{html").next().expect("a style");
    // The script adds buttons and fields.
    let mut wanted: BTreeSet<String> = ["button", "input"].map(str::to_owned).into();
    for e in root.all() {
        let class = e.get("class").and_then(|c| c.split(' ').next());
        match (e.get("tabindex"), class) {
            (Some(_), Some(class)) if e.name == "div" => wanted.insert(format!(".{class}")),
            (Some(_), _) => wanted.insert(e.name.clone()),
            (None, _) if e.name == "a" => wanted.insert("a".to_owned()),
            (None, _) => false,
        };
    }
    for (selectors, looks) in screen.split('}').filter_map(|rule| rule.split_once('{')) {
        let Some(outline) = looks.split(';').find_map(|l| l.strip_prefix("outline:")) else {
            continue;
        };
        let seen = outline.starts_with("2px solid var(--");
        for selector in selectors.split(',') {
            let Some((of, _)) = selector.trim().split_once(":focus") else { continue };
            let hidden: Vec<String> = match of {
                "" | "*" if !seen => ["a", "button", "input"].map(str::to_owned).into(),
                _ if !seen => vec![of.to_owned()],
                _ => Vec::new(),
            };
            if seen {
                wanted.remove(of);
            }
            wanted.extend(hidden);
        }
    }
    wanted
}

#[test]
fn what_takes_the_keyboard_shows_it() {
    let (_, all) = review("axle");
    let (page, _) = page(all);
    assert_eq!(unseen_focus(page), BTreeSet::new());
    // Each of the marks taken away, and one taken back further down, is seen.
    for of in ["a", ".scroll", ".look", "button", "input", "pre", "main"] {
        let mark = format!("{of}:focus-visible");
        assert!(page.contains(&mark), "{mark}");
        let dark = page.replacen(&mark, &format!("{of}:hover"), 1);
        let found = unseen_focus(&dark);
        assert!(found.contains(of), "{mark}: {found:?}");
    }
    let taken = page.replacen("</style>", ".scroll:focus{outline:none}</style>", 1);
    // After the part for paper, which is not looked at, it would not count.
    let before = taken.replacen("@media print{html", ".look:focus{outline:0}@media print{html", 1);
    assert_eq!(unseen_focus(&before), [".look".to_owned()].into());
    let thin = page.replacen("outline:2px solid", "outline:0 solid", 1);
    assert!(unseen_focus(&thin).contains("a"), "{:?}", unseen_focus(&thin));
}

#[test]
fn hostile_names_stay_text() {
    let mut hostile = subject("axle");
    hostile.driveline.about = "<script>alert(1)</script> & \"quotes\"".to_owned();
    hostile.file_name = "<b>\"&.toml".to_owned();
    let all = files(&Report::of(hostile, 2, &mut Quiet));
    let page = text(&all, "index.html");
    read(page).expect("still well formed");
    assert!(!page.contains("<script>alert") && !page.contains("<b>\""));
}

/// Little besides the drives: what is looked for here, they find.
const LITTLE: Work = Work { states: 1000, memory_mib: 64, grid: (3, 3), ..Work::LEAST };

/// Run the whole command on a subject; the exit code and the folder's review.json.
fn conducted(subject: Subject, scratch: &Scratch) -> (i32, serde_json::Value) {
    let options = Options {
        file: "unused".to_owned(),
        out: scratch.out().to_str().expect("a path of text").to_owned(),
        force: false,
        seed: subject.seed,
        depth: Depth::Quick,
        work: LITTLE,
        evidence: Vec::new(),
        date: None,
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
