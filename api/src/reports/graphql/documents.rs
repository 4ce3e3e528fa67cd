//! Reports over documents: sales tax, margins and takings.

use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::money::Cents;

use crate::calls::graphql::ServiceCall;
use crate::graphql::context::reader;
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::PaymentMethod;
use crate::pricing::graphql::{ChargeKind, LevelKind};
use crate::shop::graphql::Staff;

use super::super::store::{margins, takings};
use super::super::taxes::{self, LevelLiability, PlaceSales, TaxLiability};
use super::{Basis, span};

/// Most calls in one answer.
const CALLS_MAX: i32 = 100;
/// Most days of takings in one answer.
const TAKINGS_DAYS_MAX: i64 = 366;

/// Sales that were not taxed, for one reason.
#[derive(SimpleObject)]
pub struct UntaxedSales {
    /// Why, as the documents say.
    reason: String,
    /// Whether a certificate of the customer set them free, and not the rules of the place.
    by_certificate: bool,
    /// After discounts.
    amount: Money,
}

/// Sales of one place; gross is the sum of taxable, exempt and untaxed.
#[derive(SimpleObject)]
pub struct JurisdictionSales {
    /// The place.
    tax_jurisdiction_id: ID,
    /// Its name.
    name: String,
    /// All sales after discounts, before tax.
    gross: Money,
    /// What was taxed.
    taxable: Money,
    /// What certificates set free.
    exempt: Money,
    /// What the rules of the place leave untaxed.
    untaxed: Money,
    /// What makes up the last two, the largest first.
    reasons: Vec<UntaxedSales>,
}

/// Tax of one level, and what sales tax payable says of it.
#[derive(SimpleObject)]
pub struct LevelTaxLiability {
    /// The level.
    tax_level_id: ID,
    /// Its name.
    name: String,
    /// Which kind of authority it is.
    kind: LevelKind,
    /// The jurisdiction it belongs to.
    jurisdiction: String,
    /// Sales that it taxed.
    taxable: Money,
    /// Its tax on them, on the basis asked for.
    tax: Money,
    /// Owed to it before the first day.
    opening: Money,
    /// Movement beside documents issued in these days: payments to the authority, relief for bad debts, entries by hand.
    other: Money,
    /// Owed to it after the last day. On accrual this is opening, tax and other together.
    closing: Money,
}

/// Sales tax of some days. Closing amounts add up to the balance of sales tax payable.
#[derive(SimpleObject)]
pub struct SalesTaxLiability {
    /// First day.
    from: NaiveDate,
    /// Last day.
    to: NaiveDate,
    /// Which days a sale counts on.
    basis: Basis,
    /// Sales by place.
    jurisdictions: Vec<JurisdictionSales>,
    /// Tax by level.
    levels: Vec<LevelTaxLiability>,
}

impl From<PlaceSales> for JurisdictionSales {
    fn from(place: PlaceSales) -> Self {
        let reasons = place.reasons.into_iter().map(|row| UntaxedSales {
            reason: row.reason,
            by_certificate: row.by_certificate,
            amount: row.amount.into(),
        });
        Self {
            tax_jurisdiction_id: Kind::TaxJurisdiction.id(place.tax_jurisdiction_id),
            name: place.name,
            gross: place.gross.into(),
            taxable: place.taxable.into(),
            exempt: place.exempt.into(),
            untaxed: place.untaxed.into(),
            reasons: reasons.collect(),
        }
    }
}

impl From<LevelLiability> for LevelTaxLiability {
    fn from(row: LevelLiability) -> Self {
        Self {
            tax_level_id: Kind::TaxLevel.id(row.level.tax_level_id),
            kind: row.level.kind.into(),
            taxable: row.taxable.into(),
            tax: row.tax.into(),
            opening: Money::cents(row.level.opening_cents),
            other: row.other.into(),
            closing: Money::cents(row.level.closing_cents),
            name: row.level.name,
            jurisdiction: row.level.jurisdiction,
        }
    }
}

/// Sales before tax, what the shop pays for them, and what is left.
#[derive(SimpleObject)]
pub struct MarginFigures {
    /// After discounts, before tax; credit notes taken off.
    sales: Money,
    /// What they cost: parts what left the stock for them, counted with the call's first invoice; until the call is completed,
    /// and for all else, what was offered.
    cost: Money,
    /// Sales less cost.
    margin: Money,
}

impl MarginFigures {
    fn of(sale_cents: i64, cost_cents: i64) -> Self {
        Self {
            sales: Money::cents(sale_cents),
            cost: Money::cents(cost_cents),
            margin: Money(Cents(sale_cents.saturating_sub(cost_cents))),
        }
    }
}

/// The margin of one call.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CallMargin {
    /// What was billed, and what is left of it.
    figures: MarginFigures,
    #[graphql(skip)]
    call_id: i64,
}

#[ComplexObject]
impl CallMargin {
    /// The call.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::of(ctx, self.call_id).await
    }
}

/// The margin of one kind of charge.
#[derive(SimpleObject)]
pub struct ChargeMargin {
    /// The kind.
    kind: ChargeKind,
    /// What was billed, and what is left of it.
    figures: MarginFigures,
}

/// The margin of one technician's calls.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct TechnicianMargin {
    /// What was billed, and what is left of it.
    figures: MarginFigures,
    #[graphql(skip)]
    staff_id: Option<i64>,
}

#[ComplexObject]
impl TechnicianMargin {
    /// Who made the last visit for the call; null where nobody was there yet.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.staff_id {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Which calls come first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum MarginOrder {
    /// Those with the lowest margin.
    LowestFirst,
    /// Those with the highest.
    HighestFirst,
}

/// What came in on one day by one method.
#[derive(SimpleObject)]
pub struct Takings {
    /// The day.
    on: NaiveDate,
    /// How it came.
    method: PaymentMethod,
    /// The sum, less payments that were undone on this day.
    amount: Money,
    /// How many payments came in.
    payment_count: i64,
}

/// Reports over documents.
#[derive(Default)]
pub struct DocumentReportsQuery;

#[Object]
impl DocumentReportsQuery {
    /// Sales tax of some days: sales by place with what was taxed and why the rest was not, tax by level, and how that ties
    /// to sales tax payable.
    #[graphql(complexity = "100 + 30 * child_complexity")]
    async fn sales_tax_liability(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
        #[graphql(desc = "Which days a sale counts on.", default_with = "Basis::Accrual")]
        basis: Basis,
    ) -> async_graphql::Result<SalesTaxLiability> {
        let days = span(from, to)?;
        let found = taxes::tax_liability(reader(ctx)?, days, basis.into());
        let TaxLiability { places, levels } = found.await.map_err(edge)?;
        Ok(SalesTaxLiability {
            from,
            to,
            basis,
            jurisdictions: places.into_iter().map(JurisdictionSales::from).collect(),
            levels: levels.into_iter().map(LevelTaxLiability::from).collect(),
        })
    }

    /// Calls billed in some days with their margins.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn margin_by_call(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
        #[graphql(desc = "Which come first.", default_with = "MarginOrder::LowestFirst")]
        order: MarginOrder,
        #[graphql(desc = "At most this many; 1 to 100.", default = 25)] first: i32,
    ) -> async_graphql::Result<Vec<CallMargin>> {
        let days = span(from, to)?;
        let Some(count) = u64::try_from(first)
            .ok()
            .filter(|_| (1..=CALLS_MAX).contains(&first))
        else {
            return Err(bad_input(
                "first",
                format!("Ask for 1 to {CALLS_MAX} calls."),
            ));
        };
        let which = (order == MarginOrder::LowestFirst, count);
        let rows = margins::by_call(reader(ctx)?, days, which)
            .await
            .map_err(edge)?;
        let shown = rows.into_iter().map(|row| CallMargin {
            figures: MarginFigures::of(row.sale_cents, row.cost_cents),
            call_id: row.call_id,
        });
        Ok(shown.collect())
    }

    /// Margins of some days by kind of charge.
    #[graphql(complexity = "50 + 6 * child_complexity")]
    async fn margin_by_charge(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
    ) -> async_graphql::Result<Vec<ChargeMargin>> {
        let rows = margins::by_kind(reader(ctx)?, span(from, to)?)
            .await
            .map_err(edge)?;
        let shown = rows.into_iter().map(|row| ChargeMargin {
            kind: row.kind.into(),
            figures: MarginFigures::of(row.sale_cents, row.cost_cents),
        });
        Ok(shown.collect())
    }

    /// Margins of some days by the technician who made the last visit for the call.
    #[graphql(complexity = "50 + 20 * child_complexity")]
    async fn margin_by_technician(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
    ) -> async_graphql::Result<Vec<TechnicianMargin>> {
        let rows = margins::by_technician(reader(ctx)?, span(from, to)?)
            .await
            .map_err(edge)?;
        let shown = rows.into_iter().map(|row| TechnicianMargin {
            figures: MarginFigures::of(row.sale_cents, row.cost_cents),
            staff_id: row.technician_id,
        });
        Ok(shown.collect())
    }

    /// Money that came in, less what was undone, by day and method; a year at most.
    #[graphql(complexity = "50 + 100 * child_complexity")]
    async fn takings(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
    ) -> async_graphql::Result<Vec<Takings>> {
        let days = span(from, to)?;
        if (to - from).num_days() >= TAKINGS_DAYS_MAX {
            let message = format!("Ask for at most {TAKINGS_DAYS_MAX} days.");
            return Err(bad_input("to", message));
        }
        let rows = takings::takings(reader(ctx)?, days).await.map_err(edge)?;
        let shown = rows.into_iter().map(|row| Takings {
            on: row.received_on,
            method: row.method.into(),
            amount: Money::cents(row.amount_cents),
            payment_count: row.payment_count,
        });
        Ok(shown.collect())
    }
}
