//! Just enough XML to write.

use crate::picture::svg::escaped;

/// An element being written: its name and attributes.
#[derive(Clone, Debug)]
pub(super) struct Element {
    text: String,
    name: &'static str,
}

impl Element {
    pub(super) fn new(name: &'static str) -> Element {
        Element { text: format!("<{name}"), name }
    }

    /// With an attribute.
    pub(super) fn with(mut self, key: &str, value: impl AsRef<str>) -> Element {
        self.text += &format!(" {key}=\"{}\"", escaped(value.as_ref()));
        self
    }

    /// Without content.
    pub(super) fn empty(self) -> String {
        format!("{}/>\n", self.text)
    }

    /// With elements inside, each on lines of its own.
    pub(super) fn around(self, inside: &str) -> String {
        let Element { text, name } = self;
        let inside: String = inside.lines().map(|line| format!("  {line}\n")).collect();
        format!("{text}>\n{inside}</{name}>\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_a_meaning_in_xml_is_escaped() {
        let element = Element::new("a").with("b", "<&\"\n>").empty();
        assert_eq!(element, "<a b=\"&lt;&amp;&quot; &gt;\"/>\n");
        assert_eq!(Element::new("a").around("<b/>\n"), "<a>\n  <b/>\n</a>\n");
    }
}
