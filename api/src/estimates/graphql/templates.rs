//! Templates of common repairs, as they are read.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{repair_template, repair_template_line};

use crate::appliances::graphql::{ApplianceType, Component, FailureMode};
use crate::base::Error;
use crate::estimates::writing::templates;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::{ChargeKind, Part};

/// A common repair, ready to be offered.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct RepairTemplate {
    /// Name in the office.
    name: String,
    /// Title of the option it becomes.
    title: String,
    /// What it does for the customer.
    summary: Option<String>,
    /// Remarks below the option.
    notes: Option<String>,
    /// What was found, as the customer reads it.
    found: Option<String>,
    /// Deposit wanted, per hundred of the option's total.
    deposit_percent: Option<ExactDecimal>,
    /// When it was retired; null while it is offered.
    retired_at: Option<DateTime<Utc>>,
    /// Goes up with every change; send it back with `changeRepairTemplate`.
    version: i32,
    #[graphql(skip)]
    row: repair_template::Model,
}

impl From<repair_template::Model> for RepairTemplate {
    fn from(row: repair_template::Model) -> Self {
        Self {
            name: row.name.clone(),
            title: row.title.clone(),
            summary: row.summary.clone(),
            notes: row.notes.clone(),
            found: row.found_text.clone(),
            deposit_percent: row.deposit_percent.map(Into::into),
            retired_at: row.retired_at,
            version: row.version,
            row,
        }
    }
}

impl RepairTemplate {
    /// The template with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Ok(loaders::row::<repair_template::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl RepairTemplate {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::RepairTemplate.id(self.row.id)
    }

    /// The type of machine it is for.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        ApplianceType::of(ctx, self.row.appliance_type_id).await
    }

    /// The component it repairs; null for any.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        match self.row.component_id {
            Some(id) => Component::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The way that fails; null for any.
    async fn failure_mode(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FailureMode>> {
        match self.row.failure_mode_id {
            Some(id) => FailureMode::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Its charges, in order.
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<RepairTemplateLine>> {
        let column = repair_template_line::Column::TemplateId;
        let mut rows =
            loaders::children::<repair_template_line::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows.into_iter().map(RepairTemplateLine::from).collect())
    }
}

/// One charge of a template; what is left out comes from the price book of the day.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct RepairTemplateLine {
    /// What it charges for.
    kind: ChargeKind,
    /// Heading it stands under.
    section: Option<String>,
    /// Description as printed.
    description: Option<String>,
    /// Key of the listed task that prices it.
    task_key: Option<String>,
    /// How many.
    quantity: Option<ExactDecimal>,
    /// Minutes the work takes, where no task says so.
    minutes: Option<i32>,
    /// Price of one instead of the book's.
    unit_price: Option<Money>,
    #[graphql(skip)]
    part_id: Option<i64>,
}

impl From<repair_template_line::Model> for RepairTemplateLine {
    fn from(row: repair_template_line::Model) -> Self {
        Self {
            kind: row.kind.into(),
            section: row.section,
            description: row.description,
            task_key: row.task_key,
            quantity: row.quantity.map(Into::into),
            minutes: row.minutes,
            unit_price: row.unit_price_cents.map(Money::cents),
            part_id: row.part_id,
        }
    }
}

#[ComplexObject]
impl RepairTemplateLine {
    /// The part, for a line of one.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Templates of common repairs.
#[derive(Default)]
pub struct TemplatesQuery;

#[Object]
impl TemplatesQuery {
    /// Templates of common repairs, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "four filters and the four of a page"
    )]
    async fn repair_templates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those for this type of machine.")] appliance_type_id: Option<ID>,
        #[graphql(desc = "Only those for this component, or for any.")] component_id: Option<ID>,
        #[graphql(desc = "Only those for this way to fail, or for any.")] failure_mode_id: Option<
            ID,
        >,
        #[graphql(desc = "Those that are offered no more as well.", default)] with_retired: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, RepairTemplate>> {
        let wanted = || {
            Ok(templates::Wanted {
                appliance_type_id: Kind::ApplianceType
                    .row_if_any("applianceTypeId", appliance_type_id.as_ref())?,
                component_id: Kind::Component.row_if_any("componentId", component_id.as_ref())?,
                failure_mode_id: Kind::FailureMode
                    .row_if_any("failureModeId", failure_mode_id.as_ref())?,
                with_retired,
            })
        };
        let wanted = wanted().map_err(|error: Error| edge(error))?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            templates::listed(wanted),
            repair_template::Column::Id,
            page,
            (|row| row.id, RepairTemplate::from),
        )
        .await
    }
}
