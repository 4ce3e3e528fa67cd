//! Saying that the books agree with a bank's statement through a day, and opening that again.

use chrono::NaiveDate;
use nameplate_entities::{bank_line, bank_reconciliation};
use nameplate_rules::banking::chain::{Balanced, first_break};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::Expr;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;

use super::super::store::{lines, reconciliations as store};
use super::pairing;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, shop};

/// A statement to agree with.
#[derive(Clone, Debug, Serialize)]
pub struct ReconcileBank {
    #[serde(skip)]
    pub idempotency_key: String,
    pub account_id: i64,
    /// Its last day.
    pub through: NaiveDate,
    /// The balance it ends with.
    pub closing_balance: Cents,
    /// Why it agrees although the file's own balances say that a line is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub despite: Option<String>,
}

/// Reconciles an account at a bank: every line through the day is matched, and the balance before with these lines is the
/// one that the statement ends with. What is matched to them stays as it is from now on.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an account that is no bank's, a line that is not matched, or a match that
/// reaches beyond the day; also where the file's own balances say
/// that a line is missing, unless a reason is given; `ImpossibleDate` for a day that is not over or one that is reconciled; `Unbalanced` where the lines lead
/// to another balance.
pub async fn reconcile_bank(act: &Act, order: ReconcileBank) -> Result<bank_reconciliation::Model> {
    let staff_id = act.staff_with(Right::ReconcileBank)?;
    let verb = Right::ReconcileBank.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    if order.through >= today {
        let message = format!("Reconcile only days that are over; today is {today}.");
        checks.refuse(ProblemCode::ImpossibleDate, "through", message);
    }
    let despite = checks.text_if_any("despite", order.despite.as_deref(), LINE_MAX);
    checks.finish()?;
    let account = books::bank_account(&tx, "bankAccountId", Some(order.account_id)).await?;
    let last = store::last(&tx, account.id).await?;
    if let Some(last) = last
        .as_ref()
        .filter(|last| order.through <= last.through_on)
    {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "through",
            format!("This is reconciled through {} already.", last.through_on),
        ));
    }
    pairing::pair_reversals(&tx, act, (staff_id, Right::ReconcileBank), &account).await?;
    let opening = Cents(last.map_or(0, |last| last.closing_cents));
    let moved = moved(&tx, &order, opening).await?;
    if despite.is_none() {
        no_line_is_missing(&tx, &order).await?;
    }
    let row = bank_reconciliation::ActiveModel {
        account_id: Set(account.id),
        through_on: Set(order.through),
        opening_cents: Set(opening.0),
        lines_cents: Set(moved.0),
        closing_cents: Set(order.closing_balance.0),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    bank_line::Entity::update_many()
        .col_expr(
            bank_line::Column::ReconciliationId,
            Expr::value(Some(row.id)),
        )
        .filter(bank_line::Column::AccountId.eq(account.id))
        .filter(bank_line::Column::ReconciliationId.is_null())
        .filter(bank_line::Column::BookedOn.lte(order.through))
        .exec(&tx)
        .await?;
    audit::created(&tx, act, verb, subject(row.id), &(&row, despite)).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// What the lines through the day add up to, if all of them are matched and lead to the balance.
async fn moved(tx: &impl ConnectionTrait, order: &ReconcileBank, opening: Cents) -> Result<Cents> {
    let refused = |code, path: &str, message: String| Err(Error::refused(code, path, message));
    let unsettled = lines::unsettled(tx, order.account_id, order.through).await?;
    if unsettled.unmatched > 0 {
        let first = lines::open(tx, order.account_id, 1).await?;
        let first = first.first().map_or_else(String::new, |line| {
            let amount = Cents(line.amount_cents);
            format!(
                ", the first of {}, {amount}: {}",
                line.booked_on, line.words
            )
        });
        let message = format!(
            "{} lines through {} are not matched{first}.",
            unsettled.unmatched, order.through
        );
        return refused(ProblemCode::WrongState, "through", message);
    }
    if let Some(line) = lines::astride(tx, order.account_id, order.through).await? {
        let message = format!(
            "The line of {}, {}, is matched together with one after {}; match them apart.",
            line.booked_on,
            Cents(line.amount_cents),
            order.through
        );
        return refused(ProblemCode::WrongState, "through", message);
    }
    let moved = Cents(unsettled.sum_cents);
    let too_large = || Error::internal("a balance is too large");
    let reached = opening.checked_add(moved).ok_or_else(too_large)?;
    if reached != order.closing_balance {
        let off = order
            .closing_balance
            .checked_sub(reached)
            .ok_or_else(too_large)?;
        let message = format!(
            "{opening} before and lines of {moved} lead to {reached}, and the statement says {}: {off} apart.",
            order.closing_balance
        );
        return refused(ProblemCode::Unbalanced, "closingBalance", message);
    }
    Ok(moved)
}

/// Refuses where the balances beside the lines break: a line of the bank is not in its file.
async fn no_line_is_missing(tx: &impl ConnectionTrait, order: &ReconcileBank) -> Result<()> {
    let rows = lines::with_balance(tx, order.account_id, order.through).await?;
    for of_file in rows.chunk_by(|one, next| one.statement_id == next.statement_id) {
        let balanced = of_file.iter().filter_map(|row| {
            Some(Balanced {
                place: row.file_line?,
                amount: Cents(row.amount_cents),
                balance: Cents(row.balance_cents?),
            })
        });
        let found = first_break(&balanced.collect::<Vec<_>>()).and_then(|at| of_file.get(at));
        if let Some(row) = found {
            let message = format!(
                "The balance beside the line of {}, {} ({}), does not follow from the one before it: a line is missing \
                 in the file. Import it, or say in `despite` why this agrees all the same.",
                row.booked_on,
                Cents(row.amount_cents),
                row.words
            );
            return Err(Error::refused(ProblemCode::Unbalanced, "through", message));
        }
    }
    Ok(())
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "bank_reconciliation",
        id,
    }
}

/// Opens the last reconciliation of an account again: its lines may be matched anew.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is open again already, or is not the last.
pub async fn reopen_reconciliation(
    act: &Act,
    (id, reason): (i64, String),
) -> Result<bank_reconciliation::Model> {
    let staff_id = act.staff_with(Right::ReopenReconciliation)?;
    let mut checks = Checks::new();
    let reason = checks.text("reason", &reason, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get(&tx, "reconciliationId", id).await?;
    let last = store::last(&tx, before.account_id).await?;
    if last.is_none_or(|last| last.id != before.id) {
        let message = "Only the last reconciliation of an account that stands is opened again.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "reconciliationId",
            message,
        ));
    }
    let after = bank_reconciliation::ActiveModel {
        id: Set(before.id),
        reopened_at: Set(Some(act.at)),
        reopened_because: Set(Some(reason)),
        reopened_by: Set(Some(staff_id)),
        ..Default::default()
    };
    let after = after.update(&tx).await?;
    bank_line::Entity::update_many()
        .col_expr(
            bank_line::Column::ReconciliationId,
            Expr::value(None::<i64>),
        )
        .filter(bank_line::Column::ReconciliationId.eq(before.id))
        .exec(&tx)
        .await?;
    let verb = Right::ReopenReconciliation.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}
