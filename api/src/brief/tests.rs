//! The brief over a short and a long history.

use chrono::Days;
use nameplate_entities::kinds::CallKind;

use crate::base::Act;
use crate::calls::ScheduleVisit;
use crate::closeout::testing::{Workshop, day};
use crate::stock;

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
    assert_eq!(statements, 28);
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
    assert_eq!(statements, 29);
    assert_eq!(u64::try_from(long.history.len()), Ok(HISTORY_MAX));
    assert_eq!(long.history[0].completed_on, Some(day("2023-05-05")));
    assert_eq!(long.findings.len(), long.history.len());
    assert_eq!(long.remedies.len(), long.history.len());
    assert_eq!(long.flags.len(), 24);
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
