//! The line in the log and the id on the answer, one a request.

use std::time::Instant;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage};
use tracing_actix_web::{RequestId, RootSpanBuilder};

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Names requests in the log by the pattern of their route: a path may hold an estimate's secret.
pub struct Span;

impl RootSpanBuilder for Span {
    fn on_request_start(request: &ServiceRequest) -> tracing::Span {
        let id = id_of(request).unwrap_or_default();
        let route = request.match_pattern().unwrap_or_default();
        tracing::info_span!("request", method = %request.method(), route, id)
    }

    fn on_request_end<B: MessageBody>(
        _span: tracing::Span,
        _outcome: &Result<ServiceResponse<B>, Error>,
    ) {
    }
}

fn id_of(request: &ServiceRequest) -> Option<String> {
    request
        .extensions()
        .get::<RequestId>()
        .map(ToString::to_string)
}

/// Writes the line and the header.
///
/// # Errors
/// Those of the handler.
pub async fn stamp<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let started = Instant::now();
    let id = id_of(&request).and_then(|id| HeaderValue::from_str(&id).ok());
    let is_probe = matches!(request.path(), "/livez" | "/readyz");
    let mut response = next.call(request).await?;
    if let Some(id) = id {
        response.headers_mut().insert(REQUEST_ID, id);
    }
    if !is_probe {
        let elapsed_ms = u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX);
        let status = response.status().as_u16();
        tracing::info!(status, elapsed_ms, "a request was answered");
    }
    Ok(response)
}
