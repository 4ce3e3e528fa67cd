//! What uploads of CSV by a layout have in common: a bank's statement, a payer's advice.

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{Bytes, Payload};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::InputType;
use serde_json::json;

use crate::base::csv_layout::{FILE_MAX, Fault};
use crate::graphql::error::ProblemCode;

use super::body::{self, BodyFault};
use super::problem::problem;

/// The whole file, as it is read whole: a broken line refuses all of it.
///
/// # Errors
/// The answer to a sender of something else, of too much or of half a file.
pub async fn receive(request: &HttpRequest, payload: Payload) -> Result<Bytes, HttpResponse> {
    if !is_csv(request) {
        let words = "Send the file as text/csv.";
        return Err(problem(StatusCode::UNSUPPORTED_MEDIA_TYPE, words));
    }
    match body::read_up_to(payload, FILE_MAX).await {
        Ok(bytes) => Ok(bytes),
        Err(BodyFault::TooLarge) => {
            let words = "A file has at most 4 MiB; export fewer days.";
            Err(problem(StatusCode::PAYLOAD_TOO_LARGE, words))
        }
        Err(BodyFault::Broken) => {
            let words = "The file ended too early. Send it again.";
            Err(problem(StatusCode::BAD_REQUEST, words))
        }
    }
}

/// Problem details with the faults, line by line.
pub fn refused(faults: &[Fault]) -> HttpResponse {
    let fault = |fault: &Fault| {
        json!({
            "line": fault.line,
            "column": fault.column,
            "code": ProblemCode::from(fault.code).to_value(),
            "message": fault.message,
        })
    };
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": "This file was not taken; nothing was written. Its faults say why, line by line.",
        "faults": faults.iter().map(fault).collect::<Vec<_>>(),
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

/// The layout says which letters; a charset in the header is not asked.
fn is_csv(request: &HttpRequest) -> bool {
    let kind = request.headers().get(CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let first = kind.split(';').next().unwrap_or_default().trim();
    first.eq_ignore_ascii_case("text/csv")
}
