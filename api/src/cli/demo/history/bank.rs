//! What the bank says: the balance it began with, a month that is reconciled, and a statement that waits for the owner.

use std::fmt::Write;

use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign, Role};
use nameplate_entities::{journal_entry, posting};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::banking::{self, BankColumns, ConfirmMatch, Imported, Purpose};
use crate::base::{Error, Result};
use crate::books;

use super::{Player, cents};

/// The last day before the first statement, and the last day of the month that is reconciled, in days ago.
const START_BACK_DAYS: i64 = 75;
const RECONCILED_BACK_DAYS: i64 = 40;
/// What the bank keeps each month.
const FEE: &str = "14.50";

/// A movement in the books and when.
struct Moved {
    posting: posting::Model,
    memo: String,
    back_days: i64,
}

impl Moved {
    fn amount(&self) -> i64 {
        self.posting.debit_cents - self.posting.credit_cents
    }

    /// When the bank has it: a day later.
    fn at_bank(&self) -> i64 {
        (self.back_days - 1).max(0)
    }
}

impl Player<'_> {
    /// The bank's side of it all.
    pub(super) async fn bank_statements(&mut self) -> Result<()> {
        let bank = books::bank_account(self.app.db.read(), "", None).await?;
        let moved = self.moved(bank.id).await?;
        let before: Vec<&Moved> = moved
            .iter()
            .filter(|one| one.at_bank() >= START_BACK_DAYS)
            .collect();
        self.begin_bank(bank.id, &before).await?;
        let within =
            |one: &&Moved| (RECONCILED_BACK_DAYS..START_BACK_DAYS).contains(&one.at_bank());
        let month: Vec<&Moved> = moved.iter().filter(within).collect();
        self.take_in(bank.id, &month, RECONCILED_BACK_DAYS).await?;
        self.reconcile(bank.id, &before, &month).await?;
        let after: Vec<&Moved> = moved
            .iter()
            .filter(|one| one.at_bank() < RECONCILED_BACK_DAYS)
            .collect();
        self.take_in(bank.id, &after, 1).await
    }

    async fn moved(&self, account_id: i64) -> Result<Vec<Moved>> {
        let db = self.app.db.read();
        let postings = posting::Entity::find()
            .filter(posting::Column::AccountId.eq(account_id))
            .order_by_asc(posting::Column::EntryOn)
            .all(db)
            .await?;
        let mut moved = Vec::with_capacity(postings.len());
        for posting in postings {
            let entry = journal_entry::Entity::find_by_id(posting.entry_id);
            let entry = entry.one(db).await?;
            moved.push(Moved {
                back_days: (self.today - posting.entry_on).num_days(),
                memo: entry.map_or_else(String::new, |entry| entry.memo),
                posting,
            });
        }
        Ok(moved)
    }

    /// How the bank's files are read, and the balance it began with.
    async fn begin_bank(&mut self, account_id: i64, before: &[&Moved]) -> Result<()> {
        let owner = self.act(0, Role::Owner)?;
        let layout = banking::SaveBankLayout {
            account_id,
            delimiter: BankDelimiter::Comma,
            has_header: true,
            encoding: BankEncoding::Utf8,
            date_order: DateOrder::MonthDayYear,
            decimal_sign: DecimalSign::Point,
            columns: BankColumns {
                day: "Date".to_owned(),
                amount: Some("Amount".to_owned()),
                money_in: None,
                money_out: None,
                words: "Description".to_owned(),
                payee: None,
                reference: None,
                bank_key: None,
                balance: None,
                currency: None,
            },
            near_days: None,
            version: None,
        };
        banking::save_bank_layout(&owner, layout).await?;
        let start = banking::StartBankAccount {
            idempotency_key: self.key(),
            account_id,
            on: self.day(START_BACK_DAYS),
            balance: total(before)?,
        };
        let start = banking::start_bank_account(&owner, start).await?;
        let order = ConfirmMatch {
            line_ids: vec![start.id],
            posting_ids: before.iter().map(|one| one.posting.id).collect(),
            reason: Some("All that was booked before the first statement".to_owned()),
        };
        banking::confirm_match(&owner, order).await?;
        Ok(())
    }

    /// Takes in a file with these movements and the bank's fee.
    async fn take_in(
        &mut self,
        account_id: i64,
        moved: &[&Moved],
        fee_back_days: i64,
    ) -> Result<()> {
        let mut file = "Date,Description,Amount\r\n".to_owned();
        for one in moved {
            let day = self.day(one.at_bank()).format("%m/%d/%Y");
            let (words, amount) = (one.memo.to_uppercase(), Cents(one.amount()));
            writeln!(file, "{day},\"{words}\",{amount}\r")
                .map_err(|error| Error::caused("a line of the demo's bank", error))?;
        }
        let day = self.day(fee_back_days).format("%m/%d/%Y");
        writeln!(file, "{day},MONTHLY SERVICE FEE,-{FEE}\r")
            .map_err(|error| Error::caused("a line of the demo's bank", error))?;
        let desk = self.act(0, Role::Office)?;
        let taken =
            banking::import_statement(&desk, account_id, file.as_bytes(), Purpose::TakeIn).await?;
        match taken {
            Imported::Taken(_) => Ok(()),
            Imported::Refused(_) => Err(Error::internal("the demo's bank has a file at fault")),
        }
    }

    /// Confirms what is proposed for the month, books the fee, and reconciles.
    async fn reconcile(
        &mut self,
        account_id: i64,
        before: &[&Moved],
        month: &[&Moved],
    ) -> Result<()> {
        let owner = self.act(0, Role::Owner)?;
        let found = banking::proposals(self.app.db.read(), account_id).await?;
        for one in found.iter().filter(|one| !one.is_ambiguous) {
            let order = ConfirmMatch {
                line_ids: one.lines.iter().map(|line| line.id).collect(),
                posting_ids: one.postings.iter().map(|posting| posting.id).collect(),
                reason: Some(one.reason.clone()),
            };
            banking::confirm_match(&owner, order).await?;
        }
        for line in banking::open_lines(self.app.db.read(), account_id, 10).await? {
            let booking = banking::BookBankLine {
                idempotency_key: self.key(),
                line_id: line.id,
                memo: None,
                splits: vec![banking::Split {
                    account: "6900".to_owned(),
                    amount: Cents(line.amount_cents),
                }],
            };
            banking::book_bank_line(&owner, booking).await?;
        }
        let closing = [total(before)?, total(month)?, Cents(-cents(FEE)?.0)];
        let order = banking::ReconcileBank {
            idempotency_key: self.key(),
            account_id,
            through: self.day(RECONCILED_BACK_DAYS),
            closing_balance: sum(closing)?,
            despite: None,
        };
        banking::reconcile_bank(&owner, order).await?;
        Ok(())
    }
}

fn total(moved: &[&Moved]) -> Result<Cents> {
    sum(moved.iter().map(|one| Cents(one.amount())))
}

fn sum(amounts: impl IntoIterator<Item = Cents>) -> Result<Cents> {
    Cents::sum(amounts).map_err(|refusal| Error::caused("a balance of the demo", refusal))
}
