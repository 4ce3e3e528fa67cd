//! Amounts and exact numbers as text, so that no client and no parser makes a float of them.

use std::fmt;

use async_graphql::{InputValueError, InputValueResult, Scalar, ScalarType, Value};
use nameplate_entities::exact::Exact;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

/// An amount in the shop's currency, as text with two decimals: `"189.50"`, `"-12.00"`.
///
/// A JSON number is refused, because it may already have been rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Money(pub Cents);

/// An amount in the shop's currency, as text with two decimals: `"189.50"`, `"-12.00"`.
///
/// A JSON number is refused, because it may already have been rounded.
#[Scalar(name = "Money")]
impl ScalarType for Money {
    fn parse(value: Value) -> InputValueResult<Self> {
        let Value::String(text) = &value else {
            return Err(InputValueError::custom(
                "Write an amount as text, like \"12.50\".",
            ));
        };
        Cents::parse(text)
            .map(Self)
            .map_err(InputValueError::custom)
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.to_string())
    }
}

impl Money {
    /// From a column of cents.
    pub fn cents(cents: i64) -> Self {
        Self(Cents(cents))
    }
}

impl From<Cents> for Money {
    fn from(cents: Cents) -> Self {
        Self(cents)
    }
}

/// An exact decimal as text, such as a rate `"8.25"`, a quantity `"2"` or a reading `"10.3"`.
///
/// A JSON number is refused, because it may already have been rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExactDecimal(pub Decimal);

/// An exact decimal as text, such as a rate `"8.25"`, a quantity `"2"` or a reading `"10.3"`.
///
/// A JSON number is refused, because it may already have been rounded.
#[Scalar(name = "ExactDecimal")]
impl ScalarType for ExactDecimal {
    fn parse(value: Value) -> InputValueResult<Self> {
        let Value::String(text) = &value else {
            return Err(InputValueError::custom(
                "Write a decimal as text, like \"8.25\".",
            ));
        };
        Decimal::from_str_exact(text.trim())
            .map(Self)
            .map_err(|_| InputValueError::custom("This is no decimal; write it like \"8.25\"."))
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.to_string())
    }
}

impl fmt::Display for ExactDecimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl From<Exact> for ExactDecimal {
    fn from(value: Exact) -> Self {
        Self(value.0)
    }
}
