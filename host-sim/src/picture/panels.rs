//! The parts a timeline is stacked from: frames with axes, line panels, slip strips, lanes.

use super::columns::Columns;
use super::scale::{multiples, round_range, slip_scale, thinned, tick_text, ticks};
use super::svg::{Anchor, Svg, length};

/// Colours that stay apart for colour-blind eyes and in grey print together with the line
/// patterns (M. Okabe and K. Ito, "Color Universal Design", 2008; the yellow, which is too
/// pale on white, left out).
pub(super) const COLOURS: [&str; 7] =
    ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#56B4E9", "#E69F00"];
/// Line patterns: solid, then ever more broken.
const DASHES: [&str; 4] = ["", "7 3", "2 2.5", "9 3 2 3"];

pub(super) const LEFT: f64 = 96.0;
pub(super) const PLOT: f64 = 860.0;
pub(super) const RIGHT: f64 = 224.0;
pub(super) const WIDTH: f64 = LEFT + PLOT + RIGHT;

/// Styles of all parts.
pub(super) const STYLE: &str = "\
text{font-family:Helvetica,Arial,'DejaVu Sans',sans-serif;font-size:11px;fill:#333}\
.title{font-size:17px;fill:#111;font-weight:600}.sub{font-size:12px;fill:#555}\
.head{font-size:12px;fill:#111;font-weight:600}.tick{font-size:10px;fill:#555}\
.small{font-size:9.5px;fill:#444}.box{font-size:10.5px;fill:#111}";

/// A line in a panel's legend.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) series: usize,
    pub(super) name: String,
}

fn stroke(index: usize) -> String {
    let colour = COLOURS[index % COLOURS.len()];
    // A second round through the colours changes the pattern at another pace, so that no
    // two of the first 28 lines look alike.
    let dash = DASHES[(index + index / COLOURS.len()) % DASHES.len()];
    let dash =
        if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") };
    format!("stroke=\"{colour}\" stroke-width=\"1.4\" stroke-linejoin=\"round\"{dash}")
}

/// Frame, heading and horizontal grid of a panel; the vertical scale.
fn frame(svg: &mut Svg, top: f64, height: f64, heading: &str) {
    svg.text((LEFT, top - 6.0), Anchor::Start, heading, "class=\"head\"");
    svg.rect(LEFT, top, PLOT, height, "fill=\"#fff\" stroke=\"#b8bcc2\" stroke-width=\"1\"");
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
        let line = if value == 0.0 { "#8a9097" } else { "#e6e8eb" };
        let at = y(value);
        svg.line((LEFT, at), (LEFT + PLOT, at), &format!("stroke=\"{line}\" stroke-width=\"1\""));
        let text = tick_text(value, step);
        svg.text((LEFT - 6.0, at + 3.5), Anchor::End, &text, "class=\"tick\"");
    }
    for (i, line) in lines.iter().enumerate() {
        let points: Vec<(f64, f64)> =
            columns.points(line.series).into_iter().map(|(x, v)| (LEFT + x * PLOT, y(v))).collect();
        svg.path(&thinned(&points, 0.15), false, &format!("fill=\"none\" {}", stroke(i)));
    }
    legend(svg, top, height, lines);
    top + height
}

fn legend(svg: &mut Svg, top: f64, height: f64, lines: &[Line]) {
    let pitch = (height / lines.len().max(1) as f64).clamp(9.0, 15.0);
    for (i, line) in lines.iter().enumerate() {
        let at = top + 8.0 + i as f64 * pitch;
        let x = LEFT + PLOT + 12.0;
        svg.line((x, at), (x + 26.0, at), &format!("fill=\"none\" {}", stroke(i)));
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
    svg.rect(LEFT, upper, PLOT, lower - upper, "fill=\"#dbe9f4\" stroke=\"none\"");
    svg.line((LEFT, y(0.0)), (LEFT + PLOT, y(0.0)), "stroke=\"#8a9097\" stroke-width=\"1\"");
    for edge in [upper, lower] {
        let style = "stroke=\"#0072B2\" stroke-width=\"0.8\" stroke-dasharray=\"3 2\"";
        svg.line((LEFT, edge), (LEFT + PLOT, edge), style);
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
    svg.path(&thinned(&points, 0.15), false, "fill=\"none\" stroke=\"#111\" stroke-width=\"1.2\"");
    let x = LEFT + PLOT + 12.0;
    svg.rect(x, top + 3.0, 26.0, 10.0, "fill=\"#dbe9f4\" stroke=\"#0072B2\" stroke-width=\"0.6\"");
    let words = match limit_rpm {
        Some(limit) => format!("closing limit \u{b1}{} rpm", length(limit)),
        None => "no closing limit stated (\u{b1}100 rpm)".to_owned(),
    };
    svg.text((x + 32.0, top + 11.5), Anchor::Start, &words, "");
    top + height
}

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
    svg.rect(LEFT, top, PLOT, height, "fill=\"#f6f7f8\" stroke=\"none\"");
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
    svg.rect(LEFT, top, PLOT, height, "fill=\"#f6f7f8\" stroke=\"none\"");
    svg.text((LEFT - 6.0, top + height - 5.0), Anchor::End, label, "class=\"small\"");
    for (from, to, state) in columns.runs(number) {
        let Some(name) = usize::from(state).checked_sub(1).and_then(|i| names.get(i)) else {
            continue;
        };
        let (x, width) = (LEFT + from * PLOT, ((to - from) * PLOT).max(1.0));
        svg.rect(x, top, width, height, "fill=\"#e4e8ec\" stroke=\"#7d858e\" stroke-width=\"0.8\"");
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
    svg.line((LEFT, y), (LEFT + PLOT, y), "stroke=\"#555\" stroke-width=\"1\"");
    let values = ticks(0.0, duration_s, 12);
    let step = if values.len() > 1 { values[1] - values[0] } else { 1.0 };
    for value in values {
        let x = LEFT + PLOT * value / duration_s;
        svg.line((x, y), (x, y + 4.0), "stroke=\"#555\" stroke-width=\"1\"");
        svg.text((x, y + 15.0), Anchor::Middle, &tick_text(value, step), "class=\"tick\"");
    }
    svg.text((LEFT + PLOT + 24.0, y + 15.0), Anchor::Start, "time, s", "class=\"tick\"");
}

/// What the fills of the three lanes mean.
pub(super) fn lane_legend(svg: &mut Svg, top: f64) {
    let x = LEFT + PLOT + 12.0;
    let rows: [[(&str, &str); 2]; 3] = [
        [("#0072B2", "close"), ("url(#hatch)", "prefill")],
        [("#4d5359", "closed"), ("url(#dots)", "no word")],
        [("#009E73", "locked"), ("url(#slip)", "slipping")],
    ];
    for (r, row) in rows.iter().enumerate() {
        for (k, (fill, word)) in row.iter().enumerate() {
            let (at, y) = (x + 78.0 * k as f64, top + 12.0 * r as f64);
            let style = format!("fill=\"{fill}\" stroke=\"#888\" stroke-width=\"0.4\"");
            svg.rect(at, y + 1.0, 16.0, 8.0, &style);
            svg.text((at + 21.0, y + 8.5), Anchor::Start, word, "class=\"small\"");
        }
    }
}
