//! What customers owe, and for how long.

use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::invoice::{Ageing, OpenItem, ageing};
use nameplate_rules::money::Cents;

use crate::base::Error;
use crate::customers::graphql::Customer;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::shop;

use super::super::store::{self, OpenRow};
use super::Invoice;

/// What one customer owes, and what the shop owes the customer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Receivables {
    /// Sum of what is open.
    owed: Money,
    /// Money received or credited that settles no invoice.
    credit: Money,
    #[graphql(skip)]
    customer_id: i64,
}

#[ComplexObject]
impl Receivables {
    /// The customer.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.customer_id).await
    }

    /// Invoices with something open, oldest due first; at most 100.
    #[graphql(complexity = "5 + 20 * child_complexity")]
    async fn open_invoices(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Invoice>> {
        let rows = store::open_invoices(reader(ctx)?, self.customer_id)
            .await
            .map_err(edge)?;
        Ok(rows.into_iter().map(Invoice::from).collect())
    }
}

/// Open amounts by how late they are.
#[derive(SimpleObject)]
pub struct AgeBrackets {
    /// Up to and on the due date.
    not_yet_due: Money,
    /// 1 to 30 days late.
    days_1_to_30: Money,
    /// 31 to 60 days late.
    days_31_to_60: Money,
    /// 61 to 90 days late.
    days_61_to_90: Money,
    /// 91 days late or more.
    over_90: Money,
    /// Sum of the five.
    total: Money,
}

impl From<Ageing> for AgeBrackets {
    fn from(ageing: Ageing) -> Self {
        Self {
            not_yet_due: ageing.not_yet_due.into(),
            days_1_to_30: ageing.days_1_to_30.into(),
            days_31_to_60: ageing.days_31_to_60.into(),
            days_61_to_90: ageing.days_61_to_90.into(),
            over_90: ageing.over_90.into(),
            total: ageing.total.into(),
        }
    }
}

/// How late one customer's open amounts are.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CustomerAgeing {
    /// The open amounts.
    brackets: AgeBrackets,
    #[graphql(skip)]
    customer_id: i64,
}

#[ComplexObject]
impl CustomerAgeing {
    /// The customer.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.customer_id).await
    }
}

/// How late all open amounts are; the total equals the receivable account.
#[derive(SimpleObject)]
pub struct ReceivablesAgeing {
    /// The day that ages are counted to.
    on: NaiveDate,
    /// All customers together.
    brackets: AgeBrackets,
    /// Customers with something open.
    customers: Vec<CustomerAgeing>,
}

/// What customers owe.
#[derive(Default)]
pub struct ReceivablesQuery;

#[Object]
impl ReceivablesQuery {
    /// What a customer owes and what is owed to the customer; null if there is no such customer.
    async fn receivables(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The customer.")] customer_id: ID,
    ) -> async_graphql::Result<Option<Receivables>> {
        let Ok(customer_id) = Kind::Customer.row("customerId", &customer_id) else {
            return Ok(None);
        };
        if Customer::of(ctx, customer_id).await?.is_none() {
            return Ok(None);
        }
        let owed = store::owed_by(reader(ctx)?, customer_id)
            .await
            .map_err(edge)?;
        Ok(Some(Receivables {
            owed: Money::cents(owed.owed_cents),
            credit: Money::cents(owed.credit_cents),
            customer_id,
        }))
    }

    /// Open amounts by how late they are on a day: as they stand now, or as they stood then.
    #[graphql(complexity = "50 + 50 * child_complexity")]
    async fn receivables_ageing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<ReceivablesAgeing> {
        let db = reader(ctx)?;
        let today = shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at);
        let rows = if on < today {
            store::open_on(db, on).await
        } else {
            store::open_now(db).await
        }
        .map_err(edge)?;
        let customers = rows
            .chunk_by(|a, b| a.customer_id == b.customer_id)
            .filter_map(|of_one| Some((of_one.first()?.customer_id, of_one)))
            .map(|(customer_id, of_one)| {
                Ok(CustomerAgeing {
                    brackets: aged(of_one, on)?,
                    customer_id,
                })
            })
            .collect::<async_graphql::Result<Vec<_>>>()?;
        Ok(ReceivablesAgeing {
            on,
            brackets: aged(&rows, on)?,
            customers,
        })
    }
}

fn aged(rows: &[OpenRow], on: NaiveDate) -> async_graphql::Result<AgeBrackets> {
    let items = rows
        .iter()
        .map(|row| OpenItem {
            due_on: row.due_on,
            open: Cents(row.open_cents),
        })
        .collect::<Vec<_>>();
    ageing(&items, on)
        .map(AgeBrackets::from)
        .map_err(|refusal| edge(Error::caused("ageing", refusal)))
}
