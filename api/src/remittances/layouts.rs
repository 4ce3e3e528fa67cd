//! How the advices of a payer are read: what the clerk says once for each.

use nameplate_entities::advice_layout;
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::csv_layout::{check_apart, checked_column, checked_column_if_any};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::warranty;

/// Which column holds what: its name in the first line, or its place, from 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct AdviceColumns {
    /// The shop's number of the claim, or the payer's own.
    pub claim: String,
    pub paid: String,
    pub refused: Option<String>,
    pub reason: Option<String>,
    pub note: Option<String>,
    pub day: Option<String>,
    /// The payer's number of the payment.
    pub reference: Option<String>,
}

impl AdviceColumns {
    /// Those of a layout on record.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn of(row: &advice_layout::Model) -> Result<Self> {
        serde_json::from_str(&row.columns_json)
            .map_err(|error| Error::caused("columns of a payer's advice", error))
    }

    fn checked(self, checks: &mut Checks, has_header: bool) -> Self {
        let claim = checked_column(checks, ("columns.claim", &self.claim), has_header);
        let paid = checked_column(checks, ("columns.paid", &self.paid), has_header);
        let mut may = |path: &str, name: Option<String>| {
            checked_column_if_any(checks, (path, name.as_deref()), has_header)
        };
        let read = Self {
            claim,
            paid,
            refused: may("columns.refused", self.refused),
            reason: may("columns.reason", self.reason),
            note: may("columns.note", self.note),
            day: may("columns.day", self.day),
            reference: may("columns.reference", self.reference),
        };
        let apart = [
            ("columns.claim", Some(&read.claim)),
            ("columns.paid", Some(&read.paid)),
            ("columns.refused", read.refused.as_ref()),
            ("columns.day", read.day.as_ref()),
        ];
        check_apart(checks, apart);
        read
    }
}

/// How the advices of a payer are to be read.
#[derive(Clone, Debug, Serialize)]
pub struct SetAdviceLayout {
    pub payer_id: i64,
    pub delimiter: BankDelimiter,
    pub has_header: bool,
    pub encoding: BankEncoding,
    pub date_order: DateOrder,
    pub decimal_sign: DecimalSign,
    pub columns: AdviceColumns,
    /// The version as it was read; none for the first.
    pub version: Option<i32>,
}

/// Says how the advices of a payer are read from now on. What was imported stays.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` where somebody changed it since it was read; refusals name the field.
pub async fn set_advice_layout(act: &Act, new: SetAdviceLayout) -> Result<advice_layout::Model> {
    let staff_id = act.staff_with(Right::SetAdviceLayout)?;
    let mut checks = Checks::new();
    let columns = new.columns.checked(&mut checks, new.has_header);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let payer = warranty::get_payer(&tx, "payerId", new.payer_id).await?;
    let before = find(&tx, payer.id).await?;
    if before.as_ref().map(|row| row.version) != new.version {
        return Err(Error::refused(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this since you read it; read it again.",
        ));
    }
    let columns_json = serde_json::to_string(&columns)
        .map_err(|error| Error::caused("columns of a payer's advice", error))?;
    let row = advice_layout::ActiveModel {
        payer_id: Set(payer.id),
        delimiter: Set(new.delimiter),
        has_header: Set(new.has_header),
        encoding: Set(new.encoding),
        date_order: Set(new.date_order),
        decimal_sign: Set(new.decimal_sign),
        columns_json: Set(columns_json),
        changed_at: Set(act.at),
        changed_by: Set(staff_id),
        version: Set(before.as_ref().map_or(1, |row| row.version + 1)),
    };
    let after = match &before {
        Some(_) => row.update(&tx).await?,
        None => row.insert(&tx).await?,
    };
    let subject = Subject {
        kind: "advice_layout",
        id: payer.id,
    };
    let verb = Right::SetAdviceLayout.mutation();
    audit::record(&tx, act, verb, subject, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// The layout of a payer's advices, if it was said.
pub async fn find(
    db: &impl ConnectionTrait,
    payer_id: i64,
) -> Result<Option<advice_layout::Model>> {
    Ok(advice_layout::Entity::find_by_id(payer_id).one(db).await?)
}
