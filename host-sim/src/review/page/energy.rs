//! Which arrangement costs least where, and steady cruise.

use serde_json::Value;

use super::super::evidence::{Kind, list, text};
use super::Page;
use super::html::{Table, escaped, p, picture, plain};
use crate::picture::inlined;
use crate::picture::palette::{self, AREAS, role};
use crate::picture::scale::{tick_text, ticks};
use crate::picture::svg::{Anchor, Svg};

/// Looks of the map; the letter in each cell says the same as its colour.
const STYLE: &str = ".sw text{font-size:12px}.sw .tick{font-size:11px;fill:var(--sw-soft)}\
.sw .zero{stroke:var(--sw-line);stroke-width:1.4}.sw .frame{fill:none;stroke:var(--sw-ink)}";

impl Page<'_> {
    /// Every energy part: one map for each treatment of the battery, and the cruise table.
    pub(super) fn energy(&self) -> String {
        let mut out = p(
            "Steady states only, from the losses that the driveline file states: the arrangement \
             that takes least fuel energy at each road speed and wheel force. What a transition \
             costs is not in these maps. Where a map is empty, no arrangement can hold that speed \
             against that force.",
        );
        let mut any = false;
        for (number, part) in self.report.evidence.of(Kind::Energy).enumerate() {
            any = true;
            out += &self.origin(part);
            out += "<div class=\"maps three\">\n";
            for (i, map) in list(&part.value["maps"]).iter().enumerate() {
                if let Some(svg) = winners(&part.value, map) {
                    let id = format!("map-{number}-{i}");
                    let mode = mode_words(text(&map["mode"]));
                    let label = format!("Map of the best arrangement, {mode}");
                    out += &picture(&inlined(&svg, &id), &label, "");
                }
            }
            out += "</div>\n";
            out += &cruise(&part.value);
        }
        if any { out } else { out + &self.absent(Kind::Energy) }
    }
}

/// What a map's treatment of the battery is called.
fn mode_words(mode: &str) -> &str {
    match mode {
        "held" => "battery held",
        "depleting" => "battery used first",
        "priced" => "battery energy at its price on board",
        other => other,
    }
}

/// Letter of an arrangement.
fn letter(arrangement: usize) -> char {
    char::from(b'a' + (arrangement % 26) as u8)
}

/// Fill of an arrangement, the colour that it has in the maps of `slipwarden energy`.
fn colour(arrangement: usize) -> String {
    format!("fill=\"{}\"", role(AREAS[palette::area_look(arrangement).0].0))
}

fn numbers(value: &Value) -> Vec<f64> {
    list(value).iter().filter_map(Value::as_f64).collect()
}

/// The map of best arrangements; `None` where it has no cells.
fn winners(value: &Value, map: &Value) -> Option<String> {
    let names: Vec<&str> = list(&value["arrangements"]).iter().map(text).collect();
    let (speeds, forces) = (numbers(&map["speeds_kmh"]), numbers(&map["forces_n"]));
    let cells = list(&map["cells"]);
    if speeds.len() < 2 || forces.len() < 2 || cells.len() != speeds.len() * forces.len() {
        return None;
    }
    let best = |i: usize| cells[i]["best"].as_u64().map(|b| b as usize);
    let share = |a: usize| {
        let won = (0..cells.len()).filter(|&i| best(i) == Some(a)).count();
        match 100.0 * won as f64 / cells.len() as f64 {
            little if won > 0 && little < 1.0 => format!("{} <1 %", names[a]),
            percent => format!("{} {percent:.0} %", names[a]),
        }
    };
    let shares: Vec<String> = (0..names.len()).map(share).collect();
    let title = format!("Best arrangement, {}", mode_words(text(&map["mode"])));
    let about = format!(
        "Map over road speed and wheel force. Share of the map in which each is best: {}. Empty: \
         none can.",
        shares.join(", ")
    );
    let (left, top, width, height) = (58.0, 30.0, 400.0, 250.0);
    let mut svg =
        Svg::themed(480.0, top + height + 44.0 + 18.0 * names.len() as f64, &title, &about, STYLE);
    svg.text((left, 18.0), Anchor::Start, &title, "class=\"name\"");
    let (w, h) = (width / speeds.len() as f64, height / forces.len() as f64);
    let size = (0.72 * w.min(h)).clamp(5.0, 12.0);
    for i in 0..cells.len() {
        let (x, y) = (
            left + w * (i / forces.len()) as f64,
            top + height - h * (1 + i % forces.len()) as f64,
        );
        if let Some(a) = best(i) {
            svg.rect(x, y, w + 0.3, h + 0.3, &colour(a));
            let style = format!("style=\"font-size:{size:.1}px\"");
            let at = (x + 0.5 * w, y + 0.5 * h + 0.35 * size);
            svg.text(at, Anchor::Middle, &letter(a).to_string(), &style);
        }
    }
    svg.rect(left, top, width, height, "class=\"frame\"");
    map_axes(&mut svg, (&speeds, &forces), (left, top, width, height));
    for (a, words) in shares.iter().enumerate() {
        let y = top + height + 50.0 + 18.0 * a as f64;
        svg.rect(left, y - 10.0, 18.0, 13.0, &colour(a));
        svg.text((left + 9.0, y), Anchor::Middle, &letter(a).to_string(), "");
        svg.text((left + 25.0, y), Anchor::Start, &format!("{words} of the map"), "");
    }
    Some(svg.finish())
}

fn map_axes(
    svg: &mut Svg,
    (speeds, forces): (&[f64], &[f64]),
    (left, top, width, height): (f64, f64, f64, f64),
) {
    let ends = |list: &[f64]| {
        let half = 0.5 * (list[1] - list[0]);
        (list[0] - half, list[list.len() - 1] + half)
    };
    let ((v0, v1), (f0, f1)) = (ends(speeds), ends(forces));
    let list = ticks(v0, v1, 7);
    let step = list.get(1).map_or(1.0, |b| b - list[0]);
    for v in list {
        let x = left + width * (v - v0) / (v1 - v0);
        svg.line((x, top + height), (x, top + height + 4.0), "class=\"zero\"");
        svg.text((x, top + height + 16.0), Anchor::Middle, &tick_text(v, step), "class=\"tick\"");
    }
    let list = ticks(f0 / 1e3, f1 / 1e3, 6);
    let step = list.get(1).map_or(1.0, |b| b - list[0]);
    for f in list {
        let y = top + height * (f1 / 1e3 - f) / ((f1 - f0) / 1e3);
        svg.line((left - 4.0, y), (left, y), "class=\"zero\"");
        svg.text((left - 7.0, y + 4.0), Anchor::End, &tick_text(f, step), "class=\"tick\"");
    }
    let middle = left + 0.5 * width;
    svg.text((middle, top + height + 31.0), Anchor::Middle, "road speed, km/h", "class=\"tick\"");
    svg.text((4.0, top - 4.0), Anchor::Start, "force, kN", "class=\"tick\"");
}

/// One decimal: more is beyond what stated losses can tell.
fn tenths(value: f64) -> String {
    let tenths = (value * 10.0).round() / 10.0 + 0.0;
    format!("{tenths:.1}").replace('-', "\u{2212}")
}

/// No decimals, and no "-0".
fn whole(value: f64) -> String {
    format!("{:.0}", value.round() + 0.0).replace('-', "\u{2212}")
}

fn cruise(value: &Value) -> String {
    let mut table = Table::new(
        "Steady cruise: what each arrangement takes",
        &[
            "arrangement",
            "#km/h",
            "#slope, %",
            "engine",
            "#fuel, g/km",
            "#battery, Wh/km",
            "#losses, kW",
            "limit",
        ],
    );
    for row in list(&value["cruise"]) {
        let figure = |key: &str, as_text: fn(f64) -> String| {
            row[key].as_f64().map_or("\u{2013}".to_owned(), as_text)
        };
        let losses: f64 =
            row["losses_w"].as_object().map_or(0.0, |o| o.values().filter_map(Value::as_f64).sum());
        let limit = row["limit"].as_str();
        table.row(vec![
            escaped(text(&row["arrangement"])),
            figure("speed_kmh", plain),
            figure("slope_percent", plain),
            if row["engine_on"] == true { "on" } else { "off" }.to_owned(),
            if limit.is_none() { figure("fuel_g_per_km", tenths) } else { "\u{2013}".to_owned() },
            if limit.is_none() {
                figure("battery_wh_per_km", whole)
            } else {
                "\u{2013}".to_owned()
            },
            if limit.is_none() { tenths(losses / 1e3) } else { "\u{2013}".to_owned() },
            limit.map_or("\u{2013}".to_owned(), |l| {
                format!("<span class=\"no\">\u{25c7} cannot</span>: {}", escaped(l))
            }),
        ]);
    }
    table.html()
}
