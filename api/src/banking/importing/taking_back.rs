//! A file that was taken in by mistake is taken back: its lines are gone, as if it had never come.

use nameplate_entities::{bank_line, bank_statement};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};

use super::super::store::lines as store;
use super::subject;
use crate::base::audit;
use crate::base::{Act, Error, ProblemCode, Result, Right};

/// Takes a file of a bank back, with every line that came with it. The file may be taken in again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` while a line of it is matched, which reconciled ones are.
pub async fn take_back_statement(act: &Act, statement_id: i64) -> Result<bank_statement::Model> {
    act.staff_with(Right::TakeBackStatement)?;
    let path = "statementId";
    let tx = act.app.db.write().await?;
    let row = bank_statement::Entity::find_by_id(statement_id)
        .one(&tx)
        .await?
        .ok_or_else(|| Error::not_found(path, "statement of a bank"))?;
    check_free(&tx, path, row.id).await?;
    bank_line::Entity::delete_many()
        .filter(bank_line::Column::StatementId.eq(row.id))
        .exec(&tx)
        .await?;
    bank_statement::Entity::delete_by_id(row.id)
        .exec(&tx)
        .await?;
    let verb = Right::TakeBackStatement.mutation();
    let gone = (Some(&row), None::<&()>);
    audit::record(&tx, act, verb, subject(row.id), gone).await?;
    tx.commit().await?;
    Ok(row)
}

async fn check_free(tx: &impl ConnectionTrait, path: &str, statement_id: i64) -> Result<()> {
    let Some(line) = store::first_matched(tx, statement_id).await? else {
        return Ok(());
    };
    let first = if line.reconciliation_id.is_some() {
        "is reconciled; open the reconciliation again (reopenReconciliation) and take its match off first"
    } else {
        "is matched; take the match off first (unmatch)"
    };
    let message = format!("Its line of {}, {}, {first}.", line.booked_on, line.words);
    Err(Error::refused(ProblemCode::WrongState, path, message))
}
