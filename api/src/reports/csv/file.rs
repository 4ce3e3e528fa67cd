//! Rows as bytes, and cells that are what they look like.

use nameplate_rules::money::Cents;

use crate::base::{Error, Result};

/// Rows as bytes.
pub struct File {
    writer: csv::Writer<Vec<u8>>,
}

impl File {
    pub fn new() -> Self {
        let writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        Self { writer }
    }

    pub fn row<T: AsRef<[u8]>>(&mut self, cells: impl IntoIterator<Item = T>) -> Result<()> {
        self.writer
            .write_record(cells)
            .map_err(|error| Error::caused("row of a report", error))
    }

    pub fn bytes(self) -> Result<Vec<u8>> {
        self.writer
            .into_inner()
            .map_err(|_| Error::internal("a report could not be written to memory"))
    }
}

/// A text that no spreadsheet takes for a formula.
pub fn text(value: &str) -> String {
    match value.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{value}"),
        _ => value.to_owned(),
    }
}

/// An amount as a plain decimal.
pub fn amount(cents: Cents) -> String {
    cents.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_looks_like_a_formula_is_made_harmless_and_an_amount_keeps_its_sign() {
        for (given, shown) in [
            ("=1+1", "'=1+1"),
            ("+1", "'+1"),
            ("-2", "'-2"),
            ("@sum", "'@sum"),
            ("\tx", "'\tx"),
            ("Part = new", "Part = new"),
            ("", ""),
        ] {
            assert_eq!(text(given), shown);
        }
        assert_eq!(amount(Cents(-1_234_567)), "-12345.67");
    }

    #[test]
    fn a_row_is_quoted_as_rfc_4180_says() {
        let mut file = File::new();
        file.row([
            "plain",
            "with, comma",
            "with \"quotes\"",
            "two\r\nlines",
            "",
        ])
        .unwrap();
        let text = String::from_utf8(file.bytes().unwrap()).unwrap();
        assert_eq!(
            text,
            "plain,\"with, comma\",\"with \"\"quotes\"\"\",\"two\r\nlines\",\r\n"
        );
    }
}
