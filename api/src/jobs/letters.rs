//! From what an outbox row holds to the mail itself.

use crate::base::letter::{NoticeMail, Outgoing};
use crate::base::outbox::Payload;
use crate::base::{Act, Error, Result};
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
        Payload::Invoice { invoice_id } => invoices::letter(act.app.db.read(), *invoice_id).await,
        Payload::EstimateAnswer { question_id } => {
            estimates::answer_letter(act.app.db.read(), shop, *question_id).await
        }
        Payload::Estimate {
            revision_id,
            link_token,
        } => {
            let (db, config) = (act.app.db.read(), &act.app.config);
            estimates::letter(db, config, *revision_id, link_token).await
        }
    }
}

fn notice(shop: &Settings, headline: &str, sentences: &[String]) -> Result<Outgoing> {
    let mail = NoticeMail {
        shop_name: shop.row.name.clone(),
        headline: headline.to_owned(),
        sentences: sentences.to_vec(),
    };
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("a notice's template", error))?;
    Ok(Outgoing {
        rendered,
        attachments: Vec::new(),
    })
}
