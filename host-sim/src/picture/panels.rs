//! The parts a timeline is stacked from: frames with axes, line panels, slip strips, lanes.

use super::columns::Columns;
use super::palette::{self, role};
use super::scale::{multiples, round_range, slip_scale, thinned, tick_text, ticks};
use super::svg::{Anchor, Svg, length};

pub(super) const LEFT: f64 = 96.0;
pub(super) const PLOT: f64 = 860.0;
pub(super) const RIGHT: f64 = 224.0;
pub(super) const WIDTH: f64 = LEFT + PLOT + RIGHT;

/// Styles of all parts.
pub(super) const STYLE: &str = "\
.sw .title{font-size:17px}.sw .sub{font-size:12px}\
.sw .head{font-size:12px;font-weight:600}.sw .tick{font-size:10px;fill:var(--sw-soft)}\
.sw .small{font-size:9.5px;fill:var(--sw-soft)}.sw .box{font-size:10.5px}\
.sw .frame{fill:none;stroke:var(--sw-line);stroke-width:1}\
.sw .grid{stroke:var(--sw-grid);stroke-width:1}.sw .zero{stroke:var(--sw-line);stroke-width:1}\
.sw .band{fill:var(--sw-panel);stroke:none}\
.sw .edge{stroke:var(--sw-power);stroke-width:.8;stroke-dasharray:3 2}\
.sw .lane{fill:var(--sw-panel);stroke:none}\
.sw .named{fill:var(--sw-grid);stroke:var(--sw-line);stroke-width:.8}\
.sw .step{stroke:var(--sw-soft);stroke-width:.6;stroke-dasharray:2 3}\
.sw .found{stroke:var(--sw-alarm);stroke-width:1.2}.sw .flag{fill:var(--sw-alarm)}";

/// A line in a panel, with its colour and dash as attributes.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) series: usize,
    pub(super) name: String,
    pub(super) stroke: String,
}

impl Line {
    /// A line that belongs to no machine.
    pub(super) fn plain(series: usize, name: &str, index: usize) -> Line {
        let (colour, dash) = palette::plain(index);
        let stroke = palette::stroke(&role(colour), dash, 1.4);
        Line { series, name: name.to_owned(), stroke }
    }

    /// The line of a machine, in its colour.
    pub(super) fn machine(series: usize, name: &str, index: usize) -> Line {
        let dash = palette::machine_dash(index);
        let stroke = palette::stroke(&palette::machine(index), dash, 1.6);
        Line { series, name: name.to_owned(), stroke }
    }
}

/// Frame, heading and horizontal grid of a panel; the vertical scale.
fn frame(svg: &mut Svg, top: f64, height: f64, heading: &str) {
    svg.text((LEFT, top - 6.0), Anchor::Start, heading, "class=\"head\"");
    svg.rect(LEFT, top, PLOT, height, "class=\"frame\"");
}

/// A panel of lines with a common axis; gives the y below it.
pub(super) fn line_panel(
    svg: &mut Svg,
    columns: &Columns,
    top: f64,
    height: f64,
    heading: &str,
    lines: &[Line],
) -> f64 {
    frame(svg, top, height, heading);
    let range = lines.iter().filter_map(|l| columns.range(l.series));
    let (low, high) = range.fold((0.0, 0.0), |(a, b): (f64, f64), r| (a.min(r.0), b.max(r.1)));
    let want = (height / 34.0).round().max(2.0) as usize;
    let (low, high, step) = round_range(low, high, want);
    let y = |v: f64| top + height * (high - v.clamp(low, high)) / (high - low);
    for value in multiples(low, high, step) {
        let class = if value == 0.0 { "class=\"zero\"" } else { "class=\"grid\"" };
        let at = y(value);
        svg.line((LEFT, at), (LEFT + PLOT, at), class);
        let text = tick_text(value, step);
        svg.text((LEFT - 6.0, at + 3.5), Anchor::End, &text, "class=\"tick\"");
    }
    for line in lines {
        let points: Vec<(f64, f64)> =
            columns.points(line.series).into_iter().map(|(x, v)| (LEFT + x * PLOT, y(v))).collect();
        svg.path(&thinned(&points, 0.15), false, &line.stroke);
    }
    legend(svg, top, height, lines);
    top + height
}

fn legend(svg: &mut Svg, top: f64, height: f64, lines: &[Line]) {
    let pitch = (height / lines.len().max(1) as f64).clamp(9.0, 15.0);
    for (i, line) in lines.iter().enumerate() {
        let at = top + 8.0 + i as f64 * pitch;
        let x = LEFT + PLOT + 12.0;
        svg.line((x, at), (x + 26.0, at), &line.stroke);
        svg.text((x + 32.0, at + 3.5), Anchor::Start, &line.name, "");
    }
}

/// A slip strip: linear within the limit band, logarithmic beyond; gives the y below it.
pub(super) fn slip_strip(
    svg: &mut Svg,
    columns: &Columns,
    top: f64,
    height: f64,
    line: &Line,
    limit_rpm: Option<f64>,
) -> f64 {
    let limit = limit_rpm.unwrap_or(100.0);
    frame(svg, top, height, &line.name);
    let most = columns.range(line.series).map_or(0.0, |(a, b)| a.abs().max(b.abs()));
    let reach = slip_scale(most, limit).max(1.6) * 1.08;
    let y = |slip: f64| top + height * 0.5 * (1.0 - slip_scale(slip, limit) / reach);
    let (upper, lower) = (y(limit), y(-limit));
    svg.rect(LEFT, upper, PLOT, lower - upper, "class=\"band\"");
    svg.line((LEFT, y(0.0)), (LEFT + PLOT, y(0.0)), "class=\"zero\"");
    for edge in [upper, lower] {
        svg.line((LEFT, edge), (LEFT + PLOT, edge), "class=\"edge\"");
    }
    for factor in [1.0, 10.0] {
        let value = factor * limit;
        if slip_scale(value, limit) > reach {
            continue;
        }
        for signed in [value, -value] {
            let text = tick_text(signed, 1.0);
            svg.text((LEFT - 6.0, y(signed) + 3.5), Anchor::End, &text, "class=\"tick\"");
        }
    }
    let points: Vec<(f64, f64)> =
        columns.points(line.series).into_iter().map(|(x, v)| (LEFT + x * PLOT, y(v))).collect();
    svg.path(&thinned(&points, 0.15), false, &line.stroke);
    let x = LEFT + PLOT + 12.0;
    svg.rect(x, top + 3.0, 26.0, 10.0, "class=\"band\"");
    for y in [top + 3.0, top + 13.0] {
        svg.line((x, y), (x + 26.0, y), "class=\"edge\"");
    }
    let words = match limit_rpm {
        Some(limit) => format!("closing limit \u{b1}{} rpm", length(limit)),
        None => "no closing limit stated (\u{b1}100 rpm)".to_owned(),
    };
    svg.text((x + 32.0, top + 11.5), Anchor::Start, &words, "");
    top + height
}

/// Fills of the states of a lock: open, prefill, close; open, no word, closed; open, locked,
/// slipping. The second ground of each pattern is that of the picture.
pub(super) const COMMANDED: [&str; 3] = ["", "url(#hatch)", "var(--sw-power)"];
pub(super) const REPORTED: [&str; 3] = ["", "url(#dots)", "var(--sw-soft)"];
pub(super) const ACTUAL: [&str; 3] = ["", "var(--sw-fine)", "url(#slip)"];

/// The patterns of those fills.
pub(super) const PATTERNS: &str = "<pattern id=\"hatch\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" \
     patternTransform=\"rotate(45)\"><rect width=\"5\" height=\"5\" fill=\"var(--sw-paper)\"/>\
     <rect width=\"2.2\" height=\"5\" fill=\"var(--sw-power)\"/></pattern>\
     <pattern id=\"slip\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\" \
     patternTransform=\"rotate(-45)\"><rect width=\"4\" height=\"4\" fill=\"var(--sw-paper)\"/>\
     <rect width=\"2.6\" height=\"4\" fill=\"var(--sw-warn)\"/></pattern>\
     <pattern id=\"dots\" width=\"4\" height=\"4\" patternUnits=\"userSpaceOnUse\">\
     <rect width=\"1.5\" height=\"1.5\" fill=\"var(--sw-soft)\"/></pattern>";

/// A lane of states: `fills[state]` is the fill of each state, empty for none.
pub(super) fn lane(
    svg: &mut Svg,
    columns: &Columns,
    top: f64,
    height: f64,
    number: usize,
    label: &str,
    fills: &[&str],
) {
    svg.rect(LEFT, top, PLOT, height, "class=\"lane\"");
    svg.text((LEFT - 6.0, top + height - 1.5), Anchor::End, label, "class=\"small\"");
    for (from, to, state) in columns.runs(number) {
        let fill = fills.get(usize::from(state)).copied().unwrap_or("");
        if !fill.is_empty() {
            let width = ((to - from) * PLOT).max(1.0);
            let style = format!("fill=\"{fill}\" stroke=\"none\"");
            svg.rect(LEFT + from * PLOT, top, width, height, &style);
        }
    }
}

/// A lane of named boxes (arrangements); state 0 is no box.
pub(super) fn name_lane(
    svg: &mut Svg,
    columns: &Columns,
    top: f64,
    height: f64,
    number: usize,
    label: &str,
    names: &[String],
) {
    svg.rect(LEFT, top, PLOT, height, "class=\"lane\"");
    svg.text((LEFT - 6.0, top + height - 5.0), Anchor::End, label, "class=\"small\"");
    for (from, to, state) in columns.runs(number) {
        let Some(name) = usize::from(state).checked_sub(1).and_then(|i| names.get(i)) else {
            continue;
        };
        let (x, width) = (LEFT + from * PLOT, ((to - from) * PLOT).max(1.0));
        svg.rect(x, top, width, height, "class=\"named\"");
        let room = ((width - 4.0) / 5.6).max(0.0) as usize;
        let words = match name.chars().count() {
            n if n <= room => name.clone(),
            _ if room >= 4 => name.chars().take(room - 1).chain(['\u{2026}']).collect(),
            _ => continue,
        };
        let middle = (x + 0.5 * width, top + height - 5.0);
        svg.text(middle, Anchor::Middle, &words, "class=\"box\"");
    }
}

/// The time axis below the last panel.
pub(super) fn time_axis(svg: &mut Svg, y: f64, duration_s: f64) {
    svg.line((LEFT, y), (LEFT + PLOT, y), "class=\"zero\"");
    let values = ticks(0.0, duration_s, 12);
    let step = if values.len() > 1 { values[1] - values[0] } else { 1.0 };
    for value in values {
        let x = LEFT + PLOT * value / duration_s;
        svg.line((x, y), (x, y + 4.0), "class=\"zero\"");
        svg.text((x, y + 15.0), Anchor::Middle, &tick_text(value, step), "class=\"tick\"");
    }
    svg.text((LEFT + PLOT + 24.0, y + 15.0), Anchor::Start, "time, s", "class=\"tick\"");
}

/// What the fills of the three lanes mean.
pub(super) fn lane_legend(svg: &mut Svg, top: f64) {
    let x = LEFT + PLOT + 12.0;
    let rows: [[(&str, &str); 2]; 3] = [
        [(COMMANDED[2], "close"), (COMMANDED[1], "prefill")],
        [(REPORTED[2], "closed"), (REPORTED[1], "no word")],
        [(ACTUAL[1], "locked"), (ACTUAL[2], "slipping")],
    ];
    for (r, row) in rows.iter().enumerate() {
        for (k, (fill, word)) in row.iter().enumerate() {
            let (at, y) = (x + 78.0 * k as f64, top + 12.0 * r as f64);
            let style = format!("fill=\"{fill}\" stroke=\"var(--sw-line)\" stroke-width=\"0.4\"");
            svg.rect(at, y + 1.0, 16.0, 8.0, &style);
            svg.text((at + 21.0, y + 8.5), Anchor::Start, word, "class=\"small\"");
        }
    }
}
