//! Lists of claims, what waits for the shop, and the codes on claims.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{claim, failure_code};
use nameplate_rules::claims::{OUTCOME_RELEASE, outcome_codes};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Select};

use crate::base::Result;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::invoices::graphql::Invoice;
use crate::shop::graphql::today;
use crate::warranty::graphql::KeptPart;

use super::super::{Due, Waits, due};
use super::{Claim, ClaimState, FailureCodeSet};

/// Which claims are wanted: those that fit everything given.
#[derive(InputObject, Default)]
pub struct ClaimFilter {
    /// Only this payer's.
    payer_id: Option<ID>,
    /// Only under this programme.
    programme_id: Option<ID>,
    /// Only of this call.
    call_id: Option<ID>,
    /// Only in one of these states.
    states: Option<Vec<ClaimState>>,
    /// Only those to be filed by this day.
    file_by: Option<NaiveDate>,
    /// Only the one with this number, of the shop or of the payer.
    number: Option<String>,
}

impl ClaimFilter {
    fn select(self) -> Result<Select<claim::Entity>> {
        use claim::Column;
        let mut select = claim::Entity::find();
        let ids = [
            (
                Column::PayerId,
                Kind::WarrantyPayer,
                "filter.payerId",
                &self.payer_id,
            ),
            (
                Column::ProgrammeId,
                Kind::WarrantyProgramme,
                "filter.programmeId",
                &self.programme_id,
            ),
            (
                Column::CallId,
                Kind::ServiceCall,
                "filter.callId",
                &self.call_id,
            ),
        ];
        for (column, kind, path, id) in ids {
            if let Some(id) = kind.row_if_any(path, id.as_ref())? {
                select = select.filter(column.eq(id));
            }
        }
        if let Some(states) = self.states {
            let states = states
                .into_iter()
                .map(nameplate_entities::kinds::ClaimState::from);
            select = select.filter(Column::State.is_in(states));
        }
        if let Some(day) = self.file_by {
            select = select.filter(Column::FileBy.lte(day));
        }
        if let Some(number) = self.number {
            let number = number.trim();
            let named = sea_orm::Condition::any()
                .add(Column::Number.eq(number))
                .add(Column::PayerReference.eq(number));
            select = select.filter(named);
        }
        Ok(select)
    }
}

/// What waits for the shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum ClaimDueKind {
    /// A claim is to be filed.
    File,
    /// A payer's question is to be answered.
    Answer,
    /// A kept part is to be sent back.
    SendBack,
    /// A payer's invoice has no claim.
    Draft,
    /// A payer left something of a claim unpaid: dispute its answer, bill the customer or let the shop bear it.
    Rest,
}

/// One thing that waits for the shop.
#[derive(SimpleObject)]
pub struct ClaimDue {
    /// What is to be done.
    kind: ClaimDueKind,
    /// The last day for it; null where there is none.
    by: Option<NaiveDate>,
    /// The claim.
    claim: Option<Claim>,
    /// The part.
    kept_part: Option<KeptPart>,
    /// The invoice.
    invoice: Option<Invoice>,
}

impl From<Due> for ClaimDue {
    fn from(due: Due) -> Self {
        let nothing = Self {
            kind: ClaimDueKind::File,
            by: due.by,
            claim: None,
            kept_part: None,
            invoice: None,
        };
        match due.waits {
            Waits::File(row) => Self {
                claim: Some(row.into()),
                ..nothing
            },
            Waits::Answer(row) => Self {
                kind: ClaimDueKind::Answer,
                claim: Some(row.into()),
                ..nothing
            },
            Waits::SendBack(row) => Self {
                kind: ClaimDueKind::SendBack,
                kept_part: Some(row.into()),
                ..nothing
            },
            Waits::Rest(row) => Self {
                kind: ClaimDueKind::Rest,
                claim: Some(row.into()),
                ..nothing
            },
            Waits::Draft(row) => Self {
                kind: ClaimDueKind::Draft,
                invoice: Some(row.into()),
                ..nothing
            },
        }
    }
}

/// A reason that payers give, of the open list.
#[derive(SimpleObject)]
pub struct ClaimReason {
    /// The code.
    code: &'static str,
    /// The release of the list.
    release: &'static str,
    /// What it means.
    meaning: &'static str,
}

/// Claims.
#[derive(Default)]
pub struct ClaimsQuery;

#[Object]
impl ClaimsQuery {
    /// The claim with this id.
    async fn claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim.")] id: ID,
    ) -> async_graphql::Result<Option<Claim>> {
        match Kind::Claim.row("id", &id) {
            Ok(row) => Claim::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Claims, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn claims(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which are wanted.", default)] filter: ClaimFilter,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Claim>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = filter.select().map_err(edge)?;
        let id = claim::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, Claim::from)).await
    }

    /// What waits for the shop: claims to be filed, questions of payers, parts to send back, payers' invoices without a
    /// claim, these whatever their last day; at most 100 of each, the most pressing first.
    #[graphql(complexity = "50 + 40 * child_complexity")]
    async fn claims_due(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Last days that come within so many days, or are over; 0 to 366.",
            default = 7
        )]
        within_days: i32,
    ) -> async_graphql::Result<Vec<ClaimDue>> {
        let within = u32::try_from(within_days).ok().filter(|days| *days <= 366);
        let Some(within) = within else {
            let words = "Ask for 0 to 366 days.";
            return Err(crate::graphql::error::bad_input("withinDays", words));
        };
        let day = today(ctx).await?;
        let found = due(reader(ctx)?, (day, within)).await.map_err(edge)?;
        Ok(found.into_iter().map(ClaimDue::from).collect())
    }

    /// The reasons of payers that are known by code.
    async fn claim_reasons(&self) -> Vec<ClaimReason> {
        (outcome_codes().iter())
            .map(|known| ClaimReason {
                code: known.code,
                release: OUTCOME_RELEASE,
                meaning: known.meaning,
            })
            .collect()
    }

    /// What failures are called in the industry's scheme, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn failure_codes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of this failure.")] failure_mode_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, FailureCodeSet>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let mut select = failure_code::Entity::find();
        let mode = Kind::FailureMode.row_if_any("failureModeId", failure_mode_id.as_ref());
        if let Some(id) = mode.map_err(edge)? {
            select = select.filter(failure_code::Column::FailureModeId.eq(id));
        }
        let id = failure_code::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, FailureCodeSet::from)).await
    }
}
