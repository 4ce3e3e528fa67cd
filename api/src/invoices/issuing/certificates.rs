//! Sales billed under exemption certificates: what stands under one decides whether it is used up, and when the last
//! purchase was. A credit note takes its invoice out of that again.

use nameplate_entities::invoice;
use nameplate_entities::kinds::CertificatePurchases;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, ProblemCode, Result};
use crate::pricing;

use crate::invoices::store;

/// Refuses a certificate for one purchase under which another invoice stands.
///
/// An estimate is priced by the certificate as it was then; another one may have been billed under it since.
///
/// # Errors
/// `NotFound`; `WrongState` at `path`, with the number of that invoice.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 317: a single-purchase certificate covers one sale.
pub async fn must_be_unused(
    tx: &impl ConnectionTrait,
    path: &'static str,
    certificate_id: i64,
) -> Result<()> {
    let held = pricing::get_exemption(tx, certificate_id).await?;
    if held.purchases != CertificatePurchases::Single {
        return Ok(());
    }
    match store::last_under(tx, certificate_id).await? {
        None => Ok(()),
        Some(other) => Err(Error::refused(
            ProblemCode::WrongState,
            path,
            format!(
                "Exemption certificate {} is for one purchase, which {} billed on {}. Bill this work as it was \
                 done, which prices it anew with tax, or take {} back first.",
                held.certificate, other.number, other.issued_on, other.number
            ),
        )),
    }
}

/// Notes on the certificate when the last purchase under it was billed, as its standing invoices say.
///
/// # Errors
/// Internal only.
pub async fn note(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, certificate_id): (&'static str, i64),
) -> Result<()> {
    let last = store::last_under(tx, certificate_id).await?;
    let last_on = last.map(|invoice| invoice.issued_on);
    pricing::certificate_used(tx, act, (verb, certificate_id), last_on).await
}

/// Gives a certificate back what an invoice had taken from it, once a credit note takes that invoice back.
///
/// # Errors
/// Internal only.
pub async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, original): (&'static str, &invoice::Model),
) -> Result<()> {
    match original.tax_exemption_id {
        Some(certificate_id) => note(tx, act, (verb, certificate_id)).await,
        None => Ok(()),
    }
}
