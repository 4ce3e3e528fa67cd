//! Service calls, visits, readings, findings and remedies in the graph.

pub mod history;
pub mod mutations;
pub mod reading;
pub mod visit;
pub mod work;

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::{DateTime, NaiveDate, Utc};
use futures_util::future::try_join_all;
use nameplate_entities::{finding, reading as reading_table, service_call, visit_call};
use sea_orm::sea_query::ExprTrait;
use sea_orm::{ColumnTrait, QueryFilter, Select};

use crate::appliances::graphql::Appliance;
use crate::attachments::On;
use crate::attachments::graphql::Attachment;
use crate::base::{Act, Error, Result, own_work};
use crate::callbacks::graphql::{Callback, Flag};
use crate::claims::graphql::Claim;
use crate::closeout::graphql::BorneByShop;
use crate::coverage::graphql::CoverageDecision;
use crate::customers::graphql::{Customer, ServiceAddress};
use crate::estimates::graphql::{CallConsent, Estimate};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::invoices::graphql::Invoice;
use crate::recalls::graphql::ApplianceRecall;
use crate::stock::graphql::PartOrder;
use crate::warranty::graphql::{KeptPart, ShopWarranty};
use crate::{coverage, invoices, shop};

use super::store;

pub use history::HistoryEntry;
pub use mutations::CallsMutation;
pub use reading::Reading;
pub use visit::Visit;
pub use work::{Finding, PartUsed, Remedy};

/// Why a call was made. Only repairs can come back as callbacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::CallKind")]
pub enum CallKind {
    /// Something does not work.
    Repair,
    /// Planned care.
    Maintenance,
    /// Putting a machine in.
    Installation,
}

/// Where a service call stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::CallState")]
pub enum CallState {
    /// Work may be written down.
    Open,
    /// The work is done; nothing more is written.
    Completed,
    /// Closed without work.
    Cancelled,
}

/// One complaint about one appliance, from the phone ringing to closed.
pub struct ServiceCall {
    pub row: service_call::Model,
}

impl From<service_call::Model> for ServiceCall {
    fn from(row: service_call::Model) -> Self {
        Self { row }
    }
}

impl ServiceCall {
    /// The call behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<service_call::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The call behind a column of a record whose reader may not see it: null then.
    pub async fn seen(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if loaders::is_seen(ctx, loaders::HeldIn::Call, id).await? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }

    /// The call with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::visible_to(act(ctx)?)
            .filter(service_call::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// One complaint about one appliance, from the phone ringing to closed.
#[Object]
impl ServiceCall {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::ServiceCall.id(self.row.id)
    }

    /// Number as printed on documents.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// Where it stands.
    async fn state(&self) -> CallState {
        self.row.state.into()
    }

    /// Why it was made.
    async fn kind(&self) -> CallKind {
        self.row.kind.into()
    }

    /// What the customer says is wrong.
    async fn complaint(&self) -> &str {
        &self.row.complaint
    }

    /// When it was taken.
    async fn opened_at(&self) -> DateTime<Utc> {
        self.row.opened_at
    }

    /// The shop's day on which it was taken.
    async fn opened_on(&self) -> NaiveDate {
        self.row.opened_on
    }

    /// When its work was done.
    async fn completed_at(&self) -> Option<DateTime<Utc>> {
        self.row.completed_at
    }

    /// The shop's day on which its work was done.
    async fn completed_on(&self) -> Option<NaiveDate> {
        self.row.completed_on
    }

    /// Why a failure returned, where a flag asked for it.
    async fn root_cause(&self) -> Option<&str> {
        self.row.root_cause.as_deref()
    }

    /// Goes up with every change.
    async fn version(&self) -> i32 {
        self.row.version
    }

    /// The machine.
    async fn appliance(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Appliance>> {
        Appliance::of(ctx, self.row.appliance_id).await
    }

    /// Whose the machine was on that day.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// Where it stood on that day.
    async fn service_address(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ServiceAddress>> {
        ServiceAddress::of(ctx, self.row.service_address_id).await
    }

    /// Trips planned and made for it, oldest first.
    async fn visits(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Visit>> {
        let served =
            loaders::children::<visit_call::Entity>(ctx, visit_call::Column::CallId, self.row.id)
                .await?;
        let visits = served.into_iter().map(|row| Visit::of(ctx, row.visit_id));
        Ok(try_join_all(visits).await?.into_iter().flatten().collect())
    }

    /// What was measured, oldest first.
    async fn readings(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Reading>> {
        let rows = loaders::children::<reading_table::Entity>(
            ctx,
            reading_table::Column::CallId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(Reading::from).collect())
    }

    /// Consents to more than was accepted, oldest first.
    async fn consents(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<CallConsent>> {
        CallConsent::of_call(ctx, self.row.id).await
    }

    /// Pictures and papers of the call itself, oldest first; its findings and its machine have their own.
    async fn attachments(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Attachment>> {
        Attachment::on(ctx, On::Call(self.row.id)).await
    }

    /// What was found wrong, oldest first.
    async fn findings(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Finding>> {
        let rows =
            loaders::children::<finding::Entity>(ctx, finding::Column::CallId, self.row.id).await?;
        Ok(rows.into_iter().map(Finding::from).collect())
    }

    /// Parts ordered for it, oldest first; it waits for those that are still on order.
    async fn part_orders(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PartOrder>> {
        PartOrder::of_call(ctx, self.row.id).await
    }

    /// Estimates drafted for it, oldest first.
    async fn estimates(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Estimate>> {
        Estimate::of_call(ctx, self.row.id).await
    }

    /// Invoices and credit notes for it, oldest first; several invoices where payers share it.
    async fn invoices(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Invoice>> {
        Invoice::of_call(ctx, self.row.id).await
    }

    /// The callback that this call may be, or is.
    async fn callback(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Callback>> {
        Callback::of_call(ctx, self.row.id).await
    }

    /// Flags of failures that were back on this call, or came back after it, oldest first.
    async fn flags(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Flag>> {
        Flag::of_call(ctx, self.row.id).await
    }

    /// What the shop stands behind since this call was completed.
    async fn warranties(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ShopWarranty>> {
        ShopWarranty::of_call(ctx, self.row.id).await
    }

    /// Safety recalls that are or may be about its machine, the newest first.
    async fn recalls(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ApplianceRecall>> {
        ApplianceRecall::of(ctx, self.row.appliance_id).await
    }

    /// Parts taken out on this call and kept for a payer.
    async fn kept_parts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<KeptPart>> {
        KeptPart::of_call(ctx, self.row.id).await
    }

    /// Who pays what, as it was decided, oldest first; at most the last stands.
    async fn coverage_decisions(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<CoverageDecision>> {
        CoverageDecision::of_call(ctx, self.row.id).await
    }

    /// What the shop came to bear of it itself, or bears no more, oldest first.
    async fn borne_by_shop(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BorneByShop>> {
        BorneByShop::of_call(ctx, self.row.id).await
    }

    /// What is asked of warranty payers for it, oldest first.
    async fn claims(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Claim>> {
        Claim::of_call(ctx, self.row.id).await
    }
}

/// Which calls are wanted: those that fit everything given.
#[derive(InputObject, Default)]
pub struct ServiceCallFilter {
    /// Where they stand.
    state: Option<CallState>,
    /// About this machine.
    appliance_id: Option<ID>,
    /// Of this customer.
    customer_id: Option<ID>,
    /// With a visit of this technician, planned or made.
    technician_id: Option<ID>,
    /// Whether an invoice stands for them; credit notes that take all of it back undo that. Calls that the shop was decided
    /// to bear wholly wait for none and are left out of those without. For owner and office.
    billed: Option<bool>,
}

impl ServiceCallFilter {
    fn narrow(
        &self,
        act: &Act,
        select: Select<service_call::Entity>,
    ) -> Result<Select<service_call::Entity>> {
        let id = |kind: Kind, name: &str, id: &Option<ID>| {
            kind.row_if_any(&format!("filter.{name}"), id.as_ref())
        };
        let appliance = id(Kind::Appliance, "applianceId", &self.appliance_id)?;
        let customer = id(Kind::Customer, "customerId", &self.customer_id)?;
        let technician = id(Kind::Staff, "technicianId", &self.technician_id)?;
        let mut select = select;
        if let Some(state) = self.state {
            let state = nameplate_entities::kinds::CallState::from(state);
            select = select.filter(service_call::Column::State.eq(state));
        }
        if let Some(id) = appliance {
            select = select.filter(service_call::Column::ApplianceId.eq(id));
        }
        if let Some(id) = customer {
            select = select.filter(service_call::Column::CustomerId.eq(id));
        }
        if let Some(id) = technician {
            let calls = own_work::call_ids(id);
            select = select.filter(service_call::Column::Id.in_subquery(calls));
        }
        if let Some(billed) = self.billed {
            if !act.is_desk() {
                return Err(Error::Forbidden);
            }
            let is_billed = invoices::has_standing_invoice();
            select = if billed {
                select.filter(is_billed)
            } else {
                // A call that the shop bears wholly waits for no bill.
                let waits = is_billed.not().and(coverage::shop_bears_all().not());
                select.filter(waits)
            };
        }
        Ok(select)
    }
}

/// Most days of visits in one answer.
const DAYS_MAX: i64 = 62;

/// Calls and visits.
#[derive(Default)]
pub struct CallsQuery;

#[Object]
impl CallsQuery {
    /// One call; null for one that does not exist or that the caller may not see.
    async fn service_call(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call.")] id: ID,
    ) -> async_graphql::Result<Option<ServiceCall>> {
        match Kind::ServiceCall.row("id", &id) {
            Ok(row) => ServiceCall::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Calls, newest first; for a technician own ones.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn service_calls(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which calls; all when left out.")] filter: Option<ServiceCallFilter>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, ServiceCall>> {
        let act = act(ctx)?;
        let visible = store::visible_to(act);
        let select = filter
            .unwrap_or_default()
            .narrow(act, visible)
            .map_err(edge)?;
        connection::newest_first(
            reader(ctx)?,
            select,
            service_call::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, ServiceCall::from),
        )
        .await
    }

    /// Trips of some days, in the order planned; for a technician own ones.
    #[graphql(complexity = "25 * child_complexity")]
    async fn visits(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Whose; everybody's when left out.")] technician_id: Option<ID>,
        #[graphql(desc = "First day.")] from: NaiveDate,
        #[graphql(desc = "Last day; at most 62 days from the first.")] to: NaiveDate,
    ) -> async_graphql::Result<Vec<Visit>> {
        if !(0..=DAYS_MAX).contains(&(to - from).num_days()) {
            return Err(bad_input(
                "to",
                format!("The last day lies 0 to {DAYS_MAX} days after the first."),
            ));
        }
        let days = store::Days {
            technician_id: Kind::Staff
                .row_if_any("technicianId", technician_id.as_ref())
                .map_err(edge)?,
            from_on: from,
            to_on: to,
        };
        planned(ctx, &days).await
    }

    /// The caller's own trips of one day.
    #[graphql(complexity = "10 * child_complexity")]
    async fn my_visits(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today where the shop is when left out.")] on: Option<NaiveDate>,
    ) -> async_graphql::Result<Vec<Visit>> {
        let act = act(ctx)?;
        let (staff_id, _) = act.staff().map_err(edge)?;
        let day = match on {
            Some(day) => day,
            None => shop::settings(reader(ctx)?)
                .await
                .map_err(edge)?
                .day_of(act.at),
        };
        let days = store::Days {
            technician_id: Some(staff_id),
            from_on: day,
            to_on: day,
        };
        planned(ctx, &days).await
    }
}

async fn planned(ctx: &Context<'_>, days: &store::Days) -> async_graphql::Result<Vec<Visit>> {
    let rows = store::visits_of(reader(ctx)?, act(ctx)?, days)
        .await
        .map_err(edge)?;
    Ok(rows.into_iter().map(Visit::from).collect())
}
