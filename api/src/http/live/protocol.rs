//! What is said over a live connection: the messages and close codes of the `graphql-transport-ws` protocol.

use async_graphql::Response;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::graphql::error::Code;
use crate::http::asked;

/// The subprotocol that clients offer.
pub const NAME: &str = "graphql-transport-ws";

/// What a client says.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(tag = "type", rename_all = "snake_case")]
pub enum Said {
    /// Who it is; the first message.
    ConnectionInit { payload: Option<Map<String, Value>> },
    /// Whether we are there.
    Ping { payload: Option<Map<String, Value>> },
    /// That it is there.
    Pong,
    /// It wants to be told, under an id of its own.
    Subscribe {
        id: String,
        payload: Map<String, Value>,
    },
    /// It wants to hear no more of this.
    Complete { id: String },
}

impl Said {
    /// A message as it arrived; none for what is no message of the protocol.
    pub fn read(text: &str) -> Option<Self> {
        let said = serde_json::from_str(text).ok()?;
        let is_named = match &said {
            Self::Subscribe { id, .. } | Self::Complete { id } => !id.is_empty(),
            _ => true,
        };
        is_named.then_some(said)
    }
}

/// The client is known and may subscribe.
pub fn acknowledged() -> String {
    json!({ "type": "connection_ack" }).to_string()
}

/// The answer to a ping, with what it carried.
pub fn pong(payload: Option<Map<String, Value>>) -> String {
    match payload {
        Some(payload) => json!({ "type": "pong", "payload": payload }).to_string(),
        None => json!({ "type": "pong" }).to_string(),
    }
}

/// What happened.
pub fn next(id: &str, response: Response) -> String {
    let mut payload = json!({ "data": response.data });
    if !response.errors.is_empty() {
        let errors = asked::errors(response.errors, Code::BadInput);
        payload = json!({ "errors": errors, "data": response.data });
    }
    json!({ "type": "next", "id": id, "payload": payload }).to_string()
}

/// This subscription is refused, and over.
pub fn refused(id: &str, errors: &[Value]) -> String {
    json!({ "type": "error", "id": id, "payload": errors }).to_string()
}

/// This subscription is over.
pub fn complete(id: &str) -> String {
    json!({ "type": "complete", "id": id }).to_string()
}

/// Why a connection is closed by us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The server is about to end.
    Leaving,
    /// Nothing was heard from the client for long.
    Silent,
    /// A text is not UTF-8.
    NotText,
    TooLarge,
    /// Too many connections of one session, or in all.
    TooMany,
    /// The database does not answer.
    Fault,
    BadMessage,
    /// Something is asked for before the client said who it is.
    Unknown,
    /// The session has ended.
    SignedOut,
    /// The first message brings no token that opens anything.
    WrongToken,
    /// The role of the client's session is another now.
    RoleChanged,
    NoInit,
    IdInUse,
    InitTwice,
}

impl Ending {
    /// The code: below 4000 those of RFC 6455 and its registry, above those of the protocol.
    pub fn code(self) -> u16 {
        match self {
            Self::Leaving => 1001,
            Self::NotText => 1007,
            Self::Silent => 1008,
            Self::TooLarge => 1009,
            Self::TooMany | Self::Fault => 1013,
            Self::BadMessage => 4400,
            Self::Unknown | Self::SignedOut => 4401,
            Self::WrongToken | Self::RoleChanged => 4403,
            Self::NoInit => 4408,
            Self::IdInUse => 4409,
            Self::InitTwice => 4429,
        }
    }

    /// The reason in words; a close frame has room for 123 bytes.
    pub fn words(self) -> &'static str {
        match self {
            Self::Leaving => "The server is about to end. Connect again.",
            Self::Silent => "Nothing was heard from you for long.",
            Self::NotText => "A text is not UTF-8.",
            Self::TooLarge => "A message has at most 64 KiB.",
            Self::TooMany => "There are too many connections of this session, or in all.",
            Self::Fault => "The database does not answer. Try again.",
            Self::BadMessage => "This is no message of graphql-transport-ws.",
            Self::Unknown => "Say who you are first.",
            Self::SignedOut => "The session has ended. Sign in again.",
            Self::WrongToken => "Send the token of a session in connection_init.",
            Self::RoleChanged => "Your role has changed. Connect again.",
            Self::NoInit => "Connection initialisation timeout",
            Self::IdInUse => "This id is in use.",
            Self::InitTwice => "Too many initialisation requests",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_of_the_protocol_are_read() {
        let subscribe = r#"{"type":"subscribe","id":"1","payload":{"query":"{a}"},"more":1}"#;
        assert!(matches!(Said::read(subscribe), Some(Said::Subscribe { id, .. }) if id == "1"));
        for text in [
            r#"{"type":"connection_init"}"#,
            r#"{"type":"connection_init","payload":null}"#,
            r#"{"type":"connection_init","payload":{"authorization":"Bearer a"}}"#,
            r#"{"type":"ping"}"#,
            r#"{"type":"pong","payload":{"a":1}}"#,
            r#"{"type":"complete","id":"1"}"#,
        ] {
            assert!(Said::read(text).is_some(), "{text}");
        }
    }

    #[test]
    fn what_is_no_message_of_the_protocol_is_none() {
        for text in [
            "",
            "hello",
            "[]",
            "null",
            r#"{"id":"1"}"#,
            r#"{"type":"start","id":"1","payload":{"query":"{a}"}}"#,
            r#"{"type":"connection_init","payload":"Bearer a"}"#,
            r#"{"type":"subscribe","id":"","payload":{"query":"{a}"}}"#,
            r#"{"type":"subscribe","id":7,"payload":{"query":"{a}"}}"#,
            r#"{"type":"subscribe","id":"1"}"#,
            r#"{"type":"subscribe","payload":{"query":"{a}"}}"#,
            r#"{"type":"complete"}"#,
        ] {
            assert_eq!(Said::read(text), None, "{text}");
        }
    }

    #[test]
    fn a_silent_client_is_told_why_it_is_left() {
        let ending = Ending::Silent;
        let told = (ending.code(), ending.words());
        assert_eq!(told, (1008, "Nothing was heard from you for long."));
    }

    #[test]
    fn an_answer_has_errors_only_where_there_are_some() {
        let response = Response::new(async_graphql::Value::Null);
        assert_eq!(
            next("a\"b", response),
            r#"{"id":"a\"b","payload":{"data":null},"type":"next"}"#
        );
        assert_eq!(pong(None), r#"{"type":"pong"}"#);
    }
}
