//! What the owner books by hand: the capital she began with, and receipts taken to the bank.

use nameplate_entities::kinds::{PaymentMethod, Role};
use nameplate_rules::books::Role as Account;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

use crate::banking;
use crate::base::{Error, Result};
use crate::books::{self, JournalLine, PostJournal};

use super::{Player, cents};

/// How often receipts are taken to the bank.
const BANKING_DAYS: i64 = 14;
/// How often parts are bought, counted in bankings.
const BUYING_BANKINGS: i64 = 12;

impl Player<'_> {
    /// The owner's money, and the first parts.
    pub(super) async fn bring_in_capital(&mut self) -> Result<()> {
        let start = super::super::scenario::HISTORY_DAYS;
        let capital = cents("12000.00")?;
        self.post(
            start,
            "Capital brought in",
            (Account::Bank, Account::OwnersEquity, capital),
        )
        .await?;
        self.buy_parts(start).await
    }

    /// Payments and bankings up to the day `back_days` ago, in the order they happened.
    pub(super) async fn keep_books(&mut self, back_days: i64) -> Result<()> {
        while self.banking_back_days - BANKING_DAYS >= back_days {
            self.banking_back_days -= BANKING_DAYS;
            self.take_payments(self.banking_back_days).await?;
            self.bank().await?;
        }
        self.take_payments(back_days).await
    }

    async fn bank(&mut self) -> Result<()> {
        let day = self.banking_back_days;
        for method in [PaymentMethod::Check, PaymentMethod::Card] {
            self.bank_those(day, method).await?;
        }
        self.pay_suppliers(day).await?;
        if day / BANKING_DAYS % BUYING_BANKINGS == 0 {
            self.buy_parts(day).await?;
        }
        Ok(())
    }

    /// Takes the payments of one method to the bank; a card company keeps its part.
    async fn bank_those(&mut self, back_days: i64, method: PaymentMethod) -> Result<()> {
        let those: Vec<_> = self
            .unbanked
            .extract_if(.., |payment| payment.method == method)
            .collect();
        if those.is_empty() {
            return Ok(());
        }
        let sum = Cents::sum(those.iter().map(|payment| Cents(payment.amount_cents)));
        let fee = sum.and_then(|sum| sum.times_half_up(Decimal::new(29, 3)));
        let fee = fee.map_err(|refusal| Error::caused("a card fee of the demo", refusal))?;
        let desk = self.act(back_days, Role::Office)?;
        let slip = banking::BankReceipts {
            idempotency_key: self.key(),
            account_id: None,
            deposited_on: self.day(back_days),
            reference: None,
            payments: those
                .iter()
                .map(|payment| banking::BankedPayment {
                    payment_id: payment.id,
                    card_fee: None,
                })
                .collect(),
            card_fee: (method == PaymentMethod::Card).then_some(fee),
        };
        banking::bank_receipts(&desk, slip).await?;
        Ok(())
    }

    async fn post(
        &mut self,
        back_days: i64,
        memo: &str,
        (debit, credit, amount): (Account, Account, Cents),
    ) -> Result<()> {
        let owner = self.act(back_days, Role::Owner)?;
        let line = |account: Account, debit, credit| JournalLine {
            account: account.code().to_owned(),
            debit,
            credit,
            tax_level_id: None,
        };
        let entry = PostJournal {
            idempotency_key: self.key(),
            on: self.day(back_days),
            memo: memo.to_owned(),
            lines: vec![
                line(debit, Some(amount), None),
                line(credit, None, Some(amount)),
            ],
        };
        books::post_journal(&owner, entry).await?;
        Ok(())
    }
}
