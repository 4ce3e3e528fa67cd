//! Taking a customer's answer, however it came: by the link, by telephone, by signature or by word of mouth.
//!
//! What stays true: whichever way, it is the same states, the same single acceptance of a call, and the same content
//! that was frozen; how the answer came, who gave it and who took it is kept.

use chrono::{DateTime, Utc};
use nameplate_entities::kinds::{AnswerWay, CallState};
use nameplate_entities::{estimate, estimate_option, estimate_revision, staff};
use nameplate_rules::estimate::EstimateState as State;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::audit::Subject;
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, secret};
use crate::customers;
use crate::estimates::{sending, states, store};
use crate::shop::Settings;

/// What is answered.
#[derive(Clone, Copy)]
pub struct Offered<'a> {
    /// The act, as the audit log names it.
    pub verb: &'static str,
    pub estimate: &'a estimate::Model,
    pub revision: &'a estimate_revision::Model,
}

/// Who answered, when, and how it is known.
pub struct Noted {
    pub way: AnswerWay,
    pub name: Option<String>,
    pub at: DateTime<Utc>,
    /// Network address, for an answer by the link.
    pub from: Option<String>,
    /// Telephone number it came from, in E.164.
    pub phone: Option<String>,
    pub note: Option<String>,
    /// The sentence agreed to, where there was one on the page.
    pub consent: Option<String>,
    /// Who on the staff took it.
    pub received_by: Option<i64>,
}

impl Noted {
    /// An answer by the link, now.
    pub fn by_link(act: &Act, name: Option<String>) -> Self {
        Self {
            way: AnswerWay::Link,
            name,
            at: act.at,
            from: act.from.clone(),
            phone: None,
            note: None,
            consent: None,
            received_by: None,
        }
    }

    fn write(self, row: &mut estimate_revision::ActiveModel) {
        row.answered_at = Set(Some(self.at));
        row.answered_name = Set(self.name);
        row.answered_from = Set(self.from);
        row.answered_by = Set(Some(self.way));
        row.answered_phone = Set(self.phone);
        row.consent_hash = Set(self.consent.as_deref().map(secret::hash));
        row.consent_text = Set(self.consent);
        row.answer_note = Set(self.note);
        row.answer_received_by = Set(self.received_by);
        row.next_reminder_on = Set(None);
    }
}

/// How an answer came, for a sentence.
pub fn way_in_words(way: AnswerWay) -> &'static str {
    match way {
        AnswerWay::Link => "by the link in our mail",
        AnswerWay::Telephone => "by telephone",
        AnswerWay::Signature => "by signature",
        AnswerWay::InPerson => "in person",
    }
}

/// Why the work can no longer be accepted, though the estimate is open. An accepted revision before it gives way.
pub async fn hindrance(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    estimate: &estimate::Model,
) -> Result<Option<&'static str>> {
    let call = store::call(tx, estimate.call_id)
        .await?
        .ok_or_else(|| Error::internal("the call of an estimate is gone"))?;
    if call.state == CallState::Cancelled {
        return Ok(Some("This work was called off."));
    }
    let Some(earlier) = store::accepted_revision(tx, call.id).await? else {
        return Ok(None);
    };
    let earlier_state = states::of_row(earlier.state);
    let gives_way = if earlier.billing_taken_back {
        // Its invoice was taken back in whole, so that the customer may accept anew, whichever estimate it is.
        earlier_state.give_way().ok()
    } else if earlier.estimate_id == estimate.id {
        earlier_state.supersede().ok()
    } else {
        None
    };
    let Some(state) = gives_way else {
        return Ok(Some("Another estimate for this work was already accepted."));
    };
    // The customer accepts a later revision of what was accepted: the earlier one gives way to it.
    states::moved(tx, act, verb, &earlier, |row| {
        row.state = Set(states::for_row(state));
        row.accepted_call_id = Set(None);
        row.billing_taken_back = Set(false);
    })
    .await?;
    store::revoke_links(tx, &[earlier.id], act.at).await?;
    Ok(None)
}

/// Accepts one option, tells the shop and confirms it to the customer.
pub async fn accept(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    offered: Offered<'_>,
    (option, state): (&estimate_option::Model, State),
    noted: Noted,
) -> Result<estimate_revision::Model> {
    let Offered {
        estimate, revision, ..
    } = offered;
    let total = format!("{} {}", settings.row.currency, Cents(option.total_cents));
    let mut sentences = vec![
        format!(
            "{} accepted \"{}\" of estimate {}, revision {}, for {total}.",
            noted.name.as_deref().unwrap_or("The customer"),
            option.title,
            estimate.number,
            revision.revision
        ),
        format!(
            "The answer came {} on {}. Plan the work and order the parts.",
            way_in_words(noted.way),
            settings.in_words(noted.at)
        ),
    ];
    let wanted = option.deposit_cents.map_or(Cents::ZERO, Cents);
    if wanted != Cents::ZERO {
        let currency = &settings.row.currency;
        sentences.push(format!(
            "The customer was told that a deposit of {currency} {wanted} is wanted first. Collect it before the work."
        ));
    }
    let headline = format!("Estimate {} was accepted", estimate.number);
    tell_the_shop(tx, act, settings, estimate, (headline, sentences)).await?;
    let accepted = states::moved(tx, act, offered.verb, revision, |row| {
        noted.write(row);
        row.state = Set(states::for_row(state));
        row.accepted_option_id = Set(Some(option.id));
        row.accepted_call_id = Set(Some(estimate.call_id));
    })
    .await?;
    confirm(tx, act, estimate, &accepted).await?;
    Ok(accepted)
}

/// Declines the whole estimate and tells the shop.
pub async fn decline(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    offered: Offered<'_>,
    (reason, state): (Option<String>, State),
    noted: Noted,
) -> Result<estimate_revision::Model> {
    let Offered {
        estimate, revision, ..
    } = offered;
    let call = store::subject_of(tx, estimate.call_id).await?.call;
    let customer = customers::get_customer(tx, "", call.customer_id).await?;
    let mut sentences = vec![format!(
        "{} declined estimate {}, revision {}, {}.",
        customer.name,
        estimate.number,
        revision.revision,
        way_in_words(noted.way)
    )];
    sentences.extend(
        reason
            .as_ref()
            .map(|reason| format!("Reason given: {reason}")),
    );
    let headline = format!("Estimate {} was declined", estimate.number);
    tell_the_shop(tx, act, settings, estimate, (headline, sentences)).await?;
    states::moved(tx, act, offered.verb, revision, |row| {
        noted.write(row);
        row.state = Set(states::for_row(state));
        row.decline_reason = Set(reason);
    })
    .await
}

/// Queues a notice about an estimate to the shop.
pub async fn tell_the_shop(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    estimate: &estimate::Model,
    (headline, sentences): (String, Vec<String>),
) -> Result<()> {
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    let notice = Payload::Notice {
        headline,
        sentences,
    };
    for to in office(tx, settings).await? {
        outbox::enqueue(tx, act, &to, about, &notice).await?;
    }
    Ok(())
}

/// The shop's own address; while it has none, everybody who works at the desk.
pub async fn office(tx: &impl ConnectionTrait, settings: &Settings) -> Result<Vec<Addressee>> {
    let shop = Addressee {
        email: settings.row.email.clone(),
        name: settings.row.name.clone(),
    };
    if !shop.email.is_empty() {
        return Ok(vec![shop]);
    }
    let desk = store::desk(tx).await?;
    let to = |person: staff::Model| Addressee {
        email: person.email,
        name: person.name,
    };
    Ok(desk.into_iter().map(to).collect())
}

/// Mails the customer what was agreed, as it was printed: to where the estimate went, or else the customer's own address.
async fn confirm(
    tx: &impl ConnectionTrait,
    act: &Act,
    estimate: &estimate::Model,
    accepted: &estimate_revision::Model,
) -> Result<()> {
    let Some(to) = customer_mail(tx, estimate).await? else {
        return Ok(());
    };
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    let payload = Payload::Confirmation {
        revision_id: accepted.id,
    };
    outbox::enqueue(tx, act, &to, about, &payload).await?;
    Ok(())
}

/// Where the estimate went last; the customer's own address if it never went by mail; none if there is none.
pub async fn customer_mail(
    tx: &impl ConnectionTrait,
    estimate: &estimate::Model,
) -> Result<Option<Addressee>> {
    if let Some(mail) = store::last_mail_of(tx, estimate.id).await? {
        return Ok(Some(Addressee {
            email: mail.to_email,
            name: mail.to_name,
        }));
    }
    let customer = sending::customer_of(tx, estimate).await?;
    Ok(customer.email.map(|email| Addressee {
        email,
        name: customer.name,
    }))
}
