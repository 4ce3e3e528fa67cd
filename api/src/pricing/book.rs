//! The price book in force on a day, as values of the rules.

use chrono::NaiveDate;
use nameplate_entities::{markup_bracket, part, price_book};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::labour::LabourTerms;
use nameplate_rules::pricing::markup::{
    Bracket, MarkupSchedule, PartPrice, PartRule, ScheduleRefusal, ScheduleTerms,
};
use nameplate_rules::pricing::trip::DiagnosticCredit;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};

use super::{kinds, store};

/// A price book ready to price with.
#[derive(Clone, Debug)]
pub struct Book {
    pub row: price_book::Model,
    pub schedule: MarkupSchedule,
    pub labour: LabourTerms,
}

impl Book {
    /// Charge for one trip.
    pub fn trip(&self) -> Cents {
        Cents(self.row.trip_cents)
    }

    /// Charge for finding what is wrong.
    pub fn diagnostic(&self) -> Cents {
        Cents(self.row.diagnostic_cents)
    }

    /// Whether that charge is credited when the repair is accepted.
    pub fn diagnostic_credit(&self) -> DiagnosticCredit {
        if self.row.diagnostic_credited {
            DiagnosticCredit::WhenAccepted
        } else {
            DiagnosticCredit::Never
        }
    }

    /// The book of these rows.
    ///
    /// # Errors
    /// Internal, when the rows hold what could not have been saved.
    pub fn of_rows(row: price_book::Model, brackets: &[markup_bracket::Model]) -> Result<Self> {
        let schedule = schedule(&row, brackets)
            .map_err(|refusal| Error::caused("markup schedule of a price book", refusal))?;
        let increment_minutes = u32::try_from(row.increment_minutes)
            .map_err(|error| Error::caused("billing increment of a price book", error))?;
        let labour = LabourTerms {
            hourly_rate: Cents(row.hourly_rate_cents),
            minimum_minutes: if row.first_hour_minimum { 60 } else { 0 },
            increment_minutes,
            after_hours_multiplier: row.after_hours_multiplier.0,
            second_technician_share: Decimal::ONE,
        };
        Ok(Self {
            row,
            schedule,
            labour,
        })
    }
}

/// The markup schedule of a book's rows, in the order of the brackets.
pub(super) fn schedule(
    row: &price_book::Model,
    brackets: &[markup_bracket::Model],
) -> std::result::Result<MarkupSchedule, ScheduleRefusal> {
    MarkupSchedule::new(ScheduleTerms {
        kind: kinds::schedule_of_row(row.markup_kind),
        brackets: brackets
            .iter()
            .map(|bracket| Bracket {
                up_to_cents: bracket.up_to_cents.map(Cents),
                multiplier: bracket.multiplier.0,
            })
            .collect(),
        minimum_markup_cents: Cents(row.minimum_markup_cents),
        ending: kinds::ending_of_row(row.price_ending),
    })
}

/// The adopted book in force on `day`: the one that took effect last.
///
/// # Errors
/// `SettingMissing` when no adopted book has taken effect by then.
pub async fn book_on(db: &impl ConnectionTrait, day: NaiveDate) -> Result<Book> {
    let Some(row) = store::adopted_on(db, day).await? else {
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            "",
            format!("No price book is in force on {day}. Draft one and adopt it first."),
        ));
    };
    let brackets = store::brackets_of(db, row.id).await?;
    Book::of_rows(row, &brackets)
}

/// Price of one part by the book, under the part's own rules first.
///
/// # Errors
/// `OutOfRange` at `path` when the price does not fit.
pub fn price_part(book: &Book, part: &part::Model, path: &str) -> Result<PartPrice> {
    let rule = PartRule {
        fixed_price: part.fixed_price_cents.map(Cents),
        list_price_cap: part.list_price_cents.map(Cents),
    };
    book.schedule
        .price_under(Cents(part.cost_cents), rule)
        .map_err(|refusal| {
            let number = &part.number;
            Error::refused(
                ProblemCode::OutOfRange,
                path,
                format!("Part {number} has no price: {refusal}."),
            )
        })
}
