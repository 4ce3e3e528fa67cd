//! GraphQL over HTTP, September 2026 edition: POST with JSON only.
//!
//! The framework's own glue answers everything with 200, runs mutations sent by GET and takes text bodies
//! that any site may send, so both ways are written here. A request that was never carried out has no
//! `data` in its answer; that is how a client tells it apart from one that failed half-way.

use std::sync::Arc;
use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::ALLOW;
use actix_web::web::{Bytes, Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::Response;
use async_graphql::http::GraphiQLSource;
use serde_json::json;
use tokio::runtime::Handle;
use tracing::Instrument;

use crate::base::config::Mode;
use crate::base::{Act, Caller};
use crate::graphql::error::{Code, edge};
use crate::graphql::loaders;
use crate::graphql::progress::Progress;

use super::Shared;
use super::asked::{self, Refusal};
use super::body::{self, BodyFault};
use super::media::{self, Media};
use super::problem::problem;
use super::{caller, origin};

/// The longest a request may take, reading its body included.
const REQUEST_TIMEOUT: Duration = Duration::from_secs(20);
/// Partial success (GraphQL over HTTP, section 6.4.2).
const PARTIAL: u16 = 294;

/// One GraphQL request.
pub async fn post(shared: Data<Shared>, request: HttpRequest, payload: Payload) -> HttpResponse {
    if !origin::is_ours(&request, shared.app.config.public_url.as_deref()) {
        return problem(
            StatusCode::FORBIDDEN,
            "Pages of other sites may not send requests here.",
        );
    }
    let Some(media) = Media::accepted(&request) else {
        return problem(
            StatusCode::NOT_ACCEPTABLE,
            "Answers are application/graphql-response+json or application/json.",
        );
    };
    if !media::sends_json(&request) {
        return problem(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "Send the request as application/json in UTF-8.",
        );
    }
    let body = match tokio::time::timeout(REQUEST_TIMEOUT, body::read(payload)).await {
        Ok(Ok(body)) => body,
        Ok(Err(BodyFault::TooLarge)) => {
            return problem(
                StatusCode::PAYLOAD_TOO_LARGE,
                "A request has at most 1 MiB. Ask in smaller steps.",
            );
        }
        Ok(Err(BodyFault::Broken)) => {
            return problem(StatusCode::BAD_REQUEST, "The request ended too early.");
        }
        Err(_) => {
            return problem(
                StatusCode::REQUEST_TIMEOUT,
                "The request took too long to arrive.",
            );
        }
    };
    match answer(&shared, &request, &body).await {
        Ok(response) => respond(media, &response),
        Err(refusal) => refusal.respond(media),
    }
}

/// Every other method.
pub async fn wrong_method() -> HttpResponse {
    let mut response = problem(
        StatusCode::METHOD_NOT_ALLOWED,
        "Send GraphQL requests by POST.",
    );
    let allowed = actix_web::http::header::HeaderValue::from_static("POST");
    response.headers_mut().insert(ALLOW, allowed);
    response
}

/// A page to try queries on, in development only. Its scripts come from a public CDN, so it needs the internet.
pub async fn graphiql() -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/html; charset=utf-8")
        .insert_header((
            "Content-Security-Policy",
            "default-src 'self' 'unsafe-inline' 'unsafe-eval' https: data: blob:",
        ))
        .insert_header(("Cross-Origin-Opener-Policy", "unsafe-none"))
        .body(GraphiQLSource::build().endpoint("/graphql").finish())
}

async fn answer(shared: &Shared, http: &HttpRequest, body: &Bytes) -> Result<Response, Refusal> {
    let act = act(shared, http).await?;
    let request = asked::read(body)?;
    let request = asked::answered_once(asked::checked(&shared.inputs, request)?)?;
    let is_stranger = act.caller == Caller::Nobody;
    let request = if is_stranger && shared.app.config.mode == Mode::Production {
        request.disable_introspection()
    } else {
        request
    };
    let progress = Arc::new(Progress::default());
    let request = request
        .data(loaders::row_loader(act.app.db.read().clone()))
        .data(Arc::clone(&progress))
        .data(act);
    let schema = shared.schema.clone();
    let running = async move { schema.execute(request).await };
    let response = guarded(&shared.runtime, running, REQUEST_TIMEOUT).await?;
    if !progress.began() {
        return Err(Refusal::of(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::InvalidRequest,
            response.errors,
        ));
    }
    Ok(response)
}

/// The act of whoever holds the token; nobody's without one.
async fn act(shared: &Shared, http: &HttpRequest) -> Result<Act, Refusal> {
    let caller = match caller::of(shared, http).await {
        Ok(None) => Caller::Nobody,
        Ok(Some(Caller::Nobody)) => {
            return Err(Refusal::new(
                StatusCode::UNAUTHORIZED,
                Code::Unauthenticated,
                "This token is wrong or its session has ended. Sign in again.",
            ));
        }
        Ok(Some(caller)) => caller,
        Err(error) => {
            let error = edge(error).into_server_error(async_graphql::Pos::default());
            return Err(Refusal::of(
                StatusCode::SERVICE_UNAVAILABLE,
                Code::Internal,
                vec![error],
            ));
        }
    };
    Ok(caller::act(shared, http, caller))
}

/// Runs a request in a task of its own: what panics there ends there, and what takes too long is stopped.
async fn guarded(
    runtime: &Handle,
    running: impl Future<Output = Response> + Send + 'static,
    time_max: Duration,
) -> Result<Response, Refusal> {
    let task = runtime.spawn(running.in_current_span());
    let abort = task.abort_handle();
    match tokio::time::timeout(time_max, task).await {
        Ok(Ok(response)) => Ok(response),
        Ok(Err(fault)) => {
            tracing::error!(fault = %fault, "a request broke off");
            Err(Refusal::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                Code::Internal,
                "Something went wrong here. Tell support the X-Request-Id of this answer.",
            ))
        }
        Err(_) => {
            abort.abort();
            tracing::warn!("a request was stopped because it took too long");
            Err(Refusal::new(
                StatusCode::SERVICE_UNAVAILABLE,
                Code::Busy,
                "This took too long and was stopped. Look whether it was done before sending it again.",
            ))
        }
    }
}

/// An answer of a request that was carried out, wholly or in part.
fn respond(media: Media, response: &Response) -> HttpResponse {
    let mut body = json!({ "data": response.data });
    let status = if response.errors.is_empty() {
        StatusCode::OK
    } else {
        let errors = asked::errors(response.errors.clone(), Code::BadInput);
        body = json!({ "errors": errors, "data": response.data });
        StatusCode::from_u16(PARTIAL).unwrap_or(StatusCode::OK)
    };
    HttpResponse::build(status)
        .content_type(media.content_type())
        .body(body.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOON: Duration = Duration::from_millis(20);

    #[tokio::test]
    async fn a_panic_becomes_one_masked_error() {
        let running = async { panic!("the secret cause") };
        let refusal = guarded(&Handle::current(), running, SOON)
            .await
            .err()
            .unwrap();
        assert_eq!(refusal.status, StatusCode::INTERNAL_SERVER_ERROR);
        let said = json!(refusal.errors).to_string();
        assert!(
            said.contains("INTERNAL") && !said.contains("secret"),
            "{said}"
        );
    }

    #[tokio::test]
    async fn what_takes_too_long_is_stopped() {
        let running = std::future::pending();
        let refusal = guarded(&Handle::current(), running, SOON)
            .await
            .err()
            .unwrap();
        assert_eq!(refusal.status, StatusCode::SERVICE_UNAVAILABLE);
    }
}
