//! Who may open a connection, and why one is closed.

use nameplate_entities::kinds::Role;
use nameplate_entities::staff;
use tokio_tungstenite::tungstenite::protocol::frame::Frame;
use tokio_tungstenite::tungstenite::protocol::frame::coding::{Data as Kind, OpCode};

use crate::shop;

use super::*;

/// The status with which opening is refused.
async fn refused(live: &Live, headers: &[(&'static str, &str)]) -> u16 {
    match live.connect(headers).await {
        Err(Error::Http(response)) => response.status().as_u16(),
        Err(error) => panic!("{error}"),
        Ok(_) => panic!("{headers:?} opened a connection"),
    }
}

#[tokio::test]
async fn pages_of_other_sites_and_other_protocols_open_nothing() {
    let live = Live::open().await;
    let own = format!("http://{}", live.address);
    live.connect(&[PROTOCOL, ("origin", &own)]).await.unwrap();
    let foreign = [PROTOCOL, ("origin", "https://elsewhere.example")];
    assert_eq!(refused(&live, &foreign).await, 403);
    assert_eq!(refused(&live, &[PROTOCOL, ("origin", "null")]).await, 403);
    assert_eq!(refused(&live, &[]).await, 400);
    for protocol in ["graphql-ws", "graphql-transport-ws2", "json"] {
        let offered = [("sec-websocket-protocol", protocol)];
        assert_eq!(refused(&live, &offered).await, 400, "{protocol}");
    }
    let both = [("sec-websocket-protocol", "graphql-ws, graphql-transport-ws")];
    live.connect(&both).await.unwrap();
    let wrong = [PROTOCOL, ("authorization", "Bearer nobody")];
    assert_eq!(refused(&live, &wrong).await, 401);
}

#[tokio::test]
async fn the_token_may_come_in_the_header_of_the_request() {
    let live = Live::open().await;
    let header = format!("Bearer {}", live.token("owner").await);
    let mut client = live
        .connect(&[PROTOCOL, ("authorization", &header)])
        .await
        .unwrap();
    client.say(json!({ "type": "connection_init" })).await;
    assert_eq!(client.hear().await, json!({ "type": "connection_ack" }));
}

#[tokio::test]
async fn what_is_no_message_of_the_protocol_closes_with_4400() {
    let live = Live::open().await;
    let token = live.token("owner").await;
    for message in [
        Message::text("hello"),
        Message::text(r#"{"type":"start","id":"1","payload":{"query":"{ a }"}}"#),
        Message::binary(b"{}".to_vec()),
    ] {
        let mut client = live.begun(&token).await;
        client.send(message).await;
        assert_eq!(client.closed().await, 4400);
    }
}

#[tokio::test]
async fn whoever_does_not_say_who_it_is_gets_nothing() {
    let live = Live::open().await;
    let mut early = live.opened().await;
    early.subscribe("1", FLAGS).await;
    assert_eq!(early.closed().await, 4401);
    for payload in [
        json!(null),
        json!({}),
        json!({ "authorization": "Bearer nobody" }),
        json!({ "authorization": "Basic abc" }),
        json!({ "authorization": 7 }),
    ] {
        let mut client = live.opened().await;
        client
            .say(json!({ "type": "connection_init", "payload": payload }))
            .await;
        assert_eq!(client.closed().await, 4403, "{payload}");
    }
    let mut silent = live.opened().await;
    assert_eq!(silent.closed().await, 4408);
}

#[tokio::test]
async fn a_second_beginning_and_an_id_in_use_close() {
    let live = Live::open().await;
    let token = live.token("owner").await;
    let mut twice = live.begun(&token).await;
    twice.begin(&token).await;
    assert_eq!(twice.closed().await, 4429);
    let mut same = live.listening("owner").await;
    same.subscribe("1", FLAGS).await;
    assert_eq!(same.closed().await, 4409);
}

#[tokio::test]
async fn a_message_of_more_than_64_kib_closes() {
    let live = Live::open().await;
    let mut client = live.begun(&live.token("owner").await).await;
    client.subscribe("1", &" ".repeat(70_000)).await;
    assert_eq!(client.closed().await, 1009);
}

/// A message in one frame, or a piece of one.
fn frame(bytes: Vec<u8>, kind: Kind, is_last: bool) -> Message {
    Message::Frame(Frame::message(bytes, OpCode::Data(kind), is_last))
}

#[tokio::test]
async fn fragments_of_more_than_64_kib_together_close() {
    let live = Live::open().await;
    let mut client = live.begun(&live.token("owner").await).await;
    let piece = || vec![b' '; 40_000];
    client.send(frame(piece(), Kind::Text, false)).await;
    client.send(frame(piece(), Kind::Continue, true)).await;
    assert_eq!(client.closed().await, 1009);
}

#[tokio::test]
async fn a_text_that_is_not_utf_8_closes() {
    let live = Live::open().await;
    let token = live.token("owner").await;
    let broken = || b"{\"type\":\"\xff\"}".to_vec();
    let mut whole = live.begun(&token).await;
    whole.send(frame(broken(), Kind::Text, true)).await;
    assert_eq!(whole.closed().await, 1007);
    let mut in_pieces = live.begun(&token).await;
    in_pieces.send(frame(broken(), Kind::Text, false)).await;
    in_pieces
        .send(frame(Vec::new(), Kind::Continue, true))
        .await;
    assert_eq!(in_pieces.closed().await, 1007);
}

#[tokio::test]
async fn who_says_nothing_holds_eight_places_and_gives_them_back_as_it_goes() {
    let live = Live::patient().await;
    let mut silent = Vec::new();
    for _ in 0..8 {
        silent.push(live.opened().await);
    }
    assert_eq!(refused(&live, &[PROTOCOL]).await, 503);
    drop(silent);
    tokio::time::sleep(QUIET).await;
    live.begun(&live.token("owner").await).await;
}

#[tokio::test]
async fn a_session_has_four_connections() {
    let live = Live::open().await;
    let token = live.token("owner").await;
    let mut clients = Vec::new();
    for _ in 0..4 {
        clients.push(live.begun(&token).await);
    }
    let mut fifth = live.opened().await;
    fifth.begin(&token).await;
    assert_eq!(fifth.closed().await, 1013);
    let mut left = clients.remove(0);
    left.send(Message::Close(None)).await;
    drop(left);
    tokio::time::sleep(QUIET).await;
    live.begun(&token).await;
}

#[tokio::test]
async fn a_session_that_ends_closes_its_connections_and_is_told_nothing_more() {
    for live in Live::everywhere().await {
        let (calls, failure) = live.calls_again(1).await;
        let token = live.token("owner").await;
        let mut client = live.begun(&token).await;
        client.subscribe("1", FLAGS).await;
        client.settled().await;
        let caller = shop::recognise(&live.shop.app, &token).await.unwrap();
        shop::sign_out(&live.shop.app.act(caller)).await.unwrap();
        live.shop.find(&calls[0], failure).await;
        match client.message().await {
            Message::Close(Some(frame)) => assert_eq!(u16::from(frame.code), 4401),
            other => panic!("told {other:?}"),
        }
    }
}

#[tokio::test]
async fn a_role_that_changes_closes_without_an_event() {
    let live = Live::open().await;
    let mut client = live.listening("other").await;
    let tx = live.shop.app.db.write().await.unwrap();
    let promoted = staff::ActiveModel {
        id: Set(live.shop.other_technician_id),
        role: Set(Role::Office),
        ..Default::default()
    };
    promoted.update(&tx).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(client.closed().await, 4403);
}

#[tokio::test]
async fn a_server_that_ends_says_so() {
    let live = Live::open().await;
    let mut client = live.listening("owner").await;
    let mut unknown = live.opened().await;
    live.shared.leaving.send_replace(true);
    assert_eq!(client.closed().await, 1001);
    assert_eq!(unknown.closed().await, 1001);
}
