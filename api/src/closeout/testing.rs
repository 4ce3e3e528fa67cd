//! A small shop on a fresh database for tests of the acts over a call, with a clock that they turn.

#![expect(clippy::missing_panics_doc, reason = "a test that panics has failed")]

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use nameplate_entities::kinds::{CallKind, CustomerKind, Fuel, Method, Role};
use nameplate_entities::{
    appliance, appliance_type, callback, component, failure_mode, flag, outbox_mail, part,
    repair_tally, service_address, service_call,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::base::testing::Bench;
use crate::base::{Act, App, Caller, Error, ProblemCode, Result};
use crate::callbacks::{OpenCall, Opened, RecordFinding, Recorded};
use crate::calls::{NewCall, NewFinding, PartFitted, RecordRemedy, RecordRootCause};
use crate::{appliances, books, callbacks, calls, customers, pricing, shop};

use super::{CompleteCall, CompletedCall, complete_call};

/// A shop with an owner, two technicians, one customer and one address.
pub struct Workshop {
    pub app: Arc<App>,
    _bench: Bench,
    pub owner_id: i64,
    pub technician_id: i64,
    pub other_technician_id: i64,
    pub address: service_address::Model,
    keys: std::sync::atomic::AtomicU64,
}

/// A calendar day from its text.
pub fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn noon(on: NaiveDate) -> DateTime<Utc> {
    on.and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(12)
}

impl Workshop {
    /// Opens it on a day, on a `SQLite` file.
    pub async fn open(on: &str) -> Self {
        Self::on_bench(Bench::new().await, on).await
    }

    /// One on each database there is to test on.
    pub async fn everywhere(on: &str) -> Vec<Self> {
        let mut shops = Vec::new();
        for bench in Bench::everywhere().await {
            shops.push(Self::on_bench(bench, on).await);
        }
        shops
    }

    async fn on_bench(bench: Bench, on: &str) -> Self {
        let app = Arc::clone(&bench.app);
        app.clock.set(noon(day(on)));
        let program = app.act(Caller::Program);
        shop::open(&program).await.expect("a shop");
        appliances::open(&program).await.expect("lists");
        books::open(&program).await.expect("books");
        callbacks::open(&program).await.expect("advice");
        let staff = async |name: &str, role| {
            let new = shop::AddStaff {
                name: name.to_owned(),
                email: format!("{name}@shop.example"),
                role,
                password: "a long enough password".to_owned(),
            };
            shop::add_staff(&program, new).await.expect("staff").id
        };
        let owner_id = staff("owner", Role::Owner).await;
        let technician_id = staff("technician", Role::Technician).await;
        let other_technician_id = staff("other", Role::Technician).await;
        let owner = app.act(caller(owner_id, Role::Owner));
        let address = address(&owner).await;
        Self {
            app,
            _bench: bench,
            owner_id,
            technician_id,
            other_technician_id,
            address,
            keys: std::sync::atomic::AtomicU64::new(0),
        }
    }

    /// The owner, now.
    pub fn owner(&self) -> Act {
        self.app.act(caller(self.owner_id, Role::Owner))
    }

    /// A technician, now.
    pub fn technician(&self, id: i64) -> Act {
        self.app.act(caller(id, Role::Technician))
    }

    /// Turns the clock to noon of a day.
    pub fn on(&self, on: NaiveDate) {
        self.app.clock.set(noon(on));
    }

    /// A key that no request had yet.
    pub fn key(&self) -> String {
        let ordering = std::sync::atomic::Ordering::Relaxed;
        format!("key {}", self.keys.fetch_add(1, ordering))
    }

    /// Gives a machine another model.
    pub async fn rename(&self, machine: &appliance::Model, model: &str) {
        let change = appliances::ChangeAppliance {
            appliance_id: machine.id,
            version: machine.version,
            make: None,
            model: Some(model.to_owned()),
            serial: None,
            fuel: None,
            plate: appliances::PlateChange::default(),
            built_in: None,
        };
        let changed = callbacks::change_appliance(&self.owner(), change).await;
        changed.expect("changed");
    }

    /// A range; without a serial it gets a shop tag.
    pub async fn machine(&self, serial: Option<&str>) -> appliance::Model {
        let kind = appliance_type::Entity::find()
            .filter(appliance_type::Column::Key.eq("range"))
            .one(self.app.db.read())
            .await
            .expect("types")
            .expect("ranges");
        let new = appliances::AddAppliance {
            appliance_type_id: kind.id,
            customer_id: self.address.customer_id,
            service_address_id: self.address.id,
            make: "Hearthline".to_owned(),
            model: "HX-30".to_owned(),
            serial: serial.map(str::to_owned),
            unreadable_reason: serial.is_none().then(|| "painted over".to_owned()),
            fuel: Fuel::Electric,
            plate: appliances::Plate::default(),
            built_in: false,
        };
        let added = appliances::add_appliance(&self.owner(), &self.key(), new).await;
        added.expect("a machine").appliance
    }

    /// A component of ranges and a failure mode, by name and key.
    pub async fn failure(&self, component: &str, mode: &str) -> (i64, i64) {
        let component = component::Entity::find()
            .filter(component::Column::Name.eq(component))
            .one(self.app.db.read())
            .await
            .expect("components")
            .expect("a component");
        let mode = failure_mode::Entity::find()
            .filter(failure_mode::Column::Key.eq(mode))
            .one(self.app.db.read())
            .await
            .expect("modes")
            .expect("a mode");
        (component.id, mode.id)
    }

    /// A part that costs so much.
    pub async fn part(&self, cost: Cents) -> part::Model {
        let new = pricing::AddPart {
            number: self.key(),
            description: "terminal kit".to_owned(),
            supplier: None,
            cost,
            fixed_price: None,
            list_price: None,
            maker_warranty_months: None,
            ..pricing::AddPart::default()
        };
        pricing::add_part(&self.owner(), new).await.expect("a part")
    }

    pub async fn open_call(&self, machine: &appliance::Model, kind: CallKind) -> Opened {
        let command = OpenCall {
            idempotency_key: self.key(),
            call: NewCall {
                appliance_id: machine.id,
                customer_id: None,
                service_address_id: None,
                kind,
                complaint: "it does not heat".to_owned(),
            },
        };
        let opened = callbacks::open_call(&self.owner(), command).await;
        opened.expect("a call")
    }

    pub async fn find(&self, call: &service_call::Model, failure: (i64, i64)) -> Recorded {
        let command = RecordFinding {
            idempotency_key: self.key(),
            finding: NewFinding {
                call_id: call.id,
                component_id: failure.0,
                failure_mode_id: failure.1,
                position: None,
                cause: None,
                note: None,
            },
        };
        let recorded = callbacks::record_finding(&self.owner(), command).await;
        recorded.expect("a finding")
    }

    pub async fn mend(&self, found: &Recorded, method: Method, parts: Vec<i64>) {
        let new = RecordRemedy {
            idempotency_key: self.key(),
            finding_id: found.finding.id,
            method,
            labour_minutes: 40,
            note: None,
            parts: parts
                .into_iter()
                .map(|part_id| PartFitted {
                    part_id,
                    quantity: Decimal::ONE,
                    lot: None,
                    place_id: None,
                })
                .collect(),
        };
        let mended = calls::record_remedy(&self.owner(), new).await;
        mended.expect("a remedy");
    }

    pub async fn complete(&self, call: &service_call::Model) -> Result<CompletedCall> {
        let command = CompleteCall {
            idempotency_key: self.key(),
            call_id: call.id,
            completed_on: None,
        };
        complete_call(&self.owner(), command).await
    }

    /// A whole repair on one day: opened, found, replaced, its root cause written down, completed.
    pub async fn repair(
        &self,
        machine: &appliance::Model,
        on: NaiveDate,
        failure: (i64, i64),
    ) -> (service_call::Model, Option<flag::Model>) {
        self.on(on);
        let opened = self.open_call(machine, CallKind::Repair).await;
        let found = self.find(&opened.call, failure).await;
        self.mend(&found, Method::Replaced, Vec::new()).await;
        self.explain(&opened.call).await;
        let completed = self.complete(&opened.call).await.expect("completed");
        (completed.call, found.flag)
    }

    pub async fn explain(&self, call: &service_call::Model) {
        let cause = RecordRootCause {
            call_id: call.id,
            root_cause: "undersized wire".to_owned(),
        };
        let explained = calls::record_root_cause(&self.owner(), cause).await;
        explained.expect("a root cause");
    }

    pub async fn callback_of(&self, call: &service_call::Model) -> Option<callback::Model> {
        callback::Entity::find()
            .filter(callback::Column::CallId.eq(call.id))
            .one(self.app.db.read())
            .await
            .expect("callbacks")
    }

    pub async fn tally(&self, failure: (i64, i64)) -> (i64, i64) {
        let row = repair_tally::Entity::find()
            .filter(repair_tally::Column::ComponentId.eq(failure.0))
            .filter(repair_tally::Column::FailureModeId.eq(failure.1))
            .one(self.app.db.read())
            .await
            .expect("the tally");
        row.map_or((0, 0), |row| (row.repairs, row.returned))
    }

    pub async fn mails(&self) -> Vec<outbox_mail::Model> {
        let mails = outbox_mail::Entity::find().all(self.app.db.read()).await;
        mails.expect("the outbox")
    }
}

/// The codes of a refusal, with their paths.
pub fn refusals<T>(outcome: Result<T>) -> Vec<(ProblemCode, String)> {
    match outcome {
        Err(Error::Refused(problems)) => problems
            .into_iter()
            .map(|problem| (problem.code, problem.path))
            .collect(),
        Err(error) => panic!("a fault: {error:?}"),
        Ok(_) => Vec::new(),
    }
}

fn caller(id: i64, role: Role) -> Caller {
    Caller::Staff {
        id,
        role,
        session_id: 0,
    }
}

async fn address(owner: &Act) -> service_address::Model {
    let new = customers::AddCustomer {
        kind: CustomerKind::Household,
        name: "Ida Fell".to_owned(),
        email: None,
        phone: None,
        billing: None,
        terms_days: None,
        notes: None,
    };
    let customer = customers::add_customer(owner, new).await;
    let new = customers::AddServiceAddress {
        customer_id: customer.expect("a customer").id,
        address: customers::Address {
            line1: "4 Mill Lane".to_owned(),
            city: "Springfield".to_owned(),
            region: "IL".to_owned(),
            postal_code: "62701".to_owned(),
            ..Default::default()
        },
        access_notes: Some("key under the mat".to_owned()),
        tax_jurisdiction_id: None,
    };
    let address = customers::add_service_address(owner, new).await;
    address.expect("an address")
}
