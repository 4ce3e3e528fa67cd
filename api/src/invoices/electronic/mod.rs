//! Issued documents as a file that machines read: UBL 2.1 by EN 16931, for organisations that ask for it.
//!
//! Words: a *group* is a category and rate of tax; figures are net of tax and of each line's discount. What must stay
//! true: a file says the frozen document to the cent, and leaves only when every arithmetic rule of the standard holds
//! (`rules/invoice/en16931`); one that cannot be told in the standard is refused with the reason.

mod mapping;
pub mod settings;
mod xml;

use nameplate_entities::customer;
use nameplate_entities::kinds::{CustomerKind, ReceivableKind};
use nameplate_rules::invoice::en16931;
use sea_orm::ConnectionTrait;

use crate::base::letter::Attachment;
use crate::base::{Error, ProblemCode, Result};
use crate::customers;
use crate::invoices::store;

/// The path of the input that these refusals are about.
const PATH: &str = "invoiceId";

/// An issued document as such a file, the same whenever it is asked for: paid is what was laid against it when it was
/// issued.
///
/// # Errors
/// `NotFound`; `WrongState` for a household, a currency with more than two decimals, or a document that the standard
/// cannot tell; `SettingMissing` while the shop has no tax registration.
pub async fn file(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Attachment> {
    let row = store::get_invoice(db, PATH, invoice_id).await?;
    let customer = customers::get_customer(db, PATH, row.customer_id).await?;
    if !is_for(&customer) {
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

/// What becomes of the file in a mail.
pub enum WithMail {
    /// Its customer asked for none.
    NotWanted,
    /// It goes along.
    File(Attachment),
    /// It is wanted and cannot be made; why, in words for the desk.
    Missing(String),
}

/// The file for a mail to a customer who asked for it. The mail goes, whatever becomes of the file.
///
/// # Errors
/// While the database cannot be asked.
pub async fn with_mail(
    db: &impl ConnectionTrait,
    (invoice_id, customer_id): (i64, i64),
) -> Result<WithMail> {
    let wanted = settings::of_customer(db, customer_id).await?;
    if !wanted.is_some_and(|row| row.wanted) {
        return Ok(WithMail::NotWanted);
    }
    match file(db, invoice_id).await {
        Ok(file) => Ok(WithMail::File(file)),
        Err(Error::Refused(problems)) => {
            let words = problems.into_iter().map(|problem| problem.message);
            Ok(WithMail::Missing(words.collect::<Vec<_>>().join(" ")))
        }
        Err(error @ Error::Busy(_)) => Err(error),
        Err(error) => {
            tracing::error!(invoice_id, %error, "a mail goes without the e-invoice its customer wants");
            Ok(WithMail::Missing("The log says why.".to_owned()))
        }
    }
}

/// Whether there can be a file of a document of this customer: for organisations only.
pub fn is_for(customer: &customer::Model) -> bool {
    customer.kind == CustomerKind::Organisation
}
