//! Templates of common repairs, and drafting from them: one option a template, priced today.
//!
//! What stays true: a template names a listed task by its key, so that it outlives a price book; it is never deleted,
//! only retired, because an estimate may have been drafted from it.

use std::collections::HashMap;

use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{
    component, failure_mode, flat_rate_task, repair_template, repair_template_line,
};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    IntoActiveModel, QueryFilter, QueryOrder, Select,
};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, Problem, ProblemCode, Result, Right};
use crate::estimates::writing::offer::{NewLine, NewOption, Offer};
use crate::pricing::Book;
use crate::{appliances, pricing, shop};

/// A common repair.
#[derive(Clone, Debug, Serialize)]
pub struct NewTemplate {
    pub name: String,
    pub appliance_type_id: i64,
    pub component_id: Option<i64>,
    pub failure_mode_id: Option<i64>,
    pub title: String,
    pub summary: Option<String>,
    pub notes: Option<String>,
    pub found: Option<String>,
    pub deposit_percent: Option<Decimal>,
    pub lines: Vec<TemplateLine>,
}

/// One charge of it.
#[derive(Clone, Debug, Serialize)]
pub struct TemplateLine {
    pub kind: ChargeKind,
    pub section: Option<String>,
    pub description: Option<String>,
    pub part_id: Option<i64>,
    pub task_key: Option<String>,
    pub quantity: Option<Decimal>,
    pub minutes: Option<i32>,
    pub unit_price: Option<Cents>,
}

/// A template as it is to be from now on.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeTemplate {
    pub template_id: i64,
    pub version: i32,
    pub retired: bool,
    pub template: NewTemplate,
}

/// A template with its lines, as the audit log keeps it.
#[derive(Serialize)]
struct Whole<'a> {
    template: &'a repair_template::Model,
    lines: &'a [repair_template_line::Model],
}

impl TemplateLine {
    /// A line of this kind with everything by the price book.
    pub fn of(kind: ChargeKind) -> Self {
        Self {
            kind,
            section: None,
            description: None,
            part_id: None,
            task_key: None,
            quantity: None,
            minutes: None,
            unit_price: None,
        }
    }

    /// The line it becomes. `task_id` is the task of the key in some book.
    pub(in crate::estimates) fn line(&self, task_id: Option<i64>) -> NewLine {
        let mut line = NewLine {
            description: self.description.clone(),
            part_id: self.part_id,
            quantity: self.quantity,
            minutes: self.minutes,
            unit_price: self.unit_price,
            section: self.section.clone(),
            ..NewLine::of(self.kind)
        };
        line.terms.task_id = task_id;
        if task_id.is_some() {
            line.minutes = None;
        }
        line
    }
}

impl From<repair_template_line::Model> for TemplateLine {
    fn from(row: repair_template_line::Model) -> Self {
        Self {
            kind: row.kind,
            section: row.section,
            description: row.description,
            part_id: row.part_id,
            task_key: row.task_key,
            quantity: row.quantity.map(|quantity| quantity.0),
            minutes: row.minutes,
            unit_price: row.unit_price_cents.map(Cents),
        }
    }
}

/// Records a common repair.
///
/// # Errors
/// `Forbidden`; `NotFound` for what it names; refusals name the field.
pub async fn add_repair_template(act: &Act, new: NewTemplate) -> Result<repair_template::Model> {
    act.staff_with(Right::AddRepairTemplate)?;
    let verb = Right::AddRepairTemplate.mutation();
    let tx = act.app.db.write().await?;
    let new = checked(&tx, act, new).await?;
    let mut row = repair_template::ActiveModel {
        created_at: Set(act.at),
        version: Set(1),
        ..Default::default()
    };
    fill(&mut row, &new);
    let after = row.insert(&tx).await?;
    let lines = write_lines(&tx, after.id, &new.lines).await?;
    let subject = Subject {
        kind: "repair_template",
        id: after.id,
    };
    let whole = Whole {
        template: &after,
        lines: &lines,
    };
    audit::created(&tx, act, verb, subject, &whole).await?;
    tx.commit().await?;
    Ok(after)
}

/// Changes a template as a whole. Estimates drafted from it stay as they are.
///
/// # Errors
/// As [`add_repair_template`]; `Conflict` when somebody changed it since it was read.
pub async fn change_repair_template(
    act: &Act,
    change: ChangeTemplate,
) -> Result<repair_template::Model> {
    act.staff_with(Right::ChangeRepairTemplate)?;
    let verb = Right::ChangeRepairTemplate.mutation();
    let tx = act.app.db.write().await?;
    let before = repair_template::Entity::find_by_id(change.template_id)
        .one(&tx)
        .await?
        .ok_or_else(|| Error::not_found("templateId", "template"))?;
    if before.version != change.version {
        return Err(Error::refused(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this template since you read it. Read it again.",
        ));
    }
    let new = checked(&tx, act, change.template).await?;
    let lines_before = lines_of(&tx, &[before.id]).await?;
    let mut row = before.clone().into_active_model();
    fill(&mut row, &new);
    row.version = Set(before.version + 1);
    row.retired_at = Set(change.retired.then(|| before.retired_at.unwrap_or(act.at)));
    let after = row.update(&tx).await?;
    repair_template_line::Entity::delete_many()
        .filter(repair_template_line::Column::TemplateId.eq(after.id))
        .exec(&tx)
        .await?;
    let lines = write_lines(&tx, after.id, &new.lines).await?;
    let subject = Subject {
        kind: "repair_template",
        id: after.id,
    };
    let was = Whole {
        template: &before,
        lines: &lines_before,
    };
    let is = Whole {
        template: &after,
        lines: &lines,
    };
    audit::record(&tx, act, verb, subject, (Some(&was), Some(&is))).await?;
    tx.commit().await?;
    Ok(after)
}

fn fill(row: &mut repair_template::ActiveModel, new: &NewTemplate) {
    row.name = Set(new.name.clone());
    row.appliance_type_id = Set(new.appliance_type_id);
    row.component_id = Set(new.component_id);
    row.failure_mode_id = Set(new.failure_mode_id);
    row.title = Set(new.title.clone());
    row.summary = Set(new.summary.clone());
    row.notes = Set(new.notes.clone());
    row.found_text = Set(new.found.clone());
    row.deposit_percent = Set(new.deposit_percent.map(Into::into));
}

async fn write_lines(
    tx: &impl ConnectionTrait,
    template_id: i64,
    lines: &[TemplateLine],
) -> Result<Vec<repair_template_line::Model>> {
    let rows = (1..)
        .zip(lines)
        .map(|(position, line)| repair_template_line::ActiveModel {
            template_id: Set(template_id),
            position: Set(position),
            kind: Set(line.kind),
            section: Set(line.section.clone()),
            description: Set(line.description.clone()),
            part_id: Set(line.part_id),
            task_key: Set(line.task_key.clone()),
            quantity: Set(line.quantity.map(Into::into)),
            minutes: Set(line.minutes),
            unit_price_cents: Set(line.unit_price.map(|price| price.0)),
            ..Default::default()
        });
    repair_template_line::Entity::insert_many(rows)
        .exec(tx)
        .await?;
    lines_of(tx, &[template_id]).await
}

/// A template held against the door: its texts, then what it names.
async fn checked(
    tx: &impl ConnectionTrait,
    act: &Act,
    mut new: NewTemplate,
) -> Result<NewTemplate> {
    let mut checks = Checks::new();
    new.name = checks.text("name", &new.name, LINE_MAX);
    new.found = checks.text_if_any("found", new.found.as_deref(), TEXT_MAX);
    if let Some(Err(refusal)) = new.deposit_percent.map(Percent::new) {
        let words = format!("{refusal}.");
        checks.refuse(ProblemCode::OutOfRange, "depositPercent", words);
    }
    for (at, line) in new.lines.iter_mut().enumerate() {
        let path = format!("lines.{at}.taskKey");
        line.task_key = checks.text_if_any(&path, line.task_key.as_deref(), LINE_MAX);
    }
    checks_as_an_option(&mut checks, &mut new);
    names_records(tx, &mut checks, &new).await?;
    names_parts_and_tasks(tx, act, &mut checks, &new).await?;
    checks.finish()?;
    Ok(new)
}

/// What holds for an option of an estimate holds for a template; a key stands for its task.
fn checks_as_an_option(checks: &mut Checks, new: &mut NewTemplate) {
    let lines = new
        .lines
        .iter()
        .map(|line| line.line(line.task_key.as_ref().map(|_| 0)));
    let offer = Offer {
        options: vec![NewOption {
            title: new.title.clone(),
            summary: new.summary.clone(),
            notes: new.notes.clone(),
            lines: lines.collect(),
            ..NewOption::default()
        }],
        ..Offer::default()
    };
    match offer.checked() {
        Ok(offer) => {
            if let Some(option) = offer.options.into_iter().next() {
                (new.title, new.summary, new.notes) = (option.title, option.summary, option.notes);
                for (line, trimmed) in new.lines.iter_mut().zip(option.lines) {
                    (line.section, line.description) = (trimmed.section, trimmed.description);
                }
            }
        }
        Err(Error::Refused(problems)) => {
            for Problem {
                code,
                message,
                path,
            } in problems
            {
                let path = path.trim_start_matches("options.0.");
                checks.refuse(code, &path.replace(".taskId", ".taskKey"), message);
            }
        }
        Err(_) => {}
    }
}

async fn names_records(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    new: &NewTemplate,
) -> Result<()> {
    let mut absent = |path: &str, what: &str| {
        let words = format!("There is no such {what}. Look it up again and use its id.");
        checks.refuse(ProblemCode::NotFound, path, words);
    };
    let types = appliances::types_by_ids(tx, [new.appliance_type_id]).await?;
    if types.is_empty() {
        absent("applianceTypeId", "type of machine");
    }
    if let Some(id) = new.component_id {
        let of_type = component::Entity::find_by_id(id)
            .filter(component::Column::ApplianceTypeId.eq(new.appliance_type_id))
            .one(tx)
            .await?;
        if of_type.is_none() {
            absent("componentId", "component of this type of machine");
        }
    }
    if let Some(id) = new.failure_mode_id
        && failure_mode::Entity::find_by_id(id)
            .one(tx)
            .await?
            .is_none()
    {
        absent("failureModeId", "failure mode");
    }
    Ok(())
}

async fn names_parts_and_tasks(
    tx: &impl ConnectionTrait,
    act: &Act,
    checks: &mut Checks,
    new: &NewTemplate,
) -> Result<()> {
    let part_ids = new.lines.iter().filter_map(|line| line.part_id);
    let parts = pricing::parts_by_id(tx, &part_ids.collect::<Vec<_>>()).await?;
    let tasks = if new.lines.iter().any(|line| line.task_key.is_some()) {
        let on = shop::settings(tx).await?.day_of(act.at);
        tasks_by_key(tx, &pricing::book_on(tx, on).await?, &new.lines).await?
    } else {
        HashMap::new()
    };
    for (at, line) in new.lines.iter().enumerate() {
        if let Some(id) = line.part_id
            && !parts.iter().any(|part| part.id == id)
        {
            let words = "There is no such part. Look it up again and use its id.";
            checks.refuse(ProblemCode::NotFound, &format!("lines.{at}.partId"), words);
        }
        if let Some(key) = &line.task_key
            && !tasks.contains_key(key)
        {
            let words = format!("The price book in force lists no task {key:?}.");
            checks.refuse(ProblemCode::NotFound, &format!("lines.{at}.taskKey"), words);
        }
    }
    Ok(())
}

/// Ids of the tasks that a book lists under the keys of these lines.
pub(in crate::estimates) async fn tasks_by_key(
    db: &impl ConnectionTrait,
    book: &Book,
    lines: &[TemplateLine],
) -> Result<HashMap<String, i64>> {
    let keys = lines.iter().filter_map(|line| line.task_key.clone());
    let keys = keys.collect::<Vec<_>>();
    if keys.is_empty() {
        return Ok(HashMap::new());
    }
    let rows = flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::PriceBookId.eq(book.row.id))
        .filter(flat_rate_task::Column::TaskKey.is_in(keys))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| (row.task_key, row.id)).collect())
}

/// The lines of these templates, in order.
pub(in crate::estimates) async fn lines_of(
    db: &impl ConnectionTrait,
    template_ids: &[i64],
) -> Result<Vec<repair_template_line::Model>> {
    Ok(repair_template_line::Entity::find()
        .filter(repair_template_line::Column::TemplateId.is_in(template_ids.iter().copied()))
        .order_by_asc(repair_template_line::Column::TemplateId)
        .order_by_asc(repair_template_line::Column::Position)
        .all(db)
        .await?)
}

/// Which templates are asked for.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted {
    pub appliance_type_id: Option<i64>,
    pub component_id: Option<i64>,
    pub failure_mode_id: Option<i64>,
    pub with_retired: bool,
}

/// Templates narrowed to a type, and to a component and failure mode; those for any of these included.
pub fn listed(wanted: Wanted) -> Select<repair_template::Entity> {
    use repair_template::Column;
    let mut narrowed = Condition::all();
    if let Some(id) = wanted.appliance_type_id {
        narrowed = narrowed.add(Column::ApplianceTypeId.eq(id));
    }
    let or_any = [
        (Column::ComponentId, wanted.component_id),
        (Column::FailureModeId, wanted.failure_mode_id),
    ];
    for (column, id) in or_any {
        if let Some(id) = id {
            narrowed = narrowed.add(Condition::any().add(column.eq(id)).add(column.is_null()));
        }
    }
    if !wanted.with_retired {
        narrowed = narrowed.add(Column::RetiredAt.is_null());
    }
    repair_template::Entity::find().filter(narrowed)
}
