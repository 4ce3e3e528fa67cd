//! What is changed in a draft: each field given takes the place of the one before.

use chrono::NaiveDate;
use nameplate_entities::kinds::{DistanceUnit, MarkupKind, PriceEnding};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

use crate::base::Change;

use super::{DraftPriceBook, NewBracket, NewRate, NewTask, NewZone};

/// Fields of a price book; none for one that stays.
#[derive(Clone, Debug, Default)]
pub struct BookChange {
    pub name: Option<String>,
    pub effective_from: Option<NaiveDate>,
    pub hourly_rate: Option<Cents>,
    pub first_hour_minimum: Option<bool>,
    pub minimum_minutes: Option<i32>,
    pub increment_minutes: Option<i32>,
    pub after_hours_multiplier: Option<Decimal>,
    pub second_technician_share: Option<Decimal>,
    pub trip: Option<Cents>,
    pub distance_unit: Option<DistanceUnit>,
    pub diagnostic: Option<Cents>,
    pub diagnostic_credited: Option<bool>,
    pub markup_kind: Option<MarkupKind>,
    pub minimum_markup: Option<Cents>,
    /// The inner none takes the cap away.
    pub maximum_markup: Change<Cents>,
    pub price_ending: Option<PriceEnding>,
    pub brackets: Option<Vec<NewBracket>>,
    pub rates: Option<Vec<NewRate>>,
    pub zones: Option<Vec<NewZone>>,
    pub tasks: Option<Vec<NewTask>>,
}

impl BookChange {
    /// The book with these changes.
    pub(super) fn over(self, book: DraftPriceBook) -> DraftPriceBook {
        DraftPriceBook {
            name: self.name.unwrap_or(book.name),
            effective_from: self.effective_from.unwrap_or(book.effective_from),
            hourly_rate: self.hourly_rate.unwrap_or(book.hourly_rate),
            first_hour_minimum: self.first_hour_minimum.unwrap_or(book.first_hour_minimum),
            minimum_minutes: self.minimum_minutes.unwrap_or(book.minimum_minutes),
            increment_minutes: self.increment_minutes.unwrap_or(book.increment_minutes),
            after_hours_multiplier: self
                .after_hours_multiplier
                .unwrap_or(book.after_hours_multiplier),
            second_technician_share: self
                .second_technician_share
                .unwrap_or(book.second_technician_share),
            trip: self.trip.unwrap_or(book.trip),
            distance_unit: self.distance_unit.or(book.distance_unit),
            diagnostic: self.diagnostic.unwrap_or(book.diagnostic),
            diagnostic_credited: self.diagnostic_credited.unwrap_or(book.diagnostic_credited),
            markup_kind: self.markup_kind.unwrap_or(book.markup_kind),
            minimum_markup: self.minimum_markup.unwrap_or(book.minimum_markup),
            maximum_markup: self.maximum_markup.over(book.maximum_markup),
            price_ending: self.price_ending.unwrap_or(book.price_ending),
            brackets: self.brackets.unwrap_or(book.brackets),
            rates: self.rates.unwrap_or(book.rates),
            zones: self.zones.unwrap_or(book.zones),
            tasks: self.tasks.unwrap_or(book.tasks),
        }
    }
}
