//! The morning's mail to the owners, with the clock moved on over several days.

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use nameplate_entities::kinds::{CallKind, FlagState, MailKind, OwnerLetterKind, Role};
use nameplate_entities::{outbox_mail, owner_letter};
use sea_orm::{EntityTrait, QueryOrder};

use crate::base::letter::DigestMail;
use crate::base::outbox::Payload;
use crate::base::{App, Caller, owner_letters};
use crate::callbacks::{self, MoveFlag};
use crate::closeout::testing::{Workshop, day};
use crate::shop;

use super::{letters, rounds};

fn at(on: NaiveDate, hour: i64) -> DateTime<Utc> {
    on.and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(hour)
}

/// One hourly round at an hour of a day.
async fn round(shop: &Workshop, on: &str, hour: i64) {
    shop.app.clock.set(at(day(on), hour));
    rounds::make(&shop.app.act(Caller::Program)).await;
}

async fn letters_made(shop: &Workshop) -> Vec<owner_letter::Model> {
    let rows = owner_letter::Entity::find().order_by_asc(owner_letter::Column::Id);
    let rows = rows.all(shop.app.db.read()).await.unwrap();
    let is_digest = |row: &owner_letter::Model| row.kind == OwnerLetterKind::Digest;
    rows.into_iter().filter(is_digest).collect()
}

async fn mails_queued(shop: &Workshop) -> Vec<outbox_mail::Model> {
    let mails = shop.mails().await.into_iter();
    mails
        .filter(|mail| mail.subject_kind == "owner_letter")
        .collect()
}

/// Title and headlines of each section.
fn read(mail: &DigestMail) -> Vec<(&str, Vec<&str>)> {
    (mail.sections.iter())
        .map(|section| {
            let entries = section.entries.iter();
            let said = entries.map(|entry| entry.headline.as_str()).collect();
            (section.title.as_str(), said)
        })
        .collect()
}

#[tokio::test]
async fn owners_are_told_once_a_day_from_seven_on_when_something_is_new() {
    for shop in Workshop::everywhere("2026-06-01").await {
        told_once_a_day(&shop).await;
    }
}

/// Another server, or this one after a restart.
async fn another_server_makes_its_round(shop: &Workshop) {
    let again = App::new(
        shop.app.db.clone(),
        shop.app.config.clone(),
        shop.app.clock.clone(),
    );
    rounds::make(&again.act(Caller::Program)).await;
}

async fn told_once_a_day(shop: &Workshop) {
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("D-1")).await;
    shop.repair(&machine, day("2026-06-02"), failure).await;
    round(shop, "2026-06-03", 12).await;
    assert!(letters_made(shop).await.is_empty(), "nothing came back yet");

    shop.on(day("2026-06-12"));
    let opened = shop.open_call(&machine, CallKind::Repair).await;
    let raised = shop.find(&opened.call, failure).await.flag.unwrap();
    round(shop, "2026-06-13", 6).await;
    assert!(letters_made(shop).await.is_empty(), "it is too early");
    for hour in [7, 8, 23] {
        round(shop, "2026-06-13", hour).await;
    }
    another_server_makes_its_round(shop).await;
    let letters = letters_made(shop).await;
    assert_eq!(letters.len(), 1);
    assert_eq!(letters[0].of_day, day("2026-06-13"));
    let mail: DigestMail = owner_letters::content(&letters[0]).unwrap();
    assert_eq!(mail.headline, "1 flag raised, 1 new callback to decide");
    let called = format!("Call {}: Hearthline HX-30 D-1", opened.call.number);
    assert_eq!(
        read(&mail),
        [
            ("Flags raised (1)", vec![called.as_str()]),
            ("Callbacks to decide (1)", vec![called.as_str()]),
        ]
    );
    let queued = mails_queued(shop).await;
    assert_eq!(queued.len(), 1);
    assert_eq!(queued[0].to_email, "owner@shop.example");
    assert_eq!(queued[0].kind, MailKind::Notice);

    round(shop, "2026-06-14", 7).await;
    assert_eq!(letters_made(shop).await.len(), 1, "nothing was new");

    tells_what_is_new_and_what_waits(shop, failure, (raised.id, &called)).await;
}

/// A second machine is back, and the flag of the first was only seen.
async fn tells_what_is_new_and_what_waits(
    shop: &Workshop,
    failure: (i64, i64),
    (raised_id, called): (i64, &str),
) {
    let second = shop.machine(Some("D-2")).await;
    shop.repair(&second, day("2026-06-15"), failure).await;
    shop.on(day("2026-06-16"));
    let again = shop.open_call(&second, CallKind::Repair).await;
    shop.find(&again.call, failure).await;
    let step = MoveFlag {
        flag_id: raised_id,
        to: FlagState::Acknowledged,
        note: "seen".to_owned(),
    };
    callbacks::move_flag(&shop.owner(), step).await.unwrap();
    round(shop, "2026-06-17", 7).await;
    let letters = letters_made(shop).await;
    assert_eq!(letters.len(), 2);
    let mail: DigestMail = owner_letters::content(&letters[1]).unwrap();
    let titles: Vec<_> = mail
        .sections
        .iter()
        .map(|section| section.title.as_str())
        .collect();
    assert_eq!(
        titles,
        [
            // One of the machine, and one of the two that burnt at one address.
            "Flags raised (2)",
            "Flags that still wait for an answer (1)",
            "Callbacks to decide (2)",
        ]
    );
    let waiting = &mail.sections[1].entries[0];
    assert_eq!(waiting.headline, called);
    assert!(
        waiting.sentences[1].ends_with("seen, and not answered yet. Raised 5 days ago."),
        "{:?}",
        waiting.sentences
    );
}

#[tokio::test]
async fn the_mail_of_a_digest_reads_well_and_names_at_most_twenty_of_a_kind() {
    let shop = Workshop::open("2026-06-01").await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let mut machines = Vec::new();
    for number in 0..23 {
        let machine = shop.machine(Some(&format!("D<{number}>"))).await;
        shop.repair(&machine, day("2026-06-02"), failure).await;
        machines.push(machine);
    }
    for (days, machine) in (0..).zip(&machines) {
        shop.on(day("2026-06-05") + Days::new(days / 8));
        let opened = shop.open_call(machine, CallKind::Repair).await;
        shop.find(&opened.call, failure).await;
    }
    round(&shop, "2026-06-08", 9).await;
    let queued = mails_queued(&shop).await;
    let payload: Payload = serde_json::from_str(&queued[0].payload_json).unwrap();
    let settings = shop::settings(shop.app.db.read()).await.unwrap();
    let act = shop.app.act(Caller::Program);
    let mail = letters::write(&act, &settings, &payload)
        .await
        .unwrap()
        .rendered;
    assert_eq!(
        mail.subject,
        "7 flags raised, 7 new callbacks to decide, June 8, 2026"
    );
    for said in [
        "And 3 more, newer than these.",
        "Asks to act; nobody has looked at it yet.",
        "It may be the return of",
    ] {
        assert!(mail.text.contains(said), "no {said:?} in\n{}", mail.text);
        assert!(mail.html.contains(said), "no {said:?} in\n{}", mail.html);
    }
    assert!(mail.text.contains("Hearthline HX-30 D<3>"));
    assert!(!mail.html.contains("D<3>"), "typed text became markup");
    assert!(!mail.text.contains("\n\n\n"), "gaps in:\n{}", mail.text);
    if let Ok(folder) = std::env::var("NAMEPLATE_TEST_SHOW") {
        std::fs::write(format!("{folder}/digest.html"), &mail.html).unwrap();
        std::fs::write(format!("{folder}/digest.txt"), &mail.text).unwrap();
    }
}

#[tokio::test]
async fn the_shop_s_clock_counts_and_the_settings_switch_the_digest_off() {
    let shop = Workshop::open("2026-06-01").await;
    let change = shop::ChangeShop {
        time_zone: Some("America/Los_Angeles".to_owned()),
        flag_digest: Some(false),
        ..shop::ChangeShop::default()
    };
    shop::change_shop(&shop.owner(), change).await.unwrap();
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("D-1")).await;
    shop.repair(&machine, day("2026-06-02"), failure).await;
    // One in the afternoon there.
    shop.app.clock.set(at(day("2026-06-12"), 20));
    let opened = shop.open_call(&machine, CallKind::Repair).await;
    shop.find(&opened.call, failure).await;
    round(&shop, "2026-06-12", 21).await;
    assert!(letters_made(&shop).await.is_empty(), "it is switched off");
    let change = shop::ChangeShop {
        flag_digest: Some(true),
        ..shop::ChangeShop::default()
    };
    shop::change_shop(&shop.owner(), change).await.unwrap();
    round(&shop, "2026-06-13", 13).await;
    assert!(
        letters_made(&shop).await.is_empty(),
        "six in the morning there"
    );
    round(&shop, "2026-06-13", 14).await;
    assert_eq!(letters_made(&shop).await.len(), 1);
}

#[tokio::test]
async fn two_servers_at_once_tell_each_owner_once() {
    for shop in Workshop::everywhere("2026-06-01").await {
        let second = shop::AddStaff {
            name: "second".to_owned(),
            email: "second@shop.example".to_owned(),
            role: Role::Owner,
            password: "a long enough password".to_owned(),
        };
        shop::add_staff(&shop.owner(), second).await.unwrap();
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("D-1")).await;
        shop.repair(&machine, day("2026-06-02"), failure).await;
        shop.on(day("2026-06-12"));
        let opened = shop.open_call(&machine, CallKind::Repair).await;
        shop.find(&opened.call, failure).await;
        let (one, other) = (shop.app.act(Caller::Program), shop.app.act(Caller::Program));
        let told = tokio::join!(
            callbacks::tell_what_came_back(&one),
            callbacks::tell_what_came_back(&other)
        );
        told.0.unwrap();
        told.1.unwrap();
        assert_eq!(letters_made(&shop).await.len(), 1);
        let to: Vec<_> = mails_queued(&shop)
            .await
            .into_iter()
            .map(|mail| mail.to_email)
            .collect();
        assert_eq!(to, ["owner@shop.example", "second@shop.example"]);
    }
}
