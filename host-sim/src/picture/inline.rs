//! Pictures that are files of their own, put into another or into a page: identifiers and styles of one must
//! not meet those of another.

use super::palette;

/// Selectors of a style sheet, each below `#id`; `svg`, `:root` and the picture's own class are the
/// picture itself.
fn scoped(style: &str, id: &str, own: &str) -> String {
    let mut out = String::new();
    let mut rest = style;
    while let Some((selectors, after)) = rest.split_once('{') {
        if selectors.trim_start().starts_with('@') {
            // A block of rules: up to the brace that closes it.
            let mut depth = 1;
            let end = after.char_indices().find_map(|(at, c)| {
                depth += i32::from(c == '{') - i32::from(c == '}');
                (depth == 0).then_some(at)
            });
            let end = end.unwrap_or(after.len());
            out += &format!("{selectors}{{{}}}", scoped(&after[..end], id, own));
            rest = after.get(end + 1..).unwrap_or("");
            continue;
        }
        let (body, next) = after.split_once('}').unwrap_or((after, ""));
        let each = selectors.split(',').map(|selector| match selector.trim() {
            "svg" | ":root" => format!("#{id}"),
            other => match other.strip_prefix(own).filter(|_| !own.is_empty()) {
                Some(rest) if rest.is_empty() || rest.starts_with(' ') => format!("#{id}{rest}"),
                _ => format!("#{id} {other}"),
            },
        });
        out += &format!("{}{{{body}}}", each.collect::<Vec<_>>().join(","));
        rest = next;
    }
    out
}

/// An SVG document as part of another or of a page, with `id` on it and in front of its identifiers. Styles
/// apply within it alone; the style of the palette, which the whole has once, is left out.
pub(crate) fn inlined(svg: &str, id: &str) -> String {
    let whole = svg.trim_start_matches("<?xml version=\"1.0\" encoding=\"UTF-8\"?>").trim();
    let mut out = whole.replacen(&palette::style(), "", 1);
    let lead = " id=\"";
    let names: Vec<String> = out
        .match_indices(lead)
        .filter_map(|(at, _)| out[at + lead.len()..].split('"').next())
        .map(str::to_owned)
        .collect();
    for name in &names {
        for (from, to) in [
            (format!(" id=\"{name}\""), format!(" id=\"{id}-{name}\"")),
            (format!("url(#{name})"), format!("url(#{id}-{name})")),
            (format!("href=\"#{name}\""), format!("href=\"#{id}-{name}\"")),
        ] {
            out = out.replace(&from, &to);
        }
    }
    let labels = " aria-labelledby=\"";
    if let Some((before, after)) = out.split_once(labels)
        && let Some((list, rest)) = after.split_once('"')
    {
        let own: Vec<String> = list.split(' ').map(|name| format!("{id}-{name}")).collect();
        out = format!("{before}{labels}{}\"{rest}", own.join(" "));
    }
    let head = out.split('>').next().unwrap_or("");
    let class = head.split(" class=\"").nth(1).and_then(|rest| rest.split('"').next());
    let own = class.map_or(String::new(), |class| format!(".{class}"));
    let mut styled = String::new();
    let mut rest = out.as_str();
    while let Some((before, after)) = rest.split_once("<style>") {
        let (style, next) = after.split_once("</style>").unwrap_or((after, ""));
        styled += &format!("{before}<style>{}</style>", scoped(style, id, &own));
        rest = next;
    }
    styled += rest;
    styled.replacen("<svg ", &format!("<svg id=\"{id}\" "), 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_pictures_on_a_page_do_not_meet() {
        let svg = "<svg aria-labelledby=\"title desc\"><title id=\"title\">a</title>\
                   <desc id=\"desc\">b</desc><style>text,.a b{fill:red}@media print{svg{x:y}.c{z:w}}\
                   </style><rect fill=\"url(#hatch)\"/><pattern id=\"hatch\"/></svg>";
        let own = "<svg class=\"sw\"><style>.sw{--a:b}.sw text{c:d}.swan{e:f}</style></svg>";
        assert_eq!(
            inlined(own, "q"),
            "<svg id=\"q\" class=\"sw\"><style>#q{--a:b}#q text{c:d}#q .swan{e:f}</style></svg>"
        );
        let got = inlined(svg, "p1");
        assert_eq!(
            got,
            "<svg id=\"p1\" aria-labelledby=\"p1-title p1-desc\"><title id=\"p1-title\">a</title>\
             <desc id=\"p1-desc\">b</desc><style>#p1 text,#p1 .a b{fill:red}@media print{#p1{x:y}\
             #p1 .c{z:w}}</style><rect fill=\"url(#p1-hatch)\"/><pattern id=\"p1-hatch\"/></svg>"
        );
    }
}
