//! Which customers want e-invoices, and what these say for them.

use nameplate_entities::e_invoicing;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{customers, shop};

/// What a customer wants of e-invoices.
#[derive(Clone, Debug)]
pub struct ChangeEInvoicing {
    pub customer_id: i64,
    /// Whether the file comes with each mail of a document.
    pub wanted: bool,
    /// What the buyer wants to find on it, such as a cost centre.
    pub buyer_reference: Option<String>,
    /// The buyer's number in a register.
    pub registration: Option<String>,
    /// The version that was read; none for what nobody said before.
    pub version: Option<i32>,
}

/// Writes what a customer wants of e-invoices, in place of what was written before.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` where somebody changed it meanwhile; `WrongState` for a household; `SettingMissing` at `wanted` while the shop has no tax
/// registration, as each mail would go without the file; refusals name the field.
pub async fn change_e_invoicing(act: &Act, change: ChangeEInvoicing) -> Result<e_invoicing::Model> {
    act.staff_with(Right::ChangeEInvoicing)?;
    let mut checks = Checks::new();
    let reference = change.buyer_reference.as_deref();
    let reference = checks.text_if_any("buyerReference", reference, LINE_MAX);
    let registration = change.registration.as_deref();
    let registration = checks.text_if_any("registration", registration, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let customer = customers::get_customer(&tx, "customerId", change.customer_id).await?;
    if !super::is_for(&customer) {
        let message = "An e-invoice is for organisations; this customer is a household.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "customerId",
            message,
        ));
    }
    if change.wanted && shop::settings(&tx).await?.row.tax_registration.is_none() {
        let message =
            "An e-invoice names the shop's tax registration. The owner writes it down first.";
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            "wanted",
            message,
        ));
    }
    let before = of_customer(&tx, customer.id).await?;
    if before.as_ref().map(|row| row.version) != change.version {
        let message = "Somebody wrote this down since you read it. Read it again first.";
        return Err(Error::refused(ProblemCode::Conflict, "version", message));
    }
    let row = e_invoicing::ActiveModel {
        customer_id: Set(customer.id),
        wanted: Set(change.wanted),
        buyer_reference: Set(reference),
        registration: Set(registration),
        version: Set(before.as_ref().map_or(1, |row| row.version + 1)),
    };
    let after = match &before {
        Some(_) => row.update(&tx).await?,
        None => row.insert(&tx).await?,
    };
    let subject = Subject {
        kind: "e_invoicing",
        id: customer.id,
    };
    let verb = Right::ChangeEInvoicing.mutation();
    audit::record(&tx, act, verb, subject, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// What a customer wants, if it was ever said.
///
/// # Errors
/// Internal only.
pub async fn of_customer(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Option<e_invoicing::Model>> {
    Ok(e_invoicing::Entity::find_by_id(customer_id).one(db).await?)
}
