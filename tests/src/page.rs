//! A strict reader of one HTML page: what does not nest, does not resolve, has no words for those
//! who cannot see it, or would be fetched from elsewhere is told as a fault.
//!
//! The rules are those of the WHATWG HTML standard (elements, nesting, attributes) and of WCAG 2.2
//! (1.1.1 text alternatives, 1.3.1 tables and headings, 2.4.1 skip link, 3.1.1 language), as far
//! as they can be seen in the source.

use std::collections::{BTreeMap, BTreeSet};

/// Elements without an end tag (WHATWG HTML, "void elements").
const VOID: [&str; 14] = [
    "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "param", "source",
    "track", "wbr",
];
/// Elements of HTML that the page may use.
const HTML: &str = "html head meta title style script body a header footer nav main section \
    article aside h1 h2 h3 h4 p div span b i strong em ul ol li dl dt dd pre code table caption \
    thead tbody tr th td figure figcaption svg br img label input button output";
/// Elements of SVG that the page may use.
const SVG: &str = "svg title desc style defs pattern g rect line path text circle ellipse polygon \
    polyline marker clipPath use tspan";
/// What a paragraph or a heading may hold (phrasing content).
const PHRASING: &str = "a b i strong em span code br img label input button output svg";
/// Parents that an element must have, and only they.
const PARENTS: [(&str, &str); 12] = [
    ("li", "ul ol"),
    ("dt", "dl div"),
    ("dd", "dl div"),
    ("caption", "table"),
    ("thead", "table"),
    ("tbody", "table"),
    ("tr", "thead tbody"),
    ("th", "tr"),
    ("td", "tr"),
    ("figcaption", "figure"),
    ("body", "html"),
    ("head", "html"),
];
/// Entities that a page written here needs.
const ENTITIES: [&str; 6] = ["amp;", "lt;", "gt;", "quot;", "#39;", "nbsp;"];

/// One element with its attributes and children.
#[derive(Clone, Debug, Default)]
pub struct Element {
    /// Its name.
    pub name: String,
    /// Attributes in order.
    pub attributes: Vec<(String, String)>,
    /// Children, elements only.
    pub children: Vec<Element>,
    /// All text in it, in order.
    pub text: String,
}

impl Element {
    /// Value of an attribute.
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// This element and all below it, in order.
    pub fn all(&self) -> Vec<&Element> {
        let mut list = vec![self];
        self.children.iter().for_each(|child| list.extend(child.all()));
        list
    }

    /// All elements of a name.
    pub fn named(&self, name: &str) -> Vec<&Element> {
        self.all().into_iter().filter(|e| e.name == name).collect()
    }
}

fn among(list: &str, word: &str) -> bool {
    list.split_whitespace().any(|w| w == word)
}

/// Attributes of a tag; the first fault of their writing.
fn attributes(text: &str) -> Result<Vec<(String, String)>, String> {
    let mut list: Vec<(String, String)> = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let end = rest.find(['=', ' ']).unwrap_or(rest.len());
        let name = &rest[..end];
        let fits = |c: char| c.is_ascii_alphanumeric() || "-:".contains(c);
        if name.is_empty() || !name.chars().all(fits) {
            return Err(format!("{name:?} is no name of an attribute"));
        }
        if list.iter().any(|(known, _)| known == name) {
            return Err(format!("attribute {name} twice"));
        }
        let mut value = "";
        rest = &rest[end..];
        if let Some(after) = rest.strip_prefix('=') {
            let quoted = after.strip_prefix('"').and_then(|a| a.split_once('"'));
            let (inside, next) = quoted.ok_or(format!("{name} has no quoted value"))?;
            if inside.contains('<') {
                return Err(format!("a bare < in {name}"));
            }
            entities(inside)?;
            (value, rest) = (inside, next);
        }
        list.push((name.to_owned(), value.to_owned()));
        if !rest.is_empty() && !rest.starts_with(char::is_whitespace) {
            return Err(format!("no blank after {name}"));
        }
        rest = rest.trim_start();
    }
    Ok(list)
}

/// Every `&` begins an entity.
fn entities(text: &str) -> Result<(), String> {
    for (at, _) in text.match_indices('&') {
        let after = &text[at + 1..];
        if !ENTITIES.iter().any(|e| after.starts_with(e)) {
            let shown: String = after.chars().take(12).collect();
            return Err(format!("a bare & before {shown:?}"));
        }
    }
    Ok(())
}

/// Read a page into its tree.
///
/// # Errors
/// The first place where it is not well formed.
pub fn read(page: &str) -> Result<Element, String> {
    let mut rest = page.strip_prefix("<!DOCTYPE html>").ok_or("no <!DOCTYPE html>")?;
    let mut open: Vec<Element> = vec![Element::default()];
    while !rest.is_empty() {
        let raw = open.last().map(|e| e.name.as_str()).filter(|n| ["script", "style"].contains(n));
        let end = match raw {
            Some(name) => rest.find(&format!("</{name}>")).ok_or("raw text without end")?,
            None => rest.find('<').unwrap_or(rest.len()),
        };
        let text = &rest[..end];
        if raw.is_none() {
            if text.contains('>') {
                return Err(format!("a bare > in {text:?}"));
            }
            entities(text)?;
        }
        open.iter_mut().for_each(|e| e.text.push_str(text));
        rest = &rest[end..];
        if rest.is_empty() {
            break;
        }
        let close = rest.find('>').ok_or("a tag without end")?;
        let tag = &rest[1..close];
        rest = &rest[close + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            let done = open.pop().ok_or("an end too many")?;
            if done.name != name || open.is_empty() {
                return Err(format!("</{name}> ends <{}>", done.name));
            }
            open.last_mut().ok_or("an end too many")?.children.push(done);
            continue;
        }
        let (tag, closed) = tag.strip_suffix('/').map_or((tag, false), |t| (t, true));
        let (name, more) = tag.split_once(char::is_whitespace).unwrap_or((tag, ""));
        let element = Element {
            name: name.to_owned(),
            attributes: attributes(more).map_err(|e| format!("<{name}>: {e}"))?,
            ..Element::default()
        };
        let in_svg = open.iter().any(|e| e.name == "svg");
        if closed && !in_svg {
            return Err(format!("<{name}/> closes itself, which only SVG may"));
        }
        if closed || VOID.contains(&name) {
            open.last_mut().ok_or("nothing is open")?.children.push(element);
        } else {
            open.push(element);
        }
    }
    match (open.pop(), open.is_empty()) {
        (Some(root), true) => Ok(root),
        (Some(left), false) => Err(format!("<{}> is never ended", left.name)),
        (None, _) => Err("nothing is there".into()),
    }
}

/// Faults of nesting below an element.
fn nesting(element: &Element, in_svg: bool, faults: &mut Vec<String>) {
    for child in &element.children {
        let (name, parent) = (child.name.as_str(), element.name.as_str());
        let known = if in_svg { among(SVG, name) } else { among(HTML, name) };
        if !known {
            faults.push(format!("<{name}> is no element that belongs there"));
        }
        if !in_svg {
            let needed = PARENTS.iter().find(|(child, _)| *child == name);
            if needed.is_some_and(|(_, parents)| !among(parents, parent)) {
                faults.push(format!("<{name}> in <{parent}>"));
            }
            let phrasing = among("p h1 h2 h3 h4 caption span a b strong code pre label dt", parent);
            if phrasing && !among(PHRASING, name) {
                faults.push(format!("<{name}> in <{parent}>"));
            }
            if among("ul ol", parent) && name != "li" {
                faults.push(format!("<{name}> in <{parent}>"));
            }
            if name == "a" && !child.named("a")[1..].is_empty() {
                faults.push("a link in a link".into());
            }
        }
        nesting(child, in_svg || name == "svg", faults);
    }
}

/// Faults of identifiers and of what points to them or to files.
fn links(root: &Element, files: &[&str], faults: &mut Vec<String>) {
    let mut ids = BTreeSet::new();
    for id in root.all().iter().filter_map(|e| e.get("id")) {
        if !ids.insert(id) {
            faults.push(format!("id {id} twice"));
        }
    }
    for element in root.all() {
        for (name, value) in &element.attributes {
            match name.as_str() {
                "href" | "src" => {
                    let fine = match value.strip_prefix('#') {
                        Some(id) => ids.contains(id),
                        None => files.contains(&value.as_str()),
                    };
                    if !fine {
                        faults.push(format!("{name}={value:?} leads nowhere"));
                    }
                }
                "aria-labelledby" | "aria-describedby" | "for" => {
                    for id in value.split(' ').filter(|id| !ids.contains(id)) {
                        faults.push(format!("{name} names {id}, which is not there"));
                    }
                }
                "tabindex" if value != "0" && value != "-1" => {
                    faults.push(format!("tabindex={value}"));
                }
                "aria-label" | "alt" if value.trim().is_empty() => {
                    faults.push(format!("<{}> has an empty {name}", element.name));
                }
                name if name.starts_with("on") => faults.push(format!("a handler in {name}")),
                _ => {}
            }
            for at in value.match_indices("url(").map(|(at, _)| at) {
                if !value[at..]
                    .strip_prefix("url(#")
                    .is_some_and(|id| id.split_once(')').is_some_and(|(id, _)| ids.contains(id)))
                {
                    faults.push(format!("{value:?} leads nowhere"));
                }
            }
        }
        if element.name == "style"
            && (element.text.contains("@import") || element.text.contains("//"))
        {
            faults.push("a style fetches something".into());
        }
    }
}

/// Faults of what a picture, a table or a field says to those who cannot see it.
fn words(root: &Element, faults: &mut Vec<String>) {
    for img in root.named("img").iter().filter(|img| img.get("alt").is_none()) {
        faults.push(format!("<img> without alt: {:?}", img.get("src")));
    }
    for svg in root.named("svg") {
        let title = svg.children.iter().find(|c| c.name == "title");
        let named = title.is_some_and(|t| !t.text.trim().is_empty() && t.get("id").is_some());
        let labelled = svg.get("aria-labelledby").is_some();
        if svg.get("role") != Some("img") || !named || !labelled {
            faults.push(format!("<svg> without a title: {:?}", svg.get("id")));
        }
    }
    for table in root.named("table") {
        let caption = table.children.first().filter(|c| c.name == "caption");
        if caption.is_none_or(|c| c.text.trim().is_empty()) {
            faults.push("<table> without caption".into());
        }
        for th in table.named("th").iter().filter(|th| th.get("scope").is_none()) {
            faults.push(format!("<th> without scope: {:?}", th.text));
        }
        if table.named("th").iter().all(|th| th.get("scope") != Some("col")) {
            faults.push("<table> without heads of columns".into());
        }
    }
    for region in root.all().iter().filter(|e| e.get("role") == Some("region")) {
        if region.get("tabindex") != Some("0") {
            faults.push("a region that scrolls and is not reached by keys".into());
        }
        if region.get("aria-label").is_none() {
            faults.push("a region without a name".into());
        }
    }
    for element in root.all().iter().filter(|e| ["button", "a"].contains(&e.name.as_str())) {
        if element.text.trim().is_empty() && element.get("aria-label").is_none() {
            faults.push(format!("<{}> without words", element.name));
        }
    }
}

/// Faults of the page as a whole: landmarks, headings, language, skip link.
fn frame(root: &Element, faults: &mut Vec<String>) {
    for name in ["html", "head", "body", "h1", "main", "header", "footer"] {
        let found = root.named(name).len();
        if found != 1 {
            faults.push(format!("{found} times <{name}>"));
        }
    }
    // Pictures have titles of their own.
    let head = root.named("head").first().map_or(0, |head| head.named("title").len());
    if head != 1 {
        faults.push(format!("{head} titles in the head"));
    }
    if root.named("html").first().and_then(|e| e.get("lang")).is_none() {
        faults.push("no language".into());
    }
    if root.named("nav").iter().any(|e| e.get("aria-label").is_none()) {
        faults.push("<nav> without a name".into());
    }
    if root.named("a").first().and_then(|a| a.get("href")) != Some("#main") {
        faults.push("the first link does not skip to the content".into());
    }
    let mut level = 0;
    for heading in root.all() {
        let Some(next) = heading.name.strip_prefix('h').and_then(|n| n.parse::<u32>().ok()) else {
            continue;
        };
        if next > level + 1 {
            faults.push(format!("h{next} after h{level}: {:?}", heading.text));
        }
        level = next;
    }
}

/// All faults of a page; `files` are what it may link to beside itself.
pub fn faults(page: &str, files: &[&str]) -> Vec<String> {
    let root = match read(page) {
        Ok(root) => root,
        Err(fault) => return vec![fault],
    };
    let mut faults = Vec::new();
    nesting(&root, false, &mut faults);
    links(&root, files, &mut faults);
    words(&root, &mut faults);
    frame(&root, &mut faults);
    faults
}

/// A colour of six hexadecimal digits as red, green and blue, 0 to 1.
fn channels(hex: &str) -> Option<[f64; 3]> {
    let digits = hex.trim().strip_prefix('#')?;
    let long: String = match digits.len() {
        3 => digits.chars().flat_map(|c| [c, c]).collect(),
        6 => digits.to_owned(),
        _ => return None,
    };
    let part =
        |at: usize| u8::from_str_radix(&long[at..at + 2], 16).ok().map(|v| f64::from(v) / 255.0);
    Some([part(0)?, part(2)?, part(4)?])
}

/// Contrast of two colours, 1 to 21: WCAG 2.2, "contrast ratio" and "relative luminance".
pub fn contrast(a: &str, b: &str) -> Option<f64> {
    let luminance = |hex: &str| -> Option<f64> {
        let [r, g, b] = channels(hex)?.map(|c| match c {
            c if c <= 0.04045 => c / 12.92,
            c => ((c + 0.055) / 1.055).powf(2.4),
        });
        Some(0.2126 * r + 0.7152 * g + 0.0722 * b)
    };
    let (a, b) = (luminance(a)?, luminance(b)?);
    Some((a.max(b) + 0.05) / (a.min(b) + 0.05))
}

/// Variables of every `:root{...}` of a style sheet, in order.
pub fn palettes(style: &str) -> Vec<BTreeMap<String, String>> {
    let blocks = style.split(":root{").skip(1).filter_map(|rest| rest.split('}').next());
    let one = |block: &str| {
        block
            .split(';')
            .filter_map(|line| line.trim().strip_prefix("--")?.split_once(':'))
            .map(|(name, value)| (name.to_owned(), value.trim().to_owned()))
            .collect()
    };
    blocks.map(one).collect()
}
