//! From what an outbox row holds to the mail itself.

use nameplate_entities::kinds::OwnerLetterKind;

use crate::base::letter::{DigestMail, NoticeMail, Outgoing, RenderedMail, SummaryMail};
use crate::base::outbox::Payload;
use crate::base::{Act, Error, Result, owner_letters};
use crate::claims;
use crate::estimates;
use crate::invoices;
use crate::shop::Settings;

/// The mail a payload stands for, made from the records as they are now.
///
/// # Errors
/// When a record or a template fails.
pub async fn write(act: &Act, shop: &Settings, payload: &Payload) -> Result<Outgoing> {
    match payload {
        Payload::Notice {
            headline,
            sentences,
        } => notice(shop, headline, sentences),
        Payload::OwnerLetter { letter_id } => owner_letter(act, *letter_id).await,
        Payload::Invoice { invoice_id } => invoices::letter(act.app.db.read(), *invoice_id).await,
        Payload::Statement {
            customer_id,
            from,
            until,
        } => {
            let days = (*from, *until);
            invoices::statement_letter(act.app.db.read(), shop, *customer_id, days).await
        }
        Payload::Overdue { invoice_id, number } => {
            invoices::overdue_letter(act.app.db.read(), *invoice_id, *number).await
        }
        Payload::Receipt { payment_id } => {
            invoices::receipt_letter(act.app.db.read(), shop, *payment_id).await
        }
        Payload::Claim { sending_id } => {
            claims::claim_letter(act.app.db.read(), shop, *sending_id).await
        }
        Payload::PaymentReturned { payment_id } => {
            invoices::returned_letter(act.app.db.read(), shop, *payment_id).await
        }
        Payload::EstimateAnswer {
            question_id,
            link_token,
        } => {
            let settings = (shop, &act.app.config);
            let about = (*question_id, link_token.as_str());
            estimates::answer_letter(act.app.db.read(), settings, about).await
        }
        Payload::Estimate {
            revision_id,
            link_token,
        } => {
            let (db, config) = (act.app.db.read(), &act.app.config);
            estimates::letter(db, config, *revision_id, link_token).await
        }
        Payload::Reminder {
            revision_id,
            link_token,
            ends_soon,
        } => {
            let (db, config) = (act.app.db.read(), &act.app.config);
            estimates::reminder(db, config, *revision_id, (link_token, *ends_soon)).await
        }
        Payload::Confirmation { revision_id } => {
            estimates::confirmation(act.app.db.read(), shop, *revision_id).await
        }
    }
}

/// Why what a payload would say is over; none while it should be sent.
///
/// # Errors
/// Internal only.
pub async fn moot(act: &Act, payload: &Payload) -> Result<Option<&'static str>> {
    match payload {
        Payload::Estimate {
            revision_id,
            link_token,
        } => estimates::moot(act, (*revision_id, link_token), false).await,
        Payload::Reminder {
            revision_id,
            link_token,
            ..
        } => estimates::moot(act, (*revision_id, link_token), true).await,
        Payload::Overdue { invoice_id, .. } => invoices::moot(act, *invoice_id).await,
        Payload::EstimateAnswer { .. }
        | Payload::Confirmation { .. }
        | Payload::Invoice { .. }
        | Payload::Statement { .. }
        | Payload::PaymentReturned { .. }
        | Payload::Receipt { .. }
        | Payload::Claim { .. }
        | Payload::OwnerLetter { .. }
        | Payload::Notice { .. } => Ok(None),
    }
}

fn notice(shop: &Settings, headline: &str, sentences: &[String]) -> Result<Outgoing> {
    let mail = NoticeMail {
        shop_name: shop.row.name.clone(),
        headline: headline.to_owned(),
        sentences: sentences.to_vec(),
    };
    outgoing(mail.render())
}

async fn owner_letter(act: &Act, letter_id: i64) -> Result<Outgoing> {
    let row = owner_letters::get(act.app.db.read(), letter_id).await?;
    outgoing(match row.kind {
        OwnerLetterKind::Digest => owner_letters::content::<DigestMail>(&row)?.render(),
        OwnerLetterKind::Summary => owner_letters::content::<SummaryMail>(&row)?.render(),
    })
}

/// A mail without files.
fn outgoing(rendered: askama::Result<RenderedMail>) -> Result<Outgoing> {
    Ok(Outgoing {
        without: None,
        rendered: rendered.map_err(|error| Error::caused("a mail's template", error))?,
        attachments: Vec::new(),
    })
}
