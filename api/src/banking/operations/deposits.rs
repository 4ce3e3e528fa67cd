//! Taking receipts to the bank, and undoing a slip that was written by mistake.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{account, bank_deposit, bank_deposit_line, payment};
use nameplate_rules::books::{AccountRef, Role, events};
use nameplate_rules::money::{Cents, spread_by_cents};
use sea_orm::sea_query::Expr;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;

use super::super::store::deposits as store;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::books::{self, NewEntry};
use crate::invoices::{self, AtBank};
use crate::shop;

/// Payments on one slip.
pub(super) const PAYMENTS_MAX: usize = 200;

/// A payment that goes to the bank.
#[derive(Clone, Debug, Serialize)]
pub struct BankedPayment {
    pub payment_id: i64,
    /// What the card company keeps of it.
    pub card_fee: Option<Cents>,
}

/// Receipts to take to a bank.
#[derive(Clone, Debug, Serialize)]
pub struct BankReceipts {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The usual account when left out.
    pub account_id: Option<i64>,
    pub deposited_on: NaiveDate,
    pub reference: Option<String>,
    pub payments: Vec<BankedPayment>,
    /// What the card company keeps of all cards together, where it is not given payment by payment.
    pub card_fee: Option<Cents>,
}

/// Takes payments that wait to an account at a bank, as one numbered deposit, less what the card company keeps.
///
/// # Errors
/// `Forbidden`; `NotFound` for account or payment; `WrongState` for an account that is no bank's, a payment that is
/// banked already or undone, a card fee without a card, or more than the account of receipts not yet banked holds, as
/// entries by hand took it to a bank before; `TooMuch` for a fee above the payment; `ImpossibleDate` for a
/// day to come or before a payment was received; `PeriodClosed`; refusals name the field.
pub async fn bank_receipts(act: &Act, new: BankReceipts) -> Result<bank_deposit::Model> {
    let staff_id = act.staff_with(Right::BankReceipts)?;
    let verb = Right::BankReceipts.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let reference = new.checked(today)?;
    let bank = books::bank_account(&tx, "bankAccountId", new.account_id).await?;
    books::check_open(&tx, "depositedOn", new.deposited_on).await?;
    let parts = parts(&tx, &new).await?;
    let receipts = sum(parts.iter().map(|part| Cents(part.payment.amount_cents)))?;
    let fee = sum(parts.iter().map(|part| part.fee))?;
    check_held(&tx, receipts).await?;
    let row = bank_deposit::ActiveModel {
        number: Set(numbers::take(&tx, Series::BankDeposit).await?),
        account_id: Set(bank.id),
        deposited_on: Set(new.deposited_on),
        reference: Set(reference),
        receipts_cents: Set(receipts.0),
        fee_cents: Set(fee.0),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    write_lines(&tx, &row, &parts).await?;
    make_findable(&tx, &row, &bank).await?;
    let entry = events::banked(AccountRef::Code(bank.code), receipts, fee);
    let entry = NewEntry {
        on: row.deposited_on,
        memo: format!("Bank deposit {}", row.number),
        document: Some(subject(row.id)),
        entry: entry.map_err(|refusal| Error::caused("entry of a bank deposit", refusal))?,
    };
    books::post(&tx, act, entry).await?;
    audit::created(&tx, act, verb, subject(row.id), &(&row, &new.payments)).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "bank_deposit",
        id,
    }
}

async fn make_findable(
    tx: &impl ConnectionTrait,
    row: &bank_deposit::Model,
    bank: &account::Model,
) -> Result<()> {
    let title = format!("{}, {} {}", row.number, bank.code, bank.name);
    let reference = row.reference.as_deref().unwrap_or_default();
    let words = [row.number.as_str(), reference, bank.name.as_str()];
    search::index(tx, subject(row.id), &title, &words).await
}

/// Refuses a slip of more than there is: an older shop took receipts to its bank by entries by hand, and the payments
/// seem to wait until they are marked.
async fn check_held(tx: &impl ConnectionTrait, receipts: Cents) -> Result<()> {
    let held = Cents(books::balance_of_role(tx, Role::UndepositedReceipts).await?);
    if held >= receipts {
        return Ok(());
    }
    let message = format!(
        "Receipts not yet banked holds {held}, and these come to {receipts}: entries by hand took the rest to a bank \
         before. The owner marks what they took (markBankedBefore)."
    );
    Err(Error::refused(ProblemCode::WrongState, "payments", message))
}

impl BankReceipts {
    /// Holds the input against what can be said without the books; gives the reference, trimmed.
    fn checked(&self, today: NaiveDate) -> Result<Option<String>> {
        let mut checks = Checks::new();
        checks.not_after("depositedOn", self.deposited_on, today);
        checks.near("depositedOn", self.deposited_on, today);
        let reference = checks.text_if_any("reference", self.reference.as_deref(), LINE_MAX);
        if self.payments.is_empty() {
            let message = "Name at least one payment that waits.";
            checks.refuse(ProblemCode::Missing, "payments", message);
        }
        if self.payments.len() > PAYMENTS_MAX {
            let message =
                format!("A deposit has at most {PAYMENTS_MAX} payments; write another slip.");
            checks.refuse(ProblemCode::OutOfRange, "payments", message);
        }
        let mut named = HashSet::new();
        for (at, part) in self.payments.iter().enumerate() {
            if !named.insert(part.payment_id) {
                let path = format!("payments.{at}.paymentId");
                let message = "This payment is named twice.";
                checks.refuse(ProblemCode::Malformed, &path, message);
            }
            if let Some(fee) = part.card_fee {
                checks.not_negative(&format!("payments.{at}.cardFee"), fee);
            }
        }
        if let Some(fee) = self.card_fee {
            checks.not_negative("cardFee", fee);
            if self.payments.iter().any(|part| part.card_fee.is_some()) {
                let message = "Give one fee for all cards, or one for each, not both.";
                checks.refuse(ProblemCode::Malformed, "cardFee", message);
            }
        }
        checks.finish()?;
        Ok(reference)
    }
}

/// A payment of the slip and its fee.
struct Part {
    payment: payment::Model,
    fee: Cents,
}

/// The payments, each of which may go to the bank on this day, with what is kept of each.
async fn parts(tx: &impl ConnectionTrait, new: &BankReceipts) -> Result<Vec<Part>> {
    let ids: Vec<i64> = new.payments.iter().map(|part| part.payment_id).collect();
    let found = store::payments(tx, ids.iter().copied()).await?;
    let mut checks = Checks::new();
    let mut parts = Vec::with_capacity(ids.len());
    for (at, named) in new.payments.iter().enumerate() {
        let path = format!("payments.{at}.paymentId");
        let Some(row) = found.iter().find(|row| row.id == named.payment_id) else {
            let message = "There is no such payment. Look it up again and use its id.";
            checks.refuse(ProblemCode::NotFound, &path, message);
            continue;
        };
        check_waits(&mut checks, &path, row);
        check_since(&mut checks, "depositedOn", (row, new.deposited_on));
        let fee = named.card_fee.unwrap_or(Cents::ZERO);
        check_fee(&mut checks, &format!("payments.{at}.cardFee"), (row, fee));
        parts.push(Part {
            payment: row.clone(),
            fee,
        });
    }
    checks.finish()?;
    if let Some(fee) = new.card_fee {
        share_fee(&mut parts, fee)?;
    }
    Ok(parts)
}

/// Refuses a day on which a payment did not wait yet.
pub(super) fn check_since(
    checks: &mut Checks,
    path: &str,
    (row, on): (&payment::Model, NaiveDate),
) {
    let again = row.waits_again_from.unwrap_or(row.received_on);
    let since = again.max(row.received_on);
    if on < since {
        let message = format!("{} waits only since {since}.", row.number);
        checks.refuse(ProblemCode::ImpossibleDate, path, message);
    }
}

/// Refuses a payment that is undone, or at a bank.
pub(super) fn check_waits(checks: &mut Checks, path: &str, row: &payment::Model) {
    if let Some(day) = row.reversed_on {
        let message = format!("{} was undone on {day}.", row.number);
        checks.refuse(ProblemCode::WrongState, path, message);
    } else if let Some(day) = row.banked_on {
        let message = format!("{} was taken to a bank on {day}.", row.number);
        checks.refuse(ProblemCode::WrongState, path, message);
    }
}

fn check_fee(checks: &mut Checks, path: &str, (row, fee): (&payment::Model, Cents)) {
    if fee == Cents::ZERO {
        return;
    }
    if row.method != PaymentMethod::Card {
        let message = format!("{} was not paid by card, so nothing is kept.", row.number);
        checks.refuse(ProblemCode::WrongState, path, message);
    } else if fee.0 > row.amount_cents {
        let amount = Cents(row.amount_cents);
        let message = format!("{fee} is more than the {amount} of {}.", row.number);
        checks.refuse(ProblemCode::TooMuch, path, message);
    }
}

/// Divides one fee over the card payments by their amounts, so that it adds up to the cent.
fn share_fee(parts: &mut [Part], fee: Cents) -> Result<()> {
    let mut cards: Vec<&mut Part> = parts
        .iter_mut()
        .filter(|part| part.payment.method == PaymentMethod::Card)
        .collect();
    let amounts: Vec<Cents> = cards
        .iter()
        .map(|part| Cents(part.payment.amount_cents))
        .collect();
    let whole = sum(amounts.iter().copied())?;
    let refused =
        |code, message: String| -> Result<()> { Err(Error::refused(code, "cardFee", message)) };
    if fee > Cents::ZERO && cards.is_empty() {
        let message = "None of these was paid by card, so nothing is kept.";
        return refused(ProblemCode::WrongState, message.to_owned());
    }
    if fee > whole {
        let message = format!("{fee} is more than the {whole} paid by card.");
        return refused(ProblemCode::TooMuch, message);
    }
    if fee == Cents::ZERO {
        return Ok(());
    }
    let shares = spread_by_cents(fee, &amounts)
        .map_err(|refusal| Error::caused("a card fee's shares", refusal))?;
    for (part, share) in cards.iter_mut().zip(shares) {
        part.fee = share;
    }
    Ok(())
}

async fn write_lines(
    tx: &impl ConnectionTrait,
    row: &bank_deposit::Model,
    parts: &[Part],
) -> Result<()> {
    let lines = parts.iter().map(|part| bank_deposit_line::ActiveModel {
        deposit_id: Set(row.id),
        payment_id: Set(part.payment.id),
        standing_payment_id: Set(Some(part.payment.id)),
        amount_cents: Set(part.payment.amount_cents),
        fee_cents: Set(part.fee.0),
        ..Default::default()
    });
    bank_deposit_line::Entity::insert_many(lines)
        .exec_without_returning(tx)
        .await?;
    let ids: Vec<i64> = parts.iter().map(|part| part.payment.id).collect();
    let place = AtBank {
        account_id: row.account_id,
        on: row.deposited_on,
    };
    invoices::put_at_bank(tx, &ids, place).await
}

/// A deposit to undo.
#[derive(Clone, Debug, Serialize)]
pub struct UndoDeposit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub deposit_id: i64,
    pub reason: String,
    pub undone_on: NaiveDate,
}

/// Undoes a deposit: its payments wait again, its entry is reversed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one undone already, one that is matched to a statement of the bank, or one of
/// whose payments the bank took one back; `ImpossibleDate` for a day to come or before the deposit; `PeriodClosed`.
pub async fn undo_deposit(act: &Act, order: UndoDeposit) -> Result<bank_deposit::Model> {
    let staff_id = act.staff_with(Right::UndoDeposit)?;
    let verb = Right::UndoDeposit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.not_after("undoneOn", order.undone_on, today);
    checks.finish()?;
    let before = store::get(&tx, "depositId", order.deposit_id).await?;
    let payments = to_undo(&tx, &before, order.undone_on).await?;
    books::check_open(&tx, "undoneOn", order.undone_on).await?;
    let entry = store::entry_of(&tx, before.id).await?;
    let memo = format!("Bank deposit {} undone", before.number);
    books::reverse(&tx, act, ("depositId", &entry), (order.undone_on, memo)).await?;
    bank_deposit_line::Entity::update_many()
        .col_expr(
            bank_deposit_line::Column::StandingPaymentId,
            Expr::value(None::<i64>),
        )
        .filter(bank_deposit_line::Column::DepositId.eq(before.id))
        .exec(&tx)
        .await?;
    invoices::wait_again(&tx, &payments, order.undone_on).await?;
    let after = bank_deposit::ActiveModel {
        id: Set(before.id),
        undone_on: Set(Some(order.undone_on)),
        undone_because: Set(Some(reason)),
        undone_at: Set(Some(act.at)),
        undone_by: Set(Some(staff_id)),
        ..Default::default()
    };
    let after = after.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

/// The payments of a deposit that can be undone on this day.
async fn to_undo(
    tx: &impl ConnectionTrait,
    row: &bank_deposit::Model,
    on: NaiveDate,
) -> Result<Vec<i64>> {
    let refused = |code, path: &str, message: String| Err(Error::refused(code, path, message));
    let path = "depositId";
    if let Some(day) = row.undone_on {
        let message = format!("{} was undone on {day}.", row.number);
        return refused(ProblemCode::WrongState, path, message);
    }
    if store::is_matched(tx, row.id).await? {
        let message = format!(
            "{} is matched to a statement of the bank; take the match off first.",
            row.number
        );
        return refused(ProblemCode::WrongState, path, message);
    }
    let payments = store::payments_of(tx, row.id).await?;
    if let Some(gone) = payments.iter().find(|row| row.reversed_on.is_some()) {
        let message = format!("The bank took {} back, so it had it.", gone.number);
        return refused(ProblemCode::WrongState, path, message);
    }
    if on < row.deposited_on {
        let message = format!("{} is of {}.", row.number, row.deposited_on);
        return refused(ProblemCode::ImpossibleDate, "undoneOn", message);
    }
    Ok(payments.into_iter().map(|row| row.id).collect())
}

fn sum(amounts: impl IntoIterator<Item = Cents>) -> Result<Cents> {
    Cents::sum(amounts).map_err(|refusal| Error::caused("sum of a bank deposit", refusal))
}
