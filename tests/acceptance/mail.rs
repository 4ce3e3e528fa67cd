//! Mail on its way out, against a real mail server that misbehaves on request (`tests/smtp/server.py`).
//!
//! Most mails here are notices put into the outbox past the program, as the acts that ask for mail do it.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::{MailKind, MailState};
use nameplate_entities::outbox_mail;
use sea_orm::{ActiveModelTrait, ActiveValue::Set};
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql;
use crate::support::on_both_databases;
use crate::support::server::{Role, Server, ServerOptions};
use crate::support::smtp::{Encryption, SmtpOptions, SmtpServer};
use crate::support::wait::{PATIENCE, eventually, holds_for};

/// A mail that some act asked for.
struct Asked {
    to: String,
    kind: MailKind,
    give_up_after: TimeDelta,
}

fn notice(to: &str) -> Asked {
    Asked {
        to: to.to_owned(),
        kind: MailKind::Notice,
        give_up_after: TimeDelta::days(5),
    }
}

/// Puts mails into the outbox and returns their Message-IDs, without brackets.
async fn ask_for(db: &TestDatabase, mails: &[Asked]) -> Vec<String> {
    let connection = db.connect().await;
    let now = now();
    let mut message_ids = Vec::new();
    for (number, mail) in mails.iter().enumerate() {
        let message_id = format!(
            "asked-{number}-{}@nameplate.test",
            mail.to.replace('@', ".")
        );
        let payload = json!({
            "kind": "notice",
            "headline": format!("The kettle of {} boils – crème", mail.to),
            "sentences": ["Come and see.", "<b>Soon</b>."],
        });
        outbox_mail::ActiveModel {
            message_id: Set(format!("<{message_id}>")),
            kind: Set(mail.kind),
            payload_json: Set(payload.to_string()),
            to_email: Set(mail.to.clone()),
            to_name: Set("Ada Grün".to_owned()),
            subject_kind: Set("staff".to_owned()),
            subject_id: Set(1),
            state: Set(MailState::Queued),
            attempts: Set(0),
            next_try_at: Set(now),
            give_up_at: Set(now + mail.give_up_after),
            created_at: Set(now),
            ..Default::default()
        }
        .insert(&connection)
        .await
        .expect("a mail can be asked for");
        message_ids.push(message_id);
    }
    connection
        .close()
        .await
        .expect("a connection can be closed");
    message_ids
}

#[expect(
    clippy::disallowed_methods,
    reason = "the program under test lives in the present"
)]
fn now() -> DateTime<Utc> {
    Utc::now()
}

async fn mails(server: &Server, token: &str) -> Vec<Value> {
    let query = "{ mails(first: 100) { edges { node { id kind to state attempts lastError sentAt nextTryAt } } } }";
    let answer = server.graphql(Some(token), query, json!({})).await;
    graphql::data(&answer);
    graphql::list(&answer, "data.mails.edges")
        .iter()
        .map(|edge| edge["node"].clone())
        .collect()
}

/// Waits until the mail to this address stands so, and returns it.
async fn stands(server: &Server, token: &str, to: &str, state: &str) -> Value {
    let what = format!("the mail to {to} to be {state}");
    eventually(&what, PATIENCE, async || {
        mails(server, token)
            .await
            .into_iter()
            .find(|mail| mail["to"] == to && mail["state"] == state)
    })
    .await
}

async fn retry(server: &Server, token: &str, id: &Value, key: &str) -> Value {
    let query = "mutation($input: RetryMailInput!) {
        retryMail(input: $input) { mail { id state } problems { code path } }
    }";
    let input = json!({ "mailId": id, "idempotencyKey": key });
    server
        .graphql(Some(token), query, json!({ "input": input }))
        .await
}

on_both_databases! {
    async fn a_mail_that_is_asked_for_arrives_once(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let token = server.token(Role::Office).await;
        let ids = ask_for(&db, &[notice("ada@customer.test")]).await;
        let mail = stands(&server, &token, "ada@customer.test", "SENT").await;
        assert_eq!(mail["attempts"], 1);
        assert!(mail["sentAt"].is_string() && mail["lastError"].is_null() && mail["nextTryAt"].is_null());

        let kept = smtp.messages_to("ada@customer.test");
        let [message] = &kept[..] else { panic!("one message, not {kept:#?}") };
        assert_eq!(message.message_id, ids[0]);
        assert_eq!(message.to, ["ada@customer.test"]);
        assert_eq!(message.subject, "The kettle of ada@customer.test boils – crème");
        assert!(message.text.contains("<b>Soon</b>."), "{}", message.text);
        assert!(message.html.contains("&lt;b&gt;Soon") || message.html.contains("&#60;b&#62;Soon"), "{}", message.html);
        let raw = String::from_utf8_lossy(&message.raw);
        assert!(raw.contains("Auto-Submitted: auto-generated"), "{raw}");
        assert!(raw.contains("Date: "), "{raw}");
        holds_for("one message", Duration::from_millis(500), async || {
            smtp.attempts_for("ada@customer.test").len() == 1
        })
        .await;
    }

    async fn a_deferred_mail_is_tried_again_until_it_is_taken(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let token = server.token(Role::Owner).await;
        let addresses = ["defer-2-ada@customer.test", "defer-data-2-ada@customer.test"];
        ask_for(&db, &addresses.map(notice)).await;
        for to in addresses {
            let mail = stands(&server, &token, to, "SENT").await;
            assert_eq!(mail["attempts"], 3);
            assert_eq!(smtp.messages_to(to).len(), 1);
            let outcomes: Vec<_> = smtp.attempts_for(to).into_iter().map(|one| one.outcome).collect();
            assert_eq!(outcomes, ["deferred", "deferred", "accepted"]);
        }
    }

    async fn a_rejected_mail_fails_and_the_desk_is_told(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let desk = [server.add_staff(Role::Owner), server.add_staff(Role::Office)];
        let technician = server.add_staff(Role::Technician);
        let token = server.sign_in(&desk[0]).await;
        let addresses = ["reject@customer.test", "refuse-data@customer.test", "no address"];
        let invoice = |to| Asked { kind: MailKind::Invoice, ..notice(to) };
        ask_for(&db, &addresses.map(invoice)).await;
        for to in addresses {
            let mail = stands(&server, &token, to, "FAILED").await;
            assert_eq!(mail["attempts"], 1, "{mail}");
            assert!(mail["lastError"].is_string(), "{mail}");
        }
        for person in &desk {
            let told = smtp.wait_for_messages(&person.email, 3).await;
            assert_eq!(told.len(), 3);
            assert!(told.iter().any(|mail| mail.text.contains("reject@customer.test")));
            assert!(told[0].subject.contains("could not be delivered"), "{}", told[0].subject);
        }
        assert_eq!(smtp.messages_to(&technician.email).len(), 0);
        assert_eq!(smtp.messages().len(), 6);
    }

    async fn a_failed_mail_is_sent_again_on_request_and_only_once(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let token = server.token(Role::Office).await;
        let technician = server.token(Role::Technician).await;
        let to = "defer-1-ada@customer.test";
        let ids = ask_for(&db, &[Asked { give_up_after: TimeDelta::zero(), ..notice(to) }]).await;
        let mail = stands(&server, &token, to, "FAILED").await;

        let refused = retry(&server, &technician, &mail["id"], "one").await;
        assert_eq!(graphql::error_codes(&refused), ["FORBIDDEN"]);
        for _ in 0..2 {
            let answer = retry(&server, &token, &mail["id"], "one").await;
            graphql::done(&answer, "retryMail");
        }
        stands(&server, &token, to, "SENT").await;
        let again = retry(&server, &token, &mail["id"], "two").await;
        graphql::refused(&again, "retryMail", "WRONG_STATE");
        graphql::done(&retry(&server, &token, &mail["id"], "one").await, "retryMail");
        let kept = smtp.messages_to(to);
        assert_eq!(kept.len(), 1);
        assert_eq!(kept[0].message_id, ids[0]);
        assert_eq!(smtp.attempts_for(to).len(), 2);
    }

    async fn a_silent_relay_is_left_and_tried_again(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let options = ServerOptions::default().smtp(&smtp).set("NAMEPLATE_MAIL__SEND_TIMEOUT_MS", "500");
        let mut server = Server::start(&db, options).await;
        let token = server.token(Role::Owner).await;
        ask_for(&db, &[notice("hang@customer.test"), notice("ada@customer.test")]).await;
        smtp.wait_for_attempts("hang@customer.test", 2).await;
        smtp.wait_for_messages("ada@customer.test", 1).await;
        let mail = stands(&server, &token, "hang@customer.test", "WAITING").await;
        assert!(mail["nextTryAt"].is_string(), "{mail}");
        assert_eq!(graphql::text(&mail, "lastError"), "the relay did not answer in time");
    }

    async fn a_broken_connection_repeats_the_same_message(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let token = server.token(Role::Owner).await;
        let addresses = ["drop@customer.test", "lose-answer@customer.test"];
        let ids = ask_for(&db, &addresses.map(notice)).await;
        for ((to, id), copies) in addresses.iter().zip(ids).zip([1, 2]) {
            stands(&server, &token, to, "SENT").await;
            let kept = smtp.messages_to(to);
            assert_eq!(kept.len(), copies, "{to}");
            assert!(kept.iter().all(|mail| mail.message_id == id));
            let tried: BTreeSet<_> = smtp.attempts_for(to).into_iter().map(|one| one.message_id).collect();
            assert_eq!(tried.len(), 1, "one Message-ID on every try: {tried:?}");
        }
    }

    async fn mail_waits_for_a_relay_that_is_away(db: TestDatabase) {
        let mut smtp = SmtpServer::start(SmtpOptions::default());
        let options = ServerOptions::default().smtp(&smtp);
        smtp.stop();
        let mut server = Server::start(&db, options).await;
        let token = server.token(Role::Owner).await;
        ask_for(&db, &[notice("ada@customer.test")]).await;
        stands(&server, &token, "ada@customer.test", "WAITING").await;
        smtp.start_again();
        stands(&server, &token, "ada@customer.test", "SENT").await;
        assert_eq!(smtp.messages_to("ada@customer.test").len(), 1);
    }

    async fn killed_again_and_again_the_server_loses_no_mail(db: TestDatabase) {
        const MAILS: usize = 30;
        const KILLS: u64 = 3;
        let smtp = SmtpServer::start(SmtpOptions::default());
        let options = ServerOptions::default().smtp(&smtp).set("NAMEPLATE_MAIL__SEND_TIMEOUT_MS", "700");
        let mut server = Server::start(&db, options).await;
        let token = server.token(Role::Owner).await;
        let asked: Vec<_> = (0..MAILS).map(|number| notice(&format!("ada{number}@customer.test"))).collect();
        let ids: BTreeSet<_> = ask_for(&db, &asked).await.into_iter().collect();
        for kill in 0..KILLS {
            tokio::time::sleep(Duration::from_millis(60 + 40 * kill)).await;
            server.kill_9();
            server.restart().await;
        }
        eventually("every mail to be sent", PATIENCE, async || {
            let mails = mails(&server, &token).await;
            (mails.len() == MAILS && mails.iter().all(|mail| mail["state"] == "SENT")).then_some(())
        })
        .await;
        let arrived = smtp.messages();
        let arrived_ids: BTreeSet<_> = arrived.iter().map(|mail| mail.message_id.clone()).collect();
        assert_eq!(arrived_ids, ids);
        // A kill between the relay's answer and our note of it repeats that one mail, under its own id.
        let copies = arrived.len() - ids.len();
        assert!(u64::try_from(copies).is_ok_and(|copies| copies <= KILLS), "{copies} copies after {KILLS} kills");
    }
}

#[tokio::test]
async fn mail_is_encrypted_and_signed_in_as_the_settings_say() {
    for encryption in [Encryption::StartTls, Encryption::Implicit] {
        let db = TestDatabase::sqlite().await;
        let smtp = SmtpServer::start(SmtpOptions {
            encryption,
            login: Some(("shop", "0123")),
        });
        let mut server = Server::start(&db, ServerOptions::default().smtp(&smtp)).await;
        let token = server.token(Role::Owner).await;
        ask_for(&db, &[notice("ada@customer.test")]).await;
        stands(&server, &token, "ada@customer.test", "SENT").await;
        let attempts = smtp.attempts();
        assert!(
            attempts.iter().all(|one| one.tls),
            "{encryption:?} was not seen as encrypted"
        );
        assert_eq!(attempts[0].login.as_deref(), Some("shop"));
    }
}

#[tokio::test]
async fn a_relay_by_an_unknown_authority_gets_no_mail() {
    let db = TestDatabase::sqlite().await;
    let smtp = SmtpServer::start(SmtpOptions {
        encryption: Encryption::StartTls,
        login: None,
    });
    let mut options = ServerOptions::default();
    for (name, value) in smtp.settings() {
        if name != "NAMEPLATE_SMTP__CA_FILE" {
            options = options.set(&name, value);
        }
    }
    let options = options.set("NAMEPLATE_MAIL__POLL_MS", "50");
    let mut server = Server::start(&db, options).await;
    let token = server.token(Role::Owner).await;
    ask_for(&db, &[notice("ada@customer.test")]).await;
    stands(&server, &token, "ada@customer.test", "WAITING").await;
    assert_eq!(smtp.attempts().len(), 0);
}

#[tokio::test]
async fn a_wrong_password_of_the_relay_keeps_the_mail_waiting() {
    let db = TestDatabase::sqlite().await;
    let smtp = SmtpServer::start(SmtpOptions {
        encryption: Encryption::StartTls,
        login: Some(("shop", "kettle")),
    });
    let options = ServerOptions::default()
        .smtp(&smtp)
        .set("NAMEPLATE_SMTP__PASSWORD", "wrong");
    let mut server = Server::start(&db, options).await;
    let token = server.token(Role::Owner).await;
    ask_for(&db, &[notice("ada@customer.test")]).await;
    stands(&server, &token, "ada@customer.test", "WAITING").await;
    assert_eq!(smtp.messages().len(), 0);
}

#[tokio::test]
async fn without_a_relay_mail_lies_in_a_folder() {
    let db = TestDatabase::sqlite().await;
    let mut server = Server::start(&db, ServerOptions::default()).await;
    let token = server.token(Role::Owner).await;
    let ids = ask_for(&db, &[notice("ada@customer.test"), notice("no address")]).await;
    stands(&server, &token, "ada@customer.test", "SENT").await;
    stands(&server, &token, "no address", "FAILED").await;
    let mut kept = server.mail_folder();
    kept.retain(|mail| mail.to == ["ada@customer.test"]);
    let [mail] = &kept[..] else {
        panic!("one file, not {kept:#?}")
    };
    assert_eq!(mail.message_id, ids[0]);
    assert!(
        server
            .log()
            .contains("mail is not sent but written to the folder")
    );
}

#[tokio::test]
async fn the_desk_sees_mail_and_technicians_do_not() {
    let db = TestDatabase::sqlite().await;
    let mut server = Server::start(&db, ServerOptions::default()).await;
    let owner = server.token(Role::Owner).await;
    let technician = server.token(Role::Technician).await;
    ask_for(&db, &[notice("ada@customer.test")]).await;
    let mail = stands(&server, &owner, "ada@customer.test", "SENT").await;
    let query = "query($id: ID!) { node(id: $id) { id ... on Mail { state } } mails(state: FAILED) { edges { node { id } } } }";
    let seen = server
        .graphql(Some(&owner), query, json!({ "id": mail["id"] }))
        .await;
    graphql::data(&seen);
    assert_eq!(graphql::text(&seen, "data.node.state"), "SENT");
    assert_eq!(graphql::list(&seen, "data.mails.edges").len(), 0);
    let hidden = "query($id: ID!) { node(id: $id) { id } }";
    let answer = server
        .graphql(Some(&technician), hidden, json!({ "id": mail["id"] }))
        .await;
    assert!(graphql::at(&answer, "data.node").is_null());
    let refused = server
        .graphql(
            Some(&technician),
            "{ mails { edges { node { id } } } }",
            json!({}),
        )
        .await;
    assert_eq!(graphql::error_codes(&refused), ["FORBIDDEN"]);
}
