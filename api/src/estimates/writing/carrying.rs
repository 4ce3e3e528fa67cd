//! What was offered before, as it can be offered today: parts that were superseded, tasks and grades that the price book
//! in force does not list. Whatever is not as it was is said.

use std::collections::HashMap;

use nameplate_entities::kinds::{ChargeKind, WorkOutcome};
use nameplate_entities::{estimate_line, estimate_option, estimate_revision, flat_rate_task, part};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};
use serde::{Deserialize, Serialize};

use crate::base::{Error, Result};
use crate::estimates::store;
use crate::estimates::writing::line_terms;
use crate::estimates::writing::offer::{NewLine, NewOption, Offer};
use crate::pricing::{self, Book};

/// How often one part took another's place before the last; more is a circle.
const SUPERSEDED_MAX: usize = 8;

/// A drafted revision, and what is not in it as it was.
pub struct Carried {
    pub revision: estimate_revision::Model,
    /// One sentence each.
    pub remarks: Vec<String>,
}

/// What the idempotency key of such a draft gives back.
#[derive(Serialize, Deserialize)]
pub(in crate::estimates) struct CarriedReceipt {
    pub revision_id: i64,
    pub remarks: Vec<String>,
}

/// The offer of a revision as it was typed; of one from before that was kept, as its rows have it.
///
/// # Errors
/// Internal only.
pub async fn offer_of(
    db: &impl ConnectionTrait,
    revision: &estimate_revision::Model,
) -> Result<Offer> {
    if let Some(text) = &revision.offer_json {
        return serde_json::from_str(text)
            .map_err(|error| Error::caused("an offer as typed", error));
    }
    let options = store::options_of(db, revision.id).await?;
    let ids = options.iter().map(|row| row.id).collect::<Vec<_>>();
    let mut lines = HashMap::<i64, Vec<NewLine>>::new();
    for row in store::lines_of(db, &ids).await? {
        lines.entry(row.option_id).or_default().push(line_of(row));
    }
    let option = |row: estimate_option::Model| NewOption {
        lines: lines.remove(&row.id).unwrap_or_default(),
        title: row.title,
        summary: row.summary,
        notes: row.notes,
        ..NewOption::default()
    };
    Ok(Offer {
        found: Some(revision.found_text.clone()).filter(|text| !text.is_empty()),
        notes: revision.notes.clone(),
        options: options.into_iter().map(option).collect(),
        ..Offer::default()
    })
}

/// A line from its row. What the book has a price for is priced anew.
fn line_of(row: estimate_line::Model) -> NewLine {
    let has_book_price = match row.kind {
        ChargeKind::Part => row.part_id.is_some(),
        ChargeKind::Labour | ChargeKind::Trip | ChargeKind::Diagnostic => true,
        ChargeKind::Freight | ChargeKind::Fee => false,
    };
    NewLine {
        description: Some(row.description),
        part_id: row.part_id,
        quantity: (row.kind != ChargeKind::Labour).then_some(row.quantity.0),
        minutes: row.labour_minutes,
        unit_price: (!has_book_price).then_some(Cents(row.unit_price_cents)),
        section: row.section,
        ..NewLine::of(row.kind)
    }
}

/// An offer as today's book can price it, and what is not as it was.
///
/// # Errors
/// Internal only.
pub async fn today(
    db: &impl ConnectionTrait,
    book: &Book,
    mut offer: Offer,
) -> Result<(Offer, Vec<String>)> {
    let mut remarks = Vec::new();
    let parts = latest_parts(db, &offer.part_ids()).await?;
    let asked = offer.named(|terms| terms.task_id);
    let listed = pricing::tasks_in(db, book.row.id, &asked).await?;
    let tasks = tasks_by_id(db, &asked).await?;
    let technicians = pricing::grades_of(db, &offer.named(|terms| terms.technician_id)).await?;
    for option in &mut offer.options {
        for line in &mut option.lines {
            newer_part(line, &parts, &mut remarks);
            listed_task(line, (&listed, &tasks), &mut remarks);
            listed_grade(line, book, &mut remarks);
            typed_discount(line, &mut remarks);
            if let Some(id) = line.terms.technician_id
                && !technicians.contains_key(&id)
            {
                line.terms.technician_id = None;
                let words = "A technician named before has left; the usual rate is offered.";
                remarks.push(words.to_owned());
            }
            typed_price(line, &mut remarks);
        }
    }
    Ok((offer, once_each(remarks)))
}

/// Remarks without those that were made before.
fn once_each(remarks: Vec<String>) -> Vec<String> {
    let mut said = Vec::with_capacity(remarks.len());
    for remark in remarks {
        if !said.contains(&remark) {
            said.push(remark);
        }
    }
    said
}

/// Takes out what was true of the first job only: what was found, proofs and reasons. What belongs to the kind of work
/// stays. Either is said, one sentence each.
pub fn for_another_job(offer: &mut Offer) -> Vec<String> {
    let mut remarks = Vec::new();
    let mut say_if = |was_there: bool, words: &str| {
        if was_there {
            remarks.push(words.to_owned());
        }
    };
    say_if(
        offer.found.take().is_some(),
        "What was found was of the first job and is left out. Say what was found this time.",
    );
    for option in &mut offer.options {
        let facts = &mut option.facts;
        say_if(
            facts.material_evidence.take().is_some(),
            "The proof that no part is used was of the first job and is left out.",
        );
        say_if(
            facts.disaster_area.take().is_some(),
            "The first job was in a declared disaster area; this one is taken not to be.",
        );
        say_if(
            facts.outcome != WorkOutcome::default(),
            "The first job was taken to end without a repair, and so is this one. Change that if it is not so.",
        );
        for line in &mut option.lines {
            let facts = &mut line.facts;
            say_if(
                std::mem::take(&mut facts.replaced_under_warranty),
                "A part was replaced under warranty then; it is charged like any other now.",
            );
            say_if(
                facts.trip_serves.is_some(),
                "A trip is taken to serve what it served then. Change that if it is not so.",
            );
            let cost = facts.delivery.and_then(|delivery| delivery.actual_cost);
            say_if(
                cost.is_some(),
                "The carrier is taken to ask what it asked then. Change that if it is not so.",
            );
            say_if(
                line.terms.repeat_reason.take().is_some(),
                "The reason for charging a trip or a diagnosis again was of the first job and is left out.",
            );
        }
        only_once(option, &mut say_if);
    }
    once_each(remarks)
}

/// A trip or a diagnosis that was charged again for a reason of the first job is charged once.
fn only_once(option: &mut NewOption, say_if: &mut impl FnMut(bool, &str)) {
    let mut seen = Vec::new();
    let mut dropped = false;
    option.lines.retain_mut(|line| {
        if !line_terms::may_repeat(line.kind) {
            return true;
        }
        if line
            .quantity
            .is_some_and(|quantity| quantity > Decimal::ONE)
        {
            line.quantity = None;
            dropped = true;
        }
        let is_first = !seen.contains(&line.kind);
        seen.push(line.kind);
        dropped |= !is_first;
        is_first
    });
    say_if(
        dropped,
        "A trip or a diagnosis that was charged again then is charged once now.",
    );
}

/// Each part with the one that stands for it today, in a statement for each step.
async fn latest_parts(
    db: &impl ConnectionTrait,
    ids: &[i64],
) -> Result<HashMap<i64, (part::Model, part::Model)>> {
    let mut known: HashMap<i64, part::Model> = HashMap::new();
    let mut wanted = ids.to_vec();
    for _ in 0..=SUPERSEDED_MAX {
        if wanted.is_empty() {
            break;
        }
        let rows = pricing::parts_by_id(db, &wanted).await?;
        wanted = rows
            .iter()
            .filter_map(|row| row.superseded_by_id)
            .filter(|id| !known.contains_key(id))
            .collect();
        known.extend(rows.into_iter().map(|row| (row.id, row)));
    }
    let last = |first: &part::Model| {
        let mut part = first;
        for _ in 0..SUPERSEDED_MAX {
            match part.superseded_by_id.and_then(|id| known.get(&id)) {
                Some(newer) => part = newer,
                None => break,
            }
        }
        part.clone()
    };
    Ok(ids
        .iter()
        .filter_map(|id| known.get(id))
        .map(|first| (first.id, (first.clone(), last(first))))
        .collect())
}

async fn tasks_by_id(
    db: &impl ConnectionTrait,
    ids: &[i64],
) -> Result<HashMap<i64, flat_rate_task::Model>> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let rows = flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| (row.id, row)).collect())
}

fn newer_part(
    line: &mut NewLine,
    parts: &HashMap<i64, (part::Model, part::Model)>,
    remarks: &mut Vec<String>,
) {
    let Some((first, last)) = line.part_id.and_then(|id| parts.get(&id)) else {
        return;
    };
    if first.id == last.id {
        return;
    }
    remarks.push(format!(
        "Part {} was superseded by {}, which is offered in its place.",
        first.number, last.number
    ));
    line.part_id = Some(last.id);
    line.description = None;
    line.part_condition = None;
    if line.discount_amount.take().is_some() {
        let words = format!("The discount typed for part {} is not kept.", first.number);
        remarks.push(words);
    }
    if line.unit_price.take().is_some() {
        let words = format!("The price typed for part {} is not kept.", first.number);
        remarks.push(words);
    }
}

/// A task that today's book does not list becomes its hours, as the older book had them.
fn listed_task(
    line: &mut NewLine,
    (listed, known): (
        &HashMap<i64, flat_rate_task::Model>,
        &HashMap<i64, flat_rate_task::Model>,
    ),
    remarks: &mut Vec<String>,
) {
    let Some(id) = line.terms.task_id.filter(|id| !listed.contains_key(id)) else {
        return;
    };
    let Some(task) = known.get(&id) else {
        return;
    };
    line.terms.task_id = None;
    line.minutes = minutes_of(task.hours.0);
    line.description.get_or_insert_with(|| task.name.clone());
    remarks.push(format!(
        "The price book in force does not list \"{}\"; its {} h are offered by time.",
        task.name,
        task.hours.0.normalize()
    ));
}

/// Whole minutes of a task's hours, up.
fn minutes_of(hours: Decimal) -> Option<i32> {
    (hours * Decimal::from(60)).ceil().to_i32()
}

fn listed_grade(line: &mut NewLine, book: &Book, remarks: &mut Vec<String>) {
    let unknown = |grade: &String| book.labour_of(grade).is_none();
    if let Some(grade) = line.terms.grade.take_if(|grade| unknown(grade)) {
        remarks.push(format!(
            "The price book in force has no rate for {grade}; its usual rate is offered."
        ));
    }
}

/// An amount taken off a price of the older book may be more than the price of today, so it is not kept.
fn typed_discount(line: &mut NewLine, remarks: &mut Vec<String>) {
    if line.unit_price.is_none()
        && let Some(amount) = line.discount_amount.take()
    {
        let what = named(line);
        remarks.push(format!(
            "The discount of {amount} on {what} is not kept; grant it anew if it is still meant."
        ));
    }
}

/// What a line is called in a remark.
fn named(line: &NewLine) -> &str {
    line.description
        .as_deref()
        .unwrap_or_else(|| pricing::charge_printed(line.kind))
}

/// A price that a person typed is kept, but not in silence.
fn typed_price(line: &NewLine, remarks: &mut Vec<String>) {
    let has_book_price = !matches!(line.kind, ChargeKind::Freight | ChargeKind::Fee);
    if let (Some(price), true) = (line.unit_price, has_book_price) {
        let what = named(line);
        remarks.push(format!(
            "The price of {what} was typed by hand and stays at {price}."
        ));
    }
}
