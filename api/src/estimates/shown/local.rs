//! Holding an estimate to the local rules of where the machine stands.

use chrono::NaiveDate;
use nameplate_entities::kinds::{VisitState, WhenMissing};
use nameplate_entities::{estimate, estimate_revision, staff, visit, visit_call};
use nameplate_rules::estimate::Content;
use nameplate_rules::local_rules::{self, Missing, Paper, PaperKind};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::{Error, Problem, ProblemCode, Result};
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

/// Holds content to the rules of its place on a day; nothing is asked where there are none.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn held(
    db: &impl ConnectionTrait,
    settings: &Settings,
    (estimate, content): (&estimate::Model, &Content),
    on: NaiveDate,
) -> Result<Held> {
    let about = store::subject_of(db, estimate.call_id).await?;
    let address = customers::get_address(db, "", about.call.service_address_id).await?;
    let place = (address.country.as_str(), address.region.as_str());
    let Some(found) = places::in_force(db, place, on).await? else {
        return Ok(Held::default());
    };
    let prepared_by = staff::Entity::find_by_id(estimate.created_by)
        .one(db)
        .await?
        .map(|person| person.name);
    let total = content.options.iter().map(|option| option.subtotal).max();
    let days = u32::try_from(settings.row.labour_warranty_days)
        .map_err(|error| Error::caused("days of warranty", error))?;
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
        received_on: Some(about.call.opened_on),
        promised_on: planned_on(db, about.call.id).await?,
        prepared_by: prepared_by.as_deref(),
        // An estimate reaches its customer by mail or by hand, and no other way.
        in_writing: true,
        total: total.unwrap_or(Cents::ZERO),
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
    let held = held(tx, settings, about, on).await?;
    if !held.refuses || held.missing.is_empty() {
        return Ok(());
    }
    let problem =
        |missing: Missing| Problem::new(ProblemCode::SettingMissing, "revisionId", missing.words);
    Err(Error::Refused(
        held.missing.into_iter().map(problem).collect(),
    ))
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
    Ok(held(db, &settings, (&estimate, &content), on)
        .await?
        .missing)
}
