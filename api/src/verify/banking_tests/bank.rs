//! A bank of the test's shop, and its files.

use std::fmt::Write;

use super::*;
use crate::banking::{
    BankColumns, ConfirmMatch, Imported, Purpose, ReconcileBank, SaveBankLayout, Taken,
    confirm_match, import_statement, proposals, save_bank_layout,
};
use crate::base::csv_layout::Fault;
use crate::books::{JournalLine, PostJournal, post_journal};
use nameplate_entities::bank_line;
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use sea_orm::{EntityTrait, QueryOrder};

pub(super) fn names(amount: &str) -> BankColumns {
    let some = |text: &str| Some(text.to_owned());
    BankColumns {
        day: "Date".to_owned(),
        amount: some(amount),
        money_in: None,
        money_out: None,
        words: "Description".to_owned(),
        payee: None,
        reference: None,
        bank_key: None,
        balance: None,
        currency: some("Currency"),
    }
}

/// Comma, a first line of names, signed amounts.
pub(super) fn layout(account_id: i64) -> SaveBankLayout {
    SaveBankLayout {
        account_id,
        delimiter: BankDelimiter::Comma,
        has_header: true,
        encoding: BankEncoding::Utf8,
        date_order: DateOrder::YearMonthDay,
        decimal_sign: DecimalSign::Point,
        columns: names("Amount"),
        near_days: None,
        version: None,
    }
}

impl TestShop {
    pub(super) async fn bank(&self) -> i64 {
        let bank = books::bank_account(self.bench.app.db.read(), "", None).await;
        bank.unwrap().id
    }

    /// A bank whose files are read by the plain layout.
    pub(super) async fn read_bank(&self) -> i64 {
        let bank = self.bank().await;
        save_bank_layout(&self.owner, layout(bank)).await.unwrap();
        bank
    }

    pub(super) async fn import(&self, account_id: i64, rows: &[(i64, &str, &str)]) -> Taken {
        let mut file = "Date,Description,Amount,Currency\r\n".to_owned();
        for (days_ago, words, amount) in rows {
            let day = today() - chrono::TimeDelta::days(*days_ago);
            writeln!(file, "{day},{words},{amount},USD\r").unwrap();
        }
        self.take(account_id, file.as_bytes()).await.unwrap()
    }

    pub(super) async fn take(&self, account_id: i64, file: &[u8]) -> Result<Taken, Vec<Fault>> {
        let outcome = import_statement(&self.owner, account_id, file, Purpose::TakeIn).await;
        match outcome.unwrap() {
            Imported::Taken(taken) => Ok(taken),
            Imported::Refused(faults) => Err(faults),
        }
    }

    pub(super) async fn lines(&self) -> Vec<bank_line::Model> {
        let select = bank_line::Entity::find().order_by_asc(bank_line::Column::Id);
        select.all(self.bench.app.db.read()).await.unwrap()
    }

    /// An entry by hand between the bank and other expense, money in positive.
    pub(super) async fn hand(&self, amount: i64, days_ago: u64, memo: &str) {
        let line = |account: &str, cents: i64| JournalLine {
            account: account.to_owned(),
            debit: (cents > 0).then_some(Cents(cents)),
            credit: (cents < 0).then_some(Cents(-cents)),
            tax_level_id: None,
        };
        let entry = PostJournal {
            idempotency_key: self.key(),
            on: today() - Days::new(days_ago),
            memo: memo.to_owned(),
            lines: vec![line("1010", amount), line("6900", -amount)],
        };
        post_journal(&self.owner, entry).await.unwrap();
    }

    /// Confirms every clear proposal; gives how many there were.
    pub(super) async fn confirm_clear(&self, account_id: i64) -> usize {
        let found = proposals(self.bench.app.db.read(), account_id).await;
        let found = found.unwrap();
        let clear: Vec<_> = found.iter().filter(|one| !one.is_ambiguous).collect();
        for one in &clear {
            let order = ConfirmMatch {
                line_ids: one.lines.iter().map(|line| line.id).collect(),
                posting_ids: one.postings.iter().map(|posting| posting.id).collect(),
                reason: Some(one.reason.clone()),
            };
            confirm_match(&self.owner, order).await.unwrap();
        }
        clear.len()
    }

    pub(super) fn reconcile(&self, account_id: i64, days_ago: u64, closing: i64) -> ReconcileBank {
        ReconcileBank {
            idempotency_key: self.key(),
            account_id,
            through: today() - Days::new(days_ago),
            closing_balance: Cents(closing),
            despite: None,
        }
    }
}
