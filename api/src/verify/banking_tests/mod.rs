//! Banking through the program's own acts; every test ends with all in order.

mod bank;
mod before;
mod deposits;
mod matches;
mod statements;

use chrono::{Days, NaiveDate};
use nameplate_entities::account;
use nameplate_entities::kinds::{AccountKind, PaymentMethod, ReversalKind};
use nameplate_entities::payment;
use nameplate_rules::money::Cents;

use super::testing::TestShop;
use crate::banking::{BankReceipts, BankedPayment, UndoDeposit, bank_receipts, undo_deposit};
use crate::base::ProblemCode;
use crate::base::testing::{noon, refusals};
use crate::books::{self, AddAccount, Days as BookDays};
use crate::invoices::{Excess, RecordPayment, ReversePayment, refund_credit, reverse_payment};
use crate::remittances::record_payment;

fn today() -> NaiveDate {
    noon().date_naive()
}

fn at<T>(code: ProblemCode, path: &str, outcome: crate::base::Result<T>) {
    assert_eq!(refusals(outcome), [(code, path.to_owned())]);
}

impl TestShop {
    /// A payment of this kind, received so many days ago.
    async fn got(&self, amount: i64, method: PaymentMethod, days_ago: u64) -> payment::Model {
        let new = RecordPayment {
            method,
            received_on: today() - Days::new(days_ago),
            ..self.payment(amount, Excess::BecomesCredit)
        };
        record_payment(&self.owner, new).await.unwrap()
    }

    fn slip(&self, payment_ids: &[i64]) -> BankReceipts {
        let part = |id: &i64| BankedPayment {
            payment_id: *id,
            card_fee: None,
        };
        BankReceipts {
            idempotency_key: self.key(),
            account_id: None,
            deposited_on: today(),
            reference: Some("slip 7".to_owned()),
            payments: payment_ids.iter().map(part).collect(),
            card_fee: None,
        }
    }

    /// What an account adds up to, debits positive.
    async fn stands_at(&self, code: &str) -> i64 {
        let days = BookDays::through(today());
        let rows = books::balances(self.bench.app.db.read(), days).await;
        let rows = rows.unwrap();
        let row = rows.iter().find(|row| row.code == code);
        row.map_or(0, |row| row.balance_cents)
    }

    /// A second account at a bank.
    async fn savings(&self) -> account::Model {
        let new = AddAccount {
            code: "1020".to_owned(),
            name: "Savings".to_owned(),
            kind: AccountKind::Asset,
            is_bank: true,
        };
        books::add_account(&self.owner, new).await.unwrap()
    }
}
