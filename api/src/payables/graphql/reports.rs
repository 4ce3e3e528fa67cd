//! How long suppliers' bills are open, and a supplier's account over some days.

use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::NaiveDate;

use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::receivables::AgeBrackets;
use crate::pricing::graphql::Supplier;
use crate::shop;

use super::super::Aged;
use super::super::store;

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

impl From<(i64, Aged)> for SupplierAgeing {
    fn from((supplier_id, aged): (i64, Aged)) -> Self {
        Self {
            brackets: aged.brackets.into(),
            credit: aged.credit.into(),
            owed: aged.owed.into(),
            supplier_id,
        }
    }
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
    /// A bill was undone.
    BillUndone,
    /// A credit was undone.
    CreditUndone,
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

/// A supplier's account over some days. Entries by hand of before name no supplier and stand on none; `payablesAgeing` shows
/// them.
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
    /// Whether more happened than the lines show: ask for fewer days to see the rest.
    has_more: bool,
    /// What is owed after the last day, whether or not the lines show all of it.
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
        let suppliers = Aged::by_supplier(&rows, on).map_err(edge)?;
        let whole = Aged::of(&rows, on).map_err(edge)?;
        Ok(PayablesAgeing {
            on,
            brackets: whole.brackets.into(),
            credit: whole.credit.into(),
            owed: whole.owed.into(),
            by_hand: Money::cents(store::by_hand_on(db, on).await.map_err(edge)?),
            suppliers: suppliers.into_iter().map(SupplierAgeing::from).collect(),
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
        let moves = store::moves_between(db, id, (from, until), LINES_MAX + 1);
        let moves = moves.await.map_err(edge)?;
        let closing = store::balance_through(db, id, until).await.map_err(edge)?;
        let lines_max = usize::try_from(LINES_MAX).unwrap_or(usize::MAX);
        let has_more = moves.len() > lines_max;
        let mut balance = opening;
        let mut lines = Vec::with_capacity(moves.len());
        for moved in moves.into_iter().take(lines_max) {
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
            has_more,
            closing: Money::cents(closing),
            supplier_id: id,
        }))
    }
}

fn kind_of(word: &str) -> SupplierLineKind {
    match word {
        "bill" => SupplierLineKind::Bill,
        "credit" => SupplierLineKind::Credit,
        "payment" => SupplierLineKind::Payment,
        "bill_undone" => SupplierLineKind::BillUndone,
        "credit_undone" => SupplierLineKind::CreditUndone,
        _ => SupplierLineKind::PaymentUndone,
    }
}
