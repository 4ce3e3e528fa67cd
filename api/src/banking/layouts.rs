//! How the files of a bank are read: what the clerk says once for each account.

use nameplate_entities::bank_layout;
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::csv_layout::{check_apart, checked_column, checked_column_if_any};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::books;

/// How many days apart a line and a posting may lie, where nobody says otherwise.
pub const NEAR_DAYS: i32 = 7;

/// Which column holds what: its name in the first line, or its place, from 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BankColumns {
    pub day: String,
    /// One column with a sign, or two of which one is filled.
    pub amount: Option<String>,
    pub money_in: Option<String>,
    pub money_out: Option<String>,
    pub words: String,
    pub payee: Option<String>,
    pub reference: Option<String>,
    pub bank_key: Option<String>,
    pub balance: Option<String>,
    pub currency: Option<String>,
}

impl BankColumns {
    /// Those of a layout on record.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn of(row: &bank_layout::Model) -> Result<Self> {
        serde_json::from_str(&row.columns_json)
            .map_err(|error| Error::caused("columns of a bank's file", error))
    }

    fn checked(self, checks: &mut Checks, has_header: bool) -> Self {
        let is_pair = self.money_in.is_some() && self.money_out.is_some();
        if self.amount.is_some() == is_pair
            || (self.amount.is_some() && (self.money_in.is_some() || self.money_out.is_some()))
        {
            let message =
                "Name one column of signed amounts, or one of money in and one of money out.";
            checks.refuse(ProblemCode::Malformed, "columns.amount", message);
        }
        let mut may = |path: &str, name: Option<String>| {
            checked_column_if_any(checks, (path, name.as_deref()), has_header)
        };
        let read = Self {
            amount: may("columns.amount", self.amount),
            money_in: may("columns.moneyIn", self.money_in),
            money_out: may("columns.moneyOut", self.money_out),
            payee: may("columns.payee", self.payee),
            reference: may("columns.reference", self.reference),
            bank_key: may("columns.bankId", self.bank_key),
            balance: may("columns.balance", self.balance),
            currency: may("columns.currency", self.currency),
            day: checked_column(checks, ("columns.day", &self.day), has_header),
            words: checked_column(checks, ("columns.text", &self.words), has_header),
        };
        // A day and an amount cannot stand in one column.
        let apart = [
            ("columns.day", Some(&read.day)),
            ("columns.amount", read.amount.as_ref()),
            ("columns.moneyIn", read.money_in.as_ref()),
            ("columns.moneyOut", read.money_out.as_ref()),
            ("columns.balance", read.balance.as_ref()),
        ];
        check_apart(checks, apart);
        read
    }
}

/// How the files of an account's bank are to be read.
#[derive(Clone, Debug, Serialize)]
pub struct SaveBankLayout {
    pub account_id: i64,
    pub delimiter: BankDelimiter,
    pub has_header: bool,
    pub encoding: BankEncoding,
    pub date_order: DateOrder,
    pub decimal_sign: DecimalSign,
    pub columns: BankColumns,
    pub near_days: Option<i32>,
    /// The version as it was read; none for the first.
    pub version: Option<i32>,
}

/// Says how the files of an account's bank are read from now on. What was imported stays.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an account that is no bank's; `Conflict` where somebody changed it since it
/// was read; refusals name the field.
pub async fn save_bank_layout(act: &Act, new: SaveBankLayout) -> Result<bank_layout::Model> {
    let staff_id = act.staff_with(Right::SaveBankLayout)?;
    let mut checks = Checks::new();
    let columns = new.columns.checked(&mut checks, new.has_header);
    let near_days = new.near_days.unwrap_or(NEAR_DAYS);
    checks.between("nearDays", near_days, (0, 60));
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let account = books::bank_account(&tx, "bankAccountId", Some(new.account_id)).await?;
    let before = find(&tx, account.id).await?;
    if before.as_ref().map(|row| row.version) != new.version {
        return Err(Error::refused(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this since you read it; read it again.",
        ));
    }
    let columns_json = serde_json::to_string(&columns)
        .map_err(|error| Error::caused("columns of a bank's file", error))?;
    let row = bank_layout::ActiveModel {
        account_id: Set(account.id),
        delimiter: Set(new.delimiter),
        has_header: Set(new.has_header),
        encoding: Set(new.encoding),
        date_order: Set(new.date_order),
        decimal_sign: Set(new.decimal_sign),
        columns_json: Set(columns_json),
        near_days: Set(near_days),
        changed_at: Set(act.at),
        changed_by: Set(staff_id),
        version: Set(before.as_ref().map_or(1, |row| row.version + 1)),
    };
    let after = match &before {
        Some(_) => row.update(&tx).await?,
        None => row.insert(&tx).await?,
    };
    let subject = Subject {
        kind: "bank_layout",
        id: account.id,
    };
    let verb = Right::SaveBankLayout.mutation();
    audit::record(&tx, act, verb, subject, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// The layout of an account's bank, if it was said.
pub async fn find(
    db: &impl ConnectionTrait,
    account_id: i64,
) -> Result<Option<bank_layout::Model>> {
    Ok(bank_layout::Entity::find_by_id(account_id).one(db).await?)
}
