//! The plan of the brief: what is read for the calls of a day is read for all of them together, so that a day takes as many
//! statements as one call. Each function of `machine` and `place` is one statement, patterns and recalls are two at most; only cover
//! is asked machine by machine, at most 15 statements each.

mod machine;
mod patterns;
mod place;
mod route;

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, VisitState};
use nameplate_entities::{
    appliance, appliance_type, callback, contact, customer, reading, service_address, service_call,
};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, IdenStatic};

use crate::base::own_work::Sight;
use crate::base::{Act, Result, joined};
use crate::{coverage, recalls, shop};

pub use machine::{Done, Flagged, Found, HISTORY_MAX, Offer, Promise};
use patterns::Patterns;
pub use place::{Machine, Ordered, Trip};
pub use route::{Route, Stop, day_route};

/// Everything the brief says.
#[derive(Clone)]
pub struct Brief {
    pub ticket: Ticket,
    pub today: NaiveDate,
    pub contacts: Vec<contact::Model>,
    /// Earlier calls on the machine, newest first.
    pub history: Vec<service_call::Model>,
    /// Those that were opened after the call, newest first.
    pub later: Vec<service_call::Model>,
    /// What was found on the call itself, on those of the history and on later ones; so too remedies and readings.
    pub findings: Vec<Found>,
    pub remedies: Vec<Done>,
    pub readings: Vec<reading::Model>,
    /// Recalls that are or may be about the machine.
    pub recalls: Vec<recalls::Matched>,
    pub warranties: Vec<Promise>,
    /// What the machine is covered by on the day of the next visit.
    pub cover: Vec<coverage::CoverAhead>,
    pub estimates: Vec<Offer>,
    pub balance: Cents,
    /// Flags that are not closed: of the machine, and of what it shares with others.
    pub flags: Vec<Flagged>,
    pub other_machines: Vec<Machine>,
    /// Flags of the other machines that are not closed.
    pub other_flags: Vec<Flagged>,
    /// Trips of the call that are planned.
    pub visits: Vec<Trip>,
    /// Those that were made or missed.
    pub earlier_visits: Vec<Trip>,
    /// Parts ordered for the call.
    pub part_orders: Vec<Ordered>,
}

/// The call with all that it points to.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Ticket {
    #[sea_orm(nested(prefix = "service_call_"))]
    pub call: service_call::Model,
    #[sea_orm(nested(prefix = "appliance_"))]
    pub appliance: appliance::Model,
    #[sea_orm(nested(prefix = "appliance_type_"))]
    pub appliance_type: appliance_type::Model,
    #[sea_orm(nested(prefix = "customer_"))]
    pub customer: customer::Model,
    #[sea_orm(nested(prefix = "service_address_"))]
    pub address: service_address::Model,
    #[sea_orm(nested(prefix = "callback_"))]
    pub callback: Option<callback::Model>,
    /// The call of which this one is, or may be, the callback.
    #[sea_orm(nested(prefix = "earlier_"))]
    pub earlier: Option<service_call::Model>,
}

/// Reads the brief of a call; `None` for one that does not exist or that the caller may not see.
///
/// # Errors
/// Internal only.
pub async fn load(db: &impl ConnectionTrait, act: &Act, call_id: i64) -> Result<Option<Brief>> {
    Ok(load_all(db, act, &[call_id]).await?.pop())
}

/// Reads the briefs of these calls, by call; those that the caller may not see are left out.
///
/// # Errors
/// Internal only.
pub async fn load_all(
    db: &impl ConnectionTrait,
    act: &Act,
    call_ids: &[i64],
) -> Result<Vec<Brief>> {
    let tickets = tickets(db, act, call_ids).await?;
    if tickets.is_empty() {
        return Ok(Vec::new());
    }
    let gathered = Gathered::read(db, act, &tickets).await?;
    let mut briefs = Vec::with_capacity(tickets.len());
    for ticket in tickets {
        let next = gathered.next_visit(ticket.call.id);
        let of_call = (&ticket.call, &ticket.appliance);
        let cover = coverage::before_visit(db, of_call, next).await?;
        briefs.push(gathered.brief(ticket, cover));
    }
    Ok(briefs)
}

async fn tickets(db: &impl ConnectionTrait, act: &Act, call_ids: &[i64]) -> Result<Vec<Ticket>> {
    let mut query = joined::select::<service_call::Entity>();
    joined::to::<appliance::Entity>(&mut query, ("service_call", "appliance_id", "id"));
    joined::to::<appliance_type::Entity>(&mut query, ("appliance", "appliance_type_id", "id"));
    joined::to::<customer::Entity>(&mut query, ("service_call", "customer_id", "id"));
    joined::to::<service_address::Entity>(&mut query, ("service_call", "service_address_id", "id"));
    joined::to_if_any::<callback::Entity>(&mut query, ("service_call", "id", "call_id"));
    joined::to_if_any_as::<service_call::Entity>(
        &mut query,
        "earlier",
        ("callback", "earlier_call_id", "id"),
    );
    query
        .and_where(service_call::Column::Id.is_in(call_ids.iter().copied()))
        .cond_where(Sight::of(act).calls(service_call::Column::Id))
        .order_by((service_call::Entity, service_call::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

/// What was read for some calls together.
struct Gathered {
    today: NaiveDate,
    contacts: Vec<contact::Model>,
    /// The calls themselves and earlier ones on their machines, newest first.
    calls: Vec<service_call::Model>,
    findings: Vec<Found>,
    remedies: Vec<Done>,
    readings: Vec<reading::Model>,
    recalls: HashMap<i64, Vec<recalls::Matched>>,
    warranties: Vec<Promise>,
    estimates: Vec<Offer>,
    balances: HashMap<i64, Cents>,
    flags: Vec<Flagged>,
    patterns: Patterns,
    /// All machines at the addresses.
    machines: Vec<Machine>,
    visits: Vec<Trip>,
    part_orders: Vec<Ordered>,
}

impl Gathered {
    async fn read(db: &impl ConnectionTrait, act: &Act, tickets: &[Ticket]) -> Result<Self> {
        let calls = ids(tickets, |ticket| ticket.call.id);
        let machines = ids(tickets, |ticket| ticket.appliance.id);
        let customers = ids(tickets, |ticket| ticket.customer.id);
        let addresses = ids(tickets, |ticket| ticket.address.id);
        let today = shop::settings(db).await?.day_of(act.at);
        let history = machine::calls(db, &calls, &machines).await?;
        let of_history: Vec<i64> = history.iter().map(|call| call.id).collect();
        let neighbours = place::machines(db, &addresses).await?;
        let there = neighbours.iter().map(|row| row.appliance.id);
        let flagged: BTreeSet<i64> = machines.iter().copied().chain(there).collect();
        let appliances: Vec<appliance::Model> = (tickets.iter())
            .map(|ticket| ticket.appliance.clone())
            .collect();
        Ok(Self {
            today,
            contacts: place::contacts(db, &customers).await?,
            findings: machine::findings(db, &of_history).await?,
            remedies: machine::remedies(db, &of_history).await?,
            readings: machine::readings(db, &of_history).await?,
            recalls: recalls::about_each(db, &appliances).await?,
            warranties: machine::warranties(db, &machines, today).await?,
            estimates: machine::estimates(db, &machines).await?,
            balances: place::balances(db, &customers).await?,
            flags: machine::flags(db, flagged).await?,
            patterns: Patterns::read(db, &machines).await?,
            visits: place::visits(db, &calls).await?,
            part_orders: place::part_orders(db, &calls).await?,
            machines: neighbours,
            calls: history,
        })
    }

    /// The day of a call's next visit; today where none is planned.
    fn next_visit(&self, call_id: i64) -> NaiveDate {
        let planned = self.visits.iter().filter(|trip| {
            trip.served.call_id == call_id && trip.visit.state == VisitState::Planned
        });
        let days = planned.map(|trip| trip.visit.planned_on);
        let next = days.filter(|day| *day >= self.today).min();
        next.unwrap_or(self.today)
    }

    /// What belongs to one call. Two calls of a day may share a machine, so nothing is taken out.
    fn brief(&self, ticket: Ticket, cover: Vec<coverage::CoverAhead>) -> Brief {
        let (call_id, machine_id) = (ticket.call.id, ticket.appliance.id);
        let customer_id = ticket.customer.id;
        let mut others = all(&self.calls, |row| {
            let is_another = row.appliance_id == machine_id && row.id != call_id;
            is_another && row.state != CallState::Cancelled
        });
        others.truncate(HISTORY_MAX);
        let mut told: BTreeSet<i64> = others.iter().map(|row| row.id).collect();
        told.insert(call_id);
        let opened = (ticket.call.opened_at, call_id);
        let (history, later) =
            (others.into_iter()).partition(|row| (row.opened_at, row.id) < opened);
        let findings = all(&self.findings, |row| told.contains(&row.finding.call_id));
        let found: BTreeSet<i64> = findings.iter().map(|row| row.finding.id).collect();
        let (other_machines, other_flags) = self.neighbours(&ticket);
        let of_call = all(&self.visits, |trip| trip.served.call_id == call_id);
        let is_planned = |trip: &Trip| trip.visit.state == VisitState::Planned;
        let (visits, earlier_visits) = of_call.into_iter().partition(is_planned);
        let part_orders = all(&self.part_orders, |row| row.order.call_id == Some(call_id));
        let mut flags = all(&self.flags, |row| row.flag.appliance_id == machine_id);
        let patterns = self.patterns.about(&ticket.appliance, &part_orders);
        flags.extend(patterns.cloned());
        Brief {
            today: self.today,
            contacts: all(&self.contacts, |row| row.customer_id == customer_id),
            remedies: all(&self.remedies, |row| found.contains(&row.remedy.finding_id)),
            readings: all(&self.readings, |row| told.contains(&row.call_id)),
            recalls: self.recalls.get(&machine_id).cloned().unwrap_or_default(),
            warranties: all(&self.warranties, |row| {
                row.warranty.appliance_id == machine_id
            }),
            estimates: all(&self.estimates, |row| row.call.appliance_id == machine_id),
            balance: (self.balances.get(&customer_id).copied()).unwrap_or(Cents::ZERO),
            flags,
            part_orders,
            cover,
            history,
            later,
            findings,
            other_machines,
            other_flags,
            visits,
            earlier_visits,
            ticket,
        }
    }

    /// Other machines at the address, and their flags.
    fn neighbours(&self, ticket: &Ticket) -> (Vec<Machine>, Vec<Flagged>) {
        let mut machines = all(&self.machines, |row| {
            let is_there = row.appliance.service_address_id == ticket.address.id;
            is_there && row.appliance.id != ticket.appliance.id
        });
        machines.truncate(place::OTHER_MACHINES_MAX);
        let ids: BTreeSet<i64> = machines.iter().map(|row| row.appliance.id).collect();
        let flags = all(&self.flags, |row| ids.contains(&row.flag.appliance_id));
        (machines, flags)
    }
}

/// All of these rows, in their order.
fn all<T: Clone>(rows: &[T], is_wanted: impl Fn(&T) -> bool) -> Vec<T> {
    rows.iter().filter(|row| is_wanted(row)).cloned().collect()
}

/// Each id once.
fn ids(tickets: &[Ticket], id: impl Fn(&Ticket) -> i64) -> Vec<i64> {
    let all: BTreeSet<i64> = tickets.iter().map(id).collect();
    all.into_iter().collect()
}

/// Ids of the first rows, in this order, of each group that shares a value of `of`, so that a group with many takes no place
/// from another.
fn first_of_each<E: EntityTrait>(
    of: E::Column,
    groups: &[i64],
    (order, rows_max): (&'static str, u64),
) -> SelectStatement {
    let place = format!(
        "ROW_NUMBER() OVER (PARTITION BY {} ORDER BY {order})",
        of.as_str()
    );
    let placed = Query::select()
        .column("id")
        .expr_as(Expr::cust(place), "place")
        .from(E::default())
        .and_where(of.is_in(groups.iter().copied()))
        .to_owned();
    Query::select()
        .column("id")
        .from_subquery(placed, "placed")
        .and_where(Expr::col("place").lte(rows_max))
        .to_owned()
}
