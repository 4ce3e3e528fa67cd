//! How long suppliers' bills are open, and a supplier's account over some days.

use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::invoice::{OpenItem, ageing};
use nameplate_rules::money::Cents;

use crate::base::Error;
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::receivables::AgeBrackets;
use crate::pricing::graphql::Supplier;
use crate::shop;

use super::super::store::{self, OpenBill};
use nameplate_entities::kinds::SupplierBillKind;

/// Most lines of one statement.
const LINES_MAX: u64 = 1_000;

/// How late the bills of one supplier are.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct SupplierAgeing {
    /// What is open on bills.
    brackets: AgeBrackets,
    /// What is left of credits.
    credit: Money,
    /// Open less credit.
    owed: Money,
    #[graphql(skip)]
    supplier_id: i64,
}

#[ComplexObject]
impl SupplierAgeing {
    /// The supplier.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.supplier_id).await
    }
}

/// How late all bills of suppliers are; what is owed, with entries by hand of before, is the balance of
/// what is payable to suppliers.
#[derive(SimpleObject)]
pub struct PayablesAgeing {
    /// The day that ages are counted to.
    on: NaiveDate,
    /// All suppliers together.
    brackets: AgeBrackets,
    /// What is left of all credits.
    credit: Money,
    /// Open less credit.
    owed: Money,
    /// What entries by hand of before say is payable. Reverse them and record the bills instead; with it, what is owed is
    /// the balance of what is payable to suppliers.
    by_hand: Money,
    /// Suppliers with something open or left.
    suppliers: Vec<SupplierAgeing>,
}

/// What happened on a supplier's account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum SupplierLineKind {
    /// A bill.
    Bill,
    /// A credit.
    Credit,
    /// A payment.
    Payment,
    /// A payment was undone.
    PaymentUndone,
}

/// One thing that happened, and what was owed after it.
#[derive(SimpleObject)]
pub struct SupplierStatementLine {
    /// Its day.
    on: NaiveDate,
    /// What it was.
    kind: SupplierLineKind,
    /// The shop's own number of it.
    number: String,
    /// The supplier's number, or what was written on the payment.
    reference: Option<String>,
    /// What it adds to what is owed; below zero where it takes off.
    amount: Money,
    /// What is owed after it; below zero when the supplier owes.
    balance: Money,
}

/// A supplier's account over some days.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct SupplierStatement {
    /// First day.
    from: NaiveDate,
    /// Last day.
    until: NaiveDate,
    /// What was owed before the first day.
    opening: Money,
    /// What happened, oldest first; at most 1,000.
    lines: Vec<SupplierStatementLine>,
    /// What is owed after the last line.
    closing: Money,
    #[graphql(skip)]
    supplier_id: i64,
}

#[ComplexObject]
impl SupplierStatement {
    /// Whose account it is.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.supplier_id).await
    }
}

/// Reports about what suppliers are owed.
#[derive(Default)]
pub struct PayableReportsQuery;

#[Object]
impl PayableReportsQuery {
    /// What was open on suppliers' bills at the end of a day, by how late it was.
    #[graphql(complexity = "50 + 50 * child_complexity")]
    async fn payables_ageing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<PayablesAgeing> {
        let db = reader(ctx)?;
        let today = shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at);
        let rows = if on < today {
            store::open_on(db, on).await
        } else {
            store::open_now(db).await
        }
        .map_err(edge)?;
        let suppliers = rows
            .chunk_by(|a, b| a.supplier_id == b.supplier_id)
            .filter_map(|of_one| Some((of_one.first()?.supplier_id, of_one)))
            .map(|(supplier_id, of_one)| {
                let (brackets, credit, owed) = aged(of_one, on)?;
                Ok(SupplierAgeing {
                    brackets,
                    credit,
                    owed,
                    supplier_id,
                })
            })
            .collect::<async_graphql::Result<Vec<_>>>()?;
        let (brackets, credit, owed) = aged(&rows, on)?;
        Ok(PayablesAgeing {
            on,
            brackets,
            credit,
            owed,
            by_hand: Money::cents(store::by_hand_on(db, on).await.map_err(edge)?),
            suppliers,
        })
    }

    /// A supplier's account over some days; null if there is no such supplier.
    #[graphql(complexity = "20 + 50 * child_complexity")]
    async fn supplier_statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The supplier.")] supplier_id: ID,
        #[graphql(desc = "First day.")] from: NaiveDate,
        #[graphql(desc = "Last day.")] until: NaiveDate,
    ) -> async_graphql::Result<Option<SupplierStatement>> {
        if from > until {
            return Err(bad_input("until", "The last day lies before the first."));
        }
        let Ok(id) = Kind::Supplier.row("supplierId", &supplier_id) else {
            return Ok(None);
        };
        if Supplier::of(ctx, id).await?.is_none() {
            return Ok(None);
        }
        let db = reader(ctx)?;
        let opening = store::balance_before(db, id, from).await.map_err(edge)?;
        let moves = store::moves_between(db, id, (from, until), LINES_MAX)
            .await
            .map_err(edge)?;
        let mut balance = opening;
        let mut lines = Vec::with_capacity(moves.len());
        for moved in moves {
            balance = balance.saturating_add(moved.cents);
            lines.push(SupplierStatementLine {
                on: moved.on_day,
                kind: kind_of(&moved.kind),
                number: moved.number,
                reference: moved.reference,
                amount: Money::cents(moved.cents),
                balance: Money::cents(balance),
            });
        }
        Ok(Some(SupplierStatement {
            from,
            until,
            opening: Money::cents(opening),
            lines,
            closing: Money::cents(balance),
            supplier_id: id,
        }))
    }
}

fn kind_of(word: &str) -> SupplierLineKind {
    match word {
        "bill" => SupplierLineKind::Bill,
        "credit" => SupplierLineKind::Credit,
        "payment" => SupplierLineKind::Payment,
        _ => SupplierLineKind::PaymentUndone,
    }
}

/// Brackets of what is open, what is left of credits, and the difference.
fn aged(rows: &[OpenBill], on: NaiveDate) -> async_graphql::Result<(AgeBrackets, Money, Money)> {
    let is_bill = |row: &&OpenBill| row.kind == SupplierBillKind::Bill;
    let items: Vec<OpenItem> = rows
        .iter()
        .filter(is_bill)
        .map(|row| OpenItem {
            due_on: row.due_on,
            open: Cents(row.open_cents),
        })
        .collect();
    let credits = rows.iter().filter(|row| !is_bill(row));
    let credit: i64 = credits.map(|row| row.open_cents.saturating_neg()).sum();
    let aged = ageing(&items, on).map_err(|refusal| edge(Error::caused("ageing", refusal)))?;
    let owed = aged.total.0.saturating_sub(credit);
    Ok((
        AgeBrackets::from(aged),
        Money::cents(credit),
        Money::cents(owed),
    ))
}
