//! Writes SVG elements.
//!
//! What must stay true: every text and attribute is escaped, characters that XML forbids become spaces, and no number
//! is written that is none.

use std::fmt::Write;

/// One element with its attributes and what is inside.
pub(crate) struct Element {
    name: &'static str,
    attributes: String,
    inside: String,
}

/// What an attribute holds.
pub(crate) enum Value<'a> {
    Number(f64),
    Text(&'a str),
}

impl From<f64> for Value<'_> {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl<'a> From<&'a str> for Value<'a> {
    fn from(text: &'a str) -> Self {
        Self::Text(text)
    }
}

impl<'a> From<&'a String> for Value<'a> {
    fn from(text: &'a String) -> Self {
        Self::Text(text)
    }
}

impl Element {
    pub(crate) fn new(name: &'static str) -> Self {
        Self {
            name,
            attributes: String::new(),
            inside: String::new(),
        }
    }

    pub(crate) fn with<'a>(mut self, name: &str, value: impl Into<Value<'a>>) -> Self {
        let value = match value.into() {
            Value::Number(number) => number_text(number),
            Value::Text(text) => escaped(text),
        };
        // Writing into a String cannot fail.
        let _ = write!(self.attributes, " {name}=\"{value}\"");
        self
    }

    pub(crate) fn text(mut self, text: &str) -> Self {
        self.inside.push_str(&escaped(text));
        self
    }

    pub(crate) fn child(mut self, child: Self) -> Self {
        child.write_to(&mut self.inside);
        self
    }

    pub(crate) fn children(self, children: impl IntoIterator<Item = Self>) -> Self {
        children.into_iter().fold(self, Self::child)
    }

    pub(crate) fn written(self) -> String {
        let mut out = String::new();
        self.write_to(&mut out);
        out
    }

    fn write_to(self, out: &mut String) {
        let Self {
            name,
            attributes,
            inside,
        } = self;
        let _ = if inside.is_empty() {
            writeln!(out, "<{name}{attributes}/>")
        } else {
            writeln!(out, "<{name}{attributes}>{inside}</{name}>")
        };
    }
}

/// Two decimals at most; what is no number is written as 0, though nothing should come this far.
pub(crate) fn number_text(number: f64) -> String {
    if !number.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{number:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" {
        "0".to_owned()
    } else {
        short.to_owned()
    }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{FFFE}' | '\u{FFFF}' => out.push(' '),
            other if other.is_control() => out.push(' '),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_escaped_and_forbidden_characters_become_spaces() {
        let written = Element::new("text")
            .with("id", "a\"b")
            .text("<b> & 'c'\u{0}\u{FFFF}")
            .written();
        assert_eq!(
            written,
            "<text id=\"a&quot;b\">&lt;b&gt; &amp; &#39;c&#39;  </text>\n"
        );
    }

    #[test]
    fn numbers_are_short_and_never_none() {
        assert_eq!(number_text(12.0), "12");
        assert_eq!(number_text(1.504), "1.5");
        assert_eq!(number_text(-0.001), "0");
        assert_eq!(number_text(f64::NAN), "0");
        assert_eq!(number_text(f64::INFINITY), "0");
    }
}
