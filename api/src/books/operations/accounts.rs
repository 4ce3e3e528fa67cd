//! The chart: accounts are added, renamed, renumbered, marked as a bank's, and retired.

use nameplate_entities::account;
use nameplate_entities::kinds::AccountKind;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::super::store;
use super::super::store::balances::{self, Reach};

/// Longest code of an account.
const CODE_MAX: usize = 20;

/// An account to add to the chart.
#[derive(Clone, Debug)]
pub struct AddAccount {
    pub code: String,
    pub name: String,
    pub kind: AccountKind,
    /// Whether money lies on it at a bank.
    pub is_bank: bool,
}

/// Adds an account that no rule posts to by itself.
///
/// # Errors
/// `Forbidden`; `Taken` for a code in use; refusals name the field.
pub async fn add_account(act: &Act, new: AddAccount) -> Result<account::Model> {
    act.staff_with(Right::AddAccount)?;
    let mut checks = Checks::new();
    check_bank(&mut checks, new.is_bank, new.kind);
    let row = account::ActiveModel {
        code: Set(checks.text("code", &new.code, CODE_MAX)),
        name: Set(checks.text("name", &new.name, LINE_MAX)),
        kind: Set(new.kind),
        role: Set(None),
        is_bank: Set(new.is_bank),
        version: Set(1),
        ..Default::default()
    };
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let row = row.insert(&tx).await?;
    audit::created(
        &tx,
        act,
        Right::AddAccount.mutation(),
        subject(row.id),
        &row,
    )
    .await?;
    tx.commit().await?;
    Ok(row)
}

fn check_bank(checks: &mut Checks, is_bank: bool, kind: AccountKind) {
    if is_bank && kind != AccountKind::Asset {
        let message = "Only an asset account is a bank account.";
        checks.refuse(ProblemCode::Malformed, "isBank", message);
    }
}

/// Which account, as it was read.
#[derive(Clone, Copy, Debug)]
pub struct AccountAsRead {
    pub account_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
}

/// A correction of an account. Class and role stay what they are.
#[derive(Clone, Debug)]
pub struct ChangeAccount {
    pub read: AccountAsRead,
    pub code: Option<String>,
    pub name: Option<String>,
    pub is_bank: Option<bool>,
}

/// Renames or renumbers an account, or says whether it is a bank's. Entries keep to the account, not to its number.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for the program's own bank account unmarked; `Taken` for a code in
/// use; refusals name the field.
pub async fn change_account(act: &Act, change: ChangeAccount) -> Result<account::Model> {
    act.staff_with(Right::ChangeAccount)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = read_again(&tx, &mut checks, change.read).await?;
    let mut row = before.clone().into_active_model();
    if let Some(code) = change.code {
        row.code = Set(checks.text("code", &code, CODE_MAX));
    }
    if let Some(name) = change.name {
        row.name = Set(checks.text("name", &name, LINE_MAX));
    }
    if let Some(is_bank) = change.is_bank {
        check_bank(&mut checks, is_bank, before.kind);
        if !is_bank && before.role.as_deref() == Some(BANK) {
            let message = "The program posts to this account as the bank; mark a further one.";
            checks.refuse(ProblemCode::WrongState, "isBank", message);
        }
        row.is_bank = Set(is_bank);
    }
    checks.finish()?;
    let after = saved(&tx, act, Right::ChangeAccount, (&before, row)).await?;
    tx.commit().await?;
    Ok(after)
}

/// The role of the account that the program posts to as the bank.
const BANK: &str = "bank";

/// Retires an account that the program does not post to and that stands at zero. It takes no more entries; its old ones
/// stay in every report.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for an account with a role, with a balance, or retired already.
pub async fn retire_account(act: &Act, read: AccountAsRead) -> Result<account::Model> {
    act.staff_with(Right::RetireAccount)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = read_again(&tx, &mut checks, read).await?;
    checks.finish()?;
    let refusal = if before.retired_at.is_some() {
        Some("it is retired already".to_owned())
    } else if before.role.is_some() {
        Some("the program posts to it by itself".to_owned())
    } else {
        let balance = balances::balance_of(&tx, before.id, Reach::All).await?;
        (balance != 0).then(|| {
            let balance = nameplate_rules::money::Cents(balance);
            format!("its balance is {balance}; move that to another account first")
        })
    };
    if let Some(why) = refusal {
        return Err(wrong_state(&format!(
            "{} cannot be retired: {why}.",
            before.code
        )));
    }
    let mut row = before.clone().into_active_model();
    row.retired_at = Set(Some(act.at));
    let after = saved(&tx, act, Right::RetireAccount, (&before, row)).await?;
    tx.commit().await?;
    Ok(after)
}

/// Lets a retired account take entries again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that is not retired.
pub async fn restore_account(act: &Act, read: AccountAsRead) -> Result<account::Model> {
    act.staff_with(Right::RestoreAccount)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = read_again(&tx, &mut checks, read).await?;
    checks.finish()?;
    if before.retired_at.is_none() {
        return Err(wrong_state(&format!("{} is not retired.", before.code)));
    }
    let mut row = before.clone().into_active_model();
    row.retired_at = Set(None);
    let after = saved(&tx, act, Right::RestoreAccount, (&before, row)).await?;
    tx.commit().await?;
    Ok(after)
}

/// The account that money of a payment lay on, marked as a bank's or not. One that was retired since takes entries again,
/// as money that comes back leaves the account that had it.
///
/// # Errors
/// Internal, when it is gone.
pub async fn take_up_again(
    tx: &impl ConnectionTrait,
    act: &Act,
    (right, account_id): (Right, i64),
) -> Result<account::Model> {
    let before = store::get_account(tx, "", account_id).await?;
    if before.retired_at.is_none() {
        return Ok(before);
    }
    let mut row = before.clone().into_active_model();
    row.retired_at = Set(None);
    saved(tx, act, right, (&before, row)).await
}

fn wrong_state(message: &str) -> Error {
    Error::refused(ProblemCode::WrongState, "accountId", message)
}

/// The account, refused where somebody changed it meanwhile.
async fn read_again(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    read: AccountAsRead,
) -> Result<account::Model> {
    let row = store::get_account(tx, "accountId", read.account_id).await?;
    if row.version != read.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this account since you read it. Read it again first.",
        );
    }
    Ok(row)
}

async fn saved(
    tx: &impl ConnectionTrait,
    act: &Act,
    right: Right,
    (before, mut row): (&account::Model, account::ActiveModel),
) -> Result<account::Model> {
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let both = (Some(before), Some(&after));
    audit::record(tx, act, right.mutation(), subject(after.id), both).await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "account",
        id,
    }
}
