//! A frame with two axes, and fills that can be told apart without colour.

use crate::picture::palette;
use crate::picture::scale::{tick_text, ticks};
use crate::picture::svg::{Anchor, Svg};

/// Style of all energy pictures.
const STYLE: &str = ".sw text{font-size:12px}.sw .title{font-size:14px}\
.sw .small{font-size:10.5px}\
.sw .axis{stroke:var(--sw-ink);stroke-width:1}.sw .grid{stroke:var(--sw-line);stroke-width:.6;\
stroke-opacity:.5}\
.sw .edged{stroke:var(--sw-ink);stroke-width:.7}\
.sw .line{fill:none;stroke:var(--sw-power);stroke-width:1.5}\
.sw .driven{fill:none;stroke:var(--sw-alarm);stroke-width:1.2;stroke-dasharray:5 3}\
.sw .halo{paint-order:stroke;stroke:var(--sw-paper);stroke-width:4px}";

/// How many fills a picture may use: one an arrangement, or one a kind of loss.
const FILLS: usize = 16;

/// Fill `i`: its colour under marks of its own, for print without colour.
pub(in crate::energy) fn fill(i: usize) -> String {
    palette::area(i % FILLS)
}

/// One axis: its ends and its words, unit included.
#[derive(Clone, Copy, Debug)]
pub(in crate::energy) struct Axis<'a> {
    pub(in crate::energy) low: f64,
    pub(in crate::energy) high: f64,
    pub(in crate::energy) words: &'a str,
}

/// Where a plot stands in a picture, px, and its axes.
#[derive(Clone, Copy, Debug)]
pub(in crate::energy) struct Frame<'a> {
    pub(in crate::energy) left: f64,
    pub(in crate::energy) top: f64,
    pub(in crate::energy) width: f64,
    pub(in crate::energy) height: f64,
    pub(in crate::energy) x: Axis<'a>,
    pub(in crate::energy) y: Axis<'a>,
}

impl Frame<'_> {
    /// Place of a value across, px.
    pub(in crate::energy) fn across(&self, x: f64) -> f64 {
        self.left + self.width * (x - self.x.low) / (self.x.high - self.x.low)
    }

    /// Place of a value upwards, px.
    pub(in crate::energy) fn up(&self, y: f64) -> f64 {
        self.top + self.height * (1.0 - (y - self.y.low) / (self.y.high - self.y.low))
    }

    /// Lines of the grid, behind what is drawn.
    pub(in crate::energy) fn grid(&self, svg: &mut Svg) {
        for x in ticks(self.x.low, self.x.high, 8) {
            let at = self.across(x);
            svg.line((at, self.top), (at, self.top + self.height), "class=\"grid\"");
        }
        for y in ticks(self.y.low, self.y.high, 8) {
            let at = self.up(y);
            svg.line((self.left, at), (self.left + self.width, at), "class=\"grid\"");
        }
    }

    /// Border, ticks and words.
    pub(in crate::energy) fn axes(&self, svg: &mut Svg) {
        let (right, bottom) = (self.left + self.width, self.top + self.height);
        svg.rect(self.left, self.top, self.width, self.height, "class=\"axis\" fill=\"none\"");
        let list = ticks(self.x.low, self.x.high, 8);
        let step = list.get(1).map_or(1.0, |b| b - list[0]);
        for x in &list {
            let at = self.across(*x);
            svg.line((at, bottom), (at, bottom + 4.0), "class=\"axis\"");
            svg.text((at, bottom + 16.0), Anchor::Middle, &tick_text(*x, step), "class=\"small\"");
        }
        let list = ticks(self.y.low, self.y.high, 8);
        let step = list.get(1).map_or(1.0, |b| b - list[0]);
        for y in &list {
            let at = self.up(*y);
            svg.line((self.left - 4.0, at), (self.left, at), "class=\"axis\"");
            let text = tick_text(*y, step);
            svg.text((self.left - 7.0, at + 4.0), Anchor::End, &text, "class=\"small\"");
        }
        let middle = 0.5 * (self.left + right);
        svg.text((middle, bottom + 34.0), Anchor::Middle, self.x.words, "");
        let (x, y) = (self.left - 46.0, 0.5 * (self.top + bottom));
        let turn = format!("transform=\"rotate(-90 {x:.1} {y:.1})\"");
        svg.text((x, y), Anchor::Middle, self.y.words, &turn);
    }
}

/// A legend of patterns, one line each, from `at` downwards.
pub(in crate::energy) fn legend(svg: &mut Svg, at: (f64, f64), names: &[(usize, String)]) {
    for (line, (pattern, name)) in names.iter().enumerate() {
        let y = at.1 + 22.0 * line as f64;
        let attributes = format!("{} class=\"edged\"", fill(*pattern));
        svg.rect(at.0, y, 26.0, 16.0, &attributes);
        svg.text((at.0 + 33.0, y + 12.0), Anchor::Start, name, "");
    }
}

/// A picture with a title and the definitions of its fills.
pub(in crate::energy) fn picture(width: f64, height: f64, title: &str, about: &str) -> Svg {
    let mut svg = Svg::themed(width, height, title, about, STYLE);
    svg.definitions(&palette::area_marks(FILLS));
    svg.text((16.0, 24.0), Anchor::Start, title, "class=\"title\"");
    svg
}
