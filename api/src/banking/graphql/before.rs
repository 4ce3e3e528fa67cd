//! Receipts that entries by hand took to a bank before there were deposits.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;
use nameplate_entities::payment;

use crate::base::{Error, ProblemCode, Result};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::Payment;
use crate::payload;

use super::super::operations::before as operations;

/// Receipts that entries by hand took to a bank. Name payments, or the day through which all were taken.
#[derive(InputObject)]
pub struct MarkBankedBeforeInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The account at a bank they went to; the usual one when left out.
    bank_account_id: Option<ID>,
    /// The day of the entry by hand, or the last of several.
    banked_on: NaiveDate,
    /// The payments, 1 to 200.
    payment_ids: Option<Vec<ID>>,
    /// All payments that wait and were received through this day.
    received_through: Option<NaiveDate>,
}

fn rows(ids: &[ID]) -> Result<Vec<i64>> {
    ids.iter()
        .enumerate()
        .map(|(at, id)| Kind::Payment.row(&format!("paymentIds.{at}"), id))
        .collect()
}

impl MarkBankedBeforeInput {
    fn command(self) -> Result<operations::MarkBankedBefore> {
        let which = match (self.payment_ids, self.received_through) {
            (Some(ids), None) => operations::BankedBefore::Payments(rows(&ids)?),
            (None, Some(day)) => operations::BankedBefore::ReceivedThrough(day),
            (ids, _) => {
                let code = if ids.is_some() {
                    ProblemCode::Malformed
                } else {
                    ProblemCode::Missing
                };
                let message = "Name payments, or the day through which all were taken; not both.";
                return Err(Error::refused(code, "paymentIds", message));
            }
        };
        let path = "bankAccountId";
        Ok(operations::MarkBankedBefore {
            idempotency_key: self.idempotency_key,
            account_id: Kind::Account.row_if_any(path, self.bank_account_id.as_ref())?,
            banked_on: self.banked_on,
            which,
        })
    }
}

payload! {
    /// What marking receipts gave.
    MarkBankedBeforePayload {
        /// How many payments were marked.
        marked: i32
    }
}

/// Marks to take off.
#[derive(InputObject)]
pub struct UnmarkBankedBeforeInput {
    /// The payments, 1 to 200.
    payment_ids: Vec<ID>,
    /// Why.
    reason: String,
}

payload! {
    /// What taking marks off gave.
    UnmarkBankedBeforePayload {
        /// The payments, which wait again.
        payments: Vec<Payment>
    }
}

/// What entries by hand took to a bank.
#[derive(Default)]
pub struct BankedBeforeQuery;

#[Object]
impl BankedBeforeQuery {
    /// What entries by hand took to a bank of receipts that seem to wait still: so much is to be marked
    /// (`markBankedBefore`). Nothing in a shop that always wrote deposits.
    #[graphql(complexity = 50)]
    async fn receipts_banked_by_hand(&self, ctx: &Context<'_>) -> async_graphql::Result<Money> {
        let taken = operations::banked_by_hand(reader(ctx)?).await;
        Ok(Money(taken.map_err(edge)?))
    }
}

/// Marking what entries by hand took to a bank.
#[derive(Default)]
pub struct BankedBeforeMutation;

#[Object]
impl BankedBeforeMutation {
    /// Marks receipts as taken to a bank by entries by hand, before there were deposits. Nothing is posted.
    async fn mark_banked_before(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which receipts.")] input: MarkBankedBeforeInput,
    ) -> async_graphql::Result<MarkBankedBeforePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::mark_banked_before(act, input.command()?).await }.await;
        let number = |number: i64| i32::try_from(number).unwrap_or(i32::MAX);
        MarkBankedBeforePayload::of(outcome.map(number))
    }

    /// Takes that mark off payments that were marked by mistake: they wait again. Nothing is posted.
    async fn unmark_banked_before(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which payments.")] input: UnmarkBankedBeforeInput,
    ) -> async_graphql::Result<UnmarkBankedBeforePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = operations::UnmarkBankedBefore {
                payment_ids: rows(&input.payment_ids)?,
                reason: input.reason,
            };
            operations::unmark_banked_before(act, order).await
        };
        let shown = |rows: Vec<payment::Model>| rows.into_iter().map(Payment::from).collect();
        UnmarkBankedBeforePayload::of(outcome.await.map(shown))
    }
}
