//! Calls with one visit, with several and with none.

use nameplate_entities::kinds::{CallKind, Method, VisitState};
use nameplate_entities::{service_call, visit};
use nameplate_rules::money::Cents;

use super::*;
use crate::base::ProblemCode;
use crate::calls::{FinishVisit, ScheduleVisit};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::{closeout, pricing, stock};

async fn opened(shop: &Workshop, kind: CallKind) -> service_call::Model {
    let machine = shop.machine(Some(&shop.key())).await;
    shop.open_call(&machine, kind).await.call
}

fn planned(
    shop: &Workshop,
    call: &service_call::Model,
    (on, reason): (&str, Option<VisitReason>),
) -> ScheduleVisit {
    ScheduleVisit {
        call_ids: vec![call.id],
        technician_id: shop.technician_id,
        planned_on: day(on),
        window: None,
        reason,
        reason_note: None,
    }
}

/// Plans a visit and says how it ended.
async fn visited(shop: &Workshop, plan: ScheduleVisit, outcome: VisitState) -> visit::Model {
    let planned = stock::schedule_visit(&shop.owner(), plan).await;
    let finished = FinishVisit {
        visit_id: planned.expect("a visit").id,
        outcome,
    };
    let visit = closeout::finish_visit(&shop.owner(), finished).await;
    visit.expect("finished")
}

async fn completed(shop: &Workshop, call: &service_call::Model) {
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let found = shop.find(call, failure).await;
    shop.mend(&found, Method::Tightened, Vec::new()).await;
    shop.complete(call).await.expect("completed");
}

async fn asked(shop: &Workshop, act: &Act, (from, to): (&str, &str)) -> FirstVisits {
    let span = Span::new(day(from), day(to)).expect("days in order");
    let found = first_visits(shop.app.db.read(), act, span).await;
    found.expect("figures")
}

#[tokio::test]
async fn a_repair_is_done_on_the_first_visit_if_it_took_exactly_one_that_was_made() {
    for shop in Workshop::everywhere("2026-02-02").await {
        repairs_by_their_visits(&shop).await;
    }
}

/// A repair with one visit, one with a missed visit before, one with none, one with two, and maintenance.
async fn played(shop: &Workshop) {
    let once = opened(shop, CallKind::Repair).await;
    visited(
        shop,
        planned(shop, &once, ("2026-02-02", None)),
        VisitState::Done,
    )
    .await;
    completed(shop, &once).await;

    let missed = opened(shop, CallKind::Repair).await;
    visited(
        shop,
        planned(shop, &missed, ("2026-02-02", None)),
        VisitState::Missed,
    )
    .await;
    let again = planned(shop, &missed, ("2026-02-02", Some(VisitReason::NotHome)));
    visited(shop, again, VisitState::Done).await;
    completed(shop, &missed).await;

    let unseen = opened(shop, CallKind::Repair).await;
    completed(shop, &unseen).await;
    let care = opened(shop, CallKind::Maintenance).await;
    visited(
        shop,
        planned(shop, &care, ("2026-02-02", None)),
        VisitState::Done,
    )
    .await;
    completed(shop, &care).await;

    let twice = opened(shop, CallKind::Repair).await;
    visited(
        shop,
        planned(shop, &twice, ("2026-02-02", None)),
        VisitState::Done,
    )
    .await;
    shop.on(day("2026-03-02"));
    let again = ScheduleVisit {
        technician_id: shop.other_technician_id,
        ..planned(shop, &twice, ("2026-03-02", Some(VisitReason::PartOrdered)))
    };
    visited(shop, again, VisitState::Done).await;
    completed(shop, &twice).await;
}

async fn repairs_by_their_visits(shop: &Workshop) {
    played(shop).await;
    let all = asked(shop, &shop.owner(), ("2026-01-01", "2026-12-31")).await;
    let figures = |calls, first_visit| Completed { calls, first_visit };
    assert_eq!(all.all, figures(3, 2));
    assert_eq!(all.all.percent(), Some(Decimal::new(667, 1)));
    assert_eq!(all.without_visit, 1);
    assert_eq!(all.reasons, [(Some(VisitReason::PartOrdered), 1)]);
    assert_eq!(all.planned_again, [(Some(VisitReason::NotHome), 1)]);
    assert_eq!(
        all.months,
        [
            (day("2026-02-01"), figures(2, 2)),
            (day("2026-03-01"), figures(1, 0))
        ]
    );
    let technicians: Vec<_> = all
        .technicians
        .iter()
        .map(|(who, of)| (who.id, *of))
        .collect();
    assert_eq!(technicians, [(shop.technician_id, figures(3, 2))]);

    let march = asked(shop, &shop.owner(), ("2026-03-01", "2026-03-31")).await;
    assert_eq!((march.all, march.without_visit), (figures(1, 0), 0));
    let office = shop.app.act(Caller::Staff {
        id: shop.owner_id,
        role: Role::Office,
        session_id: 0,
    });
    let told = asked(shop, &office, ("2026-01-01", "2026-12-31")).await;
    assert_eq!((told.all, told.months), (all.all, all.months));
    assert!(told.technicians.is_empty(), "figures of people");
    let first = shop.technician(shop.technician_id);
    let own = asked(shop, &first, ("2026-01-01", "2026-12-31")).await;
    let names = own.technicians.iter().map(|(who, _)| who.id);
    assert_eq!(names.collect::<Vec<_>>(), [shop.technician_id]);
    let other = shop.technician(shop.other_technician_id);
    let own = asked(shop, &other, ("2026-01-01", "2026-12-31")).await;
    assert_eq!((own.all, own.without_visit), (figures(0, 0), 0));
    assert_eq!(own.all.percent(), None);
    assert!(own.reasons.is_empty() && own.planned_again.is_empty());
}

#[tokio::test]
async fn a_visit_made_before_its_planned_day_counts_and_one_made_after_completion_does_not() {
    for shop in Workshop::everywhere("2026-02-02").await {
        let call = opened(&shop, CallKind::Repair).await;
        let early = planned(&shop, &call, ("2026-02-03", None));
        visited(&shop, early, VisitState::Done).await;
        let later = planned(&shop, &call, ("2026-02-09", Some(VisitReason::Other)));
        let later = ScheduleVisit {
            reason_note: Some("to show how it works".to_owned()),
            ..later
        };
        let later = stock::schedule_visit(&shop.owner(), later).await;
        completed(&shop, &call).await;
        shop.on(day("2026-02-09"));
        let made = FinishVisit {
            visit_id: later.expect("a visit").id,
            outcome: VisitState::Done,
        };
        let made = closeout::finish_visit(&shop.owner(), made).await;
        made.expect("finished");
        let all = asked(&shop, &shop.owner(), ("2026-02-01", "2026-02-28")).await;
        let one = Completed {
            calls: 1,
            first_visit: 1,
        };
        assert_eq!((all.all, all.without_visit), (one, 0));
        assert!(all.reasons.is_empty());
    }
}

#[tokio::test]
async fn a_reason_is_for_a_further_visit_and_another_one_needs_a_note() {
    let shop = Workshop::open("2026-02-02").await;
    let call = opened(&shop, CallKind::Repair).await;
    let refused =
        async |plan: ScheduleVisit| refusals(stock::schedule_visit(&shop.owner(), plan).await);
    let first = planned(&shop, &call, ("2026-02-02", Some(VisitReason::MoreTime)));
    let at = |code, path: &str| vec![(code, path.to_owned())];
    assert_eq!(refused(first).await, at(ProblemCode::WrongState, "reason"));
    let first = planned(&shop, &call, ("2026-02-02", None));
    let first = visited(&shop, first, VisitState::Done).await;
    assert_eq!(first.reason, None);
    let other = planned(&shop, &call, ("2026-02-03", Some(VisitReason::Other)));
    assert_eq!(
        refused(other.clone()).await,
        at(ProblemCode::Missing, "reasonNote")
    );
    let only_note = ScheduleVisit {
        reason: None,
        reason_note: Some("the dog".to_owned()),
        ..other.clone()
    };
    assert_eq!(
        refused(only_note.clone()).await,
        at(ProblemCode::Missing, "reason")
    );
    let both = ScheduleVisit {
        reason: Some(VisitReason::Other),
        ..only_note
    };
    let second = stock::schedule_visit(&shop.owner(), both).await;
    assert_eq!(second.expect("a visit").reason, Some(VisitReason::Other));
    let unsaid = planned(&shop, &call, ("2026-02-04", None));
    let third = stock::schedule_visit(&shop.owner(), unsaid).await;
    assert_eq!(third.expect("a visit").reason, None);
}

#[tokio::test]
async fn a_further_visit_of_which_nobody_says_why_is_for_parts_that_are_on_order() {
    let shop = Workshop::open("2026-02-02").await;
    let call = opened(&shop, CallKind::Repair).await;
    let supplier = pricing::AddSupplier {
        name: "Parts Depot".to_owned(),
        email: None,
        terms_days: None,
    };
    let supplier = pricing::add_supplier(&shop.owner(), supplier).await;
    let order = stock::OrderPart {
        idempotency_key: shop.key(),
        part_id: shop.part(Cents(1_000)).await.id,
        quantity: Decimal::TWO,
        supplier_id: supplier.expect("a supplier").id,
        call_id: Some(call.id),
        expected_on: None,
        reference: None,
    };
    let ordered = stock::order_part(&shop.owner(), order).await;
    ordered.expect("an order");
    let reason_of = async |on: &str, said| {
        let plan = planned(&shop, &call, (on, said));
        let visit = stock::schedule_visit(&shop.owner(), plan).await;
        visit.expect("a visit").reason
    };
    assert_eq!(reason_of("2026-02-02", None).await, None);
    let proposed = reason_of("2026-02-09", None).await;
    assert_eq!(proposed, Some(VisitReason::PartOrdered));
    let said = reason_of("2026-02-10", Some(VisitReason::NoAccess)).await;
    assert_eq!(said, Some(VisitReason::NoAccess));
}
