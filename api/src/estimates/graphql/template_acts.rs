//! Recording common repairs, drafting from them, and offering work again.

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};

use crate::base::{Error, Result};
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;
use crate::pricing::graphql::ChargeKind;

use super::EstimateRevision;
use super::templates::RepairTemplate;
use crate::estimates::writing::carrying::Carried;
use crate::estimates::writing::{duplicating, from_templates, templates};

/// Declares the answer of an act that drafts from something else: the draft, and what in it is not as it was.
macro_rules! carried_payload {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Default, SimpleObject)]
        pub struct $name {
            /// Its first revision, a draft.
            ///
            /// Null when the mutation was refused.
            revision: Option<EstimateRevision>,
            /// What was replaced, kept as typed by hand or left out, one sentence each.
            remarks: Vec<String>,
            /// What to mend; empty when it was done.
            problems: Vec<Problem>,
        }

        impl $name {
            fn of(outcome: Result<Carried>) -> async_graphql::Result<Self> {
                match outcome {
                    Ok(carried) => Ok(Self {
                        revision: Some(carried.revision.into()),
                        remarks: carried.remarks,
                        problems: Vec::new(),
                    }),
                    Err(Error::Refused(problems)) => Ok(Self {
                        problems: problems.into_iter().map(Into::into).collect(),
                        ..Self::default()
                    }),
                    Err(error) => Err(edge(error)),
                }
            }
        }
    };
}

/// One charge of a template. What is left out comes from the price book of the day.
#[derive(InputObject)]
pub struct RepairTemplateLineInput {
    /// What it charges for.
    kind: ChargeKind,
    /// Heading it stands under.
    section: Option<String>,
    /// Description as printed; a fee and freight need one.
    description: Option<String>,
    /// The part, for a line of one.
    part_id: Option<ID>,
    /// Key of a task that the price book in force lists, for labour.
    task_key: Option<String>,
    /// How many; one when left out. Not for labour.
    quantity: Option<ExactDecimal>,
    /// Minutes the work takes; for labour, also where a later book should not list the task.
    minutes: Option<i32>,
    /// Price of one instead of the book's; a fee and freight need it.
    unit_price: Option<Money>,
}

impl RepairTemplateLineInput {
    fn command(self, at: usize) -> Result<templates::TemplateLine> {
        let path = format!("lines.{at}.partId");
        Ok(templates::TemplateLine {
            kind: self.kind.into(),
            section: self.section,
            description: self.description,
            part_id: Kind::Part.row_if_any(&path, self.part_id.as_ref())?,
            task_key: self.task_key,
            quantity: self.quantity.map(|quantity| quantity.0),
            minutes: self.minutes,
            unit_price: self.unit_price.map(|price| price.0),
        })
    }
}

/// A common repair.
#[derive(InputObject)]
pub struct AddRepairTemplateInput {
    /// Name in the office.
    name: String,
    /// The type of machine it is for.
    appliance_type_id: ID,
    /// The component it repairs.
    component_id: Option<ID>,
    /// The way that fails.
    failure_mode_id: Option<ID>,
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
    /// Its charges, in the order of printing; at least one.
    lines: Vec<RepairTemplateLineInput>,
}

impl AddRepairTemplateInput {
    fn command(self) -> Result<templates::NewTemplate> {
        let lines = self.lines.into_iter().enumerate();
        Ok(templates::NewTemplate {
            name: self.name,
            appliance_type_id: Kind::ApplianceType
                .row("applianceTypeId", &self.appliance_type_id)?,
            component_id: Kind::Component.row_if_any("componentId", self.component_id.as_ref())?,
            failure_mode_id: Kind::FailureMode
                .row_if_any("failureModeId", self.failure_mode_id.as_ref())?,
            title: self.title,
            summary: self.summary,
            notes: self.notes,
            found: self.found,
            deposit_percent: self.deposit_percent.map(|percent| percent.0),
            lines: lines
                .map(|(at, line)| line.command(at))
                .collect::<Result<Vec<_>>>()?,
        })
    }
}

payload! {
    /// What recording a common repair gave.
    AddRepairTemplatePayload {
        /// The template.
        template: RepairTemplate
    }
}

/// A template as it is to be from now on: everything is sent, what is left out is gone.
#[derive(InputObject)]
pub struct ChangeRepairTemplateInput {
    /// The template.
    template_id: ID,
    /// Its version as it was read.
    version: i32,
    /// Whether it is offered no more.
    #[graphql(default)]
    retired: bool,
    /// Name in the office.
    name: String,
    /// The type of machine it is for.
    appliance_type_id: ID,
    /// The component it repairs.
    component_id: Option<ID>,
    /// The way that fails.
    failure_mode_id: Option<ID>,
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
    /// Its charges, in the order of printing; at least one.
    lines: Vec<RepairTemplateLineInput>,
}

impl ChangeRepairTemplateInput {
    fn command(self) -> Result<templates::ChangeTemplate> {
        let template = AddRepairTemplateInput {
            name: self.name,
            appliance_type_id: self.appliance_type_id,
            component_id: self.component_id,
            failure_mode_id: self.failure_mode_id,
            title: self.title,
            summary: self.summary,
            notes: self.notes,
            found: self.found,
            deposit_percent: self.deposit_percent,
            lines: self.lines,
        };
        Ok(templates::ChangeTemplate {
            template_id: Kind::RepairTemplate.row("templateId", &self.template_id)?,
            version: self.version,
            retired: self.retired,
            template: template.command()?,
        })
    }
}

payload! {
    /// What changing a common repair gave.
    ChangeRepairTemplatePayload {
        /// The template as it is now.
        template: RepairTemplate
    }
}

/// Which common repairs to price, and for which call.
#[derive(InputObject)]
pub struct DraftEstimateFromTemplateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The call.
    call_id: ID,
    /// The templates, in the order of the options they become.
    template_ids: Vec<ID>,
}

impl DraftEstimateFromTemplateInput {
    fn command(self) -> Result<from_templates::DraftFromTemplates> {
        let ids = self.template_ids.iter().enumerate();
        Ok(from_templates::DraftFromTemplates {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            template_ids: ids
                .map(|(at, id)| Kind::RepairTemplate.row(&format!("templateIds.{at}"), id))
                .collect::<Result<Vec<_>>>()?,
        })
    }
}

carried_payload! {
    /// What pricing common repairs gave.
    DraftEstimateFromTemplatePayload
}

/// Which estimate to offer again, and for which call.
#[derive(InputObject)]
pub struct DuplicateEstimateInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The estimate.
    estimate_id: ID,
    /// The call the work is for now; it may be the same.
    call_id: ID,
}

impl DuplicateEstimateInput {
    fn command(self) -> Result<duplicating::DuplicateEstimate> {
        Ok(duplicating::DuplicateEstimate {
            idempotency_key: self.idempotency_key,
            estimate_id: Kind::Estimate.row("estimateId", &self.estimate_id)?,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
        })
    }
}

carried_payload! {
    /// What offering work again gave.
    DuplicateEstimatePayload
}

/// Templates, and offering work again.
#[derive(Default)]
pub struct TemplatesMutation;

#[Object]
impl TemplatesMutation {
    /// Records a common repair.
    async fn add_repair_template(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The repair.")] input: AddRepairTemplateInput,
    ) -> async_graphql::Result<AddRepairTemplatePayload> {
        let act = act(ctx)?;
        let outcome = async { templates::add_repair_template(act, input.command()?).await }.await;
        AddRepairTemplatePayload::of(outcome.map(RepairTemplate::from))
    }

    /// Changes or retires a common repair. Estimates drafted from it stay as they are.
    async fn change_repair_template(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The repair as it is to be.")] input: ChangeRepairTemplateInput,
    ) -> async_graphql::Result<ChangeRepairTemplatePayload> {
        let act = act(ctx)?;
        let outcome =
            async { templates::change_repair_template(act, input.command()?).await }.await;
        ChangeRepairTemplatePayload::of(outcome.map(RepairTemplate::from))
    }

    /// Drafts a new estimate with one option a template, priced by the book in force.
    async fn draft_estimate_from_template(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which repairs, and for which call.")]
        input: DraftEstimateFromTemplateInput,
    ) -> async_graphql::Result<DraftEstimateFromTemplatePayload> {
        let act = act(ctx)?;
        let outcome =
            async { from_templates::draft_from_templates(act, input.command()?).await }.await;
        DraftEstimateFromTemplatePayload::of(outcome)
    }

    /// Drafts a new estimate with the options of another, priced by the book in force.
    async fn duplicate_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and for which call.")] input: DuplicateEstimateInput,
    ) -> async_graphql::Result<DuplicateEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async { duplicating::duplicate_estimate(act, input.command()?).await }.await;
        DuplicateEstimatePayload::of(outcome)
    }
}
