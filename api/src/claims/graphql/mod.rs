//! Claims in the graph.

pub mod inputs;
pub mod mutations;
pub mod parts;
pub mod queries;
pub mod submitting;

pub use mutations::ClaimsMutation;
pub use parts::{ClaimPaper, ClaimState, ClaimStep, FailureCodeSet, FailureCodes};
pub use queries::ClaimsQuery;
pub use submitting::ClaimSubmissionMutation;

use async_graphql::{ComplexObject, Context, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{allocation, claim, claim_paper, claim_sending, claim_step, invoice};
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::money::Cents;

use crate::base::Error;
use crate::calls::graphql::ServiceCall;
use crate::coverage::graphql::CoverageDecision;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::Invoice;
use crate::shop::graphql::{Staff, today};
use crate::warranty::graphql::{ApplianceCover, WarrantyPayer, WarrantyProgramme};

use super::{Known, required_of};
use parts::{ClaimBalance, ClaimRequirement, ClaimSending};

/// What the shop asks of a warranty payer for one call under one programme.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Claim {
    /// Its number.
    number: String,
    /// Where it stands.
    state: ClaimState,
    /// What the payer's invoice asks, with tax.
    claimed: Money,
    /// The last day to file it; null before the call is completed, or where the terms set none.
    file_by: Option<NaiveDate>,
    /// The day it went out first.
    submitted_on: Option<NaiveDate>,
    /// The payer's own number of it.
    payer_reference: Option<String>,
    /// What the customer noticed.
    complaint: String,
    /// What was found and done.
    diagnosis: String,
    /// When it was drafted.
    drafted_at: DateTime<Utc>,
    /// For changing it.
    version: i32,
    /// Whether it stands; false once it is void, so that what is billed instead can be claimed.
    stands: bool,
    #[graphql(skip)]
    row: claim::Model,
}

impl From<claim::Model> for Claim {
    fn from(row: claim::Model) -> Self {
        Self {
            number: row.number.clone(),
            state: row.state.into(),
            claimed: Money::cents(row.claimed_cents),
            file_by: row.file_by,
            submitted_on: row.submitted_on,
            payer_reference: row.payer_reference.clone(),
            complaint: row.complaint.clone(),
            diagnosis: row.diagnosis.clone(),
            drafted_at: row.drafted_at,
            version: row.version,
            stands: row.standing_invoice_id.is_some(),
            row,
        }
    }
}

impl Claim {
    /// The claim with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        let row = loaders::row::<claim::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The claims of a call, oldest first.
    pub async fn of_call(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = claim::Column::CallId;
        let rows = loaders::children::<claim::Entity>(ctx, column, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }
}

#[ComplexObject]
impl Claim {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Claim.id(self.row.id)
    }

    /// The call.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// Who is asked.
    async fn payer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WarrantyPayer>> {
        WarrantyPayer::of(ctx, self.row.payer_id).await
    }

    /// Under which programme.
    async fn programme(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<WarrantyProgramme>> {
        WarrantyProgramme::of(ctx, self.row.programme_id).await
    }

    /// What the machine holds of the programme; null where it comes with the make.
    async fn cover(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ApplianceCover>> {
        match self.row.cover_id {
            Some(id) => ApplianceCover::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The decision by which the payer pays.
    async fn decision(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<CoverageDecision>> {
        CoverageDecision::find(ctx, self.row.decision_id).await
    }

    /// The payer's invoice, with its lines.
    async fn invoice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        Invoice::of(ctx, self.row.invoice_id).await
    }

    /// Days left until the last day to file, below zero after it; null once it went out, or where there is no such day.
    async fn days_left(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<i64>> {
        let Some(file_by) = self.row.file_by.filter(|_| self.row.submitted_on.is_none()) else {
            return Ok(None);
        };
        Ok(Some(whole_days_between(today(ctx).await?, file_by)))
    }

    /// Codes of the failure in the industry's scheme.
    async fn codes(&self) -> async_graphql::Result<Option<FailureCodes>> {
        let text = self.row.codes_json.as_deref();
        text.map(FailureCodes::read).transpose().map_err(edge)
    }

    /// The invoices that ask the customer for what the payer will not pay, oldest first.
    async fn rest_invoices(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Invoice>> {
        let column = invoice::Column::MovedFromInvoiceId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, self.row.invoice_id).await?;
        let bills = rows
            .into_iter()
            .filter(|row| row.kind == ReceivableKind::Invoice);
        Ok(bills.map(Invoice::from).collect())
    }

    /// What happened to it, oldest first.
    async fn steps(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ClaimStep>> {
        let column = claim_step::Column::ClaimId;
        let rows = loaders::children::<claim_step::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(ClaimStep::from).collect())
    }

    /// What goes with it, oldest first.
    async fn papers(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ClaimPaper>> {
        let column = claim_paper::Column::ClaimId;
        let rows = loaders::children::<claim_paper::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(ClaimPaper::from).collect())
    }

    /// What went to the payer, oldest first.
    async fn sendings(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ClaimSending>> {
        let column = claim_sending::Column::ClaimId;
        let rows = loaders::children::<claim_sending::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(ClaimSending::from).collect())
    }

    /// What it has come to.
    async fn balance(&self, ctx: &Context<'_>) -> async_graphql::Result<ClaimBalance> {
        let column = allocation::Column::InvoiceId;
        let rows =
            loaders::children::<allocation::Entity>(ctx, column, self.row.invoice_id).await?;
        let column = invoice::Column::CreditsInvoiceId;
        let notes = loaders::children::<invoice::Entity>(ctx, column, self.row.invoice_id).await?;
        // Credit that the payer had from another invoice is money of its own.
        let is_own_note = |id: i64| notes.iter().any(|note| note.id == id);
        let is_money = |row: &allocation::Model| {
            row.payment_id.is_some() || row.credit_note_id.is_some_and(|id| !is_own_note(id))
        };
        let sum = |is_paid: bool| {
            let parts = rows.iter().filter(|row| is_money(row) == is_paid);
            Cents::sum(parts.map(|row| Cents(row.amount_cents)))
                .map_err(|refusal| edge(Error::caused("what settled a claim", refusal)))
        };
        ClaimBalance::of((self.row.claimed_cents, sum(true)?, sum(false)?)).map_err(edge)
    }

    /// All that it must have before it goes out, and what is missing. Asked of many claims at once it is dear.
    #[graphql(complexity = "40 + 20 * child_complexity")]
    async fn required(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ClaimRequirement>> {
        let known = Known::of(reader(ctx)?, self.row.clone())
            .await
            .map_err(edge)?;
        Ok((required_of(&known).into_iter())
            .map(ClaimRequirement::from)
            .collect())
    }

    /// Who drafted it.
    async fn drafted_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.drafted_by).await
    }
}
