//! One row of a supplier's price list: texts in, a part with its cost out, or everything that is wrong.
//!
//! What must stay true: nothing is guessed. A comma in an amount may be a thousands or a decimal sign, so it is
//! refused; a text that looks like a formula stays a text.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};

/// The dearest part; beyond it products of prices would not fit.
pub const COST_MAX: Cents = Cents(100_000_000);
/// Longest text of one field.
pub const FIELD_MAX: usize = 200;

/// The columns a row is read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Field {
    /// Number as the supplier prints it.
    Number,
    /// What the part is.
    Description,
    /// What it costs the shop.
    Cost,
    /// The price that it never sells above.
    ListPrice,
}

/// What is wrong with one field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FieldFault {
    /// Nothing stands there.
    #[error("nothing stands here")]
    Empty,
    /// It is longer than a field may be.
    #[error("this is longer than {FIELD_MAX} characters")]
    TooLong,
    /// The bytes are no UTF-8, or hold control characters.
    #[error("this is no plain text in UTF-8; save the list as UTF-8")]
    NotText,
    /// It is no amount.
    #[error("this is no amount with at most two decimals, such as 1234.50")]
    NotAmount,
    /// A comma in an amount.
    #[error("a comma may stand for thousands or for decimals; write 1234.50")]
    Comma,
    /// Below zero or above [`COST_MAX`].
    #[error("this is below zero or above {COST_MAX}")]
    OutOfRange,
}

/// The fields of one row as bytes; none for a column that the row does not reach.
#[derive(Debug, Clone, Copy, Default)]
pub struct RawRow<'a> {
    /// Number of the part.
    pub number: Option<&'a [u8]>,
    /// What it is.
    pub description: Option<&'a [u8]>,
    /// What it costs.
    pub cost: Option<&'a [u8]>,
    /// Its list price; a list may have no such column.
    pub list_price: Option<&'a [u8]>,
}

/// A row that could be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedPart {
    /// Number as the supplier prints it.
    pub number: String,
    /// What the part is.
    pub description: String,
    /// What it costs the shop.
    pub cost: Cents,
    /// The price that it never sells above.
    pub list_price: Option<Cents>,
}

/// Reads one row.
///
/// # Errors
/// Every fault with its column.
/// # Source
/// Common practice, no source; the bytes are fields after RFC 4180.
pub fn read_row(row: RawRow<'_>) -> Result<ListedPart, Vec<(Field, FieldFault)>> {
    let mut faults = Vec::new();
    let number = kept(&mut faults, Field::Number, needed(row.number));
    let description = kept(&mut faults, Field::Description, needed(row.description));
    let cost = needed(row.cost).and_then(|text| amount(&text));
    let cost = kept(&mut faults, Field::Cost, cost);
    let list_price = text(row.list_price).and_then(|text| match text.as_str() {
        "" => Ok(None),
        text => amount(text).map(Some),
    });
    let list_price = kept(&mut faults, Field::ListPrice, list_price).flatten();
    match (number, description, cost) {
        (Some(number), Some(description), Some(cost)) if faults.is_empty() => Ok(ListedPart {
            number,
            description,
            cost,
            list_price,
        }),
        _ => Err(faults),
    }
}

fn kept<T>(
    faults: &mut Vec<(Field, FieldFault)>,
    field: Field,
    read: Result<T, FieldFault>,
) -> Option<T> {
    read.map_err(|fault| faults.push((field, fault))).ok()
}

/// A field as trimmed text; one that the row does not reach is empty.
fn text(bytes: Option<&[u8]>) -> Result<String, FieldFault> {
    let text = std::str::from_utf8(bytes.unwrap_or_default()).map_err(|_| FieldFault::NotText)?;
    let text = text.trim();
    if text.chars().any(char::is_control) {
        return Err(FieldFault::NotText);
    }
    if text.chars().count() > FIELD_MAX {
        return Err(FieldFault::TooLong);
    }
    Ok(text.to_owned())
}

fn needed(bytes: Option<&[u8]>) -> Result<String, FieldFault> {
    let text = text(bytes)?;
    if text.is_empty() {
        return Err(FieldFault::Empty);
    }
    Ok(text)
}

fn amount(text: &str) -> Result<Cents, FieldFault> {
    if text.contains(',') {
        return Err(FieldFault::Comma);
    }
    let amount = Cents::parse(text).map_err(|refusal| match refusal {
        MoneyRefusal::TooLarge => FieldFault::OutOfRange,
        _ => FieldFault::NotAmount,
    })?;
    if amount.is_negative() || amount > COST_MAX {
        return Err(FieldFault::OutOfRange);
    }
    Ok(amount)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn row<'a>(number: &'a str, cost: &'a str) -> RawRow<'a> {
        RawRow {
            number: Some(number.as_bytes()),
            description: Some(b"Terminal block"),
            cost: Some(cost.as_bytes()),
            list_price: None,
        }
    }

    #[track_caller]
    fn faults(row: RawRow<'_>) -> Vec<(Field, FieldFault)> {
        read_row(row).unwrap_err()
    }

    #[test]
    fn a_row_is_read_as_it_stands_and_a_formula_stays_a_text() {
        let read = read_row(RawRow {
            list_price: Some(b" 39.9 "),
            ..row(" =1+1 ", "11.40")
        });
        let listed = ListedPart {
            number: "=1+1".to_owned(),
            description: "Terminal block".to_owned(),
            cost: Cents(1_140),
            list_price: Some(Cents(3_990)),
        };
        assert_eq!(read, Ok(listed));
    }

    #[test]
    fn an_amount_with_a_comma_is_refused_and_not_guessed() {
        for cost in ["11,40", "1,234", "1,234.50"] {
            assert_eq!(faults(row("A", cost)), [(Field::Cost, FieldFault::Comma)]);
        }
    }

    #[test]
    fn every_fault_of_a_row_is_named_with_its_column() {
        let long = "x".repeat(FIELD_MAX + 1);
        let worst = RawRow {
            number: Some(b"A\xff"),
            description: Some(long.as_bytes()),
            cost: Some(b"-1.00"),
            list_price: Some(b"$12"),
        };
        assert_eq!(
            faults(worst),
            [
                (Field::Number, FieldFault::NotText),
                (Field::Description, FieldFault::TooLong),
                (Field::Cost, FieldFault::OutOfRange),
                (Field::ListPrice, FieldFault::NotAmount),
            ]
        );
        let short = RawRow {
            number: Some(b"A"),
            ..RawRow::default()
        };
        assert_eq!(
            faults(short),
            [
                (Field::Description, FieldFault::Empty),
                (Field::Cost, FieldFault::Empty)
            ]
        );
    }

    #[test]
    fn a_cost_is_taken_up_to_the_limit_and_never_rounded() {
        assert_eq!(read_row(row("A", "1000000")).unwrap().cost, COST_MAX);
        for (cost, fault) in [
            ("1000000.01", FieldFault::OutOfRange),
            ("99999999999999999999", FieldFault::OutOfRange),
            ("11.405", FieldFault::NotAmount),
            ("1e3", FieldFault::NotAmount),
            ("eleven", FieldFault::NotAmount),
        ] {
            assert_eq!(faults(row("A", cost)), [(Field::Cost, fault)], "{cost}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_are_read_into_a_part_that_could_not_be_kept(
            number in prop::collection::vec(any::<u8>(), 0..300),
            description in prop::collection::vec(any::<u8>(), 0..300),
            cost in prop::collection::vec(any::<u8>(), 0..30),
        ) {
            let raw = RawRow {
                number: Some(&number),
                description: Some(&description),
                cost: Some(&cost),
                list_price: Some(&cost),
            };
            match read_row(raw) {
                Ok(part) => {
                    prop_assert!(!part.number.is_empty() && part.number.chars().count() <= FIELD_MAX);
                    prop_assert!(part.cost >= Cents::ZERO && part.cost <= COST_MAX);
                }
                Err(faults) => prop_assert!(!faults.is_empty()),
            }
        }

        #[test]
        fn every_amount_a_list_prints_is_read_to_the_cent(cents in 0_i64..=100_000_000) {
            let printed = Cents(cents).to_string();
            prop_assert_eq!(read_row(row("A", &printed)).unwrap().cost, Cents(cents));
        }
    }
}
