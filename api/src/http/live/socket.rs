//! One live connection, from its opening to its close.

use std::collections::HashMap;
use std::io;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::{Duration, Instant};

use actix_web::error::PayloadError;
use actix_web::http::StatusCode;
use actix_web::web::Data;
use actix_ws::{AggregatedMessage, AggregatedMessageStream, CloseCode, CloseReason, ProtocolError};
use async_graphql::parser::types::{OperationType, Selection};
use async_graphql::{Request, Response};
use futures_util::{FutureExt, StreamExt};
use serde_json::{Map, Value};
use tokio::sync::mpsc;
use tokio::task::AbortHandle;
use tracing::Instrument;

use crate::base::{Act, Caller};
use crate::graphql::error::{Code, chain};
use crate::graphql::events::Listening;
use crate::graphql::loaders;
use crate::graphql::operation;
use crate::graphql::progress::Progress;
use crate::http::asked::{self, Refusal};
use crate::http::{Shared, caller};
use crate::shop;

use super::protocol::{self, Ending, Said};
use super::seats::{Seat, Waiting};

/// Subscriptions of one connection.
const OPERATIONS_MAX: usize = 8;
/// Events that wait for a client to take them; the subscriptions wait then.
const EVENTS_MAX: usize = 16;
/// How long a client may take to take what is sent to it.
const SEND_TIMEOUT: Duration = Duration::from_secs(10);

/// One live connection.
pub struct Socket {
    shared: Data<Shared>,
    out: actix_ws::Session,
    from: Option<String>,
    /// Who opened it, by the header of its request.
    known: Option<Caller>,
    was_begun: bool,
    member: Option<Member>,
    running: HashMap<String, Running>,
    /// How many subscriptions there were, to tell a later one from an earlier under the same id.
    started: u64,
    heard_at: Instant,
    /// Its place to wait in, until it was begun.
    waiting: Option<Waiting>,
}

/// Who is told.
struct Member {
    caller: Caller,
    session_id: i64,
    _seat: Seat,
}

/// A subscription; it stops when this goes.
struct Running {
    number: u64,
    task: AbortHandle,
}

impl Drop for Running {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// What a subscription gives.
struct Event {
    id: String,
    number: u64,
    what: What,
}

enum What {
    Happened(String),
    /// The last words.
    Over(String),
}

/// Why a connection goes: closed by us, or left by the client.
enum Gone {
    Closed(Ending),
    Left,
}

impl From<Ending> for Gone {
    fn from(ending: Ending) -> Self {
        Self::Closed(ending)
    }
}

type Step = Result<(), Gone>;

impl Socket {
    /// A connection just opened by somebody whom its request named, or nobody yet, from a network address.
    pub fn new(
        shared: Data<Shared>,
        out: actix_ws::Session,
        (known, from): (Option<Caller>, Option<String>),
        waiting: Waiting,
    ) -> Self {
        Self {
            shared,
            out,
            from,
            known,
            was_begun: false,
            member: None,
            running: HashMap::new(),
            started: 0,
            heard_at: Instant::now(),
            waiting: Some(waiting),
        }
    }

    /// Serves the client until either side goes.
    pub async fn run(mut self, mut messages: AggregatedMessageStream) {
        let gone = self.serve(&mut messages).await;
        self.running.clear();
        let reason = match gone {
            Gone::Left => None,
            Gone::Closed(ending) => Some(CloseReason {
                code: CloseCode::Other(ending.code()),
                description: Some(ending.words().to_owned()),
            }),
        };
        // Who went already takes no frame, and who takes none in time is left.
        let _ = tokio::time::timeout(SEND_TIMEOUT, self.out.close(reason)).await;
    }

    async fn serve(&mut self, messages: &mut AggregatedMessageStream) -> Gone {
        let (sender, mut events) = mpsc::channel(EVENTS_MAX);
        let shared = self.shared.clone();
        let mut leaving = shared.leaving.subscribe();
        let init_over = tokio::time::sleep(shared.pace.init);
        tokio::pin!(init_over);
        let mut look = tokio::time::interval(shared.pace.look);
        loop {
            let step = tokio::select! {
                _ = leaving.wait_for(|is_leaving| *is_leaving) => Err(Ending::Leaving.into()),
                () = &mut init_over, if !self.was_begun => Err(Ending::NoInit.into()),
                message = messages.recv() => self.hear(message, &sender).await,
                Some(event) = events.recv() => self.tell(event).await,
                _ = look.tick() => self.look_after().await,
            };
            if let Err(gone) = step {
                return gone;
            }
        }
    }

    async fn hear(
        &mut self,
        message: Option<Result<AggregatedMessage, ProtocolError>>,
        events: &mpsc::Sender<Event>,
    ) -> Step {
        self.heard_at = Instant::now();
        let said = match message {
            None | Some(Ok(AggregatedMessage::Close(_))) => return Err(Gone::Left),
            Some(Err(ProtocolError::Io(error))) => return Err(broken_off(&error)),
            Some(Ok(AggregatedMessage::Text(text))) => Said::read(&text),
            Some(Ok(AggregatedMessage::Ping(bytes))) => {
                return sent(self.out.pong(&bytes)).await;
            }
            Some(Ok(AggregatedMessage::Pong(_))) => return Ok(()),
            Some(Ok(AggregatedMessage::Binary(_))) => None,
            Some(Err(ProtocolError::Overflow)) => return Err(Ending::TooLarge.into()),
            Some(Err(_)) => return Err(Ending::BadMessage.into()),
        };
        match said.ok_or(Ending::BadMessage)? {
            Said::ConnectionInit { payload } => self.begin(payload).await,
            Said::Ping { payload } => self.say(protocol::pong(payload)).await,
            Said::Pong => Ok(()),
            Said::Subscribe { id, payload } => self.subscribe(id, payload, events).await,
            Said::Complete { id } => {
                self.running.remove(&id);
                Ok(())
            }
        }
    }

    /// The first message: its token says who is told, or else that of the request.
    async fn begin(&mut self, payload: Option<Map<String, Value>>) -> Step {
        if std::mem::replace(&mut self.was_begun, true) {
            return Err(Ending::InitTwice.into());
        }
        let caller = match payload.as_ref().and_then(|said| said.get("authorization")) {
            Some(Value::String(header)) => {
                let found = caller::holder(&self.shared, header).await;
                Some(found.map_err(|error| fault(&error))?)
            }
            Some(_) => None,
            None => self.known.take(),
        };
        let Some(caller @ Caller::Staff { session_id, .. }) = caller else {
            return Err(Ending::WrongToken.into());
        };
        let seat = self.shared.seats.of_session(session_id);
        self.member = Some(Member {
            caller,
            session_id,
            _seat: seat.ok_or(Ending::TooMany)?,
        });
        drop(self.waiting.take());
        self.say(protocol::acknowledged()).await
    }

    async fn subscribe(
        &mut self,
        id: String,
        payload: Map<String, Value>,
        events: &mpsc::Sender<Event>,
    ) -> Step {
        let member = self.member.as_ref().ok_or(Ending::Unknown)?;
        if self.running.contains_key(&id) {
            return Err(Ending::IdInUse.into());
        }
        let asked = if self.running.len() < OPERATIONS_MAX {
            self.asked(payload)
        } else {
            let words = "A connection has at most 8 subscriptions. Complete one first.";
            Err(refusal(Code::TooMuchAsked, words))
        };
        let request = match asked {
            Ok(request) => request,
            Err(refusal) => return self.say(protocol::refused(&id, &refusal.errors)).await,
        };
        let mut act = self.shared.app.act(member.caller.clone());
        act.from.clone_from(&self.from);
        self.started += 1;
        let running = self.start((id.clone(), self.started), (request, act), events.clone());
        self.running.insert(id, running);
        Ok(())
    }

    /// What the client asks for, held to the limits of every request.
    fn asked(&self, payload: Map<String, Value>) -> Result<Request, Refusal> {
        let request = asked::of_json(Value::Object(payload))?;
        only_one_subscription(asked::checked(&self.shared.inputs, request)?)
    }

    /// Runs a subscription in a task of its own: what panics there ends there.
    fn start(
        &self,
        (id, number): (String, u64),
        (request, act): (Request, Act),
        events: mpsc::Sender<Event>,
    ) -> Running {
        let progress = Arc::new(Progress::default());
        let request = request
            .data(loaders::row_loader(act.app.db.read().clone()))
            .data(Arc::clone(&progress))
            .data(Listening)
            .data(act);
        let schema = self.shared.schema.clone();
        let running = async move {
            let event = |what| Event {
                id: id.clone(),
                number,
                what,
            };
            let telling = async {
                let mut responses = schema.execute_stream(request);
                while let Some(response) = responses.next().await {
                    let what = if progress.began() {
                        What::Happened(protocol::next(&id, response))
                    } else {
                        What::Over(not_begun(&id, response))
                    };
                    // Nobody hears once the connection is gone, and then this task is stopped.
                    let _ = events.send(event(what)).await;
                }
                What::Over(protocol::complete(&id))
            };
            let last = AssertUnwindSafe(telling).catch_unwind().await;
            let last = last.unwrap_or_else(|_| What::Over(broken(&id)));
            let _ = events.send(event(last)).await;
        };
        let task = self.shared.runtime.spawn(running.in_current_span());
        Running {
            number,
            task: task.abort_handle(),
        }
    }

    /// Tells what happened, if its subscription still runs and its session is what it was.
    async fn tell(&mut self, event: Event) -> Step {
        if (self.running.get(&event.id)).is_none_or(|running| running.number != event.number) {
            return Ok(());
        }
        self.still_member().await?;
        match event.what {
            What::Happened(text) => self.say(text).await,
            What::Over(text) => {
                self.running.remove(&event.id);
                self.say(text).await
            }
        }
    }

    /// From time to time: whether the session is what it was, and whether the client is there.
    async fn look_after(&mut self) -> Step {
        if self.heard_at.elapsed() > self.shared.pace.silence {
            return Err(Ending::Silent.into());
        }
        self.still_member().await?;
        sent(self.out.ping(b"")).await
    }

    async fn still_member(&self) -> Step {
        let Some(member) = &self.member else {
            return Ok(());
        };
        let holder = shop::holder_of(&self.shared.app, member.session_id).await;
        match holder.map_err(|error| fault(&error))? {
            caller if caller == member.caller => Ok(()),
            Caller::Nobody => Err(Ending::SignedOut.into()),
            _ => Err(Ending::RoleChanged.into()),
        }
    }

    async fn say(&mut self, text: String) -> Step {
        sent(self.out.text(text)).await
    }
}

/// Waits for a client that takes its time, but not for ever.
async fn sent(sending: impl Future<Output = Result<(), actix_ws::Closed>>) -> Step {
    match tokio::time::timeout(SEND_TIMEOUT, sending).await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(_)) | Err(_) => Err(Gone::Left),
    }
}

/// Why there is no message. What is no text, and fragments that come to too much, the library reports as faults of reading;
/// those of the connection itself hold the fault of the body of its request.
fn broken_off(error: &io::Error) -> Gone {
    let inner = error.get_ref();
    match error.kind() {
        io::ErrorKind::InvalidData if inner.is_some_and(is_no_text) => Ending::NotText.into(),
        // A frame that is none, such as a compressed one that was never agreed on.
        io::ErrorKind::InvalidData => Ending::BadMessage.into(),
        io::ErrorKind::Other if inner.is_some_and(|inner| !inner.is::<PayloadError>()) => {
            Ending::TooLarge.into()
        }
        _ => Gone::Left,
    }
}

/// Whether letters are the fault. Of a text in pieces the library keeps only the words of it.
fn is_no_text(error: &(dyn std::error::Error + Send + Sync + 'static)) -> bool {
    error.is::<std::str::Utf8Error>() || error.to_string().contains("utf-8")
}

fn fault(error: &crate::base::Error) -> Ending {
    tracing::error!(chain = %chain(error), "a live connection ends, as its session could not be looked up");
    Ending::Fault
}

/// The request, if its operation is a subscription to one thing, named without a fragment.
fn only_one_subscription(mut request: Request) -> Result<Request, Refusal> {
    let name = request.operation_name.clone();
    let document = (request.parsed_query())
        .map_err(|error| Refusal::of(StatusCode::BAD_REQUEST, Code::InvalidRequest, vec![error]))?;
    // That there is no such operation, or that it must be named, says the library.
    let Some(operation) = operation::run(document, name.as_deref()) else {
        return Ok(request);
    };
    if operation.ty != OperationType::Subscription {
        let words = "Only subscriptions are run here. Send queries and mutations by POST.";
        return Err(refusal(Code::InvalidRequest, words));
    }
    match operation.selection_set.node.items.as_slice() {
        [field] if matches!(field.node, Selection::Field(_)) => Ok(request),
        _ => {
            let words = "A subscription is to one field, without a fragment around it.";
            Err(refusal(Code::InvalidRequest, words))
        }
    }
}

fn refusal(code: Code, words: &str) -> Refusal {
    Refusal::new(StatusCode::UNPROCESSABLE_ENTITY, code, words)
}

/// A subscription that never ran: its document is not valid, or its field refuses the caller.
fn not_begun(id: &str, response: Response) -> String {
    protocol::refused(id, &asked::errors(response.errors, Code::InvalidRequest))
}

fn broken(id: &str) -> String {
    tracing::error!("a subscription broke off");
    let words = "Something went wrong here. Subscribe again.";
    protocol::refused(id, &refusal(Code::Internal, words).errors)
}
