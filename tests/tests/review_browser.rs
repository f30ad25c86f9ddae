//! The review's page in a real browser (Debian's `chromium`, headless): it sorts and filters a
//! table, steps through a timeline, fits a small screen, prints, and complains of nothing.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use host_sim::review::{Case, Making, Quiet, Report, Subject, Work, files, make, write};
use serde_json::Value;

/// How long a browser may take before it is taken for dead.
const DEAD_AFTER: Duration = Duration::from_secs(240);

/// A little of everything, so that every part of the page is there.
const WORK: Work = Work {
    faults: 0,
    states: 300_000,
    memory_mib: 512,
    cases: 24,
    case_faults: 1,
    defects: 2,
    defect_states: 300_000,
    plant_defects: 2,
    plant_defect_cases: 4,
    grid: (6, 5),
};

/// What is put in at the head: what goes wrong is gathered.
const GATHER: &str = "<script>window.faults=[];\
addEventListener('error',function(e){faults.push(String(e.message||e.target.tagName))},true);\
addEventListener('securitypolicyviolation',function(e){faults.push('policy: '+e.violatedDirective)});\
</script>";

/// What is put in at the end: the acts of a reader, and what came of them.
const ACT: &str = r##"<pre id="probe"></pre><script>
(function () {
  var told = { width: innerWidth, wide: document.documentElement.scrollWidth };
  function change(field, value) { field.value = value; field.dispatchEvent(new Event("input")); }
  var table = document.querySelector("#drives table");
  function column(n) {
    return Array.prototype.filter.call(table.tBodies[0].rows, function (r) { return !r.hidden; })
      .map(function (r) { return r.cells[n].textContent; });
  }
  var heads = table.tHead.rows[0].cells;
  told.before = column(0);
  heads[0].querySelector("button").click();
  told.up = column(0);
  heads[0].querySelector("button").click();
  told.down = column(0);
  told.sorted = heads[0].getAttribute("aria-sort");
  heads[2].querySelector("button").click();
  told.words = column(2);
  change(document.querySelector("#drives .filter input"), "reverse");
  told.filtered = column(2);
  var motion = document.querySelector(".motion");
  told.motion = motion.id;
  var slider = motion.querySelector("input[type=range]");
  function state() {
    var all = function (what, attribute) {
      return Array.prototype.map.call(motion.querySelectorAll(what), function (e) {
        return attribute ? e.getAttribute(attribute) : e.textContent;
      });
    };
    return {
      x: +motion.querySelector(".cursor").getAttribute("x1"),
      values: all(".readout .value"), states: all(".readout .state"),
      dots: all("[data-dot]", "y"), shafts: all("[data-dot]", "data-dot"),
      said: slider.getAttribute("aria-valuetext")
    };
  }
  var line = motion.querySelector(".cursor");
  told.line = [+line.getAttribute("y1"), +line.getAttribute("y2")];
  told.height = motion.querySelector("figure svg").viewBox.baseVal.height;
  told.start = state();
  slider.focus();
  told.focused = document.activeElement === slider;
  change(slider, slider.max);
  told.end = state();
  motion.querySelector(".scrub button").click();
  told.step = state();
  told.sliders = document.querySelectorAll(".motion input[type=range]").length;
  told.motions = document.querySelectorAll(".motion").length;
  told.faults = window.faults;
  document.getElementById("probe").textContent = JSON.stringify(told);
})();
</script>"##;

/// A folder of this process, removed when it ends well.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        // Tests run side by side: each call has a folder of its own.
        static CALLS: AtomicUsize = AtomicUsize::new(0);
        let (process, call) = (std::process::id(), CALLS.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(format!("slipwarden-{process}-{name}-{call}"));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Folder(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The axle's report with all kinds of evidence, and its page.
fn reviewed() -> &'static (Report, String) {
    static MADE: OnceLock<(Report, String)> = OnceLock::new();
    MADE.get_or_init(|| {
        let subject = Subject::read("axle", 1).expect("an embedded demo");
        let mut report = Report::of(subject, 2, &mut Quiet);
        let mut quiet = Quiet;
        let mut making = Making { work: WORK, threads: 2, folder: None, progress: &mut quiet };
        report.evidence = make(&report.subject, Vec::new(), &mut making);
        assert_eq!(report.evidence.parts.len(), 5, "{:?}", report.evidence.missing);
        let page = files(&report).into_iter().find(|f| f.path == "index.html").expect("a page");
        (report, String::from_utf8(page.bytes).expect("text"))
    })
}

/// Run the browser on a page; its stdout, and what it said on the console.
fn browse(folder: &Path, page: &str, width: u32, more: &[&str]) -> (String, Vec<String>) {
    let file = folder.join("page.html");
    std::fs::write(&file, page).expect("written");
    let (out, err) = (folder.join("stdout"), folder.join("stderr"));
    let create = |path: &Path| std::fs::File::create(path).expect("a file");
    let mut child = Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"])
        .args(["--disable-dev-shm-usage", "--enable-logging=stderr", "--hide-scrollbars"])
        .arg(format!("--user-data-dir={}", folder.join("profile").display()))
        .arg(format!("--window-size={width},1600"))
        .arg("--virtual-time-budget=4000")
        .args(more)
        .arg(format!("file://{}", file.display()))
        .stdin(Stdio::null())
        .stdout(create(&out))
        .stderr(create(&err))
        .spawn()
        .expect("chromium must be installed (Debian: apt install chromium)");
    let begun = Instant::now();
    while child.try_wait().expect("a child").is_none() {
        if begun.elapsed() > DEAD_AFTER {
            let _ = child.kill();
            panic!("the browser hangs");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let text =
        |path: &Path| String::from_utf8_lossy(&std::fs::read(path).expect("read")).into_owned();
    let console = text(&err).lines().filter(|l| l.contains("CONSOLE")).map(str::to_owned).collect();
    (text(&out), console)
}

/// The page with what gathers and acts; the content security policy lets them in, nothing else.
fn probed(page: &str) -> String {
    let policy =
        page.split("script-src ").nth(1).and_then(|s| s.split('"').next()).expect("a policy");
    let lax = page.replacen(policy, "'unsafe-inline'", 1);
    let with_head = lax.replacen("<title>", &format!("{GATHER}<title>"), 1);
    with_head.replacen("</body>", &format!("{ACT}</body>"), 1)
}

/// What the acts told, in a window of this width.
fn told(page: &str, width: u32) -> (Value, Vec<String>) {
    let folder = Folder::new(&format!("browser-{width}"));
    let (dom, console) = browse(&folder.0, &probed(page), width, &["--dump-dom"]);
    let text = dom.split("<pre id=\"probe\">").nth(1).and_then(|s| s.split("</pre>").next());
    let text = text.unwrap_or_else(|| panic!("no page was shown: {console:?}"));
    let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
    (serde_json::from_str(&text).unwrap_or(Value::Null), console)
}

fn texts(value: &Value) -> Vec<String> {
    let list = value.as_array().expect("a list");
    list.iter().map(|v| v.as_str().expect("a text").to_owned()).collect()
}

/// The data of the first timeline, as they stand in the page.
fn moments(page: &str) -> Value {
    let text = page.split("class=\"moments\">").nth(1).and_then(|s| s.split("</script>").next());
    serde_json::from_str(text.expect("a timeline")).expect("JSON")
}

#[test]
fn a_reader_sorts_filters_and_steps_through_a_timeline() {
    let (report, page) = reviewed();
    let (told, console) = told(page, 1280);
    assert_eq!(console, Vec::<String>::new(), "the console must stay silent");
    assert_eq!(told["faults"], Value::Array(Vec::new()), "{told:#}");
    let n = report.drives.len();
    let rising: Vec<String> = (1..=n).map(|i| i.to_string()).collect();
    let falling: Vec<String> = rising.iter().rev().cloned().collect();
    assert_eq!(texts(&told["before"]), rising);
    assert_eq!(texts(&told["up"]), rising);
    assert_eq!(texts(&told["down"]), falling, "by number, not by text");
    assert_eq!(told["sorted"], "descending");
    let words = texts(&told["words"]);
    assert!(words.is_sorted() && words.len() == n, "{words:?}");
    let reverse = report.drives.iter().filter(|d| d.case == Case::Reverse).count();
    assert!(reverse > 0 && reverse < n);
    assert_eq!(texts(&told["filtered"]), vec!["reverse"; reverse]);
    assert_eq!(told["sliders"], told["motions"]);
    assert_eq!(told["focused"], true, "the slider takes the keyboard");
}

#[test]
fn the_slider_moves_line_values_and_levers_to_what_was_driven() {
    let (report, page) = reviewed();
    let (told, _) = told(page, 1280);
    let data = moments(page);
    let t = data["t"].as_array().expect("times");
    assert!(t.len() > 50, "{} moments", t.len());
    let attribute = |name: &str| -> f64 {
        let text = page.split(&format!(" {name}=\"")).nth(1).and_then(|s| s.split('"').next());
        text.expect("an attribute").parse().expect("a number")
    };
    let number = |key: &str| data[key].as_f64().expect("a number");
    let shown = |state: &Value, at: usize| {
        let share = t[at].as_f64().expect("a time") / number("duration");
        let x = attribute("data-left") + attribute("data-width") * share.min(1.0);
        assert!((state["x"].as_f64().expect("a place") - x).abs() < 1e-6, "{state:#}");
        let values = data["values"][at].as_array().expect("values");
        for (text, value) in texts(&state["values"]).iter().zip(values) {
            let read: f64 = text.replace('\u{2212}', "-").parse().expect("a number");
            let value = value.as_f64().expect("a number");
            assert!((read - value).abs() <= 0.51, "{text} for {value}");
        }
        // The dots of the lever diagram: the axis of the picture, worked out again.
        let (low, high) = (number("low"), number("high"));
        for (shaft, y) in texts(&state["shafts"]).iter().zip(texts(&state["dots"])) {
            let rpm = values[1 + shaft.parse::<usize>().expect("a shaft")].as_f64().expect("rpm");
            let want = number("top") + number("height") * (high - rpm) / (high - low) - 4.5;
            assert!(
                (y.parse::<f64>().expect("a place") - want).abs() < 0.51,
                "{shaft}: {y}, {want}"
            );
        }
    };
    shown(&told["start"], 0);
    shown(&told["end"], t.len() - 1);
    // The line ends with the panels: what is below is the key, which has no time.
    let ends = told["line"][1].as_f64().expect("a place");
    let height = told["height"].as_f64().expect("a height");
    assert!(ends > 0.7 * height && ends < height - 40.0, "{ends} of {height}");
    assert_ne!(told["start"]["dots"], told["end"]["dots"], "nothing moved");
    assert_ne!(told["start"]["states"], told["end"]["states"], "no lock changed");
    let step = data["steps"][0][1].as_str().expect("a step");
    let said = told["step"]["said"].as_str().expect("words");
    assert!(said.contains(step), "{said}");
    // The last moment is the drive's own end: its arrangement's locks are truly closed.
    let number: usize = told["motion"]
        .as_str()
        .and_then(|id| id.strip_prefix("motion-"))
        .and_then(|n| n.parse().ok())
        .expect("a drive");
    let d = &report.subject.driveline;
    let closed = d.arrangements[report.drives[number - 1].to].closed;
    for (lock, state) in texts(&told["end"]["states"]).iter().enumerate() {
        let want =
            if closed >> lock & 1 == 1 { "closed, closed, locked" } else { "open, open, open" };
        assert_eq!(state, want, "lock {lock}");
    }
}

/// What the acts told in a frame of this width: a window of the browser is never narrower than
/// some 500 px.
fn framed(page: &str, width: u32) -> Value {
    let folder = Folder::new(&format!("frame-{width}"));
    let outer = format!(
        "<!DOCTYPE html><title>x</title><iframe src=\"inner.html\" width=\"{width}\" height=\"900\" \
         style=\"border:0\"></iframe><pre id=\"probe\"></pre><script>\
         addEventListener('message',function(e){{\
         document.getElementById('probe').textContent=e.data}})</script>"
    );
    let inner = probed(page).replace(
        "document.getElementById(\"probe\").textContent = JSON.stringify(told);",
        "parent.postMessage(JSON.stringify(told), \"*\");",
    );
    std::fs::write(folder.0.join("inner.html"), inner).expect("written");
    let (dom, console) = browse(&folder.0, &outer, 1400, &["--dump-dom"]);
    let text = dom.split("<pre id=\"probe\">").nth(1).and_then(|s| s.split("</pre>").next());
    let told: Value = serde_json::from_str(text.expect("a frame")).unwrap_or(Value::Null);
    assert_eq!(told["width"], width, "{console:?}");
    assert_eq!(told["faults"], Value::Array(Vec::new()));
    told
}

#[test]
fn the_page_fits_a_large_and_a_small_screen() {
    let (_, page) = reviewed();
    for width in [1280, 390] {
        let wide = framed(page, width)["wide"].as_u64().expect("a width");
        assert!(wide <= u64::from(width), "{wide} px wide on a screen of {width}");
    }
}

/// On paper nothing scrolls: what is wider than the sheet would be cut. A4 less the margins of
/// the page's style is 184 mm, 695 px at 96 px an inch (CSS Values, "absolute lengths").
#[test]
fn nothing_is_cut_on_paper() {
    let (_, page) = reviewed();
    let print = page.replace("@media print{", "@media all{");
    let print = print.replace("@media screen and (max-width:760px)", "@media not all");
    assert_ne!(&print, page);
    let wide = framed(&print, 695)["wide"].as_u64().expect("a width");
    assert!(wide <= 695, "{wide} px wide on paper of 695");
    // A picture that keeps its size on paper is seen to be cut.
    let stiff = print.replacen("</style>", "figure .look svg{min-width:900px}</style>", 1);
    let wide = framed(&stiff, 695)["wide"].as_u64().expect("a width");
    assert!(wide > 695, "{wide} px: nothing was seen of the planted width");
}

#[test]
fn the_page_prints_on_a4() {
    let (_, page) = reviewed();
    let folder = Folder::new("print");
    let pdf = folder.0.join("page.pdf");
    let option = format!("--print-to-pdf={}", pdf.display());
    let (_, console) = browse(&folder.0, page, 1280, &["--no-pdf-header-footer", &option]);
    assert_eq!(console, Vec::<String>::new());
    let bytes = std::fs::read(&pdf).expect("a PDF");
    let text = String::from_utf8_lossy(&bytes);
    assert!(text.starts_with("%PDF-"));
    let boxes: Vec<&str> =
        text.split("/MediaBox [").skip(1).filter_map(|s| s.split(']').next()).collect();
    // A print that nobody reads is no print: long lists are dense, and code is left out.
    assert!((8..=30).contains(&boxes.len()), "{} pages", boxes.len());
    // A4 is 210 mm by 297 mm (ISO 216): 595.3 by 841.9 points, upright or across.
    for of_page in boxes {
        let mut sides: Vec<f64> =
            of_page.split_whitespace().filter_map(|n| n.parse().ok()).skip(2).collect();
        sides.sort_by(f64::total_cmp);
        assert!((sides[0] - 595.3).abs() < 2.0 && (sides[1] - 841.9).abs() < 2.0, "{of_page}");
    }
}

/// The checks see what is planted: a script that breaks, a policy that is passed, a word on the
/// console, a page that is too wide.
#[test]
fn planted_faults_are_seen_in_the_browser() {
    let (_, page) = reviewed();
    let broken =
        page.replacen("function makeSlider(motion) {", "function makeSlider(motion) { null.x;", 1);
    let (seen, console) = told(&broken, 1280);
    assert!(!console.is_empty() || seen["faults"] != Value::Array(Vec::new()), "{seen:#}");

    let folder = Folder::new("planted");
    let noisy = page.replacen("\"use strict\";", "\"use strict\"; console.error('planted');", 1);
    // The page's own policy names the script by its digest: a changed script does not run at all.
    let (_, console) = browse(&folder.0, &noisy, 1280, &["--dump-dom"]);
    assert!(console.iter().any(|l| l.contains("Content Security Policy")), "{console:?}");
    let (dom, _) = browse(&folder.0, &noisy, 1280, &["--dump-dom"]);
    assert!(!dom.contains("class=\"sort\""), "the changed script ran");
    let (_, console) = told(&noisy, 1280);
    assert!(console.iter().any(|l| l.contains("planted")), "{console:?}");

    let wide = page.replacen("<main ", "<div style=\"width:1700px\">x</div><main ", 1);
    let (seen, _) = told(&wide, 1280);
    assert!(seen["wide"].as_u64().expect("a width") > 1280, "{seen:#}");
}

/// Without its script the page still says everything: nothing that it shows is made by it.
#[test]
fn nothing_is_hidden_from_a_reader_without_a_script() {
    let (report, page) = reviewed();
    let folder = Folder::new("no-script");
    let still = page.replacen("<script>", "<script type=\"text/plain\">", 1);
    let (dom, console) = browse(&folder.0, &still, 1280, &["--dump-dom"]);
    assert_eq!(console, Vec::<String>::new());
    assert_eq!(dom.matches("id=\"drive-").count(), report.drives.len());
    assert!(!dom.contains("<button") && !dom.contains("<input"), "fields that do nothing");
    assert!(dom.contains("Values where steps begin"));
    let written = Folder::new("written");
    write(&written.0.join("review"), &files(report), false).expect("written");
    assert!(written.0.join("review/evidence/explore.json").exists());
}
