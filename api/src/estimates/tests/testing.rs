//! A shop with an open call and everything an estimate needs, for tests.

use std::sync::Arc;

use nameplate_entities::kinds::{
    AnswerWay, CallKind, CallState, ChargeKind, CustomerKind, Fuel, LevelKind, MailState,
    MarkupKind, PriceEnding, Role, TaxBasis,
};
use nameplate_entities::{
    appliance, appliance_type, estimate_revision, outbox_mail, service_call, staff,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::sea_query::Expr;
use sea_orm::{
    ActiveModelTrait, ActiveValue, ActiveValue::Set, ColumnTrait, EntityTrait, IntoActiveModel,
    QueryFilter, QueryOrder,
};

use crate::base::outbox::Payload;
use crate::base::testing::{Bench, noon};
use crate::base::{Act, App, Caller};
use crate::estimates::answering::link::{self, Acceptance, Shown};
use crate::estimates::*;
use crate::{appliances, customers, pricing, shop};

/// A shop with one open call, on a database of its own.
pub struct World {
    pub app: Arc<App>,
    pub call_id: i64,
    keys: u32,
    _bench: Bench,
}

impl World {
    /// One on `SQLite`.
    pub async fn new() -> Self {
        Self::on(Bench::new().await).await
    }

    /// One on each database there is to test on.
    pub async fn everywhere() -> Vec<Self> {
        let mut worlds = Vec::new();
        for bench in Bench::everywhere().await {
            worlds.push(Self::on(bench).await);
        }
        worlds
    }

    async fn on(bench: Bench) -> Self {
        let app = Arc::clone(&bench.app);
        let program = app.act(Caller::Program);
        shop::open(&program).await.unwrap();
        appliances::open(&program).await.unwrap();
        open(&program).await.unwrap();
        let call_id = records(&app).await;
        Self {
            app,
            call_id,
            keys: 0,
            _bench: bench,
        }
    }

    /// Somebody confirms that the call's address is taxed in another place.
    pub async fn is_taxed_in(&self, tax_jurisdiction_id: i64) {
        let about = store::subject_of(self.app.db.read(), self.call_id)
            .await
            .unwrap();
        let address = about.call.service_address_id;
        customers::confirm_jurisdiction(&self.owner(), address, tax_jurisdiction_id)
            .await
            .unwrap();
    }

    /// A second open call for the same machine.
    pub async fn another_call(&self) -> i64 {
        let tx = self.app.db.write().await.unwrap();
        let first = service_call::Entity::find_by_id(self.call_id)
            .one(&tx)
            .await
            .unwrap()
            .unwrap();
        let mut row = first.into_active_model();
        row.id = ActiveValue::NotSet;
        row.number = Set("C-000002".to_owned());
        let row = row.insert(&tx).await.unwrap();
        tx.commit().await.unwrap();
        row.id
    }

    pub fn owner(&self) -> Act {
        owner(&self.app)
    }

    pub fn key(&mut self) -> String {
        self.keys += 1;
        format!("key {}", self.keys)
    }

    pub async fn draft(&mut self) -> estimate_revision::Model {
        let command = DraftEstimate {
            idempotency_key: self.key(),
            call_id: self.call_id,
            offer: offer(),
        };
        draft_estimate(&self.owner(), command).await.unwrap()
    }

    pub async fn send(&mut self, revision_id: i64) -> crate::base::Result<String> {
        let command = SendEstimate {
            idempotency_key: self.key(),
            revision_id,
            to: None,
            valid_until: None,
        };
        send_estimate(&self.owner(), command).await?;
        Ok(self.last_token().await)
    }

    pub async fn revise(&mut self, estimate_id: i64, offer: Offer) -> estimate_revision::Model {
        let command = ReviseEstimate {
            idempotency_key: self.key(),
            estimate_id,
            offer,
        };
        revise_estimate(&self.owner(), command).await.unwrap()
    }

    pub async fn present(
        &mut self,
        revision_id: i64,
    ) -> crate::base::Result<estimate_revision::Model> {
        let command = PresentEstimate {
            idempotency_key: self.key(),
            revision_id,
            valid_until: None,
        };
        present_estimate(&self.owner(), command).await
    }

    pub async fn accept_by_telephone(
        &mut self,
        revision_id: i64,
    ) -> crate::base::Result<estimate_revision::Model> {
        let db = self.app.db.read();
        let options = store::options_of(db, revision_id).await.unwrap();
        let command = RecordAcceptance {
            idempotency_key: self.key(),
            revision_id,
            option_id: options[0].id,
            told: by_telephone(),
        };
        record_acceptance(&self.owner(), command).await
    }

    pub async fn decline_by_telephone(
        &mut self,
        revision_id: i64,
    ) -> crate::base::Result<estimate_revision::Model> {
        let command = RecordDecline {
            idempotency_key: self.key(),
            revision_id,
            reason: Some("Too dear.".to_owned()),
            told: by_telephone(),
        };
        record_decline(&self.owner(), command).await
    }

    /// Lets every mail that waits arrive.
    pub async fn deliver(&self) {
        let tx = self.app.db.write().await.unwrap();
        outbox_mail::Entity::update_many()
            .col_expr(outbox_mail::Column::State, Expr::value(MailState::Sent))
            .filter(outbox_mail::Column::State.eq(MailState::Queued))
            .exec(&tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
    }

    /// Every mail that was asked for, oldest first.
    pub async fn mails(&self) -> Vec<outbox_mail::Model> {
        outbox_mail::Entity::find()
            .order_by_asc(outbox_mail::Column::Id)
            .all(self.app.db.read())
            .await
            .unwrap()
    }

    pub async fn last_token(&self) -> String {
        let mail = outbox_mail::Entity::find()
            .order_by_desc(outbox_mail::Column::Id)
            .one(self.app.db.read())
            .await
            .unwrap()
            .unwrap();
        match serde_json::from_str(&mail.payload_json).unwrap() {
            Payload::Estimate { link_token, .. } | Payload::Reminder { link_token, .. } => {
                link_token
            }
            _ => panic!("the last mail is no estimate"),
        }
    }

    pub async fn accept(&self, token: &str) -> Shown {
        let act = self.app.act(Caller::CustomerLink);
        let hash = match link::open(&act, token).await.unwrap() {
            Shown::Offer(page) => page.content_hash,
            _ => String::new(),
        };
        let answer = Acceptance {
            option: "1".to_owned(),
            name: "Odalys Fenwick".to_owned(),
            content_hash: hash,
        };
        link::accept(&act, token, answer).await.unwrap()
    }

    pub async fn revisions(&self) -> Vec<estimate_revision::Model> {
        estimate_revision::Entity::find()
            .order_by_asc(estimate_revision::Column::Id)
            .all(self.app.db.read())
            .await
            .unwrap()
    }
}

/// An answer by telephone, as the desk notes it.
pub fn by_telephone() -> Told {
    Told {
        way: AnswerWay::Telephone,
        name: "Odalys Fenwick".to_owned(),
        phone: Some("(415) 555-0142".to_owned()),
        at: None,
        note: Some("Asked to come after four.".to_owned()),
    }
}

pub fn owner(app: &Arc<App>) -> Act {
    app.act(Caller::Staff {
        id: 1,
        role: Role::Owner,
        session_id: 1,
    })
}

pub fn offer() -> Offer {
    let line = |kind, minutes| NewLine {
        minutes,
        ..NewLine::of(kind)
    };
    Offer {
        found: Some("The element is open.".to_owned()),
        options: vec![NewOption {
            title: "Repair".to_owned(),
            lines: vec![
                line(ChargeKind::Labour, Some(70)),
                line(ChargeKind::Trip, None),
                line(ChargeKind::Diagnostic, None),
            ],
            discount_percent: Some(Decimal::TEN),
            ..NewOption::default()
        }],
        ..Offer::default()
    }
}

/// Owner, price book, tax rules, customer, machine and an open call.
async fn records(app: &Arc<App>) -> i64 {
    let tx = app.db.write().await.unwrap();
    staff::ActiveModel {
        id: Set(1),
        name: Set("Owner".to_owned()),
        email: Set("owner@nameplate.test".to_owned()),
        role: Set(Role::Owner),
        password_hash: Set(String::new()),
        version: Set(1),
        created_at: Set(noon()),
        ..Default::default()
    }
    .insert(&tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let act = owner(app);
    prices(&act).await;
    let jurisdiction = taxes(&act).await;
    let customer = customers::add_customer(
        &act,
        customers::AddCustomer {
            kind: CustomerKind::Household,
            name: "Odalys Fenwick".to_owned(),
            email: Some("odalys@fenwick.test".to_owned()),
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        },
    )
    .await
    .unwrap();
    let address = customers::add_service_address(
        &act,
        customers::AddServiceAddress {
            customer_id: customer.id,
            address: customers::Address {
                line1: "12 Orchard Court".to_owned(),
                city: "Pell Harbor".to_owned(),
                region: "OH".to_owned(),
                postal_code: "43998".to_owned(),
                ..Default::default()
            },
            access_notes: None,
            tax_jurisdiction_id: Some(jurisdiction),
        },
    )
    .await
    .unwrap();
    call(app, customer.id, address.id).await
}

async fn prices(act: &Act) {
    let book = pricing::draft_price_book(
        act,
        pricing::DraftPriceBook {
            name: "2026".to_owned(),
            effective_from: "2026-01-01".parse().unwrap(),
            hourly_rate: Cents(10_800),
            first_hour_minimum: true,
            minimum_minutes: 60,
            increment_minutes: 15,
            after_hours_multiplier: Decimal::ONE,
            second_technician_share: Decimal::ONE,
            distance_unit: None,
            trip: Cents(3_500),
            diagnostic: Cents(8_900),
            diagnostic_credited: true,
            markup_kind: MarkupKind::Graduated,
            minimum_markup: Cents::ZERO,
            maximum_markup: None,
            rates: Vec::new(),
            zones: Vec::new(),
            tasks: Vec::new(),
            price_ending: PriceEnding::AsComputed,
            brackets: vec![pricing::NewBracket {
                up_to: None,
                multiplier: Decimal::TWO,
            }],
        },
    )
    .await
    .unwrap();
    pricing::adopt_price_book(act, book.id).await.unwrap();
}

async fn taxes(act: &Act) -> i64 {
    let rule = |kind| {
        let taxable = kind == ChargeKind::Labour;
        pricing::NewTaxability::plain(kind, taxable, "because the test says so")
    };
    let level =
        |name: &str, kind, rate| pricing::NewLevel::plain(name, kind, Decimal::new(rate, 2));
    let new = pricing::AddTaxJurisdiction::plain(
        "Pell",
        TaxBasis::Invoice,
        "2026-01-01".parse().unwrap(),
        (
            vec![
                level("Ohio", LevelKind::State, 575),
                level("Pell", LevelKind::County, 125),
            ],
            [
                ChargeKind::Part,
                ChargeKind::Labour,
                ChargeKind::Trip,
                ChargeKind::Diagnostic,
                ChargeKind::Freight,
                ChargeKind::Fee,
            ]
            .map(rule)
            .to_vec(),
        ),
    );
    pricing::add_tax_jurisdiction(act, new).await.unwrap().id
}

async fn call(app: &Arc<App>, customer_id: i64, service_address_id: i64) -> i64 {
    let tx = app.db.write().await.unwrap();
    let of_type = appliance_type::Entity::find()
        .one(&tx)
        .await
        .unwrap()
        .unwrap();
    let machine = appliance::ActiveModel {
        appliance_type_id: Set(of_type.id),
        customer_id: Set(customer_id),
        service_address_id: Set(service_address_id),
        make: Set("Halvorsen".to_owned()),
        make_key: Set("HALVORSEN".to_owned()),
        model: Set("HWE-50".to_owned()),
        shop_tag: Set(Some("NP-000001".to_owned())),
        fuel: Set(Fuel::Electric),
        built_in: Set(false),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await
    .unwrap();
    let call = service_call::ActiveModel {
        number: Set("C-000001".to_owned()),
        appliance_id: Set(machine.id),
        customer_id: Set(customer_id),
        service_address_id: Set(service_address_id),
        kind: Set(CallKind::Repair),
        complaint: Set("No hot water".to_owned()),
        state: Set(CallState::Open),
        opened_at: Set(noon()),
        opened_on: Set(noon().date_naive()),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    call.id
}
