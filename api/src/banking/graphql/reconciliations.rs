//! Reconciliations in the graph.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{bank_reconciliation, posting};

use crate::graphql::connection::{self, DayCursor, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::payload;
use crate::shop::graphql::Staff;

use super::super::operations::reconciling as operations;
use super::super::store::matches::{self, Standing};
use super::super::store::reconciliations as store;
use super::lines::BankPosting;
use super::{BankAccount, may_read};

/// A statement of a bank through a day that the books agree with.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankReconciliation {
    /// The last day of the statement.
    through: NaiveDate,
    /// The balance of the reconciliation before; nothing for the first.
    opening: Money,
    /// What its lines add up to.
    moved: Money,
    /// The balance that the statement ends with.
    closing: Money,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// When it was opened again; null while it stands.
    reopened_at: Option<DateTime<Utc>>,
    /// Why; null while it stands.
    reopened_because: Option<String>,
    #[graphql(skip)]
    row: bank_reconciliation::Model,
}

impl From<bank_reconciliation::Model> for BankReconciliation {
    fn from(row: bank_reconciliation::Model) -> Self {
        Self {
            through: row.through_on,
            opening: Money::cents(row.opening_cents),
            moved: Money::cents(row.lines_cents),
            closing: Money::cents(row.closing_cents),
            recorded_at: row.recorded_at,
            reopened_at: row.reopened_at,
            reopened_because: row.reopened_because.clone(),
            row,
        }
    }
}

impl BankReconciliation {
    /// The reconciliation with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !may_read(ctx)? {
            return Ok(None);
        }
        let row = loaders::row::<bank_reconciliation::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

/// How the books of an account stand against its statements through a day, with entries since that are dated back.
#[derive(SimpleObject)]
pub struct BankStanding {
    /// The balance by the bank.
    balance_by_bank: Money,
    /// Money in that the books have and no statement shows.
    outstanding_deposits: Money,
    /// Money out that the books have and no statement shows; below zero.
    outstanding_payments: Money,
    /// What a statement shows and the books have only on a later day.
    later_in_books: Money,
    /// The balance by the books: that of the bank with what is outstanding, less what is later.
    balance_by_books: Money,
    /// Whether these figures agree.
    ties: bool,
}

impl BankStanding {
    fn of(closing_cents: i64, standing: Standing) -> Self {
        let reached = closing_cents
            .checked_add(standing.outstanding_in_cents)
            .and_then(|sum| sum.checked_add(standing.outstanding_out_cents))
            .and_then(|sum| sum.checked_sub(standing.later_cents));
        Self {
            balance_by_bank: Money::cents(closing_cents),
            outstanding_deposits: Money::cents(standing.outstanding_in_cents),
            outstanding_payments: Money::cents(standing.outstanding_out_cents),
            later_in_books: Money::cents(standing.later_cents),
            balance_by_books: Money::cents(standing.books_cents),
            ties: reached == Some(standing.books_cents),
        }
    }
}

#[ComplexObject]
impl BankReconciliation {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::BankReconciliation.id(self.row.id)
    }

    /// The account at a bank.
    async fn account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        BankAccount::of(ctx, self.row.account_id).await
    }

    /// Bank against books through its day; null once it was opened again.
    #[graphql(complexity = "50 + child_complexity")]
    async fn standing(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankStanding>> {
        if self.row.reopened_at.is_some() {
            return Ok(None);
        }
        let (id, through) = (self.row.account_id, self.row.through_on);
        let standing = matches::standing(reader(ctx)?, id, through).await;
        let standing = standing.map_err(edge)?;
        Ok(Some(BankStanding::of(self.row.closing_cents, standing)))
    }

    /// Postings through its day that no statement shows, the earliest first; `standing` has what all of them come to.
    #[graphql(complexity = "50 + Page::cost(first, last, child_complexity)")]
    async fn outstanding(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<DayCursor, BankPosting>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = matches::not_shown(self.row.account_id, self.row.through_on);
        let order = (posting::Column::EntryOn, posting::Column::Id);
        let place = |row: &posting::Model| DayCursor {
            on: row.entry_on,
            id: row.id,
        };
        connection::by_day(
            reader(ctx)?,
            select,
            order,
            page,
            (place, BankPosting::from),
        )
        .await
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// Who opened it again; null while it stands.
    async fn reopened_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.reopened_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// A statement to agree with.
#[derive(InputObject)]
pub struct ReconcileBankInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The account at a bank.
    bank_account_id: ID,
    /// The last day of the statement.
    through: NaiveDate,
    /// The balance it ends with.
    closing_balance: Money,
    /// Why it agrees although the file's own balances say that a line is missing; kept in the audit log.
    despite: Option<String>,
}

payload! {
    /// What reconciling gave.
    ReconcileBankPayload {
        /// The reconciliation.
        reconciliation: BankReconciliation
    }
}

/// A reconciliation to open again.
#[derive(InputObject)]
pub struct ReopenReconciliationInput {
    /// The last one of its account.
    reconciliation_id: ID,
    /// Why.
    reason: String,
}

payload! {
    /// What opening a reconciliation again gave.
    ReopenReconciliationPayload {
        /// The reconciliation, open again.
        reconciliation: BankReconciliation
    }
}

/// Reconciliations.
#[derive(Default)]
pub struct ReconciliationsQuery;

#[Object]
impl ReconciliationsQuery {
    /// Reconciliations of an account, newest first, those opened again among them.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn bank_reconciliations(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account at a bank.")] bank_account_id: ID,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, BankReconciliation>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let account = Kind::Account
            .row("bankAccountId", &bank_account_id)
            .map_err(edge)?;
        let select = store::reconciliations(account);
        let (db, id) = (reader(ctx)?, bank_reconciliation::Column::Id);
        connection::newest_first(
            db,
            select,
            id,
            page,
            (|row| row.id, BankReconciliation::from),
        )
        .await
    }
}

/// Reconciling.
#[derive(Default)]
pub struct ReconciliationsMutation;

#[Object]
impl ReconciliationsMutation {
    /// Says that the books agree with a bank's statement through a day: every line is matched, and the balances fit.
    async fn reconcile_bank(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The statement.")] input: ReconcileBankInput,
    ) -> async_graphql::Result<ReconcileBankPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = operations::ReconcileBank {
                idempotency_key: input.idempotency_key,
                account_id: Kind::Account.row("bankAccountId", &input.bank_account_id)?,
                through: input.through,
                closing_balance: input.closing_balance.0,
                despite: input.despite,
            };
            operations::reconcile_bank(act, order).await
        };
        ReconcileBankPayload::of(outcome.await.map(BankReconciliation::from))
    }

    /// Opens the last reconciliation of an account again.
    async fn reopen_reconciliation(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and why.")] input: ReopenReconciliationInput,
    ) -> async_graphql::Result<ReopenReconciliationPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let path = "reconciliationId";
            let id = Kind::BankReconciliation.row(path, &input.reconciliation_id)?;
            operations::reopen_reconciliation(act, (id, input.reason)).await
        };
        ReopenReconciliationPayload::of(outcome.await.map(BankReconciliation::from))
    }
}
