//! Small pieces of HTML. Every argument named `html` is HTML already; all others are escaped here.

pub(super) use crate::picture::svg::escaped;

/// A section with its heading.
pub(super) fn section(id: &str, title: &str, html: &str) -> String {
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-title\">\n<h2 id=\"{id}-title\">{}</h2>\n\
         {html}</section>\n",
        escaped(title)
    )
}

/// A part of a section with its heading.
pub(super) fn part(id: &str, title: &str, html: &str) -> String {
    format!(
        "<section id=\"{id}\" class=\"part\" aria-labelledby=\"{id}-title\">\n<h3 \
         id=\"{id}-title\">{}</h3>\n{html}</section>\n",
        escaped(title)
    )
}

/// A list of pieces of HTML.
pub(super) fn items(html: &[String]) -> String {
    let items: String = html.iter().map(|i| format!("<li>{i}</li>\n")).collect();
    format!("<ul>\n{items}</ul>\n")
}

/// A paragraph of plain text.
pub(super) fn p(text: &str) -> String {
    format!("<p>{}</p>\n", escaped(text))
}

/// Text with what stands between backticks as code.
pub(super) fn ticked(text: &str) -> String {
    let parts = text.split('`').enumerate();
    let one = |(i, part): (usize, &str)| match i % 2 {
        1 => format!("<code>{}</code>", escaped(part)),
        _ => escaped(part),
    };
    parts.map(one).collect()
}

/// A unit as it is written by hand, for a page.
pub(super) fn unit(text: &str) -> String {
    escaped(text).replace("m/s2", "m/s\u{b2}")
}

/// A list of plain texts.
pub(super) fn list(items: &[String]) -> String {
    let items: String = items.iter().map(|i| format!("<li>{}</li>\n", escaped(i))).collect();
    format!("<ul>\n{items}</ul>\n")
}

/// A link to a place in the folder or on the page.
pub(super) fn link(target: &str, text: &str) -> String {
    format!("<a href=\"{}\">{}</a>", escaped(target), escaped(text))
}

/// A command to be copied.
pub(super) fn command(line: &str) -> String {
    format!("<pre class=\"line\"><code>{}</code></pre>\n", escaped(line))
}

/// A table; heads that begin with "#" stand over columns of numbers. Cells are HTML, and the
/// first cell of a row heads it.
pub(super) struct Table {
    caption: String,
    head: Vec<String>,
    rows: Vec<(String, Vec<String>)>,
}

impl Table {
    pub(super) fn new(caption: &str, head: &[&str]) -> Table {
        let head = head.iter().map(|h| (*h).to_owned()).collect();
        Table { caption: caption.to_owned(), head, rows: Vec::new() }
    }

    pub(super) fn row(&mut self, html: Vec<String>) {
        self.row_with(String::new(), html);
    }

    /// A row with attributes of its own (written as they are).
    pub(super) fn row_with(&mut self, attributes: String, html: Vec<String>) {
        debug_assert_eq!(html.len(), self.head.len());
        self.rows.push((attributes, html));
    }

    pub(super) fn html(&self) -> String {
        let class = |col: usize| {
            if self.head[col].starts_with('#') { " class=\"n\"" } else { "" }
        };
        let head: String = (0..self.head.len())
            .map(|c| {
                let text = self.head[c].trim_start_matches('#');
                format!("<th scope=\"col\"{}>{}</th>", class(c), escaped(text))
            })
            .collect();
        let mut rows = String::new();
        for (attributes, cells) in &self.rows {
            let space = if attributes.is_empty() { "" } else { " " };
            rows += &format!("<tr{space}{attributes}>");
            for (c, cell) in cells.iter().enumerate() {
                rows += &match c {
                    0 => format!("<th scope=\"row\"{}>{cell}</th>", class(c)),
                    _ => format!("<td{}>{cell}</td>", class(c)),
                };
            }
            rows += "</tr>\n";
        }
        let caption = escaped(&self.caption);
        format!(
            "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\">\n\
             <table class=\"data\">\n\
             <caption><span>{caption}</span></caption>\n<thead>\n<tr>{head}</tr>\n</thead>\n<tbody>\n{rows}</tbody>\n\
             </table>\n</div>\n"
        )
    }
}

/// A picture that keeps its size as far as its letters need it, in a frame that scrolls where the
/// screen is narrower; the caption below it is HTML.
pub(super) fn picture(svg: &str, label: &str, caption: &str) -> String {
    let width = svg.split(" width=\"").nth(1).and_then(|rest| rest.split('"').next());
    let width: f64 = width.and_then(|text| text.parse().ok()).unwrap_or(760.0);
    let caption = match caption {
        "" => String::new(),
        html => format!("<figcaption>{html}</figcaption>\n"),
    };
    format!(
        "<figure style=\"--w:{width:.0}\">\n<div class=\"look\" role=\"region\" tabindex=\"0\" \
         aria-label=\"{}\">\n{svg}</div>\n{caption}</figure>\n",
        escaped(label)
    )
}

/// As [`short`], for a sentence: without the zeros that keep columns in line.
pub(super) fn plain(value: f64) -> String {
    let text = short(value);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// Three or four significant figures, without "-0".
pub(super) fn short(value: f64) -> String {
    let text = match value.abs() {
        0.0 => return "0".to_owned(),
        a if a < 0.0005 => return "\u{2248}0".to_owned(),
        a if a >= 100.0 => format!("{value:.0}"),
        a if a >= 10.0 => format!("{value:.1}"),
        a if a >= 0.01 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    };
    text.replace('-', "\u{2212}")
}

/// A bar of the used share of a limit, with the figure; the bar is decoration.
pub(super) fn bar(share: f64) -> String {
    let percent = (share * 100.0).min(999.0);
    let width = percent.clamp(0.0, 100.0);
    let class = match percent {
        p if p > 100.0 => "bar over",
        p if p > 80.0 => "bar near",
        _ => "bar",
    };
    format!(
        "<span class=\"{class}\" aria-hidden=\"true\"><i style=\"width:{width:.0}%\"></i></span> \
         {percent:.0} %"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short_and_never_minus_zero() {
        assert_eq!(short(-0.0008), "\u{2212}0.001");
        assert_eq!(short(-0.0001), "\u{2248}0");
        assert_eq!(short(-0.0), "0");
        assert_eq!(short(1234.5), "1234");
        assert_eq!(short(-12.34), "\u{2212}12.3");
        assert_eq!(short(0.0), "0");
        assert_eq!([plain(40.0), plain(100.0), plain(0.96)], ["40", "100", "0.96"]);
    }

    #[test]
    fn names_from_a_file_cannot_become_markup() {
        assert!(!picture("<svg width=\"9\"></svg>", "\"><b>", "").contains("<b>"));
        assert!(!p("<script>").contains("<script>"));
        assert!(!link("\"><b>", "<i>").contains("<b>"));
        assert!(!section("x", "<u>", "").contains("<u>"));
    }
}
