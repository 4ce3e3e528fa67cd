//! Live connections as clients see them: a server on a port of its own, and real WebSockets.

mod closing;
mod telling;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use actix_web::web::Data;
use chrono::{Days, TimeDelta};
use futures_util::{SinkExt, StreamExt};
use nameplate_entities::kinds::CallKind;
use nameplate_entities::{service_call, session};
use sea_orm::{ActiveModelTrait, ActiveValue::Set};
use serde_json::{Value, json};
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::http::HeaderValue;
use tokio_tungstenite::tungstenite::{Error, Message};
use tokio_tungstenite::{MaybeTlsStream, WebSocketStream, connect_async};

use crate::base::secret::Token;
use crate::closeout::testing::{Workshop, day};
use crate::http::{Shared, bind_to};

use super::Pace;

/// How long a test waits for what should come.
const PATIENCE: Duration = Duration::from_secs(20);
/// How long it waits for what should not.
const QUIET: Duration = Duration::from_millis(400);

const FLAGS: &str = "subscription { flagRaised { state call { number } } }";

/// A shop and the server before it.
struct Live {
    shop: Workshop,
    shared: Data<Shared>,
    address: SocketAddr,
}

impl Live {
    async fn everywhere() -> Vec<Self> {
        let shops = Workshop::everywhere("2026-06-01").await;
        shops.into_iter().map(Self::before).collect()
    }

    async fn open() -> Self {
        Self::before(Workshop::open("2026-06-01").await)
    }

    /// One that leaves clients long to say who they are.
    async fn patient() -> Self {
        Self::paced(Workshop::open("2026-06-01").await, PATIENCE)
    }

    fn before(shop: Workshop) -> Self {
        Self::paced(shop, Duration::from_secs(1))
    }

    fn paced(shop: Workshop, init: Duration) -> Self {
        let pace = Pace {
            init,
            look: Duration::from_millis(150),
            ..Pace::default()
        };
        let shared = Shared::with_pace(Arc::clone(&shop.app), pace).unwrap();
        let (server, address) = bind_to("127.0.0.1:0", &shared).unwrap();
        tokio::spawn(server);
        Self {
            shop,
            shared,
            address,
        }
    }

    /// Calls on so many machines that were mended of the same failure before, in order, and the failure.
    async fn calls_again(&self, count: usize) -> (Vec<service_call::Model>, (i64, i64)) {
        let failure = self.shop.failure("Surface burner terminal", "burnt").await;
        let mut machines = Vec::new();
        for number in 0..count {
            let machine = self.shop.machine(Some(&format!("L-{number}"))).await;
            self.shop.repair(&machine, day("2026-06-02"), failure).await;
            machines.push(machine);
        }
        self.shop.on(day("2026-06-02") + Days::new(10));
        let mut calls = Vec::new();
        for machine in &machines {
            calls.push(self.shop.open_call(machine, CallKind::Repair).await.call);
        }
        (calls, failure)
    }

    /// A token of a new session of the owner or a technician.
    async fn token(&self, name: &str) -> String {
        let token = Token::fresh().unwrap();
        let tx = self.shop.app.db.write().await.unwrap();
        let now = self.shop.app.clock.now();
        let row = session::ActiveModel {
            staff_id: Set(match name {
                "owner" => self.shop.owner_id,
                "technician" => self.shop.technician_id,
                _ => self.shop.other_technician_id,
            }),
            token_hash: Set(token.hash()),
            created_at: Set(now),
            last_seen_at: Set(now),
            expires_at: Set(now + TimeDelta::hours(8)),
            ..Default::default()
        };
        row.insert(&tx).await.unwrap();
        tx.commit().await.unwrap();
        token.reveal().to_owned()
    }

    /// A connection with these headers beside those of the handshake.
    async fn connect(&self, headers: &[(&'static str, &str)]) -> Result<Client, Error> {
        let mut request = format!("ws://{}/graphql", self.address)
            .into_client_request()
            .unwrap();
        for (name, value) in headers {
            let value = HeaderValue::from_str(value).unwrap();
            request.headers_mut().insert(*name, value);
        }
        let (socket, response) = connect_async(request).await?;
        assert_eq!(
            response.headers()["sec-websocket-protocol"],
            "graphql-transport-ws"
        );
        Ok(Client { socket })
    }

    /// A connection that has said nothing yet.
    async fn opened(&self) -> Client {
        self.connect(&[PROTOCOL]).await.unwrap()
    }

    /// A connection that was begun with this token.
    async fn begun(&self, token: &str) -> Client {
        let mut client = self.opened().await;
        client.begin(token).await;
        assert_eq!(client.hear().await, json!({ "type": "connection_ack" }));
        client
    }

    /// Somebody of this name who listens for flags under the id 1.
    async fn listening(&self, name: &str) -> Client {
        let mut client = self.begun(&self.token(name).await).await;
        client.subscribe("1", FLAGS).await;
        client.settled().await;
        client
    }
}

const PROTOCOL: (&str, &str) = ("sec-websocket-protocol", "graphql-transport-ws");

struct Client {
    socket: WebSocketStream<MaybeTlsStream<TcpStream>>,
}

impl Client {
    async fn send(&mut self, message: Message) {
        self.socket.send(message).await.unwrap();
    }

    async fn say(&mut self, value: Value) {
        self.send(Message::text(value.to_string())).await;
    }

    async fn begin(&mut self, token: &str) {
        let payload = json!({ "authorization": format!("Bearer {token}") });
        self.say(json!({ "type": "connection_init", "payload": payload }))
            .await;
    }

    async fn subscribe(&mut self, id: &str, query: &str) {
        self.say(json!({ "type": "subscribe", "id": id, "payload": { "query": query } }))
            .await;
    }

    /// Waits until what was said before was heard, and a subscription had time to begin.
    async fn settled(&mut self) {
        self.say(json!({ "type": "ping" })).await;
        assert_eq!(self.hear().await, json!({ "type": "pong" }));
        tokio::time::sleep(QUIET).await;
    }

    async fn message(&mut self) -> Message {
        loop {
            let message = tokio::time::timeout(PATIENCE, self.socket.next()).await;
            match message.expect("something in time").expect("an open socket") {
                Ok(Message::Ping(_) | Message::Pong(_)) => {}
                Ok(message) => return message,
                Err(error) => panic!("{error}"),
            }
        }
    }

    /// The next message of the protocol.
    async fn hear(&mut self) -> Value {
        match self.message().await {
            Message::Text(text) => serde_json::from_str(&text).unwrap(),
            other => panic!("no message but {other:?}"),
        }
    }

    /// The number of the call of the next flag.
    async fn flag(&mut self) -> String {
        let told = self.hear().await;
        assert_eq!(told["type"], "next", "{told}");
        assert_eq!(told["payload"]["errors"], Value::Null, "{told}");
        let flag = &told["payload"]["data"]["flagRaised"];
        flag["call"]["number"].as_str().unwrap().to_owned()
    }

    /// That nothing more is told.
    async fn is_quiet(&mut self) {
        let told = tokio::time::timeout(QUIET, self.message()).await;
        assert!(told.is_err(), "{told:?}");
    }

    /// The code with which the server closes next, whatever it says before.
    async fn closed(&mut self) -> u16 {
        loop {
            if let Message::Close(frame) = self.message().await {
                return frame.expect("a reason").code.into();
            }
        }
    }
}
