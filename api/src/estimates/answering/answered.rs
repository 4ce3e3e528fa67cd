//! What was agreed, in words: for who has just answered, for the mail that confirms it and for the PDF.

use nameplate_entities::estimate_revision;
use nameplate_entities::kinds::{AnswerWay, EstimateState};
use nameplate_rules::estimate::Content;
use nameplate_rules::money::Cents;
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
    /// What is wanted before the work begins, with the currency code; empty for nothing.
    pub deposit: String,
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
        let total = Cents(option.total_cents);
        let wanted = option.deposit_cents.map_or(Cents::ZERO, Cents);
        Ok(Some(Self {
            name: revision.answered_name.clone().unwrap_or_default(),
            option_title: option.title,
            total: format!("{} {total}", content.currency),
            deposit: if wanted == Cents::ZERO {
                String::new()
            } else {
                format!("{} {wanted}", content.currency)
            },
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
            ..
        } = self;
        let way = way.map_or_else(String::new, |way| format!(" {way}"));
        format!(
            "Accepted by {name}{way} on {answered_at}: \"{option_title}\" for {total}. {consent}"
        )
        .trim_end()
        .to_owned()
    }

    /// What is to be done before the work begins, in a sentence.
    pub(in crate::estimates) fn first(&self) -> Option<String> {
        let Self { deposit, .. } = self;
        (!deposit.is_empty()).then(|| {
            format!(
                "Before the work begins we ask for a deposit of {deposit}. We will tell you how to pay it."
            )
        })
    }
}

fn answered_at(settings: &Settings, revision: &estimate_revision::Model) -> String {
    revision
        .answered_at
        .map_or_else(String::new, |at| settings.in_words(at))
}

/// The page of an estimate that was answered just now.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn page(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (revision, content): (&estimate_revision::Model, &Content),
) -> Result<AnsweredPage> {
    let agreement = Agreement::of(db, settings, (revision, content)).await?;
    let answer = agreement.map_or(Answer::Declined, |agreement| Answer::Accepted {
        first: agreement.first(),
        name: agreement.name,
        option_title: agreement.option_title,
        total: agreement.total,
        consent: agreement.consent,
    });
    Ok(AnsweredPage {
        shop: printed::shop_view(settings),
        number: content.number.clone(),
        answered_at: answered_at(settings, revision),
        answer,
    })
}
