//! What is sent to draft, copy and change price books.

use async_graphql::{ID, InputObject, MaybeUndefined};
use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::base::{Change, Result};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;

use super::super::operations;
use super::{DistanceUnit, MarkupKind, PriceBook, PriceEnding};

/// One step of a markup schedule.
#[derive(InputObject)]
pub struct MarkupBracketInput {
    /// Highest cost of this bracket, itself inside; left out for the last, open bracket.
    up_to: Option<Money>,
    /// Price per unit of cost, 1 to 100.
    multiplier: ExactDecimal,
}

/// Price of an hour of a technician of one grade.
#[derive(InputObject)]
pub struct LabourRateInput {
    /// The grade; the same name in every book.
    name: String,
    /// Price of an hour.
    hourly_rate: Money,
}

/// A zone of the shop's area. With neither codes nor a distance, addresses are put into it by its name.
#[derive(InputObject)]
pub struct TripZoneInput {
    /// Name; the same in every book.
    name: String,
    /// Charge for one trip into it.
    charge: Money,
    /// Postal codes in it; one that ends in `*` stands for all that begin so.
    #[graphql(default)]
    postal_codes: Vec<String>,
    /// Farthest distance from the shop, itself inside, in the book's unit.
    up_to_distance: Option<ExactDecimal>,
}

/// Work with the hours it is listed with.
#[derive(InputObject)]
pub struct FlatRateTaskInput {
    /// Short key; the same in every book.
    key: String,
    /// Name for the desk.
    name: String,
    /// What the customer reads; the name when left out.
    description: Option<String>,
    /// Type of machine it is for; any when left out.
    appliance_type_id: Option<ID>,
    /// Component it is about.
    component_id: Option<ID>,
    /// Hours it is listed with, above 0.
    hours: ExactDecimal,
}

fn brackets(given: Vec<MarkupBracketInput>) -> Vec<operations::NewBracket> {
    let bracket = |bracket: MarkupBracketInput| operations::NewBracket {
        up_to: bracket.up_to.map(|edge| edge.0),
        multiplier: bracket.multiplier.0,
    };
    given.into_iter().map(bracket).collect()
}

fn rates(given: Vec<LabourRateInput>) -> Vec<operations::NewRate> {
    let rate = |rate: LabourRateInput| operations::NewRate {
        name: rate.name,
        hourly_rate: rate.hourly_rate.0,
    };
    given.into_iter().map(rate).collect()
}

fn zones(given: Vec<TripZoneInput>) -> Vec<operations::NewZone> {
    let zone = |zone: TripZoneInput| operations::NewZone {
        name: zone.name,
        charge: zone.charge.0,
        postal_codes: zone.postal_codes,
        up_to_distance: zone.up_to_distance.map(|edge| edge.0),
    };
    given.into_iter().map(zone).collect()
}

fn tasks(given: Vec<FlatRateTaskInput>) -> Result<Vec<operations::NewTask>> {
    let task = |(at, task): (usize, FlatRateTaskInput)| {
        let type_path = format!("tasks.{at}.applianceTypeId");
        let component_path = format!("tasks.{at}.componentId");
        Ok(operations::NewTask {
            key: task.key,
            name: task.name,
            description: task.description,
            appliance_type_id: Kind::ApplianceType
                .row_if_any(&type_path, task.appliance_type_id.as_ref())?,
            component_id: Kind::Component
                .row_if_any(&component_path, task.component_id.as_ref())?,
            hours: task.hours.0,
        })
    };
    given.into_iter().enumerate().map(task).collect()
}

/// A price book to draft.
#[derive(InputObject)]
pub struct DraftPriceBookInput {
    /// Name, such as the period it is for.
    name: String,
    /// First day it is used.
    effective_from: NaiveDate,
    /// Price of an hour of one technician.
    hourly_rate: Money,
    /// Whether the first hour is billed whole.
    #[graphql(default = true)]
    first_hour_minimum: bool,
    /// How long that first hour is, in minutes, 1 to 1440.
    #[graphql(default = 60)]
    minimum_minutes: i32,
    /// Time is rounded up to a multiple of this, 1 to 60.
    #[graphql(default = 15)]
    increment_minutes: i32,
    /// Factor for work after hours, 1 to 100; 1.5 when left out.
    after_hours_multiplier: Option<ExactDecimal>,
    /// What a second technician adds, as a share of the first one's price, 0 to 1; 1, the double, when left out.
    second_technician_share: Option<ExactDecimal>,
    /// Charge for one trip to an address in none of the zones.
    trip: Money,
    /// Unit of the zones' distances; needed once a zone goes by distance.
    distance_unit: Option<DistanceUnit>,
    /// Charge for finding what is wrong.
    diagnostic: Money,
    /// Whether that charge is credited when the repair is accepted.
    #[graphql(default = true)]
    diagnostic_credited: bool,
    /// How the brackets apply.
    markup_kind: MarkupKind,
    /// Least a part earns over its cost; nothing when left out.
    minimum_markup: Option<Money>,
    /// Most a part earns over its cost; no cap when left out.
    maximum_markup: Option<Money>,
    /// The cents a part price is lifted to; as computed when left out.
    price_ending: Option<PriceEnding>,
    /// Steps from the cheapest cost up; the last is open.
    brackets: Vec<MarkupBracketInput>,
    /// Prices of an hour by the technician's grade.
    #[graphql(default)]
    rates: Vec<LabourRateInput>,
    /// Zones of the shop's area.
    #[graphql(default)]
    zones: Vec<TripZoneInput>,
    /// Work with the hours it is listed with.
    #[graphql(default)]
    tasks: Vec<FlatRateTaskInput>,
}

impl DraftPriceBookInput {
    pub(super) fn command(self) -> Result<operations::DraftPriceBook> {
        let usual = Decimal::new(15, 1);
        let share = self.second_technician_share;
        let least = self.minimum_markup;
        Ok(operations::DraftPriceBook {
            name: self.name,
            effective_from: self.effective_from,
            hourly_rate: self.hourly_rate.0,
            first_hour_minimum: self.first_hour_minimum,
            minimum_minutes: self.minimum_minutes,
            increment_minutes: self.increment_minutes,
            after_hours_multiplier: self.after_hours_multiplier.map_or(usual, |given| given.0),
            second_technician_share: share.map_or(Decimal::ONE, |given| given.0),
            trip: self.trip.0,
            distance_unit: self.distance_unit.map(Into::into),
            diagnostic: self.diagnostic.0,
            diagnostic_credited: self.diagnostic_credited,
            markup_kind: self.markup_kind.into(),
            minimum_markup: least.map_or_else(Default::default, |least| least.0),
            maximum_markup: self.maximum_markup.map(|most| most.0),
            price_ending: self.price_ending.unwrap_or(PriceEnding::AsComputed).into(),
            brackets: brackets(self.brackets),
            rates: rates(self.rates),
            zones: zones(self.zones),
            tasks: tasks(self.tasks)?,
        })
    }
}

payload! {
    /// What drafting a price book gave.
    DraftPriceBookPayload {
        /// The draft; look at its inversions before adopting it.
        price_book: PriceBook
    }
}

/// A drafted price book to put to use.
#[derive(InputObject)]
pub struct AdoptPriceBookInput {
    /// The draft.
    pub(super) price_book_id: ID,
}

payload! {
    /// What adopting a price book gave.
    AdoptPriceBookPayload {
        /// The book in use.
        price_book: PriceBook
    }
}

/// A price book that was adopted by mistake.
#[derive(InputObject)]
pub struct WithdrawPriceBookInput {
    /// The book.
    pub(super) price_book_id: ID,
}

payload! {
    /// What withdrawing a price book gave.
    WithdrawPriceBookPayload {
        /// The book, a draft again.
        price_book: PriceBook
    }
}

/// A price book to copy into a draft.
#[derive(InputObject)]
pub struct ClonePriceBookInput {
    /// The book to copy, drafted or adopted.
    price_book_id: ID,
    /// Name of the draft.
    name: String,
    /// First day the draft is for.
    effective_from: NaiveDate,
}

impl ClonePriceBookInput {
    pub(super) fn command(self) -> Result<operations::ClonePriceBook> {
        Ok(operations::ClonePriceBook {
            price_book_id: Kind::PriceBook.row("priceBookId", &self.price_book_id)?,
            name: self.name,
            effective_from: self.effective_from,
        })
    }
}

payload! {
    /// What copying a price book gave.
    ClonePriceBookPayload {
        /// The draft, with everything copied.
        price_book: PriceBook
    }
}

/// What to change in a draft; what is left out or null stays, and a list takes the place of the whole list before.
#[derive(InputObject)]
pub struct ChangePriceBookInput {
    /// The draft.
    price_book_id: ID,
    /// The version that was read.
    version: i32,
    /// Name, such as the period it is for.
    name: Option<String>,
    /// First day it is used.
    effective_from: Option<NaiveDate>,
    /// Price of an hour of one technician.
    hourly_rate: Option<Money>,
    /// Whether the first hour is billed whole.
    first_hour_minimum: Option<bool>,
    /// How long that first hour is, in minutes, 1 to 1440.
    minimum_minutes: Option<i32>,
    /// Time is rounded up to a multiple of this, 1 to 60.
    increment_minutes: Option<i32>,
    /// Factor for work after hours, 1 to 100.
    after_hours_multiplier: Option<ExactDecimal>,
    /// What a second technician adds, as a share of the first one's price, 0 to 1.
    second_technician_share: Option<ExactDecimal>,
    /// Charge for one trip to an address in none of the zones.
    trip: Option<Money>,
    /// Unit of the zones' distances.
    distance_unit: Option<DistanceUnit>,
    /// Charge for finding what is wrong.
    diagnostic: Option<Money>,
    /// Whether that charge is credited when the repair is accepted.
    diagnostic_credited: Option<bool>,
    /// How the brackets apply.
    markup_kind: Option<MarkupKind>,
    /// Least a part earns over its cost.
    minimum_markup: Option<Money>,
    /// Most a part earns over its cost; null takes the cap away.
    maximum_markup: MaybeUndefined<Money>,
    /// The cents a part price is lifted to.
    price_ending: Option<PriceEnding>,
    /// Steps from the cheapest cost up; the last is open.
    brackets: Option<Vec<MarkupBracketInput>>,
    /// Prices of an hour by the technician's grade.
    rates: Option<Vec<LabourRateInput>>,
    /// Zones of the shop's area.
    zones: Option<Vec<TripZoneInput>>,
    /// Work with the hours it is listed with.
    tasks: Option<Vec<FlatRateTaskInput>>,
}

impl ChangePriceBookInput {
    pub(super) fn command(self) -> Result<operations::ChangePriceBook> {
        let change = operations::BookChange {
            name: self.name,
            effective_from: self.effective_from,
            hourly_rate: self.hourly_rate.map(|rate| rate.0),
            first_hour_minimum: self.first_hour_minimum,
            minimum_minutes: self.minimum_minutes,
            increment_minutes: self.increment_minutes,
            after_hours_multiplier: self.after_hours_multiplier.map(|factor| factor.0),
            second_technician_share: self.second_technician_share.map(|share| share.0),
            trip: self.trip.map(|charge| charge.0),
            distance_unit: self.distance_unit.map(Into::into),
            diagnostic: self.diagnostic.map(|charge| charge.0),
            diagnostic_credited: self.diagnostic_credited,
            markup_kind: self.markup_kind.map(Into::into),
            minimum_markup: self.minimum_markup.map(|least| least.0),
            maximum_markup: Change::from(self.maximum_markup).map(|most| most.0),
            price_ending: self.price_ending.map(Into::into),
            brackets: self.brackets.map(brackets),
            rates: self.rates.map(rates),
            zones: self.zones.map(zones),
            tasks: self.tasks.map(tasks).transpose()?,
        };
        Ok(operations::ChangePriceBook {
            price_book_id: Kind::PriceBook.row("priceBookId", &self.price_book_id)?,
            version: self.version,
            change,
        })
    }
}

payload! {
    /// What changing a draft gave.
    ChangePriceBookPayload {
        /// The draft as it is now.
        price_book: PriceBook
    }
}
