//! Reads the worked cases of `fixtures/worked` for tests.
//!
//! A case is a row of input, expected answer and the source of the figure. A row without a source
//! fails the test that reads it.

use serde::Deserialize;
use serde::de::DeserializeOwned;

#[derive(Deserialize)]
pub struct Row<Input, Expected> {
    pub input: Input,
    pub expected: Expected,
    pub source: String,
}

pub fn rows<I: DeserializeOwned, E: DeserializeOwned>(json: &str) -> Vec<Row<I, E>> {
    let rows: Vec<Row<I, E>> = serde_json::from_str(json).expect("worked cases read as rows");
    assert!(!rows.is_empty(), "a table of worked cases is empty");
    assert!(
        rows.iter().all(|row| row.source.len() > 5),
        "a worked case names no source"
    );
    rows
}
