//! Plays the plan through the shop's own operations, each on its day, so that the demo's past is made of
//! nothing that a real shop could not have done.

mod bank;
mod billing;
mod opening;
mod stocking;
mod templates;
mod treasury;

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use nameplate_entities::kinds::{
    Across, CallKind, Circuit, Method, Quantity, Role, VisitReason, VisitState,
};
use nameplate_entities::{invoice, payment, service_call, staff};
use nameplate_rules::money::Cents;
use nameplate_rules::readings::Unit;
use rust_decimal::Decimal;

use crate::base::{Act, App, Caller, Error, Result};
use crate::calls::{NewCall, NewFinding};
use crate::{callbacks, calls, closeout, stock};

use super::scenario::{Billing, CallPlan, How, Plan, ShopData};

/// The shop as it stands once its past was played.
pub struct Past {
    pub staff: Vec<staff::Model>,
    /// Ids in the order of the plan.
    pub customers: Vec<i64>,
    pub machines: Vec<i64>,
}

/// Plays shop and plan, each day at its noon; `app`'s clock is turned as it goes. Nothing of it happens on the
/// last day, which is `noon`'s.
///
/// # Errors
/// Whatever an operation refuses: then the plan is not one a shop could have lived.
pub async fn play(
    app: &Arc<App>,
    data: &ShopData,
    plan: &Plan,
    noon: DateTime<Utc>,
) -> Result<Past> {
    let mut player = Player {
        app,
        today: noon.date_naive(),
        noon,
        people: Vec::new(),
        parts: HashMap::new(),
        components: HashMap::new(),
        modes: HashMap::new(),
        customers: Vec::new(),
        machines: Vec::new(),
        types: Vec::new(),
        owed: Vec::new(),
        banking_back_days: super::scenario::HISTORY_DAYS,
        unbanked: Vec::new(),
        keys: 0,
    };
    player.open_shop(data).await?;
    player.record_customers(plan, data).await?;
    player.record_machines(plan).await?;
    player.record_templates(plan).await?;
    player.bring_in_capital().await?;
    for call in &plan.calls {
        player.keep_books(call.back_days).await?;
        player.play_call(call).await?;
    }
    player.keep_books(1).await?;
    player.load_van_and_count(1).await?;
    player.keep_books(0).await?;
    player.bank_statements().await?;
    Ok(Past {
        staff: player.people,
        customers: player
            .customers
            .iter()
            .map(|(customer, _)| *customer)
            .collect(),
        machines: player.machines,
    })
}

struct Player<'a> {
    app: &'a Arc<App>,
    today: NaiveDate,
    /// Noon of the day the plan counts back from.
    noon: DateTime<Utc>,
    people: Vec<staff::Model>,
    parts: HashMap<String, i64>,
    /// By type and name.
    components: HashMap<(String, String), i64>,
    modes: HashMap<String, i64>,
    /// Customer and service address.
    customers: Vec<(i64, i64)>,
    machines: Vec<i64>,
    /// Type of each machine, by key.
    types: Vec<String>,
    /// Invoices that will be paid, with the day.
    owed: Vec<(i64, invoice::Model)>,
    /// Days until the next banking.
    banking_back_days: i64,
    /// Receipts since the last banking.
    unbanked: Vec<payment::Model>,
    keys: u32,
}

impl Player<'_> {
    fn day(&self, back_days: i64) -> NaiveDate {
        let back = Days::new(u64::try_from(back_days).unwrap_or(0));
        self.today.checked_sub_days(back).unwrap_or(self.today)
    }

    /// Turns the clock to the middle of the day `back_days` ago and gives an act of `role` there.
    fn act(&self, back_days: i64, role: Role) -> Result<Act> {
        let person = self.people.iter().find(|person| person.role == role);
        let person = person.ok_or_else(|| Error::internal("nobody has this role"))?;
        Ok(self.act_of(back_days, person))
    }

    fn act_of(&self, back_days: i64, person: &staff::Model) -> Act {
        self.app.clock.set(self.noon - TimeDelta::days(back_days));
        self.app.act(Caller::Staff {
            id: person.id,
            role: person.role,
            session_id: 0,
        })
    }

    fn key(&mut self) -> String {
        self.keys += 1;
        format!("demo-{}", self.keys)
    }

    async fn play_call(&mut self, plan: &CallPlan) -> Result<()> {
        let desk = self.act(plan.back_days, Role::Office)?;
        let order = callbacks::OpenCall {
            idempotency_key: self.key(),
            call: NewCall {
                appliance_id: at(&self.machines, plan.machine)?,
                customer_id: None,
                service_address_id: None,
                kind: CallKind::Repair,
                complaint: plan.repair.complaint.clone(),
            },
        };
        let opened = callbacks::open_call(&desk, order).await?;
        let is_callback = opened.callback.is_some();
        if let Some(proposed) = &opened.callback {
            let decision = callbacks::DecideCallback {
                callback_id: proposed.id,
                decision: callbacks::Decision::Confirm { class: None },
                note: Some("The customer says it is the same fault again.".to_owned()),
            };
            closeout::decide_callback(&desk, decision).await?;
        }
        self.visit(plan, &opened.call, is_callback).await?;
        Ok(())
    }

    /// The visit on the next day: read, find, mend, complete, and settle the bill.
    async fn visit(
        &mut self,
        plan: &CallPlan,
        call: &service_call::Model,
        is_callback: bool,
    ) -> Result<()> {
        let technician = self.technician(plan.technician)?;
        let desk = self.act(plan.back_days, Role::Office)?;
        let visit_day = plan.back_days - 1;
        if let Some(reason) = plan.further_visit {
            self.go_in_vain(plan.back_days, (call.id, &technician), reason)
                .await?;
        }
        let visit = calls::ScheduleVisit {
            reason: plan.further_visit,
            ..trip(call.id, technician.id, self.day(visit_day))
        };
        let visit = stock::schedule_visit(&desk, visit).await?;
        let hands = self.act_of(visit_day, &technician);
        let circuits = [Circuit::Open, Circuit::Loaded];
        for (circuit, volts) in circuits.into_iter().zip(plan.volts_read.iter().flatten()) {
            calls::record_reading(&hands, supply_reading(call.id, circuit, volts)?).await?;
        }
        let billed = !is_callback && plan.billing != Billing::Free;
        if billed {
            self.offer(plan, call, &desk).await?;
        }
        self.find_and_mend(plan, call, &hands).await?;
        let finished = calls::FinishVisit {
            visit_id: visit.id,
            outcome: VisitState::Done,
        };
        closeout::finish_visit(&hands, finished).await?;
        let complete = closeout::CompleteCall {
            idempotency_key: self.key(),
            call_id: call.id,
            completed_on: None,
        };
        closeout::complete_call(&hands, complete).await?;
        if billed {
            self.bill(plan, call).await?;
        }
        Ok(())
    }

    /// A trip on the day of the call that another must follow.
    async fn go_in_vain(
        &self,
        back_days: i64,
        (call_id, technician): (i64, &staff::Model),
        reason: VisitReason,
    ) -> Result<()> {
        let desk = self.act(back_days, Role::Office)?;
        let visit = trip(call_id, technician.id, self.day(back_days));
        let visit = stock::schedule_visit(&desk, visit).await?;
        let finished = calls::FinishVisit {
            visit_id: visit.id,
            outcome: match reason {
                VisitReason::NotHome => VisitState::Missed,
                _ => VisitState::Done,
            },
        };
        closeout::finish_visit(&self.act_of(back_days, technician), finished).await?;
        Ok(())
    }

    fn technician(&self, number: usize) -> Result<staff::Model> {
        let mut technicians = self
            .people
            .iter()
            .filter(|person| person.role == Role::Technician);
        technicians
            .nth(number)
            .cloned()
            .ok_or_else(|| Error::internal("the plan names a technician who is not there"))
    }
}

impl Player<'_> {
    async fn find_and_mend(
        &mut self,
        plan: &CallPlan,
        call: &service_call::Model,
        hands: &Act,
    ) -> Result<()> {
        let key = self.key();
        let kind = self.types.get(plan.machine).cloned().unwrap_or_default();
        let found = callbacks::RecordFinding {
            idempotency_key: key,
            finding: NewFinding {
                call_id: call.id,
                component_id: found(&self.components, &(kind, plan.repair.component.clone()))?,
                failure_mode_id: found(&self.modes, &plan.repair.mode)?,
                position: None,
                cause: None,
                note: None,
            },
        };
        let recorded = callbacks::record_finding(hands, found).await?;
        if recorded.flag.is_some() || !recorded.patterns.is_empty() {
            let cause = calls::RecordRootCause {
                call_id: call.id,
                root_cause: "The earlier joint did not hold its pressure; it was made new."
                    .to_owned(),
            };
            calls::record_root_cause(hands, cause).await?;
        }
        let parts = self
            .parts_of(plan)?
            .into_iter()
            .map(|part_id| calls::PartFitted {
                part_id,
                quantity: Decimal::ONE,
                lot: plan.batch.map(str::to_owned),
                place_id: None,
            })
            .collect();
        let remedy = calls::RecordRemedy {
            idempotency_key: self.key(),
            finding_id: recorded.finding.id,
            method: match plan.how {
                How::Replaced => Method::Replaced,
                How::ReTerminated => Method::ReTerminated,
                How::Spliced => Method::Spliced,
            },
            labour_minutes: plan.repair.minutes,
            note: None,
            parts,
        };
        calls::record_remedy(hands, remedy).await?;
        Ok(())
    }

    /// Ids of the parts a repair takes: a splice takes a connector, everything else its own parts.
    fn parts_of(&self, plan: &CallPlan) -> Result<Vec<i64>> {
        let splice = ["SP-HT".to_owned()];
        let numbers: &[String] = match plan.how {
            How::Spliced => &splice,
            How::Replaced | How::ReTerminated => &plan.repair.parts,
        };
        numbers
            .iter()
            .map(|number| found(&self.parts, number))
            .collect()
    }
}

/// A trip for a call, in the morning.
fn trip(call_id: i64, technician_id: i64, planned_on: NaiveDate) -> calls::ScheduleVisit {
    calls::ScheduleVisit {
        call_ids: vec![call_id],
        technician_id,
        planned_on,
        window: Some("8 to 12".to_owned()),
        reason: None,
        reason_note: None,
    }
}

/// Volts at the terminals, as somebody metered them.
fn supply_reading(call_id: i64, circuit: Circuit, volts: &str) -> Result<calls::RecordReading> {
    Ok(calls::RecordReading {
        call_id,
        quantity: Quantity::Voltage,
        value: decimal(volts)?,
        unit: Unit::Volt,
        place: match circuit {
            Circuit::Open => "terminal block, all burners off".to_owned(),
            Circuit::Loaded => "terminal block, all burners on".to_owned(),
        },
        isolated: false,
        wire_awg: None,
        insulation_c: None,
        terminals_c: None,
        breaker_amps: None,
        continuous: false,
        circuit: Some(circuit),
        across: Some(Across::Supply),
        part: None,
        supply_volts: None,
        note: None,
    })
}

fn found<K: std::hash::Hash + Eq>(map: &HashMap<K, i64>, key: &K) -> Result<i64> {
    map.get(key)
        .copied()
        .ok_or_else(|| Error::internal("the plan names something the shop does not know"))
}

fn at<T: Copy>(all: &[T], position: usize) -> Result<T> {
    all.get(position)
        .copied()
        .ok_or_else(|| Error::internal("the plan points past its end"))
}

fn cents(text: &str) -> Result<Cents> {
    Cents::parse(text).map_err(|error| Error::caused("an amount of the plan", error))
}

fn decimal(text: &str) -> Result<Decimal> {
    Decimal::from_str_exact(text).map_err(|error| Error::caused("a number of the plan", error))
}
