//! A flag told as it is raised, to a client on a WebSocket of the running program.

use std::time::Duration;

use futures_util::{SinkExt, StreamExt};
use serde_json::{Value, json};
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite::Message;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::http::HeaderValue;
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream, connect_async};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, text};
use crate::support::house::House;
use crate::support::on_both_databases;
use crate::support::server::Role;

type Socket = WebSocketStream<MaybeTlsStream<TcpStream>>;

/// A client who listens for flags with this token.
async fn listening(house: &House, token: &str) -> Socket {
    let url = format!("{}/graphql", house.server.base_url()).replacen("http", "ws", 1);
    let mut request = url.into_client_request().expect("an address");
    request.headers_mut().insert(
        "sec-websocket-protocol",
        HeaderValue::from_static("graphql-transport-ws"),
    );
    let (mut socket, _) = connect_async(request).await.expect("an open socket");
    let payload = json!({ "authorization": format!("Bearer {token}") });
    say(
        &mut socket,
        json!({ "type": "connection_init", "payload": payload }),
    )
    .await;
    assert_eq!(hear(&mut socket).await["type"], "connection_ack");
    let query = "subscription { flagRaised { level call { number } } }";
    let subscribe = json!({ "type": "subscribe", "id": "flags", "payload": { "query": query } });
    say(&mut socket, subscribe).await;
    // What is refused is said at once, and a subscription that runs says nothing yet.
    say(&mut socket, json!({ "type": "ping" })).await;
    assert_eq!(hear(&mut socket).await["type"], "pong");
    // The protocol does not say when a subscription has begun.
    tokio::time::sleep(Duration::from_millis(500)).await;
    socket
}

async fn say(socket: &mut Socket, message: Value) {
    let sent = socket.send(Message::text(message.to_string())).await;
    sent.expect("a message can be sent");
}

/// The next message of the protocol, or how the server closed.
async fn hear(socket: &mut Socket) -> Value {
    loop {
        match socket
            .next()
            .await
            .expect("an open socket")
            .expect("a message")
        {
            Message::Text(text) => return serde_json::from_str(&text).expect("JSON"),
            Message::Close(frame) => {
                let code = frame.map(|frame| u16::from(frame.code));
                return json!({ "closed": code });
            }
            _ => {}
        }
    }
}

/// A call on a machine that burnt before, visited by the technician.
async fn burnt_again(house: &House, serial: &str) -> String {
    let machine = house.appliance("range", serial).await;
    let first = house.call(&machine).await;
    house.visit(&first).await;
    let found = find(house, &first, &failure(house).await).await;
    let remedy = json!({
        "idempotencyKey": house.key(), "findingId": at(&found, "finding.id"), "method": "RE_TERMINATED",
        "labourMinutes": 40, "parts": [],
    });
    house
        .do_it(&house.technician, "recordRemedy", "remedy { id }", remedy)
        .await;
    let complete = json!({ "idempotencyKey": house.key(), "callId": first });
    house
        .do_it(&house.technician, "completeCall", "call { id }", complete)
        .await;
    let again = house.call(&machine).await;
    house.visit(&again).await;
    again
}

/// A burnt terminal, by the ids of component and failure.
async fn failure(house: &House) -> (String, String) {
    (
        house.component_id("range", "Surface burner terminal").await,
        house.mode_id("burnt").await,
    )
}

async fn find(house: &House, call: &str, (component, mode): &(String, String)) -> Value {
    let input = json!({
        "idempotencyKey": house.key(), "callId": call, "componentId": component, "failureModeId": mode,
    });
    let want = "finding { id } flag { call { number } }";
    house
        .do_it(&house.technician, "recordFinding", want, input)
        .await
}

on_both_databases! {
    async fn a_flag_is_told_as_it_is_raised_until_the_session_ends(db: TestDatabase) {
        let mut house = House::open(&db).await;
        let calls = [burnt_again(&house, "SN1").await, burnt_again(&house, "SN2").await];
        let mut office = listening(&house, &house.office.clone()).await;
        let mut technician = listening(&house, &house.technician.clone()).await;
        let other = house.server.token(Role::Technician).await;
        let mut other = listening(&house, &other).await;

        let burnt = failure(&house).await;
        let raised = find(&house, &calls[0], &burnt).await;
        let number = text(&raised, "flag.call.number");
        for socket in [&mut office, &mut technician] {
            let told = hear(socket).await;
            assert_eq!(*at(&told, "payload.data.flagRaised.call.number"), json!(number), "{told}");
            assert_eq!(*at(&told, "payload.data.flagRaised.level"), json!("ACT"));
        }

        let ended = house.server.graphql(Some(&house.office), "mutation { signOut { ended } }", json!({})).await;
        assert_eq!(*at(&ended, "data.signOut.ended"), json!(true));
        find(&house, &calls[1], &burnt).await;
        assert_eq!(hear(&mut office).await, json!({ "closed": 4401 }));
        assert_eq!(*at(&hear(&mut technician).await, "type"), json!("next"));

        assert!(house.server.stop().await.success());
        for socket in [&mut technician, &mut other] {
            assert_eq!(hear(socket).await, json!({ "closed": 1001 }), "nothing else was told");
        }
    }
}
