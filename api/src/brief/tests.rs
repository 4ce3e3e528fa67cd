//! The brief over a short and a long history.

use chrono::Days;
use nameplate_entities::kinds::{CallKind, VisitState};

use crate::base::Act;
use crate::calls::{self, ScheduleVisit};
use crate::closeout::testing::{Workshop, day};
use crate::{closeout, stock};

use super::store::day_route;
use super::{Brief, HISTORY_MAX, load};

/// The brief, and how many statements it took.
async fn read(act: &Act, call_id: i64) -> (Option<Brief>, u64) {
    let before = act.app.db.statements();
    let brief = load(act.app.db.read(), act, call_id).await;
    (brief.expect("a brief"), act.app.db.statements() - before)
}

#[tokio::test]
async fn a_brief_takes_as_many_statements_however_long_the_history() {
    for shop in Workshop::everywhere("2022-01-01").await {
        a_brief_takes_as_many(&shop).await;
    }
}

async fn a_brief_takes_as_many(shop: &Workshop) {
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("B-1")).await;
    let neighbour = shop.machine(Some("B-2")).await;
    let call = shop.open_call(&neighbour, CallKind::Repair).await.call;
    let (short, statements) = read(&shop.owner(), call.id).await;
    let short = short.expect("the owner sees every call");
    assert_eq!(statements, 29);
    assert_eq!((short.history.len(), short.flags.len()), (0, 0));
    assert_eq!(short.other_machines.len(), 1);

    for repair in 0..25 {
        let on = day("2022-01-10") + Days::new(repair * 20);
        shop.repair(&machine, on, failure).await;
    }
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let (long, statements) = read(&shop.owner(), call.id).await;
    let long = long.expect("a brief");
    // One more names the components of what the shop stands behind.
    assert_eq!(statements, 30);
    assert_eq!(long.history.len(), HISTORY_MAX);
    assert_eq!(long.history[0].completed_on, Some(day("2023-05-05")));
    assert_eq!(long.findings.len(), long.history.len());
    assert_eq!(long.remedies.len(), long.history.len());
    assert_eq!(long.flags.len(), 1);
    assert!(!long.warranties.is_empty());
    assert_eq!(long.ticket.callback.map(|row| row.age_days), Some(1));
    assert_eq!(
        long.ticket.earlier.map(|row| row.id),
        Some(long.history[0].id)
    );
}

#[tokio::test]
async fn a_technician_gets_the_brief_of_own_calls_only() {
    let shop = Workshop::open("2024-01-10").await;
    let machine = shop.machine(Some("B-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let visit = ScheduleVisit {
        call_ids: vec![call.id],
        technician_id: shop.technician_id,
        planned_on: day("2024-01-11"),
        window: Some("8 to 10".to_owned()),
        reason: None,
        reason_note: None,
    };
    stock::schedule_visit(&shop.owner(), visit)
        .await
        .expect("a visit");
    let (own, _) = read(&shop.technician(shop.technician_id), call.id).await;
    let own = own.expect("an own call");
    assert_eq!(own.visits.len(), 1);
    assert_eq!(own.visits[0].technician.name, "technician");
    assert_eq!(
        own.ticket.address.access_notes.as_deref(),
        Some("key under the mat")
    );
    let (others, _) = read(&shop.technician(shop.other_technician_id), call.id).await;
    assert!(others.is_none());
}

async fn plan(shop: &Workshop, call_ids: Vec<i64>, window: &str) {
    let visit = ScheduleVisit {
        call_ids,
        technician_id: shop.technician_id,
        planned_on: day("2024-01-11"),
        window: Some(window.to_owned()),
        reason: None,
        reason_note: None,
    };
    let planned = stock::schedule_visit(&shop.owner(), visit).await;
    planned.expect("a visit");
}

/// The calls of each stop, how many visits are left out, and how many statements it took.
async fn route(shop: &Workshop) -> (Vec<Vec<i64>>, usize, u64) {
    let act = shop.technician(shop.technician_id);
    let before = act.app.db.statements();
    let asked = (shop.technician_id, day("2024-01-11"));
    let route = day_route(act.app.db.read(), &act, asked)
        .await
        .expect("a route");
    let calls = route.stops.iter().map(|stop| {
        let calls = stop.briefs.iter().map(|brief| brief.ticket.call.id);
        calls.collect()
    });
    let calls = calls.collect();
    (calls, route.left_out, act.app.db.statements() - before)
}

#[tokio::test]
async fn a_day_is_read_together_in_the_order_of_its_windows() {
    for shop in Workshop::everywhere("2024-01-10").await {
        a_day_is_read_together(&shop).await;
    }
}

async fn a_day_is_read_together(shop: &Workshop) {
    let machine = shop.machine(Some("B-1")).await;
    let mut calls = Vec::new();
    for _ in 0..12 {
        calls.push(shop.open_call(&machine, CallKind::Repair).await.call.id);
    }
    plan(shop, vec![calls[0]], "10 to 12").await;
    let (alone, _, of_one) = route(shop).await;
    assert_eq!(alone, [vec![calls[0]]]);
    let cover = {
        let act = shop.owner();
        let before = act.app.db.statements();
        let brief = load(act.app.db.read(), &act, calls[0]).await;
        brief.expect("a brief");
        // Beside its cover a brief takes 16.
        act.app.db.statements() - before - 16
    };

    plan(shop, vec![calls[1], calls[2]], "8 to 10").await;
    plan(shop, vec![calls[3]], "after 3").await;
    plan(shop, vec![calls[4]], "when somebody is there").await;
    for call in &calls[5..11] {
        plan(shop, vec![*call], "1 to 2 pm").await;
    }
    let (stops, left_out, of_ten) = route(shop).await;
    assert_eq!((stops.len(), left_out), (10, 0));
    assert_eq!(stops[0], [calls[1], calls[2]]);
    assert_eq!(stops[1], [calls[0]]);
    assert_eq!(stops[8], [calls[3]]);
    assert_eq!(stops[9], [calls[4]]);
    // Only who pays is asked call by call: ten more of them.
    assert_eq!(of_ten - of_one, 10 * cover);

    for _ in 0..12 {
        plan(shop, vec![calls[11]], "4 pm").await;
    }
    let (stops, left_out, _) = route(shop).await;
    assert_eq!((stops.len(), left_out), (20, 2));
}

#[tokio::test]
async fn a_visit_whose_calls_would_be_too_many_is_left_out_whole() {
    let shop = Workshop::open("2024-01-10").await;
    let machine = shop.machine(Some("B-1")).await;
    for (visit, window) in ["8 to 10", "10 to 12", "1 to 3"].into_iter().enumerate() {
        let mut calls = Vec::new();
        for _ in 0..if visit == 2 { 3 } else { 19 } {
            calls.push(shop.open_call(&machine, CallKind::Repair).await.call.id);
        }
        plan(&shop, calls, window).await;
    }
    let (stops, left_out, _) = route(&shop).await;
    let lengths: Vec<usize> = stops.iter().map(Vec::len).collect();
    assert_eq!((lengths, left_out), (vec![19, 19], 1));
}

#[tokio::test]
async fn a_neighbour_is_told_with_what_came_back_on_it_and_a_call_with_its_earlier_visits() {
    let shop = Workshop::open("2024-01-01").await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let neighbour = shop.machine(Some("B-2")).await;
    shop.repair(&neighbour, day("2024-01-02"), failure).await;
    shop.repair(&neighbour, day("2024-01-08"), failure).await;
    shop.on(day("2024-01-10"));
    let machine = shop.machine(Some("B-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    plan(&shop, vec![call.id], "8 to 10").await;
    let (before, _) = read(&shop.owner(), call.id).await;
    let before = before.expect("a brief");
    assert!(before.flags.is_empty());
    assert_eq!(before.other_flags.len(), 1);
    let finished = calls::FinishVisit {
        visit_id: before.visits[0].visit.id,
        outcome: VisitState::Missed,
    };
    closeout::finish_visit(&shop.owner(), finished)
        .await
        .expect("missed");
    let (after, _) = read(&shop.owner(), call.id).await;
    let after = after.expect("a brief");
    assert_eq!((after.visits.len(), after.earlier_visits.len()), (0, 1));
}
