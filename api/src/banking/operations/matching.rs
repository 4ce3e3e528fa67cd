//! Confirming that lines of a bank and postings of the books are the same money, and taking that back.

use std::collections::HashSet;

use nameplate_entities::{bank_line, bank_match, bank_match_posting};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::Expr;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;

use super::super::store::{lines, matches};
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::books;

/// Lines of one match, and postings.
const LINES_MAX: usize = 100;
const POSTINGS_MAX: usize = 500;

/// Lines and postings with equal sums.
#[derive(Clone, Debug, Serialize)]
pub struct ConfirmMatch {
    pub line_ids: Vec<i64>,
    pub posting_ids: Vec<i64>,
    /// Why they are the same money; chosen by hand when left out.
    pub reason: Option<String>,
}

/// Matches lines of a bank to postings of its account; or, without a line, postings that cancel each other.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is matched already, or of another account; `Unbalanced` where the
/// sums differ; refusals name the field.
pub async fn confirm_match(act: &Act, order: ConfirmMatch) -> Result<bank_match::Model> {
    let staff_id = act.staff_with(Right::ConfirmMatch)?;
    let mut checks = Checks::new();
    let reason = checks.text_if_any("reason", order.reason.as_deref(), LINE_MAX);
    // What cancels out never comes to the bank: it has no line.
    let cancels = order.line_ids.is_empty() && order.posting_ids.len() > 1;
    if !cancels {
        check_ids(&mut checks, "lineIds", (&order.line_ids, LINES_MAX));
    }
    check_ids(
        &mut checks,
        "postingIds",
        (&order.posting_ids, POSTINGS_MAX),
    );
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let account_id = check_group(&tx, &order).await?;
    let new = NewMatch {
        account_id,
        staff_id,
        reason: reason.unwrap_or_else(|| "Chosen by hand".to_owned()),
        line_ids: order.line_ids,
        posting_ids: order.posting_ids,
    };
    let row = new.write(&tx, act, Right::ConfirmMatch).await?;
    tx.commit().await?;
    Ok(row)
}

fn check_ids(checks: &mut Checks, path: &str, (ids, most): (&[i64], usize)) {
    if ids.is_empty() || ids.len() > most {
        checks.refuse(ProblemCode::OutOfRange, path, format!("Name 1 to {most}."));
    }
    let mut named = HashSet::new();
    for (at, id) in ids.iter().enumerate() {
        if !named.insert(*id) {
            let path = format!("{path}.{at}");
            checks.refuse(ProblemCode::Malformed, &path, "This is named twice.");
        }
    }
}

/// Holds lines and postings against one another; gives their account.
async fn check_group(tx: &impl ConnectionTrait, order: &ConfirmMatch) -> Result<i64> {
    let lines = lines::by_ids(tx, &order.line_ids).await?;
    let postings = matches::by_ids(tx, &order.posting_ids).await?;
    let of_line = lines.first().map(|line| line.account_id);
    let account_id = of_line.or_else(|| postings.first().map(|posting| posting.account_id));
    let mut checks = Checks::new();
    for (at, id) in order.line_ids.iter().enumerate() {
        let found = lines.iter().find(|line| line.id == *id);
        let found = found.map(|line| (line.account_id, line.match_id));
        check_one(&mut checks, &format!("lineIds.{at}"), (found, account_id));
    }
    for (at, id) in order.posting_ids.iter().enumerate() {
        let found = postings.iter().find(|posting| posting.id == *id);
        let found = found.map(|posting| (posting.account_id, posting.match_id));
        check_one(
            &mut checks,
            &format!("postingIds.{at}"),
            (found, account_id),
        );
    }
    checks.finish()?;
    let of_lines = sum(lines.iter().map(|line| line.amount_cents))?;
    let of_postings = sum(postings.iter().map(|posting| posting.amount_cents))?;
    if of_lines != of_postings {
        let message = format!("The bank says {of_lines}, the books say {of_postings}.");
        return Err(Error::refused(
            ProblemCode::Unbalanced,
            "postingIds",
            message,
        ));
    }
    if let (None, Some(id)) = (of_line, account_id) {
        books::bank_account(tx, "postingIds.0", Some(id)).await?;
    }
    account_id.ok_or_else(|| Error::not_found("lineIds.0", "line of a bank"))
}

type Found = Option<(i64, Option<i64>)>;

fn check_one(checks: &mut Checks, path: &str, (found, account_id): (Found, Option<i64>)) {
    match found {
        None => {
            let message = "There is no such one. Look it up again and use its id.";
            checks.refuse(ProblemCode::NotFound, path, message);
        }
        Some((of, _)) if account_id.is_some_and(|id| id != of) => {
            let message = "This is of another account than the first.";
            checks.refuse(ProblemCode::WrongState, path, message);
        }
        Some((_, Some(_))) => {
            let message = "This is matched already.";
            checks.refuse(ProblemCode::WrongState, path, message);
        }
        Some((_, None)) => {}
    }
}

fn sum(amounts: impl Iterator<Item = i64>) -> Result<Cents> {
    Cents::sum(amounts.map(Cents)).map_err(|refusal| Error::caused("sum of a match", refusal))
}

/// A match that was checked.
pub(super) struct NewMatch {
    pub account_id: i64,
    pub staff_id: i64,
    pub reason: String,
    pub line_ids: Vec<i64>,
    pub posting_ids: Vec<i64>,
}

impl NewMatch {
    /// Writes the match in the open transaction.
    pub(super) async fn write(
        self,
        tx: &impl ConnectionTrait,
        act: &Act,
        right: Right,
    ) -> Result<bank_match::Model> {
        let row = bank_match::ActiveModel {
            account_id: Set(self.account_id),
            reason: Set(self.reason),
            made_at: Set(act.at),
            made_by: Set(self.staff_id),
            ..Default::default()
        };
        let row = row.insert(tx).await?;
        let postings = self
            .posting_ids
            .iter()
            .map(|id| bank_match_posting::ActiveModel {
                posting_id: Set(*id),
                match_id: Set(row.id),
            });
        bank_match_posting::Entity::insert_many(postings)
            .exec_without_returning(tx)
            .await?;
        put_match(tx, &self.line_ids, Some(row.id)).await?;
        let about = (&row, &self.line_ids, &self.posting_ids);
        audit::created(tx, act, right.mutation(), subject(row.id), &about).await?;
        Ok(row)
    }
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "bank_match",
        id,
    }
}

async fn put_match(
    tx: &impl ConnectionTrait,
    line_ids: &[i64],
    match_id: Option<i64>,
) -> Result<()> {
    bank_line::Entity::update_many()
        .col_expr(bank_line::Column::MatchId, Expr::value(match_id))
        .filter(bank_line::Column::Id.is_in(line_ids.iter().copied()))
        .exec(tx)
        .await?;
    Ok(())
}

/// Takes a match off again: its lines and postings wait for another. What it was is in the audit log.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is reconciled.
pub async fn unmatch(act: &Act, match_id: i64) -> Result<Vec<bank_line::Model>> {
    act.staff_with(Right::Unmatch)?;
    let tx = act.app.db.write().await?;
    let row = matches::get(&tx, "matchId", match_id).await?;
    let of_match = lines::of_match(&tx, row.id).await?;
    if of_match.iter().any(|line| line.reconciliation_id.is_some()) {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "matchId",
            "This is reconciled; open the reconciliation again first (reopenReconciliation).",
        ));
    }
    let ids: Vec<i64> = of_match.iter().map(|line| line.id).collect();
    let postings = matches::postings_of(&tx, row.id).await?;
    bank_match_posting::Entity::delete_many()
        .filter(bank_match_posting::Column::MatchId.eq(row.id))
        .exec(&tx)
        .await?;
    put_match(&tx, &ids, None).await?;
    bank_match::Entity::delete_by_id(row.id).exec(&tx).await?;
    let before = (&row, &ids, &postings);
    let verb = Right::Unmatch.mutation();
    audit::record(
        &tx,
        act,
        verb,
        subject(row.id),
        (Some(&before), None::<&()>),
    )
    .await?;
    let after = lines::by_ids(&tx, &ids).await?;
    tx.commit().await?;
    Ok(after)
}
