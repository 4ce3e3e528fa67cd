//! One charge of an option, with what it was priced from.

use async_graphql::{ComplexObject, Context, Enum, SimpleObject};
use nameplate_entities::{estimate_line, kinds};
use nameplate_rules::money::Cents;

use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing;
use crate::pricing::graphql::{
    ChargeKind, FlatRateTask, Part, PartCondition, PriceBasis, margin_percent,
};

use super::WorkHours;
use super::tax_facts::LineTaxFacts;

/// Who set the price of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PricedBy")]
pub enum PricedBy {
    /// The price book.
    Book,
    /// Somebody at the desk.
    Hand,
    /// Another call on the same visit pays for the trip.
    OtherCall,
}

/// One charge of an option.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct EstimateLine {
    /// Place in the option, from 1.
    position: i32,
    /// What it charges for.
    kind: ChargeKind,
    /// Description as printed.
    description: String,
    /// How many; labour in billed hours.
    quantity: ExactDecimal,
    /// Price of one; labour by the hour.
    unit_price: Money,
    /// Price of the line before discount.
    net: Money,
    /// Its share of discounts, the one on it alone included.
    discount: Money,
    /// The discount granted on it alone, as the customer sees it.
    own_discount: Money,
    /// How much of it is taxed.
    taxable: Money,
    /// Its tax.
    tax: Money,
    /// Why it is or is not taxed.
    tax_reason: String,
    /// What the shop pays for it, as far as the catalogue knows.
    cost: Money,
    /// What is left of its price after discount and cost, per hundred of that price; null where no cost is known.
    margin_percent: Option<ExactDecimal>,
    /// Minutes billed, after minimum and increment; null for other kinds.
    labour_minutes: Option<i32>,
    /// Minutes as typed, before minimum and increment; for labour by time.
    worked_minutes: Option<i32>,
    /// When the work is done, for labour.
    hours: Option<WorkHours>,
    /// How many technicians, for labour.
    crew: Option<i32>,
    /// The grade that labour is priced at; null for the book's own rate.
    grade: Option<String>,
    /// The zone of a trip; null outside of every zone.
    trip_zone: Option<String>,
    /// Whether the book or somebody set the price; null where it was not written down.
    priced_by: Option<PricedBy>,
    /// What set the price of a part that the book priced; null where it was not written down.
    price_basis: Option<PriceBasis>,
    /// For a part: whether it is new, used or rebuilt; null where nobody said.
    part_condition: Option<PartCondition>,
    /// Heading it stands under; lines of one section follow one another.
    section: Option<String>,
    #[graphql(skip)]
    part_id: Option<i64>,
    #[graphql(skip)]
    facts: LineTaxFacts,
    #[graphql(skip)]
    task_id: Option<i64>,
}

impl From<estimate_line::Model> for EstimateLine {
    fn from(row: estimate_line::Model) -> Self {
        let facts = LineTaxFacts::of(&row);
        let sold = row.net_cents.saturating_sub(row.discount_cents);
        Self {
            position: row.position,
            kind: row.kind.into(),
            description: row.description,
            quantity: row.quantity.into(),
            unit_price: Money::cents(row.unit_price_cents),
            net: Money::cents(row.net_cents),
            discount: Money::cents(row.discount_cents),
            own_discount: Money::cents(row.own_discount_cents),
            taxable: Money::cents(row.taxable_cents),
            tax: Money::cents(row.tax_cents),
            tax_reason: row.tax_reason,
            cost: Money::cents(row.cost_cents),
            // Only the catalogue knows costs; what was typed by hand has none, and no margin of 100 %.
            margin_percent: row
                .part_id
                .and_then(|_| margin_percent(Cents(row.cost_cents), Cents(sold))),
            labour_minutes: row.labour_minutes,
            worked_minutes: row.worked_minutes,
            hours: row.work_hours.map(|hours| match hours {
                kinds::WorkHours::Regular => WorkHours::Regular,
                kinds::WorkHours::AfterHours => WorkHours::AfterHours,
            }),
            crew: row.crew,
            grade: row.rate_name,
            trip_zone: row.zone_name,
            priced_by: row.priced_by.map(Into::into),
            price_basis: row
                .price_basis
                .map(|basis| pricing::basis_of_priced(basis).into()),
            part_condition: row.part_condition.map(Into::into),
            section: row.section,
            part_id: row.part_id,
            task_id: row.task_id,
            facts,
        }
    }
}

#[ComplexObject]
impl EstimateLine {
    /// What is known about it that tax rules turn on.
    async fn tax_facts(&self) -> &LineTaxFacts {
        &self.facts
    }

    /// The part, for a line of one.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The part to order instead, when this line's part was superseded; null for one that is current.
    async fn replacement(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::replacement_of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The flat-rate task that labour is priced by.
    async fn task(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FlatRateTask>> {
        match self.task_id {
            Some(id) => FlatRateTask::of(ctx, id).await,
            None => Ok(None),
        }
    }
}
