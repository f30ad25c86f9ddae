//! The campaign: cases, coverage, how near they came to each limit, findings.

use serde_json::Value;

use super::super::evidence::{Kind, count, grouped, is_forgiven, list, text};
use super::super::replay::Replay;
use super::Page;
use super::html::{Table, command, escaped, link, p, part, plain};
use super::motions::Close;
use super::rules::anchor;
use crate::picture::inlined;
use crate::picture::svg::{Anchor, Svg};

/// Findings that are listed; the JSON has all.
const MOST_FINDINGS: usize = 40;
/// Cells of a group that are named.
const NAMED: usize = 16;

impl Page<'_> {
    /// Every campaign.
    pub(super) fn campaign(&self) -> String {
        let mut out =
            p("Random drives with random faults at any moment, drawn to be hostile, each a pure \
             function of the seed and its number, and each judged by the plant's truth. They are \
             not drawn like the drives of service, so that no rate of failure follows.");
        let mut any = false;
        for (number, evidence) in self.report.evidence.of(Kind::Campaign).enumerate() {
            any = true;
            out += &self.origin(evidence);
            out += &figures(&evidence.value);
            let id = |what: &str| match number {
                0 => what.to_owned(),
                n => format!("{what}-{}", n + 1),
            };
            out += &part(
                &id("campaign-findings"),
                "Findings of the campaign",
                &self.found(&evidence.value),
            );
            out += &part(
                &id("histograms"),
                "How near the cases came to each limit",
                &histograms(&evidence.value, number),
            );
            out += &part(&id("coverage"), "Coverage", &coverage(&evidence.value));
        }
        if any { out } else { out + &self.absent(Kind::Campaign) }
    }

    fn found(&self, value: &Value) -> String {
        let findings = list(&value["findings"]);
        if findings.is_empty() {
            return p("None.");
        }
        let mut table = Table::new(
            "Findings in order of their cases, one a rule and case",
            &["#case", "rule", "#at, s", "what happened"],
        );
        for f in findings.iter().take(MOST_FINDINGS) {
            let rule = text(&f["rule"]);
            table.row(vec![
                count(&f["case"]).to_string(),
                link(&format!("#{}", anchor("rule", rule)), rule),
                f["t_s"].as_f64().map_or(String::new(), |t| format!("{t:.2}")),
                escaped(text(&f["text"])),
            ]);
        }
        let mut out = table.html();
        if findings.len() > MOST_FINDINGS {
            out += &p(&format!("{} more stand in the JSON.", findings.len() - MOST_FINDINGS));
        }
        out += &p("The first finding of each rule, driven again in this run:");
        out + &self.replays.iter().map(|replay| self.replay(replay)).collect::<String>()
    }

    fn replay(&self, replay: &Replay) -> String {
        let mut out = String::new();
        let told = match replay.repeats {
            true => "It was found again here, at the same moment.",
            false => {
                "It was NOT found again here: another version of the tool made it, or the \
                      evidence was changed."
            }
        };
        let words = format!("case {}, {} at {:.2} s", replay.case, replay.rule, replay.t_s);
        let after = format!(
            "<p>{}</p>\n<p>{} Its scenario: {}.</p>\n{}",
            escaped(&replay.text),
            told,
            link(&replay.path, &replay.path),
            command(&format!(
                "slipwarden drive driveline.toml {} --seed {} --svg finding.svg",
                replay.path, replay.seed
            ))
        );
        if let Some(motion) = &replay.motion {
            let id = format!("motion-case-{}-{}", replay.case, replay.rule.to_lowercase());
            let close = Close { id: &id, title: escaped(&words), words: &words, motion };
            out += &self.motion(&close);
        }
        out + &after
    }
}

fn figures(value: &Value) -> String {
    let mut table = Table::new("What was driven", &["figure", "#value"]);
    let bound = value["chance_bound_95"].as_f64();
    for (what, figure) in [
        ("cases", grouped(count(&value["cases"]))),
        ("cases that ran", grouped(count(&value["ran"]))),
        ("cases that could not start", grouped(count(&value["not_run"]))),
        ("faults injected in each case", count(&value["faults"]).to_string()),
        ("ticks of the supervisor", grouped(count(&value["ticks"]))),
        ("seed", count(&value["seed"]).to_string()),
        ("digest of all last states", text(&value["digest"]).to_owned()),
        (
            "most chance that a case like these breaks a rule, at 95 % (IEC 61508-7 Annex D)",
            bound.map_or("not stated: rules were broken".to_owned(), percent),
        ),
    ] {
        table.row(vec![what.to_owned(), escaped(&figure)]);
    }
    table.html()
}

/// Width and height of a histogram, px, and of its plot.
const SIZE: (f64, f64) = (250.0, 146.0);
const PLOT: (f64, f64, f64, f64) = (8.0, 36.0, 234.0, 64.0);

/// Looks of a histogram: what is beyond the limit is striped.
const STYLE: &str = ".sw .tick{fill:var(--sw-soft)}.sw .zero{stroke:var(--sw-line);\
stroke-width:1.4}.sw .column{fill:var(--sw-power)}\
.sw .beyond{fill:var(--sw-alarm);stroke:var(--sw-paper);stroke-dasharray:2 2}\
.sw .limit{stroke:var(--sw-alarm);stroke-width:2;stroke-dasharray:5 2}";

/// One histogram for each limit.
fn histograms(value: &Value, number: usize) -> String {
    let margins = list(&value["margins"]);
    if margins.is_empty() {
        return p("Nothing was measured.");
    }
    let mut out = p(
        "One case counts once for each limit, by what it left of the limit: at the red line \
         nothing is left, left of it the limit was passed, and the last column holds all that left \
         95 % and more. Heights are logarithmic. Where the worst case passed the limit and is no finding, a fault came \
         before it, and the rule forgives what a fault does, for the fault tolerant time or, where \
         docs/rules.md says so under Limit, for good. The figures stand in margins.csv.",
    );
    out += "<div class=\"histograms\">\n";
    for (i, margin) in margins.iter().enumerate() {
        let svg = histogram(value, margin);
        let id = format!("histogram-{number}-{i}");
        out += &format!("<figure>\n{}</figure>\n", inlined(&svg, &id));
    }
    out + "</div>\n"
}

fn histogram(value: &Value, margin: &Value) -> String {
    let bins: Vec<u64> = list(&margin["bins"]).iter().map(count).collect();
    let cases: u64 = bins.iter().sum();
    let beyond = bins.first().copied().unwrap_or(0);
    let (rule, subject) = (text(&margin["rule"]), text(&margin["subject"]));
    let number = |key: &str| margin[key].as_f64().unwrap_or(f64::NAN);
    let unit = text(&margin["unit"]).replace("m/s2", "m/s\u{b2}");
    let kind = if margin["limit_is"] == "lowest" { "at least" } else { "at most" };
    let worst = format!(
        "worst {} {unit}, {kind} {} (case {})",
        plain(number("worst")),
        plain(number("limit")),
        count(&margin["case"])
    );
    let told = match (number("left_share") < 0.0, is_forgiven(value, margin)) {
        (_, true) => "that case: forgiven after its fault",
        (true, false) => "that case: a finding",
        (false, _) => "",
    };
    let title = format!("{rule}, {subject}");
    let words = if told.is_empty() { String::new() } else { format!("; {told}") };
    let about = format!("{cases} cases, {beyond} beyond the limit; {worst}{words}.");
    let mut svg = Svg::themed(SIZE.0, SIZE.1, &title, &about, STYLE);
    let (left, top, width, height) = PLOT;
    svg.text((left, 14.0), Anchor::Start, rule, "class=\"name\"");
    svg.text((left, 28.0), Anchor::Start, &cut(subject, 46), "class=\"tick\"");
    let most = bins.iter().copied().max().unwrap_or(1).max(1);
    let tall = |n: u64| height * ((1 + n) as f64).ln() / ((1 + most) as f64).ln();
    let step = width / bins.len().max(1) as f64;
    for (i, &n) in bins.iter().enumerate().filter(|(_, n)| **n > 0) {
        let class = if i == 0 { "class=\"beyond\"" } else { "class=\"column\"" };
        let h = tall(n).max(1.5);
        svg.rect(left + step * i as f64 + 0.5, top + height - h, step - 1.0, h, class);
    }
    let base = top + height;
    svg.line((left, base), (left + width, base), "class=\"zero\"");
    svg.line((left + step, top - 2.0), (left + step, base + 4.0), "class=\"limit\"");
    svg.text((left + step, base + 14.0), Anchor::Middle, "0", "class=\"tick\"");
    svg.text((left + 11.0 * step, base + 14.0), Anchor::Middle, "50 % left", "class=\"tick\"");
    svg.text((left + width, base + 14.0), Anchor::End, "100", "class=\"tick\"");
    svg.text((left, base + 29.0), Anchor::Start, &cut(&worst, 46), "class=\"tick\"");
    svg.text((left, base + 43.0), Anchor::Start, told, "class=\"tick\"");
    svg.finish()
}

/// A small chance in per cent, two significant figures.
fn percent(chance: f64) -> String {
    let percent = 100.0 * chance;
    let decimals = (1.0 - percent.max(1e-9).log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{percent:.decimals$} %")
}

/// At most so many characters.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['\u{2026}']).collect()
}

fn coverage(value: &Value) -> String {
    let words = p(
        "A fault in a step is named with the step, its number in the table, and the part of it \
         during which the fault came: prepare, as long as the lock has no order to move, then move. \
         A fault without a step came at rest, while the supervisor woke after a reset, or while it \
         settled after a step.",
    );
    let mut table =
        Table::new("Cells that at least one case hit", &["group", "#hit", "#of", "never hit"]);
    for group in list(&value["coverage"]) {
        let never: Vec<&str> = list(&group["never"]).iter().map(text).collect();
        let mut words = never.iter().take(NAMED).copied().collect::<Vec<_>>().join("; ");
        if never.len() > NAMED {
            words += &format!("; and {} more", never.len() - NAMED);
        }
        table.row(vec![
            escaped(text(&group["group"])),
            count(&group["hit"]).to_string(),
            count(&group["of"]).to_string(),
            if never.is_empty() { "\u{2013}".to_owned() } else { escaped(&words) },
        ]);
    }
    words + &table.html()
}
