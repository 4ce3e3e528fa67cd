//! What is told, to whom, and what is refused without closing.

use async_graphql::Request;
use nameplate_entities::kinds::FlagState;

use crate::base::{Act, Caller};
use crate::callbacks::{self, MoveFlag, RecordFinding};
use crate::calls::{NewFinding, ScheduleVisit};
use crate::graphql::{loaders, schema};
use crate::stock;

use super::*;

#[tokio::test]
async fn twenty_flags_reach_five_listeners_in_order_and_once() {
    for live in Live::everywhere().await {
        let (calls, failure) = live.calls_again(20).await;
        let mut listeners = Vec::new();
        for _ in 0..5 {
            listeners.push(live.listening("owner").await);
        }
        for call in &calls {
            assert!(live.shop.find(call, failure).await.flag.is_some());
        }
        let raised: Vec<&str> = calls.iter().map(|call| call.number.as_str()).collect();
        for listener in &mut listeners {
            let mut told = Vec::new();
            for _ in &calls {
                told.push(listener.flag().await);
            }
            assert_eq!(told, raised);
            listener.is_quiet().await;
        }
    }
}

#[tokio::test]
async fn a_flag_that_somebody_opens_again_is_told_like_a_new_one() {
    for live in Live::everywhere().await {
        let (calls, failure) = live.calls_again(1).await;
        let flag = live.shop.find(&calls[0], failure).await.flag.unwrap();
        let mut listener = live.listening("owner").await;
        let later = live.shop.app.clock.now() + TimeDelta::minutes(5);
        live.shop.app.clock.set(later);
        let states = [
            FlagState::Acknowledged,
            FlagState::Answered,
            FlagState::Closed,
            FlagState::Open,
        ];
        for to in states {
            listener.is_quiet().await;
            let step = MoveFlag {
                flag_id: flag.id,
                to,
                note: "smoke was seen".to_owned(),
            };
            let moved = callbacks::move_flag(&live.shop.owner(), step).await;
            let raised_at = moved.unwrap().raised_at;
            assert_eq!(raised_at == later, to == FlagState::Open);
        }
        assert_eq!(listener.flag().await, calls[0].number);
        listener.is_quiet().await;
    }
}

#[tokio::test]
async fn a_technician_is_told_of_machines_on_own_calls_only() {
    for live in Live::everywhere().await {
        let (calls, failure) = live.calls_again(2).await;
        let visit = ScheduleVisit {
            call_ids: vec![calls[1].id],
            technician_id: live.shop.technician_id,
            planned_on: day("2026-06-13"),
            window: None,
            reason: None,
            reason_note: None,
        };
        stock::schedule_visit(&live.shop.owner(), visit)
            .await
            .unwrap();
        let mut technician = live.listening("technician").await;
        let mut other = live.listening("other").await;
        for call in &calls {
            live.shop.find(call, failure).await;
        }
        assert_eq!(technician.flag().await, calls[1].number);
        technician.is_quiet().await;
        other.is_quiet().await;
    }
}

#[tokio::test]
async fn nothing_is_told_of_what_was_refused_or_was_there_before() {
    let live = Live::open().await;
    let (calls, failure) = live.calls_again(2).await;
    live.shop.find(&calls[0], failure).await;
    let mut listener = live.listening("owner").await;
    let refused = RecordFinding {
        idempotency_key: live.shop.key(),
        finding: NewFinding {
            call_id: calls[1].id,
            component_id: failure.0,
            failure_mode_id: 999_999,
            position: None,
            cause: None,
            note: None,
        },
    };
    let outcome = callbacks::record_finding(&live.shop.owner(), refused).await;
    assert!(outcome.is_err());
    // As loud as before: the same failure of the same part on the same call.
    live.shop.find(&calls[0], failure).await;
    listener.is_quiet().await;
    live.shop.find(&calls[1], failure).await;
    assert_eq!(listener.flag().await, calls[1].number);
}

#[tokio::test]
async fn a_listener_who_is_slow_is_told_of_everything_later() {
    let live = Live::open().await;
    let (calls, failure) = live.calls_again(3).await;
    let mut listener = live.listening("owner").await;
    // Nobody rings: as when another server raised it, or the bell was rung many times at once.
    let deaf = crate::base::App::new(
        live.shop.app.db.clone(),
        live.shop.app.config.clone(),
        live.shop.app.clock.clone(),
    );
    for call in &calls {
        let finding = NewFinding {
            call_id: call.id,
            component_id: failure.0,
            failure_mode_id: failure.1,
            position: None,
            cause: None,
            note: None,
        };
        let command = RecordFinding {
            idempotency_key: live.shop.key(),
            finding,
        };
        let act = deaf.act(live.shop.owner().caller);
        callbacks::record_finding(&act, command).await.unwrap();
    }
    listener.is_quiet().await;
    live.shop.app.flag_bell.send_replace(());
    for call in &calls {
        assert_eq!(listener.flag().await, call.number);
    }
}

#[tokio::test]
async fn what_cannot_be_run_here_is_refused_and_the_connection_stays() {
    let live = Live::open().await;
    let mut client = live.begun(&live.token("owner").await).await;
    for (query, code) in [
        ("{ shop { name } }", "INVALID_REQUEST"),
        ("mutation { signOut { ended } }", "INVALID_REQUEST"),
        ("subscription { flagRaised { nothing } }", "INVALID_REQUEST"),
        ("subscription {", "INVALID_REQUEST"),
        (
            "subscription { a: flagRaised { id } b: flagRaised { id } }",
            "INVALID_REQUEST",
        ),
        (
            "subscription ($n: Int!) { flagRaised { id } }",
            "INVALID_REQUEST",
        ),
    ] {
        client.subscribe("1", query).await;
        let told = client.hear().await;
        assert_eq!(told["type"], "error", "{query}: {told}");
        assert_eq!(told["id"], "1");
        assert_eq!(
            told["payload"][0]["extensions"]["code"], code,
            "{query}: {told}"
        );
    }
    let two = "query A { shop { name } } subscription B { flagRaised { id } }";
    client.subscribe("1", two).await;
    let told = client.hear().await;
    let message = told["payload"][0]["message"].as_str();
    assert!(
        message.is_some_and(|said| said.contains("Operation name required")),
        "{told}"
    );
    let deep = format!("subscription {}{}", "{ a ".repeat(70), "}".repeat(70));
    client.subscribe("1", &deep).await;
    let told = client.hear().await;
    assert_eq!(
        told["payload"][0]["extensions"]["code"], "TOO_MUCH_ASKED",
        "{told}"
    );
    client
        .say(json!({ "type": "ping", "payload": { "a": 1 } }))
        .await;
    assert_eq!(
        client.hear().await,
        json!({ "type": "pong", "payload": { "a": 1 } })
    );
}

#[tokio::test]
async fn a_connection_has_eight_subscriptions_and_an_id_is_free_again_once_complete() {
    let live = Live::open().await;
    let (calls, failure) = live.calls_again(1).await;
    let mut client = live.begun(&live.token("owner").await).await;
    for id in 1..=8 {
        client.subscribe(&id.to_string(), FLAGS).await;
    }
    client.subscribe("9", FLAGS).await;
    let told = client.hear().await;
    assert_eq!((&told["type"], &told["id"]), (&json!("error"), &json!("9")));
    assert_eq!(told["payload"][0]["extensions"]["code"], "TOO_MUCH_ASKED");
    for id in 1..=8 {
        client
            .say(json!({ "type": "complete", "id": id.to_string() }))
            .await;
    }
    client.subscribe("1", FLAGS).await;
    client.settled().await;
    live.shop.find(&calls[0], failure).await;
    assert_eq!(client.flag().await, calls[0].number);
    client.is_quiet().await;
}

#[tokio::test]
async fn the_gate_stands_before_a_subscription_and_before_each_field_of_an_event() {
    let live = Live::open().await;
    let (calls, failure) = live.calls_again(1).await;
    let visit = ScheduleVisit {
        call_ids: vec![calls[0].id],
        technician_id: live.shop.technician_id,
        planned_on: day("2026-06-13"),
        window: None,
        reason: None,
        reason_note: None,
    };
    stock::schedule_visit(&live.shop.owner(), visit)
        .await
        .unwrap();
    let schema = schema::build(&live.shop.app);
    let listen = |act: Act| {
        let request =
            Request::new("subscription { flagRaised { level call { consents { id } } } }")
                .data(loaders::row_loader(act.app.db.read().clone()))
                .data(act);
        schema.execute_stream(request)
    };
    let mut nobody = listen(live.shop.app.act(Caller::Nobody));
    let refused = serde_json::to_value(nobody.next().await).unwrap();
    assert_eq!(
        refused["errors"][0]["extensions"]["code"],
        "UNAUTHENTICATED"
    );
    assert!(nobody.next().await.is_none());

    let mut technician = listen(live.shop.technician(live.shop.technician_id));
    let (told, _) = tokio::join!(technician.next(), async {
        tokio::time::sleep(QUIET).await;
        live.shop.find(&calls[0], failure).await
    });
    let told = serde_json::to_value(told).unwrap();
    let refused = &told["errors"][0];
    assert_eq!(refused["extensions"]["code"], "FORBIDDEN", "{told}");
    assert_eq!(
        refused["message"], "Your role may not use ServiceCall.consents.",
        "{told}"
    );
}
