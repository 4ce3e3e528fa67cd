//! Consents to more than was accepted, or to work without an estimate: recorded before it is billed, noted on the bill.
//!
//! What stays true: a consent belongs to the accepted revision it goes beyond, if there is one, is never changed, and
//! says who agreed to what, when, how, and who heard it.

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::call_consent;
use nameplate_entities::kinds::ConsentHow;
use nameplate_entities::{estimate_option, service_address, staff};
use nameplate_rules::estimate::Tolerance;
use nameplate_rules::local_rules::{
    self, Agreed, Amounts, ConsentNote, ConsentWay, Consented, Element, Missing, WithoutEstimate,
};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
    QueryOrder,
};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, wording};
use crate::estimates::store;
use crate::local_rules as places;
use crate::shop::{self, Settings};
use crate::{calls, customers};

/// That a customer agreed to more work.
#[derive(Clone, Debug, Serialize)]
pub struct RecordConsent {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    pub added_work: String,
    pub added_total: Cents,
    pub authorised_by: String,
    pub how: ConsentHow,
    pub telephone: Option<String>,
    pub conditions: Option<String>,
    pub given_at: DateTime<Utc>,
}

/// Records that a customer agreed to more than was accepted, or to work that nothing was offered for.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` for the number of a consent by
/// telephone; `ImpossibleDate` for one that is still to come, or was given before the call was opened or the
/// estimate accepted.
pub async fn record_consent(act: &Act, new: RecordConsent) -> Result<call_consent::Model> {
    let staff_id = act.staff_with(Right::RecordConsent)?;
    let verb = Right::RecordConsent.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        let row = call_consent::Entity::find_by_id(id).one(&tx).await?;
        return row.ok_or_else(|| Error::internal("a consent that was recorded is gone"));
    }
    let call = calls::get_call(&tx, "callId", new.call_id).await?;
    let settings = shop::settings(&tx).await?;
    let mut row = checked(act, &settings, &new)?;
    if settings.day_of(new.given_at) < call.opened_on {
        let words = format!("Call {} was opened on {}.", call.number, call.opened_on);
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "givenAt",
            words,
        ));
    }
    let accepted = store::accepted_revision(&tx, call.id).await?;
    let answered_at = accepted.as_ref().and_then(|row| row.answered_at);
    if answered_at.is_some_and(|at| new.given_at < at) {
        let words =
            "This was before the estimate was accepted; a consent goes beyond what was accepted.";
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "givenAt",
            words,
        ));
    }
    row.call_id = Set(call.id);
    row.estimate_revision_id = Set(accepted.map(|row| row.id));
    row.recorded_at = Set(act.at);
    row.recorded_by = Set(staff_id);
    let row = row.insert(&tx).await?;
    let subject = Subject {
        kind: "call_consent",
        id: row.id,
    };
    audit::created(&tx, act, verb, subject, &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

fn checked(
    act: &Act,
    settings: &Settings,
    new: &RecordConsent,
) -> Result<call_consent::ActiveModel> {
    let mut checks = Checks::new();
    let added_work = checks.text("addedWork", &new.added_work, TEXT_MAX);
    let added_total = checks.positive("addedTotal", new.added_total);
    let authorised_by = checks.text("authorisedBy", &new.authorised_by, LINE_MAX);
    let country = &settings.row.country;
    let telephone = checks.phone_if_any("telephone", new.telephone.as_deref(), country);
    if new.how == ConsentHow::ByTelephone && telephone.is_none() && checks.is_clean() {
        let words = "Give the number that was called or that called.";
        checks.refuse(ProblemCode::Missing, "telephone", words);
    }
    let conditions = checks.text_if_any("conditions", new.conditions.as_deref(), TEXT_MAX);
    if new.given_at > act.at {
        let words = "This is still to come; record a consent once it was given.";
        checks.refuse(ProblemCode::ImpossibleDate, "givenAt", words);
    }
    checks.finish()?;
    Ok(call_consent::ActiveModel {
        added_work: Set(added_work),
        added_total_cents: Set(added_total.0),
        authorised_by: Set(authorised_by),
        how: Set(new.how),
        telephone: Set(telephone),
        conditions: Set(conditions),
        given_at: Set(new.given_at),
        ..Default::default()
    })
}

/// The consents that go beyond an accepted revision, oldest first.
///
/// # Errors
/// Internal only.
pub async fn consents_of(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<call_consent::Model>> {
    Ok(call_consent::Entity::find()
        .filter(call_consent::Column::EstimateRevisionId.eq(revision_id))
        .order_by_asc(call_consent::Column::Id)
        .all(db)
        .await?)
}

/// What the place asks of a consent that was only spoken, and it is not: in writing, once all that was agreed to is above
/// the place's amount. It is told and nothing is refused: a spoken consent holds as long as it is noted (16 CCR 2722,
/// MCL 445.833).
///
/// # Errors
/// Internal only.
pub async fn missing_of(
    db: &impl ConnectionTrait,
    consent: &call_consent::Model,
) -> Result<Vec<Missing>> {
    if consent.how == ConsentHow::InWriting {
        return Ok(Vec::new());
    }
    let settings = shop::settings(db).await?;
    let call = calls::get_call(db, "", consent.call_id).await?;
    let address = customers::get_address(db, "", call.service_address_id).await?;
    let place = (address.country.as_str(), address.region.as_str());
    let on = settings.day_of(consent.given_at);
    let Some(found) = places::in_force(db, place, on).await? else {
        return Ok(Vec::new());
    };
    let (accepted, consents) = match consent.estimate_revision_id {
        Some(revision_id) => (
            accepted_amounts(db, revision_id).await?,
            consents_of(db, revision_id).await?,
        ),
        None => (Cents::ZERO, consents_without_offer(db, call.id).await?),
    };
    let added = consents
        .into_iter()
        .filter(|earlier| earlier.id <= consent.id)
        .map(|earlier| Cents(earlier.added_total_cents));
    let agreed = Cents::sum(added.chain([accepted]))
        .map_err(|refusal| Error::caused("amounts agreed to", refusal))?;
    let missing = found.rules.wants_writing(agreed).then(|| Missing {
        element: Element::WrittenCopy,
        words: format!(
            "With this, {agreed} is agreed to, which this place wants in writing. Send the customer a note of it too."
        ),
    });
    Ok(missing.into_iter().collect())
}

/// What was accepted, before tax.
async fn accepted_amounts(db: &impl ConnectionTrait, revision_id: i64) -> Result<Cents> {
    let revision = store::get_revision(db, "", revision_id).await?;
    let options = store::options_of(db, revision.id).await?;
    let accepted = options
        .iter()
        .find(|option| Some(option.id) == revision.accepted_option_id)
        .ok_or_else(|| Error::internal("a consent goes beyond nothing"))?;
    let amounts = amounts((
        accepted.net_cents,
        accepted.discount_cents,
        accepted.total_cents,
    ))?;
    Ok(amounts.before_tax)
}

/// The consents to work of a call that nothing was accepted for, oldest first.
///
/// # Errors
/// Internal only.
pub async fn consents_without_offer(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<call_consent::Model>> {
    Ok(call_consent::Entity::find()
        .filter(call_consent::Column::CallId.eq(call_id))
        .filter(call_consent::Column::EstimateRevisionId.is_null())
        .order_by_asc(call_consent::Column::Id)
        .all(db)
        .await?)
}

/// The sentences a bill prints for consents.
///
/// # Errors
/// Internal only.
pub async fn consent_sentences(
    db: &impl ConnectionTrait,
    settings: &Settings,
    consents: &[call_consent::Model],
) -> Result<Vec<String>> {
    if consents.is_empty() {
        return Ok(Vec::new());
    }
    let people = staff::Entity::find()
        .filter(staff::Column::Id.is_in(consents.iter().map(|consent| consent.recorded_by)))
        .all(db)
        .await?;
    let sentence = |consent: &call_consent::Model| {
        let received_by = people
            .iter()
            .find(|person| person.id == consent.recorded_by)
            .map_or("the shop", |person| person.name.as_str());
        let telephone = consent.telephone.as_deref().map(wording::phone);
        let (currency, added) = (&settings.row.currency, Cents(consent.added_total_cents));
        ConsentNote {
            given_at: &settings.in_words(consent.given_at),
            authorised_by: &consent.authorised_by,
            way: match consent.how {
                ConsentHow::InPerson => ConsentWay::InPerson,
                ConsentHow::ByTelephone => ConsentWay::ByTelephone,
                ConsentHow::InWriting => ConsentWay::InWriting,
            },
            telephone: telephone.as_deref(),
            received_by,
            beyond_estimate: consent.estimate_revision_id.is_some(),
            added_work: &consent.added_work,
            added_total: &format!("{currency} {added}"),
            conditions: consent.conditions.as_deref(),
        }
        .sentence()
    };
    Ok(consents.iter().map(sentence).collect())
}

/// How a bill stands to what was accepted and consented to, by the rules of where the machine stands.
///
/// # Errors
/// Internal only.
pub async fn bill_agreed(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (call_id, option): (i64, &estimate_option::Model),
    bill: Amounts,
    on: NaiveDate,
) -> Result<Agreed> {
    let call = calls::get_call(db, "", call_id).await?;
    let address = customers::get_address(db, "", call.service_address_id).await?;
    let place = (address.country.as_str(), address.region.as_str());
    let found = places::in_force(db, place, on).await?;
    let shops_own = Tolerance {
        percent: Percent::new(settings.row.consent_percent.0)
            .map_err(|refusal| Error::caused("tolerance of the shop", refusal))?,
        limit_inside: settings.row.consent_limit_inside,
    };
    let too_large = |refusal| Error::caused("amounts of a bill", refusal);
    let consents = consents_of(db, option.revision_id).await?;
    let added = consents
        .iter()
        .map(|consent| Cents(consent.added_total_cents));
    let consented = Cents::sum(added).map_err(too_large)?;
    let accepted = amounts((option.net_cents, option.discount_cents, option.total_cents))?;
    let rules = found.as_ref().map(|found| &found.rules);
    local_rules::agreed(rules, shops_own, (accepted, bill), consented).map_err(too_large)
}

/// Both sides of tax, from lines, discount and total.
///
/// # Errors
/// Internal, for amounts that do not fit.
pub fn amounts((net, discount, total): (i64, i64, i64)) -> Result<Amounts> {
    let before_tax = Cents(net)
        .checked_sub(Cents(discount))
        .ok_or_else(|| Error::internal("an amount before tax is too large"))?;
    Ok(Amounts {
        before_tax,
        with_tax: Cents(total),
    })
}

/// Refuses a bill that goes beyond what was agreed to.
///
/// # Errors
/// `TooMuch` at `callId`, with how much more the customer must agree to first.
pub async fn must_be_agreed(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    about: (i64, &estimate_option::Model),
    bill: Amounts,
    on: NaiveDate,
) -> Result<()> {
    match bill_agreed(tx, settings, about, bill, on).await? {
        Agreed::Enough => Ok(()),
        Agreed::ConsentNeeded { beyond } => Err(Error::refused(
            ProblemCode::TooMuch,
            "callId",
            format!(
                "This bill is {beyond} above what the customer agreed to. Ask, and record the consent first."
            ),
        )),
    }
}

/// Refuses a bill for work that nothing was accepted for, where the place asks for the customer's word first and no
/// consent on record covers it.
///
/// # Errors
/// `TooMuch` at `callId`, with how much the customer must agree to, or must agree to in writing.
/// # Source
/// See `rules/local_rules`.
pub async fn must_be_asked_for(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    call_id: i64,
    bill: Amounts,
    on: NaiveDate,
) -> Result<()> {
    let call = calls::get_call(tx, "callId", call_id).await?;
    let address = customers::get_address(tx, "callId", call.service_address_id).await?;
    let consents = consents_without_offer(tx, call_id).await?;
    let needed = unasked(tx, (&address, on), bill, &consents).await?;
    let currency = &settings.row.currency;
    let words = match needed {
        WithoutEstimate::Enough => return Ok(()),
        WithoutEstimate::ConsentNeeded { beyond } => format!(
            "No estimate was accepted, and this place wants work agreed to first: {currency} {beyond} of this bill is \
             not. Record the customer's consent."
        ),
        WithoutEstimate::WritingNeeded { beyond } => format!(
            "No estimate was accepted, and this place wants work of so much agreed to in writing: {currency} {beyond} of \
             this bill is not. Record the customer's written consent."
        ),
    };
    Err(Error::refused(ProblemCode::TooMuch, "callId", words))
}

/// Refuses a bill without a call for work that its place wants the customer's word on first: a word is on record for a
/// call only.
///
/// # Errors
/// `TooMuch` at `option`.
/// # Source
/// See `rules/local_rules`.
pub async fn must_need_no_word(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    address: &service_address::Model,
    bill: Amounts,
    on: NaiveDate,
) -> Result<()> {
    let (how, beyond) = match unasked(tx, (address, on), bill, &[]).await? {
        WithoutEstimate::Enough => return Ok(()),
        WithoutEstimate::ConsentNeeded { beyond } => ("agreed to first", beyond),
        WithoutEstimate::WritingNeeded { beyond } => ("agreed to in writing first", beyond),
    };
    let currency = &settings.row.currency;
    let words = format!(
        "This place wants work {how}: {currency} {beyond} of this bill is not. Take a call for the machine, record the \
         customer's consent there, and bill the call."
    );
    Err(Error::refused(ProblemCode::TooMuch, "option", words))
}

/// What a place asks of a bill without an accepted estimate that these consents do not cover.
async fn unasked(
    tx: &impl ConnectionTrait,
    (address, on): (&service_address::Model, NaiveDate),
    bill: Amounts,
    consents: &[call_consent::Model],
) -> Result<WithoutEstimate> {
    let place = (address.country.as_str(), address.region.as_str());
    let Some(found) = places::in_force(tx, place, on).await? else {
        return Ok(WithoutEstimate::Enough);
    };
    let sum = |written: bool| {
        let counts =
            |consent: &&call_consent::Model| !written || consent.how == ConsentHow::InWriting;
        let added = consents.iter().filter(counts);
        Cents::sum(added.map(|consent| Cents(consent.added_total_cents)))
            .map_err(|refusal| Error::caused("amounts agreed to", refusal))
    };
    let consented = Consented {
        in_all: sum(false)?,
        in_writing: sum(true)?,
    };
    local_rules::without_estimate(&found.rules, bill, consented)
        .map_err(|refusal| Error::caused("amounts of a bill", refusal))
}
