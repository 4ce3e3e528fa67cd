//! Confirming matches, taking them off, and booking what only the bank knew.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;
use nameplate_entities::bank_line;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations::{booking, matching};
use super::lines::{BankLine, BankMatch};

/// Lines and postings with equal sums.
#[derive(InputObject)]
pub struct ConfirmMatchInput {
    /// Lines of the bank, 1 to 100; none where the postings cancel each other.
    line_ids: Vec<ID>,
    /// Postings of its account, 1 to 500.
    posting_ids: Vec<ID>,
    /// Why, such as the reason of a proposal.
    reason: Option<String>,
}

impl ConfirmMatchInput {
    fn command(self) -> Result<matching::ConfirmMatch> {
        let rows = |kind: Kind, path: &str, ids: Vec<ID>| {
            ids.iter()
                .enumerate()
                .map(|(at, id)| kind.row(&format!("{path}.{at}"), id))
                .collect::<Result<Vec<i64>>>()
        };
        Ok(matching::ConfirmMatch {
            line_ids: rows(Kind::BankLine, "lineIds", self.line_ids)?,
            posting_ids: rows(Kind::Posting, "postingIds", self.posting_ids)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What confirming a match gave.
    ConfirmMatchPayload {
        /// The match.
        matched: BankMatch
    }
}

/// A match to take off.
#[derive(InputObject)]
pub struct UnmatchInput {
    /// The match.
    match_id: ID,
}

payload! {
    /// What taking a match off gave.
    UnmatchPayload {
        /// Its lines, which wait again.
        lines: Vec<BankLine>
    }
}

/// The balance of an account before its first statement.
#[derive(InputObject)]
pub struct StartBankAccountInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The account at a bank.
    bank_account_id: ID,
    /// The last day before the first statement.
    on: NaiveDate,
    /// What lay there.
    balance: Money,
}

payload! {
    /// What saying the first balance gave.
    StartBankAccountPayload {
        /// The balance as a line to match.
        line: BankLine
    }
}

/// Part of a line, on one account.
#[derive(InputObject)]
pub struct BankSplitInput {
    /// Number of the account.
    account: String,
    /// How much; below zero for what goes the other way than the line.
    amount: Money,
}

/// A line that the books do not know yet.
#[derive(InputObject)]
pub struct BookBankLineInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The line.
    line_id: ID,
    /// What the entry says; the bank's words when left out.
    memo: Option<String>,
    /// The accounts it goes to, 1 to 20, which add up to the line.
    splits: Vec<BankSplitInput>,
}

payload! {
    /// What booking a line gave.
    BookBankLinePayload {
        /// The line, matched.
        line: BankLine
    }
}

/// Matching lines of banks.
#[derive(Default)]
pub struct BankLinesMutation;

#[Object]
impl BankLinesMutation {
    /// Confirms that lines of a bank and postings of its account are the same money.
    async fn confirm_match(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Lines and postings with equal sums.")] input: ConfirmMatchInput,
    ) -> async_graphql::Result<ConfirmMatchPayload> {
        let act = act(ctx)?;
        let outcome = async { matching::confirm_match(act, input.command()?).await }.await;
        ConfirmMatchPayload::of(outcome.map(BankMatch::from))
    }

    /// Takes a match off that is not reconciled.
    async fn unmatch(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The match.")] input: UnmatchInput,
    ) -> async_graphql::Result<UnmatchPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::BankMatch.row("matchId", &input.match_id)?;
            matching::unmatch(act, id).await
        };
        let lines = |rows: Vec<bank_line::Model>| rows.into_iter().map(BankLine::from).collect();
        UnmatchPayload::of(outcome.await.map(lines))
    }

    /// Says what lay at the bank before the first statement.
    async fn start_bank_account(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The balance.")] input: StartBankAccountInput,
    ) -> async_graphql::Result<StartBankAccountPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let new = booking::StartBankAccount {
                idempotency_key: input.idempotency_key,
                account_id: Kind::Account.row("bankAccountId", &input.bank_account_id)?,
                on: input.on,
                balance: input.balance.0,
            };
            booking::start_bank_account(act, new).await
        };
        StartBankAccountPayload::of(outcome.await.map(BankLine::from))
    }

    /// Books a line of the bank that the books do not know yet, such as its fees, and matches it.
    async fn book_bank_line(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The line and its accounts.")] input: BookBankLineInput,
    ) -> async_graphql::Result<BookBankLinePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let split = |split: BankSplitInput| booking::Split {
                account: split.account,
                amount: split.amount.0,
            };
            let order = booking::BookBankLine {
                idempotency_key: input.idempotency_key,
                line_id: Kind::BankLine.row("lineId", &input.line_id)?,
                memo: input.memo,
                splits: input.splits.into_iter().map(split).collect(),
            };
            booking::book_bank_line(act, order).await
        };
        BookBankLinePayload::of(outcome.await.map(BankLine::from))
    }
}
