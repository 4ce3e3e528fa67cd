//! The brief in the graph: records where they have a type of their own, plain words for the rest.

pub mod cover;
pub mod history;

use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::Fuel;
use nameplate_rules::cautions::{Caution, Supply};
use nameplate_rules::flags::ComponentClass;

use crate::appliances::graphql::{Appliance, ApplianceType};
use crate::callbacks::graphql::flag::texts;
use crate::callbacks::graphql::{BaseRate, Callback, FlagLevel, FlagState};
use crate::callbacks::hazard;
use crate::calls::graphql::ServiceCall;
use crate::customers::graphql::{Contact, Customer, ServiceAddress};
use crate::estimates::graphql::EstimateState;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::recalls::graphql::ApplianceRecall;
use crate::stock::graphql::orders::PartOrderState;
use crate::warranty;

use super::store::{self, Brief, Flagged, Machine, Offer, Ordered, Promise, Trip};

pub use cover::BriefCover;
pub use history::BriefCall;

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
    /// Earlier calls on the machine with all that was found, measured, done and fitted; newest first, 20 at most.
    history: Vec<BriefCall>,
    /// Safety recalls that are or may be about the machine; newest first. The maker's notice comes first.
    recalls: Vec<ApplianceRecall>,
    /// What the shop still stands behind.
    warranties: Vec<BriefWarranty>,
    /// Who stands behind the machine, in the order in which they are asked, and what they want to see.
    cover: Vec<BriefCover>,
    /// Estimates on the machine that are drafted, sent or accepted; newest first.
    estimates: Vec<BriefEstimate>,
    /// What the customer still owes on issued invoices.
    balance: Money,
    /// Failures that are back and not dealt with; newest first.
    flags: Vec<BriefFlag>,
    /// The earlier call of which this one is, or may be, the return.
    callback: Option<BriefCallback>,
    /// Other machines at the address.
    other_machines: Vec<BriefMachine>,
    /// Trips planned for this call, in their order.
    visits: Vec<BriefVisit>,
    /// Parts ordered for this call, oldest first.
    part_orders: Vec<BriefPartOrder>,
    /// What to mind on this machine before touching it.
    cautions: Vec<String>,
}

impl ArrivalBrief {
    fn of(brief: Brief) -> async_graphql::Result<Self> {
        let cautions = cautions(&brief);
        let history = history::entries(&brief);
        let (today, ticket) = (brief.today, brief.ticket);
        let promises = brief.warranties.iter();
        let flags = brief.flags.iter().map(BriefFlag::of);
        Ok(Self {
            today,
            contacts: brief.contacts.into_iter().map(Contact::from).collect(),
            history,
            recalls: brief.recalls.into_iter().map(Into::into).collect(),
            warranties: promises.map(|row| BriefWarranty::of(row, today)).collect(),
            cover: BriefCover::all(brief.cover),
            estimates: BriefEstimate::all(&brief.estimates),
            balance: brief.balance.into(),
            flags: flags.collect::<async_graphql::Result<_>>()?,
            callback: ticket.callback.map(|callback| BriefCallback {
                earlier_call_number: ticket.earlier.as_ref().map(|call| call.number.clone()),
                earlier_completed_on: ticket.earlier.as_ref().and_then(|call| call.completed_on),
                callback: callback.into(),
            }),
            other_machines: brief.other_machines.into_iter().map(Into::into).collect(),
            visits: brief.visits.into_iter().map(Into::into).collect(),
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

/// What the type of machine and its fuel ask for, and the danger of what came back; each once, isolation first.
fn cautions(brief: &Brief) -> Vec<Caution> {
    let supply = match brief.ticket.appliance.fuel {
        Fuel::NaturalGas | Fuel::LiquidGas => Supply::Gas,
        Fuel::Electric | Fuel::None => Supply::NoGas,
    };
    let mut all = Caution::for_machine(&brief.ticket.appliance_type.key, supply);
    for row in &brief.flags {
        let class = ComponentClass::named(&row.component.name);
        let danger = class.hazard(&row.mode.key, hazard(row.mode.hazard));
        all.extend(Caution::for_hazard(danger));
    }
    all.sort_unstable();
    all.dedup();
    all
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

/// A failure that is back on this machine.
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
    /// How often such repairs come back on the shop's other machines.
    base_rate: BaseRate,
    /// What to look at, in order.
    next_checks: Vec<String>,
    /// What to mind before touching it.
    cautions: Vec<String>,
}

impl BriefFlag {
    fn of(row: &Flagged) -> async_graphql::Result<Self> {
        let flag = &row.flag;
        Ok(Self {
            id: Kind::Flag.id(flag.id),
            level: flag.level.into(),
            state: flag.state.into(),
            component: row.component.name.clone(),
            failure_mode: row.mode.name.clone(),
            reason: flag.reason.clone(),
            raised_at: flag.raised_at,
            base_rate: BaseRate::of(flag),
            next_checks: texts(&flag.next_checks_json)?,
            cautions: texts(&flag.cautions_json)?,
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
}

impl From<Machine> for BriefMachine {
    fn from(row: Machine) -> Self {
        Self {
            kind: row.appliance_type.name,
            appliance: row.appliance.into(),
        }
    }
}

/// A trip planned for the call.
#[derive(SimpleObject)]
pub struct BriefVisit {
    /// The day.
    planned_on: NaiveDate,
    /// Arrival window as told to the customer.
    window: Option<String>,
    /// Name of who makes it.
    technician: String,
}

impl From<Trip> for BriefVisit {
    fn from(row: Trip) -> Self {
        Self {
            planned_on: row.visit.planned_on,
            window: row.visit.window,
            technician: row.technician.name,
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
