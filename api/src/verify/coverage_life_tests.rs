//! What becomes of cover over the years: days out of use, changes of hands, programmes out of use, terms by their day, and
//! what a technician sees of it before the visit.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use nameplate_entities::kinds::{AttachmentKind, CustomerKind, Method, ProgrammeRank};
use nameplate_entities::{
    appliance, audit_entry, component, failure_mode, finding, programme_terms, service_address,
    service_call, warranty_programme,
};
use nameplate_rules::coverage::{Covers, Decision, Evidence, Missing, Stands, StartEvent};
use nameplate_rules::dates::OutOfUseCount;
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use serde_json::Value;

use super::coverage_tests::a_year;
use super::graph_tests::ask;
use super::testing::TestShop;
use crate::appliances::{self, MoveAppliance};
use crate::attachments::{self, NewAttachment, On};
use crate::base::testing::refusals;
use crate::base::{Caller, ProblemCode, Role};
use crate::callbacks::{self, RecordFinding};
use crate::calls::{self, NewFinding, RecordRemedy, ScheduleVisit};
use crate::closeout::{self, CompleteCall};
use crate::coverage::{self, Outlook, OutlookLine, Said};
use crate::customers::{self, AddCustomer, AddServiceAddress, Address};
use crate::graphql::ids::Kind;
use crate::stock;
use crate::warranty::{self, AddProgramme, NewTerms, RegisterCover};

mod again;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn noon_of(on: &str) -> DateTime<Utc> {
    day(on).and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(12)
}

impl TestShop {
    /// The owner acts on another day from now on.
    fn turn_to(&mut self, on: &str) {
        self.bench.app.clock.set(noon_of(on));
        self.owner = self.bench.app.act(self.owner.caller.clone());
    }

    /// The components of the machine's type.
    async fn components(&self) -> Vec<component::Model> {
        let db = self.bench.app.db.read();
        let machine = appliance::Entity::find_by_id(self.machine_id()).one(db);
        let of_type = machine.await.unwrap().unwrap().appliance_type_id;
        let components = component::Entity::find()
            .filter(component::Column::ApplianceTypeId.eq(of_type))
            .order_by_asc(component::Column::Id)
            .all(db);
        components.await.unwrap()
    }

    async fn worn(&self) -> failure_mode::Model {
        let mode = failure_mode::Entity::find()
            .filter(failure_mode::Column::Key.eq("worn"))
            .one(self.bench.app.db.read());
        mode.await.unwrap().unwrap()
    }

    /// Finds a component worn on a call.
    async fn found_worn(&self, call: &service_call::Model, component_id: i64) -> finding::Model {
        let finding = RecordFinding {
            idempotency_key: self.key(),
            finding: NewFinding {
                call_id: call.id,
                component_id,
                failure_mode_id: self.worn().await.id,
                position: None,
                cause: None,
                note: None,
            },
        };
        let found = callbacks::record_finding(&self.owner, finding).await;
        found.unwrap().finding
    }

    /// Finds something worn on a call, and does this about it.
    pub(super) async fn mended(&self, call: &service_call::Model, at: usize, method: Method) {
        let component = self.components().await.swap_remove(at);
        let found = self.found_worn(call, component.id).await;
        let remedy = RecordRemedy {
            idempotency_key: self.key(),
            finding_id: found.id,
            method,
            labour_minutes: 30,
            note: None,
            parts: Vec::new(),
        };
        calls::record_remedy(&self.owner, remedy).await.unwrap();
    }

    /// Finds something worn on a call, adjusts it and completes the call.
    pub(super) async fn adjusted(&self, call: &service_call::Model) {
        self.mended(call, 0, Method::Adjusted).await;
        self.completed(call).await;
    }

    async fn completed(&self, call: &service_call::Model) {
        let complete = CompleteCall {
            idempotency_key: self.key(),
            call_id: call.id,
            completed_on: None,
        };
        closeout::complete_call(&self.owner, complete)
            .await
            .unwrap();
    }

    /// What would be decided over an hour of labor if the machine had failed on this day.
    async fn foreseen(&self, failed_on: &str) -> Decision {
        let ask = Outlook {
            appliance_id: self.machine_id(),
            failed_on: Some(day(failed_on)),
            component_id: None,
            failure_mode_id: None,
            said: Said::default(),
            lines: vec![OutlookLine {
                covers: Covers::Labour,
                amount: Cents(12_000),
                hours: None,
                distance: None,
            }],
        };
        coverage::outlook(&self.owner, &ask).await.unwrap().decision
    }

    /// Gives the programme these terms from a day on.
    async fn terms_from(
        &self,
        programme: &warranty_programme::Model,
        terms: NewTerms,
    ) -> programme_terms::Model {
        let terms = warranty::add_programme_terms(&self.owner, (programme.id, terms)).await;
        terms.unwrap()
    }

    /// The machine is sold to somebody else.
    async fn sold(&self, on: &str) {
        let db = self.bench.app.db.read();
        let address = service_address::Entity::find().one(db).await;
        let jurisdiction = address.unwrap().unwrap().tax_jurisdiction_id;
        let buyer = AddCustomer {
            kind: CustomerKind::Household,
            name: "Bo Example".to_owned(),
            email: None,
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        };
        let buyer = customers::add_customer(&self.owner, buyer).await.unwrap();
        let place = AddServiceAddress {
            customer_id: buyer.id,
            address: Address {
                line1: "9 Mill Lane".to_owned(),
                city: "Brightwater".to_owned(),
                region: "OH".to_owned(),
                postal_code: "43999".to_owned(),
                ..Address::default()
            },
            access_notes: None,
            tax_jurisdiction_id: jurisdiction,
        };
        let place = customers::add_service_address(&self.owner, place).await;
        let to = MoveAppliance {
            appliance_id: self.machine_id(),
            customer_id: buyer.id,
            service_address_id: place.unwrap().id,
            moved_on: day(on),
        };
        appliances::move_appliance(&self.owner, to).await.unwrap();
    }
}

/// Bought on 17 May 2025, a year of cover ends with 17 May 2026. A repair that the maker paid kept the machine out of use
/// from 10 to 24 May, 15 days by both ends: so the cover runs through 1 June, and without that term it does not.
#[tokio::test]
async fn days_out_of_use_for_a_repair_that_the_programme_paid_lengthen_its_cover() {
    for out_of_use in [Some(OutOfUseCount::BothEndDays), None] {
        for mut shop in TestShop::everywhere().await {
            shop.turn_to("2026-05-10");
            let programme = shop.makers_year(Vec::new()).await;
            let terms = NewTerms {
                applies_from: day("2025-01-01"),
                out_of_use,
                ..a_year(Vec::new())
            };
            shop.terms_from(&programme, terms).await;
            shop.bought("2025-05-17").await;
            let call = shop.accepted_call(Cents(10_000), None).await;
            assert!(shop.decide(shop.decision(call.id)).await.is_sure);
            shop.turn_to("2026-05-24");
            shop.adjusted(&call).await;
            shop.turn_to("2026-06-02");
            let on_the_last_day = shop.foreseen("2026-06-01").await;
            let a_day_later = shop.foreseen("2026-06-02").await;
            let expected = if out_of_use.is_some() { 0 } else { 12_000 };
            assert_eq!(on_the_last_day.customer_at_most, Cents(expected));
            assert_eq!(a_day_later.customer_at_most, Cents(12_000));
        }
    }
}

/// Where terms say that cover stays with the machine the buyer has it; where they do not, it ends with the day of the sale.
#[tokio::test]
async fn cover_lapses_when_the_machine_changes_hands_unless_it_stays_with_it() {
    for stays_with_machine in [false, true] {
        for shop in TestShop::everywhere().await {
            let programme = shop.makers_year(Vec::new()).await;
            let terms = NewTerms {
                applies_from: day("2025-01-01"),
                stays_with_machine,
                ..a_year(Vec::new())
            };
            shop.terms_from(&programme, terms).await;
            shop.bought("2026-01-10").await;
            shop.sold("2026-06-01").await;
            let of_sale = shop.foreseen("2026-06-01").await;
            assert_eq!(of_sale.customer, Cents::ZERO, "the day itself is covered");
            let after = shop.foreseen("2026-06-02").await;
            let expected = if stays_with_machine { 0 } else { 12_000 };
            assert_eq!(after.customer, Cents(expected));
        }
    }
}

#[tokio::test]
async fn a_programme_out_of_use_is_kept_for_machines_that_came_under_it() {
    for mut shop in TestShop::everywhere().await {
        let programme = shop.makers_year(Vec::new()).await;
        let retired = (programme.id, programme.version, true);
        warranty::retire_programme(&shop.owner, retired)
            .await
            .unwrap();
        let audited = audit_entry::Entity::find()
            .filter(audit_entry::Column::Act.eq("retireWarrantyProgramme"))
            .all(shop.bench.app.db.read());
        assert_eq!(audited.await.unwrap().len(), 1);
        shop.turn_to("2026-07-01");
        shop.bought("2026-06-01").await;
        let before = shop.foreseen("2026-07-01").await;
        assert_eq!(before.customer, Cents::ZERO, "bought on its last day");
        shop.bought("2026-06-02").await;
        let after = shop.foreseen("2026-07-01").await;
        assert_eq!(after.customer, Cents(12_000), "bought a day later");
        let register = RegisterCover {
            appliance_id: shop.machine_id(),
            programme_id: programme.id,
            held: true,
            contract_number: None,
            begins_on: None,
            repair_call_id: None,
            component_id: None,
            note: None,
        };
        let outcome = warranty::register_cover(&shop.owner, register).await;
        let expected = [(ProblemCode::WrongState, "programmeId".to_owned())];
        assert_eq!(refusals(outcome), expected);
    }
}

/// The same part was replaced twice, and each time its maker's warranty registered: the last one is asked first, and the older
/// one is kept, as it may run longer.
#[tokio::test]
async fn of_two_registrations_of_one_part_the_last_one_comes_first_and_both_are_of_one_programme() {
    for shop in TestShop::everywhere().await {
        let maker = shop.makers_year(Vec::new()).await;
        let mut terms = a_year(Vec::new());
        if let Some(segment) = terms.segments.first_mut() {
            segment.start = StartEvent::Repair;
        }
        let new = AddProgramme {
            payer_id: maker.payer_id,
            name: "Spare parts".to_owned(),
            rank: ProgrammeRank::PartMaker,
            make: None,
            appliance_type_id: None,
            model_pattern: None,
            terms,
        };
        let parts = warranty::add_programme(&shop.owner, new).await.unwrap();
        let db = shop.bench.app.db.read();
        let machine = appliances::get_appliance(db, "", shop.machine_id()).await;
        let of_type = component::Column::ApplianceTypeId.eq(machine.unwrap().appliance_type_id);
        let component = component::Entity::find().filter(of_type).one(db).await;
        let component_id = component.unwrap().unwrap().id;
        let first = shop.opened_call().await;
        shop.mended(&first, 0, Method::Adjusted).await;
        shop.complete_as_found(first.id).await;
        let second = shop.accepted_call(Cents(10_000), None).await;
        shop.mended(&second, 1, Method::Adjusted).await;
        shop.complete_as_found(second.id).await;
        let mut ids = Vec::new();
        for call in [first, second] {
            let part = RegisterCover {
                appliance_id: shop.machine_id(),
                programme_id: parts.id,
                held: true,
                contract_number: None,
                begins_on: None,
                repair_call_id: Some(call.id),
                component_id: Some(component_id),
                note: None,
            };
            let row = warranty::register_cover(&shop.owner, part).await;
            ids.push(row.unwrap().id);
        }
        let ask = Outlook {
            appliance_id: shop.machine_id(),
            failed_on: None,
            component_id: None,
            failure_mode_id: None,
            said: Said::default(),
            lines: Vec::new(),
        };
        let sight = coverage::outlook(&shop.owner, &ask).await.unwrap();
        let parts = sight.holdings.iter().filter(|held| held.cover_id.is_some());
        let held: Vec<_> = parts.clone().filter_map(|held| held.cover_id).collect();
        assert_eq!(held, [ids[1], ids[0]]);
        let first = (sight.holdings.iter()).position(|held| held.cover_id == Some(ids[1]));
        let same: Vec<_> = parts.map(|held| held.registration.same_as).collect();
        assert_eq!(same, [None, first]);
    }
}

/// The terms from 2026 pay for parts alone; a machine bought before keeps those of its day.
#[tokio::test]
async fn a_machine_under_older_terms_keeps_them() {
    for shop in TestShop::everywhere().await {
        let programme = shop.makers_year(Vec::new()).await;
        let mut newer = a_year(Vec::new());
        newer.applies_from = day("2026-01-01");
        for segment in &mut newer.segments {
            segment.covers = vec![Covers::Parts];
        }
        shop.terms_from(&programme, newer).await;
        shop.bought("2025-12-31").await;
        assert_eq!(shop.foreseen("2026-06-01").await.customer, Cents::ZERO);
        shop.bought("2026-01-01").await;
        assert_eq!(shop.foreseen("2026-06-01").await.customer, Cents(12_000));
    }
}

#[tokio::test]
async fn a_decision_that_waits_for_proof_of_purchase_is_sure_once_it_is_there() {
    for shop in TestShop::everywhere().await {
        shop.makers_year(vec![Evidence::ProofOfPurchase]).await;
        shop.bought("2026-01-10").await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let waiting = shop.decide(shop.decision(call.id)).await;
        assert!(!waiting.is_sure);
        assert_eq!(waiting.at_most_cents, waiting.total_cents);
        let answers = coverage::kept(&waiting).unwrap().decision.answers;
        let evidence = Evidence::ProofOfPurchase;
        let missing = vec![Missing::Evidence { evidence }];
        assert_eq!(
            answers,
            [nameplate_rules::coverage::Answer::PaysOnce(missing)]
        );
        let paper = NewAttachment {
            on: On::Appliance(shop.machine_id()),
            kind: AttachmentKind::ProofOfPurchase,
            caption: None,
            bytes: b"%PDF-1.7\nan invented receipt\n%%EOF\n".to_vec(),
        };
        attachments::add(&shop.owner, paper).await.unwrap();
        let sure = shop.decide(shop.decision(call.id)).await;
        assert!(sure.is_sure);
        assert_eq!((sure.customer_cents, sure.at_most_cents), (0, 0));
        let statements = shop.bench.app.db.statements();
        let again = shop.decide(shop.decision(call.id)).await;
        let taken = shop.bench.app.db.statements() - statements;
        assert!(again.is_sure && taken <= 40, "{taken} statements");
    }
}

/// A technician sees who pays, until when and what to bring, and neither amounts nor rates.
#[tokio::test]
async fn before_the_visit_a_technician_sees_who_pays_and_what_to_bring() {
    for shop in TestShop::everywhere().await {
        shop.makers_year(vec![Evidence::ProofOfPurchase, Evidence::OldPart])
            .await;
        shop.bought("2025-06-02").await;
        let call = shop.opened_call().await;
        let technician = shop.bench.act_as(Role::Technician).await;
        let Caller::Staff { id, .. } = technician.caller else {
            panic!("a technician");
        };
        let visit = ScheduleVisit {
            call_ids: vec![call.id],
            technician_id: id,
            planned_on: day("2026-06-03"),
            window: None,
            reason: None,
            reason_note: None,
        };
        stock::schedule_visit(&shop.owner, visit).await.unwrap();
        let db = shop.bench.app.db.read();
        let machine = appliances::get_appliance(db, "", shop.machine_id()).await;
        let machine = machine.unwrap();
        let of_call = (&call, &machine);
        let ahead = coverage::before_visit(db, of_call, day("2026-06-03")).await;
        let ahead = ahead.unwrap();
        assert_eq!(ahead.len(), 1);
        assert_eq!(ahead[0].told.segments[0].stands, Stands::InForce);
        assert_eq!(ahead[0].on_visit.segments[0].stands, Stands::Over);
        let query = format!(
            "{{ arrivalBrief(callId: \"{}\") {{ cover {{ place programme payer component mayPay excluded
             partsThrough labourThrough tripThrough missing bring
             segments {{ covers componentClass through told onVisit }} }} }} }}",
            Kind::ServiceCall.id(call.id).as_str()
        );
        let answer = ask(&technician, &query).await;
        assert_eq!(answer["errors"], Value::Null, "{answer:#}");
        let cover = &answer["data"]["arrivalBrief"]["cover"][0];
        assert_eq!(cover["programme"], "First year");
        assert_eq!(cover["payer"], "Halvorsen Claims");
        assert_eq!(cover["mayPay"], true);
        assert_eq!(cover["partsThrough"], Value::Null, "over by the visit");
        let segment = &cover["segments"][0];
        assert_eq!(segment["through"], "2026-06-02");
        assert_eq!(
            (&segment["told"], &segment["onVisit"]),
            (&Value::from("IN_FORCE"), &Value::from("OVER"))
        );
        let bring = cover["bring"].as_array().unwrap();
        assert_eq!(bring.len(), 2);
        assert_eq!(cover["missing"].as_array().unwrap().len(), 2);
    }
}
