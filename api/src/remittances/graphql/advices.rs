//! Advices and their rows in the graph.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{advice_row, payer_advice};
use nameplate_rules::claims::outcome_codes;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::claims::graphql::Claim;
use crate::graphql::connection::{self, EitherCursor, LineCursor, Page};
use crate::graphql::context::{act, reader};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::Payment;
use crate::shop::graphql::Staff;
use crate::warranty::graphql::WarrantyPayer;

/// What a row of an advice made of its claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::AdviceOutcome")]
pub enum AdviceOutcome {
    /// All that was open is paid.
    InFull,
    /// Less than what was open is paid.
    Short,
    /// Nothing is paid.
    Refused,
    /// More than what was open came in; the rest is the payer's credit.
    TooMuch,
}

/// A payer's advice of what it pays.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PayerAdvice {
    /// The payer's number of the payment.
    reference: String,
    /// The day of it.
    advised_on: NaiveDate,
    /// SHA-256 of the file.
    content_hash: String,
    /// How many rows it has.
    row_count: i32,
    /// What its rows pay.
    total: Money,
    /// When it was taken in.
    imported_at: DateTime<Utc>,
    /// When it was posted; null before.
    posted_at: Option<DateTime<Utc>>,
    /// When it was dropped before it was posted; null otherwise.
    dropped_at: Option<DateTime<Utc>>,
    /// When it was undone, after its payment was; null otherwise.
    undone_at: Option<DateTime<Utc>>,
    /// Why it was undone.
    undone_because: Option<String>,
    #[graphql(skip)]
    row: payer_advice::Model,
}

impl From<payer_advice::Model> for PayerAdvice {
    fn from(row: payer_advice::Model) -> Self {
        Self {
            reference: row.reference.clone(),
            advised_on: row.advised_on,
            content_hash: row.sha256.clone(),
            row_count: row.rows,
            total: Money::cents(row.total_cents),
            imported_at: row.imported_at,
            posted_at: row.posted_at,
            dropped_at: row.dropped_at,
            undone_at: row.undone_at,
            undone_because: row.undone_because.clone(),
            row,
        }
    }
}

impl PayerAdvice {
    /// The advice behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<payer_advice::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The advice with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl PayerAdvice {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::PayerAdvice.id(self.row.id)
    }

    /// Who pays.
    async fn payer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WarrantyPayer>> {
        WarrantyPayer::of(ctx, self.row.payer_id).await
    }

    /// The money, once it is posted; null where it pays nothing.
    async fn payment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Payment>> {
        match self.row.payment_id {
            Some(id) => Payment::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who took it in.
    async fn imported_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.imported_by).await
    }

    /// Who posted it; null before.
    async fn posted_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.posted_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Its rows, in the order of the file.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn rows(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<EitherCursor, AdviceRow>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select =
            advice_row::Entity::find().filter(advice_row::Column::AdviceId.eq(self.row.id));
        let order = (advice_row::Column::Position, advice_row::Column::Id);
        let place = |row: &advice_row::Model| LineCursor {
            line: i64::from(row.position),
            id: row.id,
        };
        let rows = connection::by_line(reader(ctx)?, select, order, page, (place, AdviceRow::from));
        rows.await.map(connection::either)
    }
}

/// One row of a payer's advice.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct AdviceRow {
    /// Line of the file.
    line: i32,
    /// The claim as the payer names it.
    claim_text: String,
    /// What is paid.
    paid: Money,
    /// What the payer says it refuses; null where it says nothing.
    refused: Option<Money>,
    /// The payer's code of why.
    reason_code: Option<String>,
    /// What the payer writes.
    note: Option<String>,
    /// The day the payer names for it.
    paid_on: Option<NaiveDate>,
    /// When it was settled; null while it waits.
    settled_at: Option<DateTime<Utc>>,
    /// What of it was laid against the claim's invoice; null while it waits.
    laid: Option<Money>,
    /// What it made of its claim; null while it waits, and where nothing was open and nothing is paid.
    outcome: Option<AdviceOutcome>,
    /// Why it is about no claim of the shop.
    set_aside_because: Option<String>,
    #[graphql(skip)]
    row: advice_row::Model,
}

impl From<advice_row::Model> for AdviceRow {
    fn from(row: advice_row::Model) -> Self {
        Self {
            line: row.position,
            claim_text: row.claim_text.clone(),
            paid: Money::cents(row.paid_cents),
            refused: row.refused_cents.map(Money::cents),
            reason_code: row.reason_code.clone(),
            note: row.note.clone(),
            paid_on: row.paid_on,
            settled_at: row.settled_at,
            laid: row.laid_cents.map(Money::cents),
            outcome: row.outcome.map(AdviceOutcome::from),
            set_aside_because: row.set_aside_because.clone(),
            row,
        }
    }
}

#[ComplexObject]
impl AdviceRow {
    /// To match it by.
    async fn row_id(&self) -> ID {
        Kind::AdviceRow.id(self.row.id)
    }

    /// The advice it is of.
    async fn advice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PayerAdvice>> {
        PayerAdvice::of(ctx, self.row.advice_id).await
    }

    /// The claim it is about; null while nobody knows.
    async fn claim(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Claim>> {
        match self.row.claim_id {
            Some(id) => Claim::find(ctx, id).await,
            None => Ok(None),
        }
    }

    /// What the code of why means, where it is of the open list that is known here.
    async fn reason_meaning(&self) -> Option<&'static str> {
        let code = self.row.reason_code.as_deref()?;
        let known = outcome_codes()
            .iter()
            .find(|known| known.code.eq_ignore_ascii_case(code));
        known.map(|known| known.meaning)
    }
}
