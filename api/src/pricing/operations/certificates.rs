//! Customers' exemption certificates, on file or only claimed.

use chrono::NaiveDate;
use nameplate_entities::tax_exemption;
use nameplate_rules::tax::Purchases;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{customers, shop};

use super::super::{kinds, store};

/// A certificate to record. What is left out can be completed later; until then it does not count.
#[derive(Clone, Debug)]
pub struct AddTaxExemption {
    pub customer_id: i64,
    pub certificate: String,
    pub reason: String,
    pub valid_from: NaiveDate,
    pub valid_until: Option<NaiveDate>,
    pub purchases: Purchases,
    pub details: CertificateDetails,
}

/// What a certificate must hold to count.
#[derive(Clone, Debug, Default)]
pub struct CertificateDetails {
    pub buyer_name: Option<String>,
    pub business_address: Option<String>,
    pub tax_id: Option<String>,
    pub business_type: Option<String>,
    /// Left out while the customer only says to be exempt.
    pub received_on: Option<NaiveDate>,
}

impl CertificateDetails {
    fn checked(&self, checks: &mut Checks, today: NaiveDate) -> Self {
        let mut text = |path: &str, value: &Option<String>| {
            checks.text_if_any(path, value.as_deref(), LINE_MAX)
        };
        let checked = Self {
            buyer_name: text("buyerName", &self.buyer_name),
            business_address: text("businessAddress", &self.business_address),
            tax_id: text("taxId", &self.tax_id),
            business_type: text("businessType", &self.business_type),
            received_on: self.received_on,
        };
        if let Some(day) = self.received_on {
            checks.not_after("receivedOn", day, today);
        }
        checked
    }
}

/// Records a customer's exemption certificate, or that the customer says to be exempt.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn add_tax_exemption(act: &Act, new: AddTaxExemption) -> Result<tax_exemption::Model> {
    act.staff_with(Right::AddTaxExemption)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    let details = new.details.checked(&mut checks, today);
    let row = tax_exemption::ActiveModel {
        customer_id: Set(new.customer_id),
        certificate: Set(checks.text("certificate", &new.certificate, LINE_MAX)),
        reason: Set(checks.text("reason", &new.reason, LINE_MAX)),
        valid_from: Set(new.valid_from),
        valid_until: Set(new.valid_until),
        buyer_name: Set(details.buyer_name),
        business_address: Set(details.business_address),
        tax_id: Set(details.tax_id),
        business_type: Set(details.business_type),
        received_on: Set(details.received_on),
        purchases: Set(kinds::purchases_for_row(new.purchases)),
        version: Set(1),
        ..Default::default()
    };
    checks.in_order(&[
        ("validFrom", "The first day", Some(new.valid_from)),
        ("validUntil", "The last day", new.valid_until),
    ]);
    checks.finish()?;
    customers::get_customer(&tx, "customerId", new.customer_id).await?;
    must_be_new(&tx, &new).await?;
    let row = row.insert(&tx).await?;
    let verb = Right::AddTaxExemption.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// One certificate is one record: entered twice, one for a single purchase would cover two.
async fn must_be_new(tx: &impl ConnectionTrait, new: &AddTaxExemption) -> Result<()> {
    let key = |certificate: &str| certificate.trim().to_uppercase();
    let held = store::exemptions_of(tx, new.customer_id).await?;
    let is_known = held
        .iter()
        .any(|row| key(&row.certificate) == key(&new.certificate));
    if is_known {
        let words =
            "This customer's certificate of that number is on record. Complete or use that one.";
        return Err(Error::refused(ProblemCode::Taken, "certificate", words));
    }
    Ok(())
}

/// What a certificate lacked; what is left out stays.
#[derive(Clone, Debug)]
pub struct CompleteTaxExemption {
    pub tax_exemption_id: i64,
    /// The version that was read.
    pub version: i32,
    pub valid_until: Option<NaiveDate>,
    pub details: CertificateDetails,
}

/// Completes a certificate: fields it lacked, the day it came, the day it ends.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; refusals name the field.
pub async fn complete_tax_exemption(
    act: &Act,
    change: CompleteTaxExemption,
) -> Result<tax_exemption::Model> {
    act.staff_with(Right::CompleteTaxExemption)?;
    let tx = act.app.db.write().await?;
    let before = store::get_exemption(&tx, change.tax_exemption_id).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this certificate since you read it. Read it again first.",
        );
    }
    let details = change.details.checked(&mut checks, today);
    let valid_until = change.valid_until.or(before.valid_until);
    checks.in_order(&[
        ("validFrom", "The first day", Some(before.valid_from)),
        ("validUntil", "The last day", valid_until),
    ]);
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.buyer_name = Set(details.buyer_name.or(before.buyer_name.clone()));
    row.business_address = Set(details.business_address.or(before.business_address.clone()));
    row.tax_id = Set(details.tax_id.or(before.tax_id.clone()));
    row.business_type = Set(details.business_type.or(before.business_type.clone()));
    row.received_on = Set(details.received_on.or(before.received_on));
    row.valid_until = Set(valid_until);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::CompleteTaxExemption.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Notes when the last purchase under a certificate was billed, in the transaction that bills or credits one: a
/// blanket certificate lapses when the next one is too long after, one for a single purchase is used up. None once
/// every such invoice was taken back.
///
/// # Errors
/// Internal only.
pub async fn certificate_used(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, certificate_id): (&'static str, i64),
    last_on: Option<NaiveDate>,
) -> Result<()> {
    let before = store::get_exemption(tx, certificate_id).await?;
    if before.last_purchase_on == last_on {
        return Ok(());
    }
    let mut row = before.clone().into_active_model();
    row.last_purchase_on = Set(last_on);
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), both).await
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "tax_exemption",
        id,
    }
}
