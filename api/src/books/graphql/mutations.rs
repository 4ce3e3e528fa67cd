//! What the owner does to the books by hand.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations;
use super::JournalEntry;

/// One line of an entry by hand: a debit or a credit.
#[derive(InputObject)]
pub struct JournalLineInput {
    /// Code of the account.
    account: String,
    /// Amount on the debit side.
    debit: Option<Money>,
    /// Amount on the credit side.
    credit: Option<Money>,
    /// On sales tax payable only: the level that is paid or corrected.
    tax_level_id: Option<ID>,
}

/// An entry by hand.
#[derive(InputObject)]
pub struct PostJournalInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The day it counts for.
    on: NaiveDate,
    /// What happened.
    memo: String,
    /// Two or more lines whose debits equal their credits.
    lines: Vec<JournalLineInput>,
}

impl PostJournalInput {
    fn command(self) -> Result<operations::PostJournal> {
        let lines = self.lines.into_iter().enumerate().map(|(at, line)| {
            let path = format!("lines.{at}.taxLevelId");
            Ok(operations::JournalLine {
                account: line.account,
                debit: line.debit.map(|amount| amount.0),
                credit: line.credit.map(|amount| amount.0),
                tax_level_id: Kind::TaxLevel.row_if_any(&path, line.tax_level_id.as_ref())?,
            })
        });
        Ok(operations::PostJournal {
            idempotency_key: self.idempotency_key,
            on: self.on,
            memo: self.memo,
            lines: lines.collect::<Result<_>>()?,
        })
    }
}

payload! {
    /// What posting an entry gave.
    PostJournalPayload {
        /// The entry as posted.
        journal_entry: JournalEntry
    }
}

/// Which entry by hand to undo.
#[derive(InputObject)]
pub struct ReverseJournalInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The entry.
    entry_id: ID,
    /// The day the reversal counts for.
    on: NaiveDate,
    /// Why it is undone.
    memo: String,
}

impl ReverseJournalInput {
    fn command(self) -> Result<operations::ReverseJournal> {
        Ok(operations::ReverseJournal {
            idempotency_key: self.idempotency_key,
            entry_id: Kind::JournalEntry.row("entryId", &self.entry_id)?,
            on: self.on,
            memo: self.memo,
        })
    }
}

payload! {
    /// What reversing an entry gave.
    ReverseJournalPayload {
        /// The entry that undoes the first.
        journal_entry: JournalEntry
    }
}

/// What the owner does to the books by hand.
#[derive(Default)]
pub struct BooksMutation;

#[Object]
impl BooksMutation {
    /// Posts an entry by hand.
    async fn post_journal(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The entry.")] input: PostJournalInput,
    ) -> async_graphql::Result<PostJournalPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::post_journal(act, input.command()?).await }.await;
        PostJournalPayload::of(outcome.map(JournalEntry::from))
    }

    /// Undoes an entry by hand with its mirror image.
    async fn reverse_journal(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which entry.")] input: ReverseJournalInput,
    ) -> async_graphql::Result<ReverseJournalPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::reverse_journal(act, input.command()?).await }.await;
        ReverseJournalPayload::of(outcome.map(JournalEntry::from))
    }
}
