//! A state's published table of tax rates, line by line.
//!
//! The layout is that of the rate files of the Streamlined Sales Tax states: nine columns with commas between and no
//! heading. They are the state's two-digit code; the type of jurisdiction (45 state, 00 county, 01 city, others for
//! special districts); its code of up to five characters; the general rate for sales within the state and across
//! its border; the same two for food and drugs, which a repair shop does not sell and which are read for their form
//! only; first and last day as YYYYMMDD. Rates are fractions, 0.065 for 6.5 %. A last day far in the future stands
//! for none; the year written there differs from state to state and could not be confirmed, so any from 2900 on counts.

use std::fmt;

use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::percent::Percent;

use super::place::LevelKind;

/// A last day in this year or later means that there is none.
const OPEN_FROM_YEAR: i32 = 2900;

/// Which row of a table a level follows: state, type and code of the jurisdiction.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RateCode {
    /// Two digits.
    pub state: String,
    /// Two characters.
    pub kind: String,
    /// Up to five characters.
    pub jurisdiction: String,
}

/// What a rate code must look like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a rate code is written like 19:45:19, state, type and code of the jurisdiction")]
pub struct RateCodeRefusal;

impl RateCode {
    /// Reads `state:type:code`.
    ///
    /// # Errors
    /// `RateCodeRefusal`.
    pub fn parse(text: &str) -> Result<Self, RateCodeRefusal> {
        let mut parts = text.trim().split(':');
        match (parts.next(), parts.next(), parts.next(), parts.next()) {
            (Some(state), Some(kind), Some(jurisdiction), None) => {
                Self::of(state, kind, jurisdiction)
            }
            _ => Err(RateCodeRefusal),
        }
    }

    fn of(state: &str, kind: &str, jurisdiction: &str) -> Result<Self, RateCodeRefusal> {
        let word = |text: &str, lengths: std::ops::RangeInclusive<usize>| {
            lengths.contains(&text.len()) && text.chars().all(|c| c.is_ascii_alphanumeric())
        };
        let digits = state.chars().all(|c| c.is_ascii_digit());
        if word(state, 2..=2) && digits && word(kind, 2..=2) && word(jurisdiction, 1..=5) {
            Ok(Self {
                state: state.to_owned(),
                kind: kind.to_owned(),
                jurisdiction: jurisdiction.to_owned(),
            })
        } else {
            Err(RateCodeRefusal)
        }
    }

    /// Rank of the jurisdiction by its type; what is neither state, county nor city is a district.
    #[must_use]
    pub fn level_kind(&self) -> LevelKind {
        match self.kind.as_str() {
            "45" => LevelKind::State,
            "00" => LevelKind::County,
            "01" => LevelKind::City,
            _ => LevelKind::District,
        }
    }
}

impl fmt::Display for RateCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.state, self.kind, self.jurisdiction)
    }
}

/// One rate of one jurisdiction and its days.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RateRow {
    /// Whose rate.
    pub code: RateCode,
    /// For sales within the state.
    pub intrastate: Percent,
    /// For sales across its border.
    pub interstate: Percent,
    /// First day.
    pub begins_on: NaiveDate,
    /// Last day; `None` for open.
    pub ends_on: Option<NaiveDate>,
}

/// A line that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateFault {
    /// Line of the file, from 1.
    pub line: usize,
    /// What is wrong with it.
    pub reason: String,
}

/// Reads a whole table; empty lines are passed over.
///
/// # Errors
/// Every line that cannot be read, with its number, and every second row of one jurisdiction and first day.
/// # Source
/// Streamlined Sales Tax Governing Board, rate and boundary files (columns as a member state describes its own:
/// West Virginia, rates file); fixtures/worked/tax-rate-file.csv is made up.
pub fn read_rates(text: &str) -> Result<Vec<RateRow>, Vec<RateFault>> {
    let mut rows = Vec::new();
    let mut faults = Vec::new();
    let mut known = std::collections::BTreeSet::new();
    for (line, text) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
        if text.trim().is_empty() {
            continue;
        }
        match read_row(text) {
            Ok(row) if !known.insert((row.code.clone(), row.begins_on)) => {
                let reason = format!("{} has another rate from {}", row.code, row.begins_on);
                faults.push(RateFault { line, reason });
            }
            Ok(row) => rows.push(row),
            Err(reason) => faults.push(RateFault { line, reason }),
        }
    }
    if faults.is_empty() {
        Ok(rows)
    } else {
        Err(faults)
    }
}

fn read_row(text: &str) -> Result<RateRow, String> {
    let columns = text
        .split(',')
        .map(|column| column.trim().trim_matches('"'))
        .collect::<Vec<_>>();
    let [
        state,
        kind,
        code,
        within,
        across,
        food_within,
        food_across,
        begins,
        ends,
    ] = columns.as_slice()
    else {
        return Err(format!("it has {} columns instead of 9", columns.len()));
    };
    let row = RateRow {
        code: RateCode::of(state, kind, code).map_err(|refusal| refusal.to_string())?,
        intrastate: rate(within)?,
        interstate: rate(across)?,
        begins_on: day(begins)?,
        ends_on: Some(day(ends)?).filter(|day| day.year() < OPEN_FROM_YEAR),
    };
    rate(food_within)?;
    rate(food_across)?;
    match row.ends_on {
        Some(ends_on) if ends_on < row.begins_on => Err(format!(
            "it ends on {ends_on}, before it begins on {}",
            row.begins_on
        )),
        _ => Ok(row),
    }
}

/// A fraction as a rate per hundred.
fn rate(text: &str) -> Result<Percent, String> {
    let no_rate = || format!("{text:?} is no rate; a rate is a fraction such as 0.065");
    let fraction = Decimal::from_str_exact(text).map_err(|_| no_rate())?;
    if fraction > Decimal::ONE {
        return Err(no_rate());
    }
    Percent::new(fraction * Decimal::ONE_HUNDRED).map_err(|refusal| refusal.to_string())
}

fn day(text: &str) -> Result<NaiveDate, String> {
    NaiveDate::parse_from_str(text, "%Y%m%d")
        .ok()
        .filter(|_| text.len() == 8)
        .ok_or_else(|| format!("{text:?} is no day; write it like 20250101"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_published_table_reads_row_by_row() {
        let rows = read_rates(include_str!(
            "../../../../fixtures/worked/tax-rate-file.csv"
        ))
        .unwrap();
        let shown: Vec<(String, String, NaiveDate, Option<NaiveDate>)> = rows
            .iter()
            .map(|row| {
                let rate = row.intrastate.to_string();
                (row.code.to_string(), rate, row.begins_on, row.ends_on)
            })
            .collect();
        let (start, july) = (day("2020-01-01"), day("2026-07-01"));
        assert_eq!(
            shown,
            [
                ("99:45:99".to_owned(), "5.5".to_owned(), start, None),
                (
                    "99:00:017".to_owned(),
                    "1.25".to_owned(),
                    start,
                    Some(day("2026-06-30"))
                ),
                ("99:00:017".to_owned(), "1.5".to_owned(), july, None),
                ("99:01:40210".to_owned(), "0.5".to_owned(), start, None),
                ("99:63:TR01".to_owned(), "0.125".to_owned(), july, None),
            ]
        );
        let kinds: Vec<LevelKind> = rows.iter().map(|row| row.code.level_kind()).collect();
        let [state, county] = [LevelKind::State, LevelKind::County];
        let [city, district] = [LevelKind::City, LevelKind::District];
        assert_eq!(kinds, [state, county, county, city, district]);
    }

    #[test]
    fn every_line_that_cannot_be_read_is_named_with_its_number() {
        let text = "99,45,99,0.055,0.055,0,0,20200101,29991231\n\
            99,45,99,0.06,0.06,0,0,20200101,29991231\n\
            \n\
            99,45\n\
            9x,45,99,0.055,0.055,0,0,20200101,29991231\n\
            99,45,99,6.5,0.055,0,0,20210101,29991231\n\
            99,45,99,0.055,0.055,0,0,20211301,29991231\n\
            99,45,99,0.055,0.055,0,0,20220101,20211231\n\
            99,45,99,0.055,0.055,-1,0,20230101,29991231";
        let faults = read_rates(text).unwrap_err();
        let lines: Vec<usize> = faults.iter().map(|fault| fault.line).collect();
        assert_eq!(lines, [2, 4, 5, 6, 7, 8, 9]);
        let reason = faults.first().map(|fault| fault.reason.as_str());
        assert_eq!(reason, Some("99:45:99 has another rate from 2020-01-01"));
    }

    #[test]
    fn a_rate_code_reads_and_prints_and_refuses_what_is_none() {
        let code = RateCode::parse("99:63:TR01").unwrap();
        assert_eq!(code.to_string(), "99:63:TR01");
        for text in [
            "",
            "99:45",
            "99:45:99:1",
            "9:45:99",
            "99:45:",
            "99:45:123456",
            "99:4 :1",
        ] {
            assert_eq!(RateCode::parse(text), Err(RateCodeRefusal), "{text}");
        }
    }
}
