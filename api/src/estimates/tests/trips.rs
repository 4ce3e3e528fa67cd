//! Two calls on one visit: its trip is charged once, to the customer who accepted it.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallKind, CallState, ChargeKind, PricedBy, VisitState};
use nameplate_entities::{
    estimate_line, estimate_revision, service_address, service_call, visit, visit_call,
};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait, IntoActiveModel};

use crate::base::ProblemCode::{SettingMissing, Superseded};
use crate::base::testing::{noon, refusals};
use crate::estimates::answering::link::Shown;
use crate::estimates::tests::testing::World;
use crate::estimates::*;

fn job() -> Offer {
    let hour = NewLine {
        minutes: Some(60),
        ..NewLine::of(ChargeKind::Labour)
    };
    Offer {
        options: vec![NewOption {
            title: "Repair".to_owned(),
            lines: vec![hour, NewLine::of(ChargeKind::Trip)],
            ..NewOption::default()
        }],
        ..Offer::default()
    }
}

/// The two calls and the visit that serves both.
struct Shared {
    first: i64,
    second: i64,
    visit: visit::Model,
}

/// A second call on the machine of the first, and a planned visit for both.
async fn shared_visit(world: &World) -> Shared {
    let tx = world.app.db.write().await.unwrap();
    let first = service_call::Entity::find_by_id(world.call_id)
        .one(&tx)
        .await
        .unwrap()
        .unwrap();
    let second = service_call::ActiveModel {
        number: Set("C-000002".to_owned()),
        appliance_id: Set(first.appliance_id),
        customer_id: Set(first.customer_id),
        service_address_id: Set(first.service_address_id),
        kind: Set(CallKind::Repair),
        complaint: Set("The door drips".to_owned()),
        state: Set(CallState::Open),
        opened_at: Set(noon()),
        opened_on: Set(noon().date_naive()),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await
    .unwrap();
    let visit = visit::ActiveModel {
        service_address_id: Set(first.service_address_id),
        technician_id: Set(1),
        planned_on: Set("2026-06-03".parse::<NaiveDate>().unwrap()),
        state: Set(VisitState::Planned),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await
    .unwrap();
    for call_id in [first.id, second.id] {
        let served = visit_call::ActiveModel {
            visit_id: Set(visit.id),
            call_id: Set(call_id),
            ..Default::default()
        };
        served.insert(&tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    Shared {
        first: first.id,
        second: second.id,
        visit,
    }
}

impl World {
    async fn draft_for(&mut self, call_id: i64) -> estimate_revision::Model {
        let command = DraftEstimate {
            idempotency_key: self.key(),
            call_id,
            offer: job(),
        };
        draft_estimate(&self.owner(), command).await.unwrap()
    }

    async fn accepted_for(&mut self, call_id: i64) {
        let drafted = self.draft_for(call_id).await;
        let token = self.send(drafted.id).await.unwrap();
        assert!(matches!(self.accept(&token).await, Shown::Answered(_)));
    }

    /// What a revision charges for the trip, and who priced it.
    async fn trip_of(&self, revision: &estimate_revision::Model) -> estimate_line::Model {
        let db = self.app.db.read();
        let option = store::options_of(db, revision.id).await.unwrap().remove(0);
        let lines = store::lines_of(db, &[option.id]).await.unwrap();
        lines
            .into_iter()
            .find(|line| line.kind == ChargeKind::Trip)
            .unwrap()
    }

    async fn finish(&self, visit: &visit::Model, state: VisitState) {
        let tx = self.app.db.write().await.unwrap();
        let mut row = visit.clone().into_active_model();
        row.state = Set(state);
        row.update(&tx).await.unwrap();
        tx.commit().await.unwrap();
    }
}

#[tokio::test]
async fn a_trip_that_was_only_offered_is_charged_again_until_one_customer_accepted_it() {
    for mut world in World::everywhere().await {
        let Shared { first, second, .. } = shared_visit(&world).await;
        let offered = world.draft_for(first).await;
        let offered = world.send(offered.id).await.unwrap();
        let beside = world.draft_for(second).await;
        assert_eq!(world.trip_of(&beside).await.net_cents, 3_500);
        let token = world.send(beside.id).await.unwrap();
        let late = world.draft_for(second).await;
        assert!(matches!(world.accept(&offered).await, Shown::Answered(_)));
        // The trip is paid now: neither what was sent nor what was drafted may charge it again.
        let Shown::NotTaken(page) = world.accept(&token).await else {
            panic!("a trip was charged twice");
        };
        let told = page.problem.unwrap().message;
        assert!(told.contains("its trip is charged once only"), "{told}");
        let by_telephone = world.accept_by_telephone(beside.id).await;
        let wanted = [(Superseded, "revisionId".to_owned())];
        assert_eq!(refusals(by_telephone), wanted);
        assert_eq!(refusals(world.send(late.id).await), wanted);
        assert_eq!(refusals(world.present(late.id).await), wanted);
        let mended = world.revise(beside.estimate_id, job()).await;
        let trip = world.trip_of(&mended).await;
        assert_eq!(
            (trip.net_cents, trip.priced_by),
            (0, Some(PricedBy::OtherCall))
        );
        assert_eq!(trip.description, "Trip (charged with C-000001)");
        let token = world.send(mended.id).await.unwrap();
        assert!(matches!(world.accept(&token).await, Shown::Answered(_)));
    }
}

#[tokio::test]
async fn a_trip_left_to_another_call_is_charged_again_when_nobody_makes_that_trip() {
    for mut world in World::everywhere().await {
        let shared = shared_visit(&world).await;
        world.accepted_for(shared.first).await;
        let drafted = world.draft_for(shared.second).await;
        assert_eq!(world.trip_of(&drafted).await.net_cents, 0);
        let sent = world.draft_for(shared.second).await;
        let token = world.send(sent.id).await.unwrap();
        world.finish(&shared.visit, VisitState::Missed).await;
        let wanted = [(Superseded, "revisionId".to_owned())];
        assert_eq!(refusals(world.send(drafted.id).await), wanted);
        let Shown::NotTaken(page) = world.accept(&token).await else {
            panic!("nobody paid for the trip");
        };
        assert!(page.problem.unwrap().message.contains("has changed"));
        let mended = world.revise(sent.estimate_id, job()).await;
        assert_eq!(world.trip_of(&mended).await.net_cents, 3_500);
    }
}

#[tokio::test]
async fn a_trip_that_was_made_pays_for_no_later_one_and_stays_shared_as_it_was_accepted() {
    for mut world in World::everywhere().await {
        let shared = shared_visit(&world).await;
        world.accepted_for(shared.first).await;
        let sent = world.draft_for(shared.second).await;
        let token = world.send(sent.id).await.unwrap();
        world.finish(&shared.visit, VisitState::Done).await;
        // Another estimate is for another trip.
        let another = world.draft_for(shared.second).await;
        assert_eq!(world.trip_of(&another).await.net_cents, 3_500);
        // What was offered as shared holds, and so does what was done in its place.
        assert!(matches!(world.accept(&token).await, Shown::Answered(_)));
        let done = world.revise(sent.estimate_id, job()).await;
        assert_eq!(world.trip_of(&done).await.net_cents, 0);
    }
}

#[tokio::test]
async fn a_typed_price_of_a_trip_needs_no_zone() {
    let mut world = World::new().await;
    let tx = world.app.db.write().await.unwrap();
    let address = service_address::Entity::find().one(&tx).await.unwrap();
    let mut address = address.unwrap().into_active_model();
    address.trip_zone = Set(Some("Nowhere".to_owned()));
    address.update(&tx).await.unwrap();
    tx.commit().await.unwrap();
    let mut typed = job();
    typed.options[0].lines[1].unit_price = Some(Cents(4_200));
    let command = |offer, world: &mut World| DraftEstimate {
        idempotency_key: world.key(),
        call_id: world.call_id,
        offer,
    };
    let by_book = command(job(), &mut world);
    let refused = draft_estimate(&world.owner(), by_book).await;
    assert_eq!(refusals(refused)[0].0, SettingMissing);
    let by_hand = command(typed, &mut world);
    let drafted = draft_estimate(&world.owner(), by_hand).await.unwrap();
    let trip = world.trip_of(&drafted).await;
    assert_eq!(
        (trip.net_cents, trip.priced_by),
        (4_200, Some(PricedBy::Hand))
    );
}
