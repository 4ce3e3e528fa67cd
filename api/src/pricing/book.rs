//! The price book in force on a day, as values of the rules.

use chrono::NaiveDate;
use nameplate_entities::{labour_rate, markup_bracket, part, price_book, trip_zone};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::labour::LabourTerms;
use nameplate_rules::pricing::markup::{
    Bracket, MarkupSchedule, PartPrice, PartRule, ScheduleRefusal, ScheduleTerms,
};
use nameplate_rules::pricing::trip::{
    DiagnosticCredit, Place, TripRefusal, TripZone, ZoneArea, zone_of,
};
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};

use super::{kinds, store};

/// A price book ready to price with.
#[derive(Clone, Debug)]
pub struct Book {
    pub row: price_book::Model,
    pub schedule: MarkupSchedule,
    pub labour: LabourTerms,
    /// Prices of an hour by grade.
    pub rates: Vec<labour_rate::Model>,
    pub zones: Vec<TripZone>,
}

/// What is below a book, beside its tasks, which are looked up one by one.
pub struct BookRows {
    /// In the order of cost.
    pub brackets: Vec<markup_bracket::Model>,
    pub rates: Vec<labour_rate::Model>,
    pub zones: Vec<trip_zone::Model>,
}

impl Book {
    /// Charge for one trip to this place, and the zone that says so; the book's own charge outside of every zone.
    ///
    /// # Errors
    /// `NoZone` when the place was put into a zone that this book does not have.
    pub fn trip(
        &self,
        place: Place<'_>,
    ) -> std::result::Result<(Cents, Option<&str>), TripRefusal> {
        let zone = zone_of(&self.zones, place)?;
        Ok(zone.map_or((Cents(self.row.trip_cents), None), |zone| {
            (zone.charge, Some(zone.name.as_str()))
        }))
    }

    /// The terms of labour of a technician of this grade; none when the book has no such grade.
    pub fn labour_of(&self, grade: &str) -> Option<LabourTerms> {
        let rate = self.rates.iter().find(|rate| rate.name == grade)?;
        Some(LabourTerms {
            hourly_rate: Cents(rate.hourly_rate_cents),
            ..self.labour.clone()
        })
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
    pub fn of_rows(row: price_book::Model, below: BookRows) -> Result<Self> {
        let schedule = schedule(&row, &below.brackets)
            .map_err(|refusal| Error::caused("markup schedule of a price book", refusal))?;
        let increment_minutes = u32::try_from(row.increment_minutes)
            .map_err(|error| Error::caused("billing increment of a price book", error))?;
        let minimum_minutes = u32::try_from(row.minimum_minutes)
            .map_err(|error| Error::caused("least time of a price book", error))?;
        let labour = LabourTerms {
            hourly_rate: Cents(row.hourly_rate_cents),
            minimum_minutes: if row.first_hour_minimum {
                minimum_minutes
            } else {
                0
            },
            increment_minutes,
            after_hours_multiplier: row.after_hours_multiplier.0,
            second_technician_share: row.second_technician_share.0,
        };
        Ok(Self {
            row,
            schedule,
            labour,
            rates: below.rates,
            zones: below.zones.into_iter().map(zone).collect(),
        })
    }
}

/// A zone's row as the rules know it.
fn zone(row: trip_zone::Model) -> TripZone {
    let codes = codes(&row);
    let area = match row.up_to_distance {
        Some(edge) => ZoneArea::UpTo(edge.0),
        None if codes.is_empty() => ZoneArea::ByName,
        None => ZoneArea::PostalCodes(codes),
    };
    TripZone {
        name: row.name,
        charge: Cents(row.charge_cents),
        area,
    }
}

/// The postal codes of a zone.
pub(super) fn codes(row: &trip_zone::Model) -> Vec<String> {
    let codes = row.postal_codes.as_deref().unwrap_or_default().split(',');
    codes
        .filter(|code| !code.is_empty())
        .map(str::to_owned)
        .collect()
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
        maximum_markup_cents: row.maximum_markup_cents.map(Cents),
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
    book_of(db, row).await
}

/// The book with this id, drafted or adopted, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn any_book(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<Book> {
    let row = store::get_book(db, path, id).await?;
    book_of(db, row).await
}

/// The book of a row, drafted or adopted.
///
/// # Errors
/// Internal only.
async fn book_of(db: &impl ConnectionTrait, row: price_book::Model) -> Result<Book> {
    let below = BookRows {
        brackets: store::brackets_of(db, row.id).await?,
        rates: store::rates_of(db, row.id).await?,
        zones: store::zones_of(db, row.id).await?,
    };
    Book::of_rows(row, below)
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
