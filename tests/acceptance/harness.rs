//! The harness itself: a mail server that did not misbehave as told would make every mail test worthless.

use std::time::Duration;

use lettre::message::header::ContentType;
use lettre::message::{Attachment, MultiPart, SinglePart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::transport::smtp::{Error, response::Response};
use lettre::{AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql;
use crate::support::on_both_databases;
use crate::support::server::{Ask, Role, Server, ServerOptions};
use crate::support::smtp::{Encryption, SmtpOptions, SmtpServer};
use crate::support::wait::holds_for;

type Wrapping = fn(TlsParameters) -> Tls;
type Transport = AsyncSmtpTransport<Tokio1Executor>;

fn plain_client(smtp: &SmtpServer) -> Transport {
    Transport::builder_dangerous("localhost")
        .port(smtp.port())
        .build()
}

fn encrypting_client(smtp: &SmtpServer, tls: fn(TlsParameters) -> Tls) -> Transport {
    let pem = std::fs::read(smtp.ca_file()).expect("the authority's certificate is there");
    let parameters = TlsParameters::builder("localhost".to_owned())
        .add_root_certificate(Certificate::from_pem(&pem).expect("a PEM certificate"))
        .build()
        .expect("TLS parameters");
    Transport::builder_dangerous("localhost")
        .port(smtp.port())
        .tls(tls(parameters))
        .credentials(Credentials::new("shop".to_owned(), "kettle".to_owned()))
        .build()
}

fn letter(to: &str) -> Message {
    let pdf = ContentType::parse("application/pdf").expect("a content type");
    let bodies = MultiPart::alternative()
        .singlepart(SinglePart::plain("Grüße from the shop".to_owned()))
        .singlepart(SinglePart::html("<p>Grüße from the shop</p>".to_owned()));
    let file = Attachment::new("estimate.pdf".to_owned()).body(b"%PDF-1.7".to_vec(), pdf);
    Message::builder()
        .from("Shop <shop@nameplate.test>".parse().expect("an address"))
        .to(to.parse().expect("an address"))
        .subject("Your estimate – crème")
        .message_id(Some(format!("<{to}>")))
        .multipart(MultiPart::mixed().multipart(bodies).singlepart(file))
        .expect("a message")
}

async fn send(client: &Transport, to: &str) -> Result<Response, Error> {
    client.send(letter(to)).await
}

fn outcomes(smtp: &SmtpServer, to: &str) -> Vec<String> {
    smtp.attempts_for(to)
        .into_iter()
        .map(|attempt| attempt.outcome)
        .collect()
}

#[tokio::test]
async fn an_accepted_message_is_kept_with_all_its_parts() {
    let smtp = SmtpServer::start(SmtpOptions::default());
    send(&plain_client(&smtp), "accept@customer.test")
        .await
        .expect("accepted");

    let kept = smtp.wait_for_messages("accept@customer.test", 1).await;
    let [mail] = &kept[..] else {
        panic!("one message, not {kept:#?}")
    };
    assert_eq!(mail.to, ["accept@customer.test"]);
    assert_eq!(mail.envelope_to, ["accept@customer.test"]);
    assert_eq!(mail.from, "shop@nameplate.test");
    assert_eq!(mail.subject, "Your estimate – crème");
    assert_eq!(mail.message_id, "accept@customer.test");
    assert_eq!(mail.text.trim(), "Grüße from the shop");
    assert_eq!(mail.html.trim(), "<p>Grüße from the shop</p>");
    let [file] = &mail.attachments[..] else {
        panic!("one attachment, not {:?}", mail.attachments)
    };
    assert_eq!(
        (file.name.as_str(), file.content_type.as_str()),
        ("estimate.pdf", "application/pdf")
    );
    assert_eq!(file.content, b"%PDF-1.7");

    let attempts = smtp.attempts();
    assert_eq!(attempts.len(), 1);
    assert_eq!(
        attempts[0].message_id.as_deref(),
        Some("<accept@customer.test>")
    );
    assert!(!attempts[0].tls);
}

#[tokio::test]
async fn a_deferred_recipient_is_accepted_after_the_tries_in_its_name() {
    for to in [
        "defer-2-anna@customer.test",
        "defer-data-2-anna@customer.test",
    ] {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let client = plain_client(&smtp);
        for _ in 0..2 {
            let refusal = send(&client, to).await.expect_err("deferred");
            assert!(refusal.is_transient(), "{refusal:?}");
        }
        assert_eq!(smtp.messages().len(), 0);
        send(&client, to).await.expect("accepted at the third try");
        assert_eq!(outcomes(&smtp, to), ["deferred", "deferred", "accepted"]);
        assert_eq!(smtp.messages_to(to).len(), 1);
    }
}

#[tokio::test]
async fn rejected_and_refused_mail_fails_for_good() {
    let smtp = SmtpServer::start(SmtpOptions::default());
    let client = plain_client(&smtp);
    for (to, outcome) in [
        ("reject@customer.test", "rejected"),
        ("refuse-data@customer.test", "refused"),
    ] {
        let refusal = send(&client, to).await.expect_err("refused");
        assert!(refusal.is_permanent(), "{refusal:?}");
        assert_eq!(outcomes(&smtp, to), [outcome]);
    }
    assert_eq!(smtp.messages().len(), 0);
}

#[tokio::test]
async fn a_hanging_server_says_nothing_and_keeps_the_line_open() {
    let smtp = SmtpServer::start(SmtpOptions::default());
    let client = plain_client(&smtp);
    let sending = tokio::spawn(async move { send(&client, "hang@customer.test").await });
    smtp.wait_for_attempts("hang@customer.test", 1).await;
    holds_for("sending goes on", Duration::from_millis(500), async || {
        !sending.is_finished()
    })
    .await;
    sending.abort();
    assert_eq!(outcomes(&smtp, "hang@customer.test"), ["hung"]);
    // The others are still served.
    send(&plain_client(&smtp), "accept@customer.test")
        .await
        .expect("accepted");
}

#[tokio::test]
async fn a_dropped_message_is_not_kept_and_the_next_try_is() {
    let smtp = SmtpServer::start(SmtpOptions::default());
    let client = plain_client(&smtp);
    let to = "drop@customer.test";
    let failure = send(&client, to).await.expect_err("cut off");
    assert!(
        !failure.is_transient() && !failure.is_permanent(),
        "{failure:?}"
    );
    assert_eq!(smtp.messages().len(), 0);
    send(&client, to).await.expect("accepted");
    assert_eq!(outcomes(&smtp, to), ["dropped", "accepted"]);
    assert_eq!(smtp.messages_to(to).len(), 1);
}

#[tokio::test]
async fn a_message_whose_answer_is_lost_is_kept_though_the_sender_cannot_know() {
    let smtp = SmtpServer::start(SmtpOptions::default());
    let client = plain_client(&smtp);
    let to = "lose-answer@customer.test";
    send(&client, to).await.expect_err("cut off");
    assert_eq!(smtp.messages_to(to).len(), 1);
    send(&client, to).await.expect("accepted");
    assert_eq!(outcomes(&smtp, to), ["answer lost", "accepted"]);
    let ids: Vec<_> = smtp
        .messages_to(to)
        .into_iter()
        .map(|mail| mail.message_id)
        .collect();
    assert_eq!(ids, [to, to]);
}

#[tokio::test]
async fn encrypted_mail_is_taken_only_from_those_who_sign_in() {
    let kinds: [(Encryption, Wrapping); 2] = [
        (Encryption::StartTls, Tls::Required),
        (Encryption::Implicit, Tls::Wrapper),
    ];
    for (encryption, of_client) in kinds {
        let smtp = SmtpServer::start(SmtpOptions {
            encryption,
            login: Some(("shop", "kettle")),
        });
        let to = "accept@customer.test";
        if encryption == Encryption::StartTls {
            let refusal = send(&plain_client(&smtp), to)
                .await
                .expect_err("no encryption, no mail");
            assert!(refusal.is_permanent(), "{refusal:?}");
        }
        send(&encrypting_client(&smtp, of_client), to)
            .await
            .expect("accepted");
        let attempts = smtp.attempts();
        assert_eq!(attempts.len(), 1, "{attempts:?}");
        assert!(attempts[0].tls, "{encryption:?} was not seen as encrypted");
        assert_eq!(attempts[0].login.as_deref(), Some("shop"));
    }
}

#[tokio::test]
async fn a_certificate_by_an_unknown_authority_is_not_trusted() {
    let smtp = SmtpServer::start(SmtpOptions {
        encryption: Encryption::StartTls,
        login: None,
    });
    let parameters = TlsParameters::new("localhost".to_owned()).expect("TLS parameters");
    let client = Transport::builder_dangerous("localhost")
        .port(smtp.port())
        .tls(Tls::Required(parameters))
        .build();
    send(&client, "accept@customer.test")
        .await
        .expect_err("the certificate is by nobody we know");
    assert_eq!(smtp.attempts().len(), 0);
}

#[tokio::test]
async fn a_stopped_mail_server_comes_back_on_its_port_and_remembers_its_tries() {
    let mut smtp = SmtpServer::start(SmtpOptions::default());
    let to = "defer-2@customer.test";
    send(&plain_client(&smtp), to).await.expect_err("deferred");
    let port = smtp.port();
    smtp.stop();
    send(&plain_client(&smtp), to)
        .await
        .expect_err("nobody there");
    smtp.start_again();
    assert_eq!(smtp.port(), port);
    send(&plain_client(&smtp), to).await.expect_err("deferred");
    send(&plain_client(&smtp), to).await.expect("accepted");
    assert_eq!(outcomes(&smtp, to), ["deferred", "deferred", "accepted"]);
}

on_both_databases! {
    async fn a_fresh_shop_is_clean_and_can_be_migrated_again(db: TestDatabase) {
        db.verify_is_clean();
        db.migrate();
        db.verify_is_clean();
    }

    async fn staff_sign_in_and_tokens_outlive_a_kill(db: TestDatabase) {
        let mut server = Server::start(&db, ServerOptions::default()).await;
        for role in Role::ALL {
            let token = server.token(role).await;
            server.kill_9();
            let gone = server.ask(Ask { query: "{ __typename }", ..Ask::default() }).await;
            assert!(gone.is_err(), "a killed server answered {gone:?}");
            server.restart().await;
            let answer = server.graphql(Some(&token), "{ __typename }", json!({})).await;
            graphql::data(&answer);
        }
        assert_eq!(server.verify().code, Some(0));
        let status = server.stop().await;
        assert!(status.success(), "asked to stop, the server ended with {status}");
    }

    async fn an_unknown_password_is_refused(db: TestDatabase) {
        let mut server = Server::start(&db, ServerOptions::default().production()).await;
        let mut owner = server.add_staff(Role::Owner);
        owner.password.push('x');
        let query = "mutation($input: SignInInput!) { signIn(input: $input) { token problems { code } } }";
        let input = json!({ "email": owner.email, "password": owner.password });
        let answer = server.graphql(None, query, json!({ "input": input })).await;
        assert_eq!(graphql::problem_codes(&answer, "signIn").len(), 1);
        assert!(graphql::at(&answer, "data.signIn.token").is_null());
    }
}
