//! Local rules in the graph: a help to keep papers in order, and no legal advice.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::local_rules;
use nameplate_rules::local_rules::Missing;

use crate::base::Error;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::invoices;
use crate::payload;
use crate::shop::graphql::Staff;

use super::{operations, store};

/// Something a document must hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::local_rules::Element")]
pub enum LocalElement {
    /// Trading name of the shop.
    ShopName,
    /// Postal address of the shop.
    ShopAddress,
    /// Telephone of the shop.
    ShopTelephone,
    /// Registration or licence number of the shop.
    RegistrationNumber,
    /// Who the customer is.
    CustomerName,
    /// Make of the machine.
    Make,
    /// Model of the machine.
    Model,
    /// Serial of the machine, or the shop's tag where no plate can be read.
    Serial,
    /// The customer's own description of the problem.
    CustomersWords,
    /// What is to be repaired.
    RepairsNeeded,
    /// Each part and each piece of labour on a line of its own.
    LinesItemised,
    /// The class of each part: new, used or rebuilt.
    PartClass,
    /// The hourly or flat rate of labour.
    LabourRate,
    /// The time of labour.
    LabourTime,
    /// What taking the machine away and bringing it back costs.
    RemovalCharge,
    /// What is due for the estimate itself.
    EstimateFee,
    /// That tax is part of the total.
    TaxInside,
    /// That tax stands apart from what is estimated.
    TaxApart,
    /// Day the problem was reported or the machine taken in.
    ReceivedOn,
    /// Day the work is promised for.
    PromisedOn,
    /// Who of the shop prepared it: a name, a signature or an employee's number.
    PreparedBy,
    /// The estimate in the customer's hands, above the place's amount. Asked by the amount, not by name.
    WrittenCopy,
    /// A warranty on labour as long as the place asks. Asked by its days, not by name.
    LabourWarranty,
}

/// What happens when a document lacks what the place asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::WhenMissing")]
pub enum WhenMissing {
    /// It is shown, and the document may go out.
    Tell,
    /// The document does not go out.
    Refuse,
}

/// Something asked for that a document does not hold.
#[derive(SimpleObject)]
pub struct MissingElement {
    /// What is asked for.
    element: LocalElement,
    /// What to do about it.
    words: String,
}

impl From<Missing> for MissingElement {
    fn from(missing: Missing) -> Self {
        Self {
            element: missing.element.into(),
            words: missing.words,
        }
    }
}

/// What a place asks of estimates and bills, from a day on. A help to keep papers in order; no legal advice.
#[derive(SimpleObject)]
#[graphql(complex)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a yes-or-no question of its own that a place answers"
)]
pub struct LocalRules {
    /// ISO 3166-1 alpha-2.
    country: String,
    /// Second half of the ISO 3166-2 code; empty for the whole country.
    region: String,
    /// What the shop calls these rules, such as the law they are read from.
    name: String,
    /// First day they hold.
    effective_from: NaiveDate,
    /// What happens when something is missing.
    when_missing: WhenMissing,
    /// Whether exactly the limit is still allowed.
    consent_limit_inside: bool,
    /// Whether tax counts when a bill is held against the accepted total.
    consent_counts_tax: bool,
    /// Whether a bill must note a consent that was given by word of mouth.
    note_oral_consent: bool,
    /// Whether documents say that parts which come out are the customer's.
    offer_removed_parts: bool,
    /// The least warranty on labour, in days.
    labour_warranty_days: Option<i32>,
    /// A line of its own on documents.
    wording: Option<String>,
    /// When they were recorded.
    created_at: DateTime<Utc>,
    #[graphql(skip)]
    row: local_rules::Model,
}

impl From<local_rules::Model> for LocalRules {
    fn from(row: local_rules::Model) -> Self {
        Self {
            country: row.country.clone(),
            region: row.region.clone(),
            name: row.name.clone(),
            effective_from: row.effective_from,
            when_missing: row.when_missing.into(),
            consent_limit_inside: row.consent_limit_inside,
            consent_counts_tax: row.consent_counts_tax,
            note_oral_consent: row.note_oral_consent,
            offer_removed_parts: row.offer_removed_parts,
            labour_warranty_days: row.labour_warranty_days,
            wording: row.wording.clone(),
            created_at: row.created_at,
            row,
        }
    }
}

impl LocalRules {
    /// The rules with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Ok(loaders::row::<local_rules::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

fn elements(keys: &str) -> async_graphql::Result<Vec<LocalElement>> {
    let elements = store::elements(keys).map_err(edge)?;
    Ok(elements.into_iter().map(Into::into).collect())
}

#[ComplexObject]
impl LocalRules {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::LocalRules.id(self.row.id)
    }

    /// What a written estimate must hold.
    async fn estimate_elements(&self) -> async_graphql::Result<Vec<LocalElement>> {
        elements(&self.row.estimate_elements)
    }

    /// What a bill must hold.
    async fn bill_elements(&self) -> async_graphql::Result<Vec<LocalElement>> {
        elements(&self.row.bill_elements)
    }

    /// How far a bill may pass the accepted total, per hundred; null leaves the shop's own figure.
    async fn consent_percent(&self) -> Option<ExactDecimal> {
        self.row.consent_percent.map(Into::into)
    }

    /// Above this total before tax the customer must have the estimate in writing: what was only shown
    /// and is accepted by telephone lacks that unless the acceptance is confirmed by mail. Refused or told as `whenMissing`
    /// says; a consent that was only spoken is told.
    async fn written_over(&self) -> Option<Money> {
        self.row.written_over_cents.map(Money::cents)
    }

    /// Who recorded them.
    async fn created_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.created_by).await
    }
}

/// Local rules.
#[derive(Default)]
pub struct LocalRulesQuery;

#[Object]
impl LocalRulesQuery {
    /// What places ask of estimates and bills, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "two filters and the four of a page"
    )]
    async fn local_rules(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those of this country.")] country: Option<String>,
        #[graphql(desc = "Only those of this region of it.")] region: Option<String>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, LocalRules>> {
        connection::newest_first(
            reader(ctx)?,
            store::listed(country.as_deref(), region.as_deref()),
            local_rules::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, LocalRules::from),
        )
        .await
    }
}

/// What a place asks for, from a day on.
#[derive(InputObject)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a yes-or-no question of its own that a place answers"
)]
pub struct AddLocalRulesInput {
    /// ISO 3166-1 alpha-2.
    country: String,
    /// Second half of the ISO 3166-2 code; left out for the whole country.
    region: Option<String>,
    /// What to call them, such as the law they are read from.
    name: String,
    /// First day they hold.
    effective_from: NaiveDate,
    /// What a written estimate must hold.
    estimate_elements: Vec<LocalElement>,
    /// What a bill must hold.
    bill_elements: Vec<LocalElement>,
    /// What happens when something is missing.
    #[graphql(default_with = "WhenMissing::Tell")]
    when_missing: WhenMissing,
    /// How far a bill may pass the accepted total, per hundred; the shop's own figure when left out.
    consent_percent: Option<ExactDecimal>,
    /// Whether exactly the limit is still allowed.
    #[graphql(default = true)]
    consent_limit_inside: bool,
    /// Whether tax counts when a bill is held against the accepted total.
    #[graphql(default = false)]
    consent_counts_tax: bool,
    /// Above this total before tax the customer must have the estimate in writing: what was only shown
    /// and is accepted by telephone lacks that unless the acceptance is confirmed by mail. Refused or told as `whenMissing`
    /// says; a consent that was only spoken is told.
    written_over: Option<Money>,
    /// Whether a bill must note a consent that was given by word of mouth.
    #[graphql(default = true)]
    note_oral_consent: bool,
    /// Whether documents say that parts which come out are the customer's.
    #[graphql(default = false)]
    offer_removed_parts: bool,
    /// The least warranty on labour, in days.
    labour_warranty_days: Option<i32>,
    /// A line of its own on documents; it should defer to local law.
    wording: Option<String>,
}

impl AddLocalRulesInput {
    fn command(self) -> operations::AddLocalRules {
        operations::AddLocalRules {
            country: self.country,
            region: self.region.unwrap_or_default(),
            name: self.name,
            effective_from: self.effective_from,
            estimate: self.estimate_elements.into_iter().map(Into::into).collect(),
            bill: self.bill_elements.into_iter().map(Into::into).collect(),
            when_missing: self.when_missing.into(),
            consent_percent: self.consent_percent.map(|percent| percent.0),
            consent_limit_inside: self.consent_limit_inside,
            consent_counts_tax: self.consent_counts_tax,
            written_over: self.written_over.map(|over| over.0),
            note_oral_consent: self.note_oral_consent,
            offer_removed_parts: self.offer_removed_parts,
            labour_warranty_days: self.labour_warranty_days,
            wording: self.wording,
        }
    }
}

payload! {
    /// What recording local rules gave.
    AddLocalRulesPayload {
        /// The rules as recorded.
        rules: LocalRules
    }
}

/// Rules that were recorded by mistake.
#[derive(InputObject)]
pub struct WithdrawLocalRulesInput {
    /// The rules.
    local_rules_id: ID,
}

payload! {
    /// What withdrawing local rules gave.
    WithdrawLocalRulesPayload {
        /// The rules as they were.
        rules: LocalRules
    }
}

/// Recording local rules.
#[derive(Default)]
pub struct LocalRulesMutation;

#[Object]
impl LocalRulesMutation {
    /// Records what a place asks of estimates and bills from a day on; rules are not changed.
    async fn add_local_rules(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The place and what it asks for.")] input: AddLocalRulesInput,
    ) -> async_graphql::Result<AddLocalRulesPayload> {
        let outcome: Result<_, Error> =
            operations::add_local_rules(act(ctx)?, input.command()).await;
        AddLocalRulesPayload::of(outcome.map(LocalRules::from))
    }
    /// Takes back rules that were recorded by mistake, as long as no estimate was sent and no bill issued under them.
    async fn withdraw_local_rules(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which rules.")] input: WithdrawLocalRulesInput,
    ) -> async_graphql::Result<WithdrawLocalRulesPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let rules = Kind::LocalRules.row("localRulesId", &input.local_rules_id)?;
            invoices::withdraw_local_rules(act, rules).await
        }
        .await;
        WithdrawLocalRulesPayload::of(outcome.map(LocalRules::from))
    }
}
