//! A shop with everything a bill needs, made by the program's own acts.

use chrono::Days;
use nameplate_entities::kinds::{
    CallKind, ChargeKind, CustomerKind, Fuel, LevelKind, MarkupKind, PriceEnding, TaxBasis,
};
use nameplate_entities::{
    appliance_type, estimate_option, estimate_revision, outbox_mail, service_call,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::outbox::Payload;
use crate::base::testing::{Bench, noon};
use crate::base::{Act, Caller, Role};
use crate::callbacks::{self, OpenCall};
use crate::calls::NewCall;
use crate::customers::{AddCustomer, AddServiceAddress, Address};
use crate::estimates::link::{self, Acceptance};
use crate::estimates::{DraftEstimate, NewLine, NewOption, Offer, SendEstimate};
use crate::pricing::{AddTaxJurisdiction, DraftPriceBook, NewBracket, NewLevel, NewTaxability};
use crate::{appliances, books, customers, estimates, pricing, shop};

/// An open shop with a customer and a machine.
pub struct TestShop {
    pub bench: Bench,
    pub owner: Act,
    pub customer_id: i64,
    appliance_id: i64,
    keys: std::sync::atomic::AtomicU64,
}

impl TestShop {
    /// On a `SQLite` file.
    pub async fn open() -> Self {
        Self::on(Bench::new().await).await
    }

    /// One on each database there is to test on.
    pub async fn everywhere() -> Vec<Self> {
        let mut shops = Vec::new();
        for bench in Bench::everywhere().await {
            shops.push(Self::on(bench).await);
        }
        shops
    }

    async fn on(bench: Bench) -> Self {
        shop::open(&bench.program()).await.unwrap();
        books::open(&bench.program()).await.unwrap();
        appliances::open(&bench.program()).await.unwrap();
        callbacks::open(&bench.program()).await.unwrap();
        let owner = bench.act_as(Role::Owner).await;
        price_book(&owner).await;
        let jurisdiction_id = jurisdiction(&owner).await;
        let (customer_id, address_id) = customer(&owner, jurisdiction_id).await;
        let appliance_id = machine(&owner, customer_id, address_id).await;
        Self {
            bench,
            owner,
            customer_id,
            appliance_id,
            keys: std::sync::atomic::AtomicU64::new(0),
        }
    }

    /// The customer's machine.
    pub fn machine_id(&self) -> i64 {
        self.appliance_id
    }

    /// An idempotency key not used before.
    pub fn key(&self) -> String {
        let number = self.keys.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        format!("key {number}")
    }

    /// A call that was opened, and no more.
    pub async fn opened_call(&self) -> service_call::Model {
        let open = OpenCall {
            idempotency_key: self.key(),
            call: NewCall {
                appliance_id: self.appliance_id,
                customer_id: None,
                service_address_id: None,
                kind: CallKind::Repair,
                complaint: "It does not heat".to_owned(),
            },
        };
        callbacks::open_call(&self.owner, open).await.unwrap().call
    }

    /// A call whose estimate was accepted: a part at this price, an hour and a half of labour, a trip.
    pub async fn accepted_call(
        &self,
        part_price: Cents,
        discount: Option<Cents>,
    ) -> service_call::Model {
        let call = self.opened_call().await;
        self.offer_and_accept(call.id, part_price, discount).await;
        call
    }

    /// Drafts this work for a call and sends it.
    pub async fn send(
        &self,
        call_id: i64,
        part_price: Cents,
        discount: Option<Cents>,
    ) -> estimate_revision::Model {
        let draft = DraftEstimate {
            idempotency_key: self.key(),
            call_id,
            offer: offer(part_price, discount),
        };
        let drafted = estimates::draft_estimate(&self.owner, draft).await.unwrap();
        let order = SendEstimate {
            idempotency_key: self.key(),
            revision_id: drafted.id,
            to: None,
            valid_until: None,
        };
        estimates::send_estimate(&self.owner, order).await.unwrap()
    }

    /// Offers this work for a call, and has the customer accept it.
    pub async fn offer_and_accept(&self, call_id: i64, part_price: Cents, discount: Option<Cents>) {
        let sent = self.send(call_id, part_price, discount).await;
        self.accept(sent.id, sent.content_hash.unwrap()).await;
    }

    async fn accept(&self, revision_id: i64, content_hash: String) {
        let db = self.bench.app.db.read();
        let mail = outbox_mail::Entity::find()
            .order_by_desc(outbox_mail::Column::Id)
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let Payload::Estimate { link_token, .. } =
            serde_json::from_str(&mail.payload_json).unwrap()
        else {
            panic!("the last mail is no estimate");
        };
        let option = estimate_option::Entity::find()
            .filter(estimate_option::Column::RevisionId.eq(revision_id))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let answer = Acceptance {
            option: option.position.to_string(),
            name: "Ana Example".to_owned(),
            content_hash,
        };
        let customer = self.bench.app.act(Caller::CustomerLink);
        link::accept(&customer, &link_token, answer).await.unwrap();
    }
}

/// A part at this price, an hour and a half of labour, a trip.
pub fn offer(part_price: Cents, discount: Option<Cents>) -> Offer {
    let line = |kind: ChargeKind| NewLine {
        description: Some(format!("{kind:?}")),
        ..NewLine::of(kind)
    };
    Offer {
        found: Some("The element is open.".to_owned()),
        options: vec![NewOption {
            title: "Repair".to_owned(),
            lines: vec![
                NewLine {
                    quantity: Some(Decimal::ONE),
                    unit_price: Some(part_price),
                    ..line(ChargeKind::Part)
                },
                NewLine {
                    minutes: Some(90),
                    ..line(ChargeKind::Labour)
                },
                line(ChargeKind::Trip),
            ],
            discount_amount: discount,
            ..NewOption::default()
        }],
        ..Offer::default()
    }
}

async fn price_book(owner: &Act) {
    let new = DraftPriceBook {
        name: "First".to_owned(),
        effective_from: noon().date_naive() - Days::new(30),
        hourly_rate: Cents(9_600),
        first_hour_minimum: true,
        minimum_minutes: 60,
        increment_minutes: 15,
        after_hours_multiplier: Decimal::ONE,
        second_technician_share: Decimal::ONE,
        distance_unit: None,
        trip: Cents(4_500),
        diagnostic: Cents(6_000),
        diagnostic_credited: true,
        markup_kind: MarkupKind::Whole,
        minimum_markup: Cents::ZERO,
        maximum_markup: None,
        rates: Vec::new(),
        zones: Vec::new(),
        tasks: Vec::new(),
        price_ending: PriceEnding::AsComputed,
        brackets: vec![NewBracket {
            up_to: None,
            multiplier: Decimal::TWO,
        }],
    };
    let book = pricing::draft_price_book(owner, new).await.unwrap();
    pricing::adopt_price_book(owner, book.id).await.unwrap();
}

async fn jurisdiction(owner: &Act) -> i64 {
    let level = |name: &str, kind, rate: &str| NewLevel::plain(name, kind, rate.parse().unwrap());
    let taxable = |kind, taxable| NewTaxability::plain(kind, taxable, "As the test says.");
    let new = AddTaxJurisdiction::plain(
        "Brightwater",
        TaxBasis::Invoice,
        noon().date_naive() - Days::new(30),
        (
            vec![
                level("State", LevelKind::State, "6.25"),
                level("City", LevelKind::City, "1.75"),
            ],
            vec![
                taxable(ChargeKind::Part, true),
                taxable(ChargeKind::Labour, false),
                taxable(ChargeKind::Trip, false),
                taxable(ChargeKind::Diagnostic, false),
                taxable(ChargeKind::Freight, true),
                taxable(ChargeKind::Fee, false),
            ],
        ),
    );
    let jurisdiction = pricing::add_tax_jurisdiction(owner, new).await.unwrap();
    jurisdiction.id
}

async fn customer(owner: &Act, jurisdiction_id: i64) -> (i64, i64) {
    let new = AddCustomer {
        kind: CustomerKind::Household,
        name: "Ana Example".to_owned(),
        email: Some("ana@household.example".to_owned()),
        phone: None,
        billing: None,
        terms_days: None,
        notes: None,
    };
    let customer = customers::add_customer(owner, new).await.unwrap();
    let place = AddServiceAddress {
        customer_id: customer.id,
        address: Address {
            line1: "12 Orchard Court".to_owned(),
            line2: None,
            city: "Brightwater".to_owned(),
            region: "OH".to_owned(),
            postal_code: "43999".to_owned(),
            country: None,
        },
        access_notes: None,
        tax_jurisdiction_id: Some(jurisdiction_id),
    };
    let address = customers::add_service_address(owner, place).await.unwrap();
    (customer.id, address.id)
}

async fn machine(owner: &Act, customer_id: i64, service_address_id: i64) -> i64 {
    let of_type = appliance_type::Entity::find()
        .one(owner.app.db.read())
        .await
        .unwrap()
        .unwrap();
    let new = appliances::AddAppliance {
        appliance_type_id: of_type.id,
        customer_id,
        service_address_id,
        make: "Halvorsen".to_owned(),
        model: "HW-1".to_owned(),
        serial: Some("Q7-118823".to_owned()),
        unreadable_reason: None,
        fuel: Fuel::Electric,
        plate: appliances::Plate::default(),
        built_in: false,
    };
    let added = appliances::add_appliance(owner, "machine", new)
        .await
        .unwrap();
    added.appliance.id
}
