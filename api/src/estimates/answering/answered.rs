//! What a link shows once its estimate has an answer: the answer itself, and what was accepted.
//!
//! Who holds the link could read the whole estimate before; so the one accepted may be read and kept after,
//! until the link ends. Nothing can be done here any more.

use nameplate_entities::estimate_revision;
use nameplate_entities::kinds::{AnswerWay, EstimateState};
use nameplate_rules::estimate::Content;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};
use crate::estimates::answering::answers;
use crate::estimates::shown::page::{Answer, AnsweredPage};
use crate::estimates::shown::printed;
use crate::estimates::store;
use crate::shop::Settings;

/// What was accepted, in words.
pub(in crate::estimates) struct Agreement {
    pub name: String,
    pub option_title: String,
    /// With the currency code.
    pub total: String,
    /// The sentence agreed to.
    pub consent: String,
    pub answered_at: String,
    /// How it came, where that was not the link.
    pub way: Option<&'static str>,
}

impl Agreement {
    /// Nothing for a revision that is not accepted.
    ///
    /// # Errors
    /// Internal only.
    pub(in crate::estimates) async fn of(
        db: &impl ConnectionTrait,
        settings: &Settings,
        (revision, content): (&estimate_revision::Model, &Content),
    ) -> Result<Option<Self>> {
        let is_accepted = matches!(
            revision.state,
            EstimateState::Accepted | EstimateState::Invoiced
        );
        let Some(option_id) = revision.accepted_option_id.filter(|_| is_accepted) else {
            return Ok(None);
        };
        let option = store::options_of(db, revision.id)
            .await?
            .into_iter()
            .find(|option| option.id == option_id)
            .ok_or_else(|| Error::internal("an accepted option is gone"))?;
        let total = nameplate_rules::money::Cents(option.total_cents);
        Ok(Some(Self {
            name: revision.answered_name.clone().unwrap_or_default(),
            option_title: option.title,
            total: format!("{} {total}", content.currency),
            consent: revision.consent_text.clone().unwrap_or_default(),
            answered_at: answered_at(settings, revision),
            way: revision
                .answered_by
                .filter(|way| *way != AnswerWay::Link)
                .map(answers::way_in_words),
        }))
    }

    /// One sentence for the PDF.
    pub(in crate::estimates) fn sentence(&self) -> String {
        let Self {
            name,
            option_title,
            total,
            consent,
            answered_at,
            way,
        } = self;
        let way = way.map_or_else(String::new, |way| format!(" {way}"));
        format!(
            "Accepted by {name}{way} on {answered_at}: \"{option_title}\" for {total}. {consent}"
        )
        .trim_end()
        .to_owned()
    }
}

fn answered_at(settings: &Settings, revision: &estimate_revision::Model) -> String {
    revision
        .answered_at
        .map_or_else(String::new, |at| settings.in_words(at))
}

/// The page of an answered estimate.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn page(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (revision, content): (&estimate_revision::Model, &Content),
    token: &str,
) -> Result<AnsweredPage> {
    let agreement = Agreement::of(db, settings, (revision, content)).await?;
    let answer = agreement.map_or(Answer::Declined, |agreement| Answer::Accepted {
        name: agreement.name,
        option_title: agreement.option_title,
        total: agreement.total,
        consent: agreement.consent,
    });
    Ok(AnsweredPage {
        shop: printed::shop_view(settings),
        token: token.to_owned(),
        number: content.number.clone(),
        answered_at: answered_at(settings, revision),
        answer,
        is_new: false,
    })
}
