//! Issued documents as a file that machines read: UBL 2.1 by EN 16931, for organisations that ask for it.
//!
//! Words: a *group* is a category and rate of tax; figures are net of tax and of each line's discount. What must stay
//! true: a file says the frozen document to the cent, and leaves only when every arithmetic rule of the standard holds
//! (`rules/invoice/en16931`); one that cannot be told in the standard is refused with the reason.

mod mapping;
pub mod settings;
mod xml;

use nameplate_entities::kinds::{CustomerKind, ReceivableKind};
use nameplate_rules::invoice::en16931;
use sea_orm::ConnectionTrait;

use crate::base::letter::Attachment;
use crate::base::{Error, ProblemCode, Result};
use crate::customers;
use crate::invoices::store;

/// The path of the input that these refusals are about.
const PATH: &str = "invoiceId";

/// An issued document as such a file, with what is paid by now.
///
/// # Errors
/// `NotFound`; `WrongState` for a household, a currency with more than two decimals, or a document that the standard
/// cannot tell; `SettingMissing` while the shop has no tax registration.
pub async fn file(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Attachment> {
    let row = store::get_invoice(db, PATH, invoice_id).await?;
    let customer = customers::get_customer(db, PATH, row.customer_id).await?;
    if customer.kind != CustomerKind::Organisation {
        let message = "An e-invoice is for organisations; this customer is a household.";
        return Err(Error::refused(ProblemCode::WrongState, PATH, message));
    }
    let document = mapping::document(db, &row, &customer).await?;
    let broken = en16931::broken(&document.figures)
        .map_err(|refusal| Error::caused("figures of an e-invoice", refusal))?;
    if !broken.is_empty() {
        let rules: Vec<String> = broken.iter().map(ToString::to_string).collect();
        return Err(Error::refused(
            ProblemCode::WrongState,
            PATH,
            format!(
                "{} cannot be told in the standard: it breaks {}.",
                row.number,
                rules.join(", ")
            ),
        ));
    }
    let word = match row.kind {
        ReceivableKind::Invoice => "invoice",
        ReceivableKind::CreditNote => "credit-note",
    };
    Ok(Attachment {
        file_name: format!("{word}-{}.xml", row.number),
        content_type: "application/xml".to_owned(),
        bytes: xml::written(&document).map_err(|error| Error::caused("e-invoice", error))?,
    })
}

/// The file for a mail to a customer who asked for it; none for others, or where the standard cannot tell the document.
///
/// # Errors
/// Internal only.
pub async fn attachment(
    db: &impl ConnectionTrait,
    (invoice_id, customer_id): (i64, i64),
) -> Result<Option<Attachment>> {
    let wanted = settings::of_customer(db, customer_id).await?;
    if !wanted.is_some_and(|row| row.wanted) {
        return Ok(None);
    }
    match file(db, invoice_id).await {
        Ok(file) => Ok(Some(file)),
        Err(Error::Refused(problems)) => {
            let code = problems.first().map(|problem| problem.code);
            tracing::warn!(
                invoice_id,
                ?code,
                "a mail goes without the e-invoice its customer wants"
            );
            Ok(None)
        }
        Err(error) => Err(error),
    }
}
