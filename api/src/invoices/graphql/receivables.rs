//! What customers owe, and for how long.

use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::books::events::Debtor;
use nameplate_rules::invoice::{Ageing, OpenItem, ageing};
use nameplate_rules::money::Cents;

use crate::base::Error;
use crate::customers::graphql::Customer;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::warranty::graphql::WarrantyPayer;
use crate::{shop, warranty};

use super::super::store::{self, OpenRow};
use super::Invoice;

/// What one customer owes, and what the shop owes the customer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Receivables {
    /// Sum of what is open; of a warranty payer its claims are in it.
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

/// How late one warranty payer's open amounts are.
#[derive(SimpleObject)]
pub struct PayerAgeing {
    /// The payer.
    payer: WarrantyPayer,
    /// The open amounts.
    brackets: AgeBrackets,
}

/// How late all that warranty payers owe is; the total equals the account of warranty claims receivable.
#[derive(SimpleObject)]
pub struct ClaimsAgeing {
    /// The day that ages are counted to.
    through: NaiveDate,
    /// All payers together.
    brackets: AgeBrackets,
    /// Payers with something open.
    payers: Vec<PayerAgeing>,
}

/// How late all that customers owe is, without warranty claims; the total equals the receivable account.
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

    /// What customers owe by how late it is on a day: as it stands now, or as it stood then. What warranty payers owe is in
    /// `claimsAgeing`.
    #[graphql(complexity = "50 + 50 * child_complexity")]
    async fn receivables_ageing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<ReceivablesAgeing> {
        let rows = open(ctx, (Debtor::Customer, on)).await?;
        let customers = by_customer(&rows).map(|(customer_id, of_one)| {
            Ok(CustomerAgeing {
                brackets: aged(of_one, on)?,
                customer_id,
            })
        });
        Ok(ReceivablesAgeing {
            on,
            brackets: aged(&rows, on)?,
            customers: customers.collect::<async_graphql::Result<_>>()?,
        })
    }

    /// What warranty payers owe by how late it is on a day: as it stands now, or as it stood then.
    #[graphql(complexity = "50 + 50 * child_complexity")]
    async fn claims_ageing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] through: NaiveDate,
    ) -> async_graphql::Result<ClaimsAgeing> {
        let rows = open(ctx, (Debtor::WarrantyPayer, through)).await?;
        let ids: Vec<i64> = by_customer(&rows).map(|(id, _)| id).collect();
        let payers = warranty::payers_of_customers(reader(ctx)?, &ids).await;
        let payers = payers.map_err(edge)?;
        let of_each = by_customer(&rows).filter_map(|(customer_id, of_one)| {
            let payer = payers.iter().find(|row| row.customer_id == customer_id)?;
            Some((payer.clone(), of_one))
        });
        let aged_of_each = of_each.map(|(payer, of_one)| {
            Ok(PayerAgeing {
                payer: payer.into(),
                brackets: aged(of_one, through)?,
            })
        });
        Ok(ClaimsAgeing {
            through,
            brackets: aged(&rows, through)?,
            payers: aged_of_each.collect::<async_graphql::Result<_>>()?,
        })
    }
}

/// What is open on a day, now if that is today or to come.
async fn open(
    ctx: &Context<'_>,
    (owed_by, on): (Debtor, NaiveDate),
) -> async_graphql::Result<Vec<OpenRow>> {
    let db = reader(ctx)?;
    let today = shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at);
    let rows = if on < today {
        store::open_on(db, (owed_by, on)).await
    } else {
        store::open_now(db, owed_by).await
    };
    rows.map_err(edge)
}

/// The rows of each customer.
fn by_customer(rows: &[OpenRow]) -> impl Iterator<Item = (i64, &[OpenRow])> {
    rows.chunk_by(|a, b| a.customer_id == b.customer_id)
        .filter_map(|of_one| Some((of_one.first()?.customer_id, of_one)))
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
