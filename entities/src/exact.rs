//! Exact decimals in a text column.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use sea_orm::DeriveValueType;
use serde::{Deserialize, Serialize};

/// A rate, quantity or multiplier, stored as text so that both databases keep every digit.
///
/// Shape: a decimal with its scale (`0.08250` stays `0.08250`). SQL neither sorts nor adds it.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    DeriveValueType,
    Serialize,
    Deserialize,
)]
#[sea_orm(value_type = "String")]
pub struct Exact(pub Decimal);

impl fmt::Display for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Exact {
    type Err = rust_decimal::Error;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Decimal::from_str_exact(text).map(Self)
    }
}

impl From<Decimal> for Exact {
    fn from(value: Decimal) -> Self {
        Self(value)
    }
}
