//! The brief in the graph: records where they have a type of their own, plain words for the rest.

pub mod cover;
pub mod history;
pub mod route;

use crate::appliances::graphql::{Appliance, ApplianceType};
use crate::callbacks::graphql::flag::texts;
use crate::callbacks::graphql::joint::Bearings;
use crate::callbacks::graphql::{BaseRate, Callback, FlagLevel, FlagPattern, FlagState};
use crate::calls::graphql::ServiceCall;
use crate::calls::graphql::visit::{VisitReason, VisitState};
use crate::customers::graphql::{Contact, Customer, ServiceAddress};
use crate::estimates::graphql::EstimateState;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::recalls::graphql::ApplianceRecall;
use crate::stock::graphql::orders::PartOrderState;
use crate::warranty;
use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};

use super::store::{self, Brief, Flagged, Machine, Offer, Ordered, Promise, Trip};
use super::{dangers, text};

pub use cover::BriefCover;
pub use history::BriefCall;
pub use route::DayRouteQuery;

/// All there is to know before ringing the bell.
#[derive(SimpleObject)]
pub struct ArrivalBrief {
    /// The day on which this was asked; what is in force is as of then.
    today: NaiveDate,
    /// The call, with what the customer says is wrong.
    call: ServiceCall,
    /// Who it is.
    customer: Customer,
    /// Further people to reach there.
    contacts: Vec<Contact>,
    /// Where it is, and how to get in.
    service_address: ServiceAddress,
    /// The machine and its plate.
    appliance: Appliance,
    /// What kind of machine it is.
    appliance_type: ApplianceType,
    /// Earlier calls on the machine with all that was found, measured, done and fitted; newest first, 20 at most of
    /// the latest 21 calls there.
    history: Vec<BriefCall>,
    /// Safety recalls that are or may be about the machine; newest first. The maker's notice comes first.
    recalls: Vec<ApplianceRecall>,
    /// What the shop still stands behind.
    warranties: Vec<BriefWarranty>,
    /// Who stands behind the machine, in the order in which they are asked, and what they want to see.
    cover: Vec<BriefCover>,
    /// Estimates on the machine that were sent or accepted; newest first.
    estimates: Vec<BriefEstimate>,
    /// What the customer still owes on issued invoices.
    balance: Money,
    /// Failures that are back and not dealt with; newest first.
    flags: Vec<BriefFlag>,
    /// The earlier call of which this one is, or may be, the return.
    callback: Option<BriefCallback>,
    /// Other machines at the address, with what came back on them.
    other_machines: Vec<BriefMachine>,
    /// Trips planned for this call, in their order.
    visits: Vec<BriefVisit>,
    /// Trips that were made for it or missed, in their order.
    earlier_visits: Vec<BriefVisit>,
    /// Parts ordered for this call, oldest first.
    part_orders: Vec<BriefPartOrder>,
    /// What to mind on this machine before touching it.
    cautions: Vec<String>,
    /// The brief as text for a small screen: below 2,000 bytes, what can hurt before what was done. Cautions are whole or
    /// counted; what did not fit is counted at the end.
    text: String,
}

impl ArrivalBrief {
    /// The brief as the graph tells it.
    ///
    /// # Errors
    /// Texts of a flag that cannot be read back.
    pub fn of(brief: Brief) -> async_graphql::Result<Self> {
        let cautions = dangers::cautions(&brief);
        let text = text::text(&brief);
        let history = history::entries(&brief);
        let flags = brief.flags.iter().map(|row| BriefFlag::of(&brief, row));
        let flags = flags.collect::<async_graphql::Result<_>>()?;
        let neighbours = brief.other_machines.iter();
        let other_machines = neighbours
            .map(|row| BriefMachine::of(&brief, row))
            .collect();
        let (today, ticket) = (brief.today, brief.ticket);
        let promises = brief.warranties.iter();
        Ok(Self {
            today,
            text,
            contacts: brief.contacts.into_iter().map(Contact::from).collect(),
            history,
            recalls: brief.recalls.into_iter().map(Into::into).collect(),
            warranties: promises.map(|row| BriefWarranty::of(row, today)).collect(),
            cover: BriefCover::all(brief.cover),
            estimates: BriefEstimate::all(&brief.estimates),
            balance: brief.balance.into(),
            flags,
            callback: ticket.callback.map(|callback| BriefCallback {
                earlier_call_number: ticket.earlier.as_ref().map(|call| call.number.clone()),
                earlier_completed_on: ticket.earlier.as_ref().and_then(|call| call.completed_on),
                callback: callback.into(),
            }),
            other_machines,
            visits: brief.visits.into_iter().map(Into::into).collect(),
            earlier_visits: brief.earlier_visits.into_iter().map(Into::into).collect(),
            part_orders: brief.part_orders.into_iter().map(Into::into).collect(),
            cautions: cautions
                .iter()
                .map(|caution| caution.text().to_owned())
                .collect(),
            call: ticket.call.into(),
            customer: ticket.customer.into(),
            service_address: ticket.address.into(),
            appliance: ticket.appliance.into(),
            appliance_type: ticket.appliance_type.into(),
        })
    }
}

/// What the shop still stands behind on one component.
#[derive(SimpleObject)]
pub struct BriefWarranty {
    /// The component.
    component: String,
    /// Number of the call that repaired it.
    call_number: String,
    /// The day that repair was completed.
    written_on: NaiveDate,
    /// Last day of free labour.
    labour_through: Option<NaiveDate>,
    /// Last day of free parts.
    parts_through: Option<NaiveDate>,
    /// Whether labour is free today.
    labour_in_force: bool,
    /// Whether parts are free today.
    parts_in_force: bool,
    /// Who pays what today if the same failure is back.
    who_pays: String,
}

impl BriefWarranty {
    fn of(row: &Promise, today: NaiveDate) -> Self {
        let status = warranty::promise_of(&row.warranty).status(today);
        let (labour, parts) = (status.labour.holds(), status.parts.holds());
        let who_pays = match (labour, parts) {
            (true, true) => "The shop pays labor and parts.",
            (true, false) => "The shop pays labor, the customer pays parts.",
            (false, true) => "The shop pays parts, the customer pays labor.",
            (false, false) => "The customer pays.",
        };
        Self {
            component: row.component.name.clone(),
            call_number: row.call.number.clone(),
            written_on: row.warranty.written_on,
            labour_through: row.warranty.labour_through,
            parts_through: row.warranty.parts_through,
            labour_in_force: labour,
            parts_in_force: parts,
            who_pays: who_pays.to_owned(),
        }
    }
}

/// An estimate that is not settled.
#[derive(SimpleObject)]
pub struct BriefEstimate {
    /// Its number.
    number: String,
    /// Which revision.
    revision: i32,
    /// Where it stands.
    state: EstimateState,
    /// When it was sent.
    sent_at: Option<DateTime<Utc>>,
    /// Last day it can be accepted.
    valid_until: Option<NaiveDate>,
    /// Its alternatives, in order.
    options: Vec<BriefOption>,
}

impl BriefEstimate {
    /// One estimate for the rows of its options, which stand together.
    fn all(rows: &[Offer]) -> Vec<Self> {
        rows.chunk_by(|a, b| a.revision.id == b.revision.id)
            .filter_map(|rows| {
                let first = rows.first()?;
                Some(Self {
                    number: first.estimate.number.clone(),
                    revision: first.revision.revision,
                    state: first.revision.state.into(),
                    sent_at: first.revision.sent_at,
                    valid_until: first.revision.valid_until,
                    options: rows.iter().filter_map(BriefOption::of).collect(),
                })
            })
            .collect()
    }
}

/// One alternative of an estimate.
#[derive(SimpleObject)]
pub struct BriefOption {
    /// Its short name.
    title: String,
    /// Whether the customer accepted it.
    accepted: bool,
    /// What the customer would pay.
    total: Money,
}

impl BriefOption {
    fn of(row: &Offer) -> Option<Self> {
        let option = row.option.as_ref()?;
        Some(Self {
            title: option.title.clone(),
            accepted: row.revision.accepted_option_id == Some(option.id),
            total: Money::cents(option.total_cents),
        })
    }
}

/// A failure that is back on this machine, or on machines that it shares something with.
#[derive(SimpleObject)]
pub struct BriefFlag {
    /// Id of the flag.
    id: ID,
    /// How loud it is.
    level: FlagLevel,
    /// How far it was dealt with.
    state: FlagState,
    /// What failed.
    component: String,
    /// How it failed.
    failure_mode: String,
    /// What came back, when it was repaired before, and which rule was met.
    reason: String,
    /// When it was raised.
    raised_at: DateTime<Utc>,
    /// How often such repairs come back on the shop's other machines; of a pattern, comparable repairs of others. Null for
    /// what machines share at an address.
    base_rate: Option<BaseRate>,
    /// What several machines have in common; null for a flag about this machine alone.
    pattern: Option<FlagPattern>,
    /// What to look at, in order.
    next_checks: Vec<String>,
    /// What to mind before touching it.
    cautions: Vec<String>,
    /// What may have burnt the joint, by what was measured on calls on which it was found; null where no joint was hot.
    bearings: Option<Bearings>,
}

impl BriefFlag {
    fn of(brief: &Brief, row: &Flagged) -> async_graphql::Result<Self> {
        let flag = &row.flag;
        let bearings = dangers::joint(brief, row);
        Ok(Self {
            id: Kind::Flag.id(flag.id),
            level: flag.level.into(),
            state: flag.state.into(),
            component: row.component.name.clone(),
            failure_mode: row.mode.name.clone(),
            reason: flag.reason.clone(),
            raised_at: flag.raised_at,
            base_rate: BaseRate::of(flag),
            pattern: FlagPattern::of(flag),
            next_checks: texts(&flag.next_checks_json)?,
            cautions: texts(&flag.cautions_json)?,
            bearings: bearings.map(|examined| Bearings::of(examined, flag.call_id)),
        })
    }
}

/// The earlier call of which this one is, or may be, the return.
#[derive(SimpleObject)]
pub struct BriefCallback {
    /// The callback and what was made of it.
    callback: Callback,
    /// Number of the earlier call.
    earlier_call_number: Option<String>,
    /// The day its work was done.
    earlier_completed_on: Option<NaiveDate>,
}

/// Another machine at the address.
#[derive(SimpleObject)]
pub struct BriefMachine {
    /// What kind of machine it is.
    kind: String,
    /// The machine.
    appliance: Appliance,
    /// Failures that are back on it and not dealt with; newest first.
    flags: Vec<BriefMachineFlag>,
}

impl BriefMachine {
    fn of(brief: &Brief, row: &Machine) -> Self {
        let flags = brief.other_flags.iter();
        let its = flags.filter(|flagged| flagged.flag.appliance_id == row.appliance.id);
        Self {
            kind: row.appliance_type.name.clone(),
            appliance: row.appliance.clone().into(),
            flags: its.map(BriefMachineFlag::of).collect(),
        }
    }
}

/// A failure that is back on another machine at the address.
#[derive(SimpleObject)]
pub struct BriefMachineFlag {
    /// How loud it is.
    level: FlagLevel,
    /// How far it was dealt with.
    state: FlagState,
    /// What failed.
    component: String,
    /// How it failed.
    failure_mode: String,
    /// What came back, when it was repaired before, and which rule was met.
    reason: String,
}

impl BriefMachineFlag {
    fn of(row: &Flagged) -> Self {
        Self {
            level: row.flag.level.into(),
            state: row.flag.state.into(),
            component: row.component.name.clone(),
            failure_mode: row.mode.name.clone(),
            reason: row.flag.reason.clone(),
        }
    }
}

/// A trip for the call.
#[derive(SimpleObject)]
pub struct BriefVisit {
    /// The day.
    planned_on: NaiveDate,
    /// Arrival window as told to the customer.
    window: Option<String>,
    /// Name of who makes it.
    technician: String,
    /// Whether it was made.
    state: VisitState,
    /// Why the call needed another visit; null for a first one, and where nobody said.
    reason: Option<VisitReason>,
    /// What was said about the reason.
    reason_note: Option<String>,
}

impl From<Trip> for BriefVisit {
    fn from(row: Trip) -> Self {
        Self {
            planned_on: row.visit.planned_on,
            window: row.visit.window,
            technician: row.technician.name,
            state: row.visit.state.into(),
            reason: row.visit.reason.map(Into::into),
            reason_note: row.visit.reason_note,
        }
    }
}

/// Parts ordered for the call: there, or still to come.
#[derive(SimpleObject)]
pub struct BriefPartOrder {
    /// Its number.
    number: String,
    /// Where it stands.
    state: PartOrderState,
    /// Part number.
    part: String,
    /// What the part is.
    description: String,
    /// How many were ordered.
    quantity: ExactDecimal,
    /// How many came so far.
    received_quantity: ExactDecimal,
    /// The day it is expected.
    expected_on: Option<NaiveDate>,
}

impl From<Ordered> for BriefPartOrder {
    fn from(row: Ordered) -> Self {
        Self {
            number: row.order.number,
            state: row.order.state.into(),
            part: row.part.number,
            description: row.part.description,
            quantity: row.order.quantity.into(),
            received_quantity: row.order.received_quantity.into(),
            expected_on: row.order.expected_on,
        }
    }
}

/// The arrival brief.
#[derive(Default)]
pub struct BriefQuery;

#[Object]
impl BriefQuery {
    /// All there is to know before ringing the bell; null for a call that does not exist or that the caller may not see.
    #[graphql(complexity = "50 + child_complexity")]
    async fn arrival_brief(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call; for a technician an own one.")] call_id: ID,
    ) -> async_graphql::Result<Option<ArrivalBrief>> {
        let Ok(call_id) = Kind::ServiceCall.row("callId", &call_id) else {
            return Ok(None);
        };
        let brief = store::load(reader(ctx)?, act(ctx)?, call_id).await;
        brief.map_err(edge)?.map(ArrivalBrief::of).transpose()
    }
}
