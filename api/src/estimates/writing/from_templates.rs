//! Drafting an estimate from templates of common repairs: one option a template, priced by the book of today.

use nameplate_entities::repair_template;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};
use serde::Serialize;

use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::store;
use crate::estimates::writing::carrying::{self, Carried, CarriedReceipt};
use crate::estimates::writing::offer::{NewLine, NewOption, OPTIONS_MAX, Offer};
use crate::estimates::writing::templates::{self, TemplateLine};
use crate::estimates::writing::{drafting, duplicating};
use crate::pricing::Book;
use crate::{pricing, shop};

/// Which templates to draft from, and for which call.
#[derive(Clone, Debug, Serialize)]
pub struct DraftFromTemplates {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// In the order of the options.
    pub template_ids: Vec<i64>,
}

/// Drafts a new estimate with one option a template.
///
/// # Errors
/// `Forbidden`; `NotFound` for a call or template; `Missing` without a template; `WrongState` for a call that is not
/// open, a template that was retired or one of another type of machine; else as drafting an estimate.
pub async fn draft_from_templates(act: &Act, command: DraftFromTemplates) -> Result<Carried> {
    let staff_id = act.staff_with(Right::DraftEstimateFromTemplate)?;
    let verb = Right::DraftEstimateFromTemplate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(receipt) = once.receipt()? {
        return duplicating::carried(&tx, receipt).await;
    }
    let call = drafting::open_call(&tx, "callId", command.call_id).await?;
    let about = store::subject_of(&tx, call.id).await?;
    let chosen = chosen(&tx, &command.template_ids, about.appliance_type.id).await?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    let book = pricing::book_on(&tx, on).await?;
    let offer = offer(&tx, &book, &chosen).await?;
    let (offer, remarks) = carrying::today(&tx, &book, offer).await?;
    let revision = drafting::draft_in(&tx, act, (verb, staff_id), &call, offer).await?;
    let receipt = CarriedReceipt {
        revision_id: revision.id,
        remarks: remarks.clone(),
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    Ok(Carried { revision, remarks })
}

/// The templates asked for, in that order.
async fn chosen(
    tx: &impl ConnectionTrait,
    ids: &[i64],
    appliance_type_id: i64,
) -> Result<Vec<repair_template::Model>> {
    if ids.is_empty() {
        return Err(Error::refused(
            ProblemCode::Missing,
            "templateIds",
            "Name at least one template.",
        ));
    }
    if ids.len() > OPTIONS_MAX {
        return Err(Error::refused(
            ProblemCode::TooLong,
            "templateIds",
            format!("Each template is an option, and an estimate takes at most {OPTIONS_MAX}."),
        ));
    }
    let rows = repair_template::Entity::find()
        .filter(repair_template::Column::Id.is_in(ids.iter().copied()))
        .all(tx)
        .await?;
    let mut chosen = Vec::with_capacity(ids.len());
    for (at, id) in ids.iter().enumerate() {
        let path = format!("templateIds.{at}");
        let row = rows.iter().find(|row| row.id == *id);
        let row = row.ok_or_else(|| Error::not_found(&path, "template"))?;
        let unfit = if row.retired_at.is_some() {
            Some("is retired. Choose another.")
        } else if row.appliance_type_id != appliance_type_id {
            Some("is for another type of machine.")
        } else {
            None
        };
        if let Some(why) = unfit {
            let words = format!("Template \"{}\" {why}", row.name);
            return Err(Error::refused(ProblemCode::WrongState, path, words));
        }
        chosen.push(row.clone());
    }
    Ok(chosen)
}

async fn offer(
    tx: &impl ConnectionTrait,
    book: &Book,
    chosen: &[repair_template::Model],
) -> Result<Offer> {
    let ids = chosen.iter().map(|row| row.id).collect::<Vec<_>>();
    let rows = templates::lines_of(tx, &ids).await?;
    let all = rows
        .iter()
        .map(|row| TemplateLine::from(row.clone()))
        .collect::<Vec<_>>();
    let tasks = templates::tasks_by_key(tx, book, &all).await?;
    let mut offer = Offer::default();
    let mut found = Vec::new();
    for (at, template) in chosen.iter().enumerate() {
        let lines = rows
            .iter()
            .filter(|row| row.template_id == template.id)
            .map(|row| line(row.clone().into(), &tasks, at))
            .collect::<Result<Vec<_>>>()?;
        found.extend(
            template
                .found_text
                .clone()
                .filter(|text| !found.contains(text)),
        );
        offer.options.push(NewOption {
            title: template.title.clone(),
            summary: template.summary.clone(),
            notes: template.notes.clone(),
            deposit_percent: template.deposit_percent.map(|percent| percent.0),
            lines,
            ..NewOption::default()
        });
    }
    offer.found = Some(found.join("\n\n")).filter(|text| !text.is_empty());
    Ok(offer)
}

/// A template's line with the task that its key names today; by time where the book lists no such task any more.
fn line(
    line: TemplateLine,
    tasks: &std::collections::HashMap<String, i64>,
    at: usize,
) -> Result<NewLine> {
    let Some(key) = &line.task_key else {
        return Ok(line.line(None));
    };
    let task_id = tasks.get(key).copied();
    if task_id.is_none() && line.minutes.is_none() {
        return Err(Error::refused(
            ProblemCode::NotFound,
            format!("templateIds.{at}"),
            format!(
                "The price book in force lists no task {key:?}, and the template has no minutes to go by."
            ),
        ));
    }
    Ok(line.line(task_id))
}
