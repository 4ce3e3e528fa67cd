//! Documents written down later than they count: those of a month that is being closed.

use chrono::NaiveDate;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::{Error, ProblemCode, Result};
use crate::books;

/// An order for a document, and the day the document is of; today when left out.
#[derive(Clone, Debug, Serialize)]
pub struct Dated<T> {
    #[serde(flatten)]
    pub order: T,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<NaiveDate>,
}

impl<T> From<T> for Dated<T> {
    fn from(order: T) -> Self {
        Self { order, on: None }
    }
}

/// The day of a document: the one told, or today. `earliest` says before which day it cannot be, and why.
///
/// # Errors
/// At `path`: `ImpossibleDate` for a day to come or too early; `PeriodClosed`.
pub async fn day(
    tx: &impl ConnectionTrait,
    (path, told, today): (&str, Option<NaiveDate>, NaiveDate),
    earliest: Option<(NaiveDate, String)>,
) -> Result<NaiveDate> {
    let refused = |message: String| Error::refused(ProblemCode::ImpossibleDate, path, message);
    let Some(on) = told else {
        books::check_open(tx, "", today).await?;
        return Ok(today);
    };
    if on > today {
        return Err(refused(format!("{on} is still to come; today is {today}.")));
    }
    if let Some((_, why)) = earliest.filter(|(earliest, _)| on < *earliest) {
        return Err(refused(why));
    }
    books::check_open(tx, path, on).await?;
    Ok(on)
}
