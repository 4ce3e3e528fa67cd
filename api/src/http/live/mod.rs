//! Live updates: GraphQL subscriptions over a WebSocket, under the subprotocol `graphql-transport-ws` and no other.
//!
//! Words: a connection is *opened* by a GET of `/graphql` that asks to be upgraded, *begun* by the client's first message
//! with its token; until then it *waits*, and has a *seat* from then on. The library's own socket takes a second
//! subscription under the first one's id, knows other close codes than the protocol has, and reads messages of any size,
//! so this one is written here.
//!
//! What must stay true: a page of another site opens nothing; nothing is told to a session that has ended or whose role
//! has changed; queries and mutations are refused here, so that an act has one way in; documents are held to the limits
//! of every request.

mod protocol;
mod seats;
mod socket;
#[cfg(test)]
mod tests;

use std::time::Duration;

use actix_web::guard::GuardContext;
use actix_web::http::StatusCode;
use actix_web::http::header::{SEC_WEBSOCKET_PROTOCOL, UPGRADE};
use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use tracing::Instrument;

use crate::base::Caller;
use crate::graphql::error::chain;

use super::problem::problem;
use super::{Shared, caller, origin};

pub use seats::Seats;

/// The largest message of a client.
const MESSAGE_MAX: usize = 64 * 1024;

/// How patient a connection is.
pub struct Pace {
    /// How long a client may take to say who it is.
    pub init: Duration,
    /// How often the session is looked at and the client is asked whether it is there.
    pub look: Duration,
    /// How long a client may be silent, its answers to our asking included.
    pub silence: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            init: Duration::from_secs(10),
            look: Duration::from_secs(25),
            silence: Duration::from_secs(75),
        }
    }
}

/// Whether a request asks for a live connection.
pub fn is_wanted(request: &GuardContext<'_>) -> bool {
    let upgrade = request.head().headers().get(UPGRADE);
    upgrade.is_some_and(|to| to.as_bytes().eq_ignore_ascii_case(b"websocket"))
}

/// Opens a live connection.
pub async fn open(shared: Data<Shared>, request: HttpRequest, payload: Payload) -> HttpResponse {
    if !origin::is_ours(&request, shared.app.config.public_url.as_deref()) {
        let words = "Pages of other sites may not connect here.";
        return problem(StatusCode::FORBIDDEN, words);
    }
    if !offers_protocol(&request) {
        let words = "Offer the WebSocket subprotocol graphql-transport-ws.";
        return problem(StatusCode::BAD_REQUEST, words);
    }
    let known = match caller::of(&shared, &request).await {
        Ok(Some(Caller::Nobody)) => return caller::sign_in(),
        Ok(known) => known,
        Err(error) => {
            tracing::error!(chain = %chain(&error), "the caller could not be looked up");
            return unavailable("The database does not answer. Try again.");
        }
    };
    let from = shared.client_of(&request);
    let Some(waiting) = shared.seats.wait(from.as_deref()) else {
        return unavailable("Too many connections wait to say who they are. Try again later.");
    };
    match actix_ws::handle_with_protocols(&request, payload, &[protocol::NAME]) {
        Ok((response, out, messages)) => {
            let socket = socket::Socket::new(shared, out, (known, from), waiting);
            let messages = messages
                .max_frame_size(MESSAGE_MAX)
                .aggregate_continuations()
                .max_continuation_size(MESSAGE_MAX);
            // The log speaks of it under the id of the request that opened it.
            actix_web::rt::spawn(socket.run(messages).in_current_span());
            response
        }
        Err(_) => problem(
            StatusCode::BAD_REQUEST,
            "This is no handshake of WebSocket, version 13.",
        ),
    }
}

fn offers_protocol(request: &HttpRequest) -> bool {
    let offered = request.headers().get_all(SEC_WEBSOCKET_PROTOCOL);
    offered
        .filter_map(|names| names.to_str().ok())
        .flat_map(|names| names.split(','))
        .any(|name| name.trim() == protocol::NAME)
}

fn unavailable(words: &'static str) -> HttpResponse {
    problem(StatusCode::SERVICE_UNAVAILABLE, words)
}
