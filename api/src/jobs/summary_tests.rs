//! The month's mail to the owners, with the clock moved on into the next month.

use chrono::{Days, NaiveTime, TimeDelta};
use nameplate_entities::kinds::{CallKind, Method, OwnerLetterKind};
use nameplate_entities::{appliance, owner_letter};
use nameplate_rules::money::Cents;
use sea_orm::{EntityTrait, QueryOrder};

use crate::base::letter::SummaryMail;
use crate::base::{Caller, owner_letters};
use crate::callbacks::{DecideCallback, Decision, Opened, Recorded};
use crate::closeout;
use crate::closeout::testing::{Workshop, day};
use crate::shop;

use super::rounds;

async fn round(shop: &Workshop, on: &str) {
    let at = day(on).and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(1);
    shop.app.clock.set(at);
    rounds::make(&shop.app.act(Caller::Program)).await;
}

async fn summaries(shop: &Workshop) -> Vec<(String, SummaryMail)> {
    let rows = owner_letter::Entity::find().order_by_asc(owner_letter::Column::Id);
    let rows = rows.all(shop.app.db.read()).await.unwrap();
    rows.iter()
        .filter(|row| row.kind == OwnerLetterKind::Summary)
        .map(|row| (row.of_day.to_string(), owner_letters::content(row).unwrap()))
        .collect()
}

#[tokio::test]
async fn the_first_round_of_a_month_tells_of_the_last_one_and_only_once() {
    for shop in Workshop::everywhere("2026-06-01").await {
        told_once_a_month(&shop).await;
    }
}

/// A call by which a repair came back, from its opening to its end.
async fn comes_back(
    shop: &Workshop,
    machine: &appliance::Model,
    failure: (i64, i64),
) -> (Opened, Recorded) {
    let opened = shop.open_call(machine, CallKind::Repair).await;
    let found = shop.find(&opened.call, failure).await;
    let confirm = DecideCallback {
        callback_id: opened.callback.as_ref().unwrap().id,
        decision: Decision::Confirm { class: None },
        note: None,
    };
    closeout::decide_callback(&shop.owner(), confirm)
        .await
        .unwrap();
    shop.mend(&found, Method::Replaced, Vec::new()).await;
    shop.explain(&opened.call).await;
    shop.complete(&opened.call).await.unwrap();
    (opened, found)
}

async fn told_once_a_month(shop: &Workshop) {
    let costs = shop::ChangeShop {
        labour_cost: Some(Cents(3_000)),
        ..shop::ChangeShop::default()
    };
    shop::change_shop(&shop.owner(), costs).await.unwrap();
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("D-1")).await;
    shop.repair(&machine, day("2026-06-30"), failure).await;
    round(shop, "2026-06-30").await;
    assert!(summaries(shop).await.is_empty(), "nothing happened in May");
    round(shop, "2026-07-01").await;
    shop.on(day("2026-07-03"));
    let (opened, found) = comes_back(shop, &machine, failure).await;
    round(shop, "2026-07-31").await;
    round(shop, "2026-08-01").await;
    round(shop, "2026-08-01").await;
    let told = summaries(shop).await;
    let months: Vec<&str> = told.iter().map(|(day, _)| day.as_str()).collect();
    assert_eq!(months, ["2026-06-01", "2026-07-01"]);
    let figures = |mail: &SummaryMail| -> Vec<(String, String)> {
        (mail.figures.iter())
            .map(|figure| (figure.label.clone(), figure.value.clone()))
            .collect()
    };
    let pair = |label: &str, value: &str| (label.to_owned(), value.to_owned());
    assert_eq!(told[0].1.month, "June 2026");
    assert_eq!(
        figures(&told[0].1),
        [
            pair("Repairs completed", "1"),
            pair("Callbacks counted", "0"),
            pair("Cost of callbacks", "USD 0.00"),
            pair("Flags raised", "0"),
            pair("Flags closed", "0"),
        ]
    );
    // Forty minutes at what an hour costs.
    assert_eq!(
        figures(&told[1].1),
        [
            pair("Repairs completed", "1"),
            pair("Callbacks counted", "1"),
            pair("Repairs that come back", "50.0 % (9.5 % to 90.5 %)"),
            pair("Cost of callbacks", "USD 20.00"),
            pair("Flags raised", "1"),
            pair("Flags closed", "0"),
        ]
    );
    let flag = found.flag.as_ref().unwrap();
    let call = &opened.call.number;
    assert_eq!(
        told[1].1.worries,
        [format!(
            "Hearthline HX-30 D-1, Ida Fell, call {call}: {}",
            flag.reason
        )]
    );
    let mails = shop.mails().await.into_iter();
    let to_owners = mails.filter(|mail| mail.subject_kind == "owner_letter");
    assert_eq!(to_owners.count(), 2, "it was too early for a digest");
}

#[tokio::test]
async fn the_newest_flags_are_named_first_and_the_others_counted() {
    for shop in Workshop::everywhere("2026-06-01").await {
        let failure = shop.failure("Door gasket", "worn").await;
        let mut machines = Vec::new();
        for number in 1..=6 {
            let machine = shop.machine(Some(&format!("D-{number}"))).await;
            shop.repair(&machine, day("2026-06-02"), failure).await;
            machines.push(machine);
        }
        for (machine, days) in machines.iter().zip(1..) {
            let on = day("2026-06-10") + Days::new(days);
            shop.repair(machine, on, failure).await;
        }
        round(&shop, "2026-07-01").await;
        let told = summaries(&shop).await;
        let worries = &told[0].1.worries;
        for (worry, serial) in worries.iter().zip(["D-6", "D-5", "D-4", "D-3"]) {
            let named = format!("Hearthline HX-30 {serial}, Ida Fell, call ");
            assert!(worry.starts_with(&named), "{worries:?}");
        }
        assert_eq!(worries[4], "And 2 more flags are open.");
    }
}
