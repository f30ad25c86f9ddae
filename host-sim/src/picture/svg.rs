//! A small SVG writer: escaped text, fixed decimals, the same bytes for the same picture.

use std::fmt::Write;

/// An SVG document under construction.
#[derive(Debug)]
pub struct Svg {
    body: String,
    width: f64,
    height: f64,
    open_groups: usize,
}

/// Where a text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins at the point.
    Start,
    /// The point is the middle of the text.
    Middle,
    /// The text ends at the point.
    End,
}

impl Anchor {
    fn name(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// `&`, `<`, `>` and quotes as entities; characters that XML 1.0 forbids become U+FFFD.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if (c as u32) < 0x20 || matches!(c as u32, 0xfffe | 0xffff) => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// As [`escaped`], but lines stay lines: text between tags.
pub fn escaped_lines(text: &str) -> String {
    text.lines().map(escaped).collect::<Vec<_>>().join("\n")
}

/// A length with at most two decimals and no trailing zeros; not a number becomes 0.
pub fn length(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let mut text = format!("{value:.2}");
    while text.ends_with('0') {
        text.pop();
    }
    if text.ends_with('.') {
        text.pop();
    }
    if text == "-0" { "0".to_owned() } else { text }
}

/// A short mark of a text (FNV-1a, 64 bit; constants from memory): not a secret, only a name.
fn mark(text: &str) -> String {
    let start = 0xcbf2_9ce4_8422_2325u64;
    let step = |h: u64, b: u8| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3);
    format!("{:016x}", text.bytes().fold(start, step))
}

impl Svg {
    /// A picture `width` x `height` px with alternative text: a title and a longer description.
    pub fn new(width: f64, height: f64, title: &str, about: &str, style: &str) -> Svg {
        Svg::marked(("", "title", "desc"), (width, height), title, about, style)
    }

    /// A picture in the colours of [`super::palette`], which follow the ground they stand on.
    pub fn themed(width: f64, height: f64, title: &str, about: &str, style: &str) -> Svg {
        let style = format!("{}{style}", super::palette::style());
        // Several of these may stand in one page, so their identifiers differ.
        let id = mark(&format!("{title}\n{about}"));
        let marks = (" class=\"sw\"", &*format!("t{id}"), &*format!("d{id}"));
        let mut svg = Svg::marked(marks, (width, height), title, about, &style);
        svg.rect(0.0, 0.0, width, height, "fill=\"var(--sw-paper)\"");
        svg
    }

    /// `marks`: the class, with a blank before it, and the identifiers of title and description.
    fn marked(
        (class, title_id, about_id): (&str, &str, &str),
        (width, height): (f64, f64),
        title: &str,
        about: &str,
        style: &str,
    ) -> Svg {
        let mut body = String::new();
        let (w, h) = (length(width), length(height));
        let _ = write!(
            body,
            "<svg xmlns=\"http://www.w3.org/2000/svg\"{class} width=\"{w}\" height=\"{h}\" \
             viewBox=\"0 0 {w} {h}\" role=\"img\" aria-labelledby=\"{title_id} {about_id}\">\n\
             <title id=\"{title_id}\">{}</title>\n<desc id=\"{about_id}\">{}</desc>\n<style>{style}</style>\n",
            escaped(title),
            escaped(about),
        );
        Svg { body, width, height, open_groups: 0 }
    }

    /// Width in px.
    pub fn width(&self) -> f64 {
        self.width
    }

    /// Height in px.
    pub fn height(&self) -> f64 {
        self.height
    }

    /// Open a group of the given class with a title of its own; close it with [`Svg::end`].
    pub fn titled_group(&mut self, class: &str, title: &str) {
        self.group(class);
        let _ = writeln!(self.body, "<title>{}</title>", escaped(title));
    }

    /// A circle; `attributes` are written as they are.
    pub fn circle(&mut self, at: (f64, f64), radius: f64, attributes: &str) {
        let (x, y, r) = (length(at.0), length(at.1), length(radius));
        let _ = writeln!(self.body, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {attributes}/>");
    }

    /// Open a group of the given class; close it with [`Svg::end`].
    pub fn group(&mut self, class: &str) {
        let _ = writeln!(self.body, "<g class=\"{}\">", escaped(class));
        self.open_groups += 1;
    }

    /// Close the innermost open group.
    pub fn end(&mut self) {
        if self.open_groups > 0 {
            self.body.push_str("</g>\n");
            self.open_groups -= 1;
        }
    }

    /// A rectangle; `attributes` are written as they are (not user text).
    pub fn rect(&mut self, x: f64, y: f64, width: f64, height: f64, attributes: &str) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {attributes}/>",
            length(x),
            length(y),
            length(width.max(0.0)),
            length(height.max(0.0)),
        );
    }

    /// A straight line; `attributes` are written as they are.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), attributes: &str) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {attributes}/>",
            length(from.0),
            length(from.1),
            length(to.0),
            length(to.1),
        );
    }

    /// A path of straight pieces through `points`; fewer than two points draw nothing.
    pub fn path(&mut self, points: &[(f64, f64)], closed: bool, attributes: &str) {
        if points.len() < 2 {
            return;
        }
        self.body.push_str("<path d=\"");
        for (i, (x, y)) in points.iter().enumerate() {
            let lead = if i == 0 { 'M' } else { 'L' };
            let _ = write!(self.body, "{lead}{} {}", length(*x), length(*y));
        }
        let _ = writeln!(self.body, "{}\" {attributes}/>", if closed { "Z" } else { "" });
    }

    /// A text; `content` is escaped, `attributes` are written as they are.
    pub fn text(&mut self, at: (f64, f64), anchor: Anchor, content: &str, attributes: &str) {
        let _ = writeln!(
            self.body,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"{}\" {attributes}>{}</text>",
            length(at.0),
            length(at.1),
            anchor.name(),
            escaped(content),
        );
    }

    /// Another picture within this one, its upper left corner at `at`; its identifiers and styles
    /// must not meet those of this one (see `inline`).
    pub(super) fn put(&mut self, svg: &str, at: (f64, f64)) {
        let place = format!("<svg x=\"{}\" y=\"{}\" ", length(at.0), length(at.1));
        self.body.push_str(&svg.replacen("<svg ", &place, 1));
    }

    /// A definition block written as it is (patterns, clip paths).
    pub fn definitions(&mut self, content: &str) {
        let _ = writeln!(self.body, "<defs>{content}</defs>");
    }

    /// The finished document.
    pub fn finish(mut self) -> String {
        while self.open_groups > 0 {
            self.end();
        }
        self.body.push_str("</svg>\n");
        self.body
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_escaped_and_control_characters_do_not_break_the_document() {
        assert_eq!(escaped("a<b & \"c\" 'd'>"), "a&lt;b &amp; &quot;c&quot; &#39;d&#39;&gt;");
        assert_eq!(escaped("x\u{0}y\nz"), "x\u{fffd}y z");
    }

    #[test]
    fn lengths_are_short_and_always_numbers() {
        assert_eq!(length(1.5), "1.5");
        assert_eq!(length(-0.001), "0");
        assert_eq!(length(100.0), "100");
        assert_eq!(length(f64::NAN), "0");
        assert_eq!(length(f64::INFINITY), "0");
    }

    #[test]
    fn groups_are_closed_at_the_end() {
        let mut svg = Svg::new(10.0, 10.0, "t", "d", "");
        svg.group("a");
        svg.group("b");
        let text = svg.finish();
        assert_eq!(text.matches("<g ").count(), text.matches("</g>").count());
        assert!(text.ends_with("</svg>\n"));
    }
}
