//! Who pays for work under a warranty.

use nameplate_entities::kinds::CustomerKind;
use nameplate_entities::warranty_payer;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use super::super::store;
use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::customers;

/// The longest time a payer takes.
const DAYS_TO_PAY_MAX: i32 = 365;

/// How the shop deals with a payer.
#[derive(Clone, Debug)]
pub struct PayerWays {
    /// Where claims are sent.
    pub claim_mail: Option<String>,
    /// Whether a last day on a weekend moves to the next working day.
    pub claim_days_move_on: bool,
    /// Whether what it does not pay may be billed to the customer.
    pub may_bill_rest: bool,
    /// Within how many days it is to pay.
    pub days_to_pay: Option<i32>,
}

/// Takes an organisation on record as one that pays for work under warranties.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a household; `Taken` for one that is a payer already; refusals name the field.
pub async fn add_warranty_payer(
    act: &Act,
    (customer_id, ways): (i64, PayerWays),
) -> Result<warranty_payer::Model> {
    act.staff_with(Right::AddWarrantyPayer)?;
    let claim_mail = ways.checked()?;
    let tx = act.app.db.write().await?;
    let customer = customers::get_customer(&tx, "customerId", customer_id).await?;
    if customer.kind != CustomerKind::Organisation {
        let message =
            "A household does not pay for warranties; record the company as an organisation.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "customerId",
            message,
        ));
    }
    if store::payer_of_customer(&tx, customer.id).await?.is_some() {
        let message = format!("{} pays for warranties already.", customer.name);
        return Err(Error::refused(ProblemCode::Taken, "customerId", message));
    }
    let row = warranty_payer::ActiveModel {
        customer_id: Set(customer.id),
        version: Set(1),
        retired_at: Set(None),
        ..ways.row(claim_mail)
    };
    let row = row.insert(&tx).await?;
    let verb = Right::AddWarrantyPayer.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// What changes about a payer.
#[derive(Clone, Debug)]
pub struct ChangeWarrantyPayer {
    pub payer_id: i64,
    /// The version that was read.
    pub version: i32,
    pub ways: PayerWays,
    /// Whether it takes no new programmes and claims.
    pub retired: bool,
}

/// Changes how the shop deals with a payer.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; refusals name the field.
pub async fn change_warranty_payer(
    act: &Act,
    change: ChangeWarrantyPayer,
) -> Result<warranty_payer::Model> {
    act.staff_with(Right::ChangeWarrantyPayer)?;
    let claim_mail = change.ways.checked()?;
    let tx = act.app.db.write().await?;
    let before = store::get_payer(&tx, "payerId", change.payer_id).await?;
    same_version(before.version, change.version)?;
    let retired_at = match (change.retired, before.retired_at) {
        (false, _) => None,
        (true, None) => Some(act.at),
        (true, earlier) => earlier,
    };
    let row = warranty_payer::ActiveModel {
        retired_at: Set(retired_at),
        version: Set(before.version + 1),
        id: Set(before.id),
        customer_id: Set(before.customer_id),
        ..change.ways.row(claim_mail)
    };
    let after = row.update(&tx).await?;
    let verb = Right::ChangeWarrantyPayer.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

impl PayerWays {
    fn checked(&self) -> Result<Option<String>> {
        let mut checks = Checks::new();
        let claim_mail = checks.email_if_any("ways.claimMail", self.claim_mail.as_deref());
        if let Some(days) = self.days_to_pay {
            checks.between("ways.daysToPay", days, (0, DAYS_TO_PAY_MAX));
        }
        checks.finish()?;
        Ok(claim_mail)
    }

    fn row(&self, claim_mail: Option<String>) -> warranty_payer::ActiveModel {
        warranty_payer::ActiveModel {
            claim_mail: Set(claim_mail),
            claim_days_move_on: Set(self.claim_days_move_on),
            may_bill_rest: Set(self.may_bill_rest),
            days_to_pay: Set(self.days_to_pay),
            ..Default::default()
        }
    }
}

/// A payer that takes new programmes and claims.
///
/// # Errors
/// `NotFound`; `WrongState` for one that is retired.
pub async fn active_payer(
    tx: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<warranty_payer::Model> {
    let payer = store::get_payer(tx, path, id).await?;
    if payer.retired_at.is_some() {
        let message = "This payer is retired; take it back into use first.";
        return Err(Error::refused(ProblemCode::WrongState, path, message));
    }
    Ok(payer)
}

/// That nobody changed a record since it was read.
pub fn same_version(now: i32, read: i32) -> Result<()> {
    if now == read {
        return Ok(());
    }
    Err(Error::refused(
        ProblemCode::Conflict,
        "version",
        "Somebody changed this in the meantime; read it again.",
    ))
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "warranty_payer",
        id,
    }
}
