//! Holding an estimate to the local rules of where the machine stands.

use chrono::NaiveDate;
use nameplate_entities::estimate_option::Model as Chosen;
use nameplate_entities::kinds::{AnswerWay, EstimateDelivery, VisitState, WhenMissing};
use nameplate_entities::{estimate, estimate_revision, service_call, staff, visit, visit_call};
use nameplate_rules::estimate::{Content, OfferOption};
use nameplate_rules::local_rules::{self, Element, Missing, Paper, PaperKind};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::{Error, Problem, ProblemCode, Result};
use crate::estimates::answering::answers;
use crate::estimates::more_work::consents;
use crate::estimates::shown::content::{self, Days};
use crate::estimates::store;
use crate::local_rules as places;
use crate::shop::Settings;
use crate::{customers, shop};

/// What the place says of an estimate.
#[derive(Default)]
pub(in crate::estimates) struct Held {
    pub missing: Vec<Missing>,
    /// What the document prints because the place asks for it.
    pub lines: Vec<String>,
    /// Whether the document must not go out while something is missing.
    pub refuses: bool,
}

/// How an estimate is with its customer, and what it comes to.
#[derive(Clone, Copy)]
pub(in crate::estimates) struct AsPaper {
    in_writing: bool,
    /// After discount, before tax.
    total: Cents,
}

impl AsPaper {
    /// Mailed or handed over: in writing, the dearest option being what is at issue.
    ///
    /// # Errors
    /// Internal only.
    pub(in crate::estimates) fn sent(content: &Content) -> Result<Self> {
        let totals = content
            .options
            .iter()
            .map(OfferOption::before_tax)
            .collect::<std::result::Result<Vec<_>, _>>()
            .map_err(|refusal| Error::caused("total of an option", refusal))?;
        let total = totals
            .into_iter()
            .max()
            .ok_or_else(|| Error::internal("an estimate without options"))?;
        Ok(Self {
            in_writing: true,
            total,
        })
    }

    /// As this option of a revision was accepted.
    async fn accepted(
        db: &impl ConnectionTrait,
        (estimate, revision, option): (&estimate::Model, &estimate_revision::Model, &Chosen),
        way: Option<AnswerWay>,
    ) -> Result<Self> {
        let amounts = (option.net_cents, option.discount_cents, option.total_cents);
        Ok(Self {
            in_writing: is_in_writing(db, estimate, (revision.delivery, way)).await?,
            total: consents::amounts(amounts)?.before_tax,
        })
    }
}

/// Whether the customer holds an estimate in writing: it was mailed, or it was put into their hands. One that was only
/// shown and then agreed to by telephone is in writing once the agreement is confirmed by mail.
async fn is_in_writing(
    db: &impl ConnectionTrait,
    estimate: &estimate::Model,
    (delivery, way): (Option<EstimateDelivery>, Option<AnswerWay>),
) -> Result<bool> {
    let told_only = delivery == Some(EstimateDelivery::Hand) && way == Some(AnswerWay::Telephone);
    Ok(!told_only || answers::customer_mail(db, estimate).await?.is_some())
}

/// The rules in force on a day where the machine of a call stands.
async fn rules_of(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
    on: NaiveDate,
) -> Result<Option<places::Found>> {
    let address = customers::get_address(db, "", call.service_address_id).await?;
    let place = (address.country.as_str(), address.region.as_str());
    places::in_force(db, place, on).await
}

/// Holds content to the rules of its place on a day; nothing is asked where there are none.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn held(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (estimate, content): (&estimate::Model, &Content),
    as_paper: AsPaper,
    on: NaiveDate,
) -> Result<Held> {
    let about = store::subject_of(db, estimate.call_id).await?;
    let Some(found) = rules_of(db, &about.call, on).await? else {
        return Ok(Held::default());
    };
    let prepared_by = staff::Entity::find_by_id(estimate.created_by)
        .one(db)
        .await?
        .map(|person| person.name);
    let days = u32::try_from(settings.row.labour_warranty_days)
        .map_err(|error| Error::caused("days of warranty", error))?;
    let printed_as = || content.options.iter().map(|option| &option.printed_as);
    let paper = Paper {
        shop: &content.shop,
        customer: &content.customer,
        appliance: &content.appliance,
        complaint: &content.complaint,
        found: &content.found,
        lines: content
            .options
            .iter()
            .flat_map(|option| &option.lines)
            .collect(),
        one_amount: printed_as().any(|printed| printed.one_amount),
        tax_inside: printed_as().any(|printed| !printed.with_tax.is_empty()),
        received_on: Some(about.call.opened_on),
        promised_on: planned_on(db, about.call.id).await?,
        prepared_by: prepared_by.as_deref(),
        in_writing: as_paper.in_writing,
        total: as_paper.total,
        labour_warranty_days: days,
    };
    let kind = PaperKind::Estimate;
    Ok(Held {
        missing: local_rules::missing(&found.rules, kind, &paper),
        lines: local_rules::lines(&found.rules, kind, &paper),
        refuses: found.row.when_missing == WhenMissing::Refuse,
    })
}

/// The last day on which a visit for the call is planned.
async fn planned_on(db: &impl ConnectionTrait, call_id: i64) -> Result<Option<NaiveDate>> {
    let serving = Query::select()
        .column(visit_call::Column::VisitId)
        .from(visit_call::Entity)
        .and_where(visit_call::Column::CallId.eq(call_id))
        .to_owned();
    let visit = visit::Entity::find()
        .filter(visit::Column::Id.in_subquery(serving))
        .filter(visit::Column::State.eq(VisitState::Planned))
        .order_by_desc(visit::Column::PlannedOn)
        .one(db)
        .await?;
    Ok(visit.map(|visit| visit.planned_on))
}

/// Refuses to send what lacks something, where the place's rules say so.
///
/// # Errors
/// `SettingMissing` at `revisionId` for each thing missing.
pub(in crate::estimates) async fn must_hold(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    about: (&estimate::Model, &Content),
    on: NaiveDate,
) -> Result<()> {
    let held = held(tx, settings, about, AsPaper::sent(about.1)?, on).await?;
    if !held.refuses || held.missing.is_empty() {
        return Ok(());
    }
    let problem =
        |missing: Missing| Problem::new(ProblemCode::SettingMissing, "revisionId", missing.words);
    Err(Error::Refused(
        held.missing.into_iter().map(problem).collect(),
    ))
}

/// Refuses an acceptance by telephone of what the place wants in writing, where its rules say so and the customer has
/// nothing in hand and no address to send it to.
///
/// # Errors
/// `SettingMissing` at `by`.
pub(in crate::estimates) async fn must_be_in_writing(
    tx: &impl ConnectionTrait,
    about: (&estimate::Model, &estimate_revision::Model, &Chosen),
    way: AnswerWay,
    on: NaiveDate,
) -> Result<()> {
    let as_paper = AsPaper::accepted(tx, about, Some(way)).await?;
    if as_paper.in_writing {
        return Ok(());
    }
    let call = store::subject_of(tx, about.0.call_id).await?.call;
    let Some(found) = rules_of(tx, &call, on).await? else {
        return Ok(());
    };
    let refuses = found.row.when_missing == WhenMissing::Refuse;
    if !refuses || !found.rules.wants_writing(as_paper.total) {
        return Ok(());
    }
    let words = Element::WrittenCopy.remedy();
    Err(Error::refused(ProblemCode::SettingMissing, "by", words))
}

/// What a revision lacks: a draft as it would go out today, another one as it went out.
///
/// # Errors
/// Internal only.
pub async fn missing_of(
    db: &impl ConnectionTrait,
    revision: &estimate_revision::Model,
    today: NaiveDate,
) -> Result<Vec<Missing>> {
    let settings = shop::settings(db).await?;
    let estimate = store::estimate_of(db, revision).await?;
    let (content, on) = if let Some(text) = &revision.content_json {
        let content: Content =
            serde_json::from_str(text).map_err(|error| Error::caused("frozen content", error))?;
        let on = content.sent_on;
        (content, on)
    } else {
        let days = Days {
            sent_on: today,
            valid_until: today,
        };
        let about = (&estimate, revision);
        let content = content::of_revision(db, &settings, about, days).await?;
        (content, today)
    };
    let options = store::options_of(db, revision.id).await?;
    let accepted = options
        .iter()
        .find(|option| Some(option.id) == revision.accepted_option_id);
    let as_paper = match accepted {
        Some(option) => {
            let about = (&estimate, revision, option);
            AsPaper::accepted(db, about, revision.answered_by).await?
        }
        None => AsPaper::sent(&content)?,
    };
    let about = (&estimate, &content);
    Ok(held(db, &settings, about, as_paper, on).await?.missing)
}
