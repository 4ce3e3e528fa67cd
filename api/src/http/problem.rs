//! Failures that are no GraphQL answer, as problem details (RFC 9457). Nothing internal is said.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use async_graphql::InputType;
use serde_json::json;

use crate::base::Problem;
use crate::graphql::error::ProblemCode;

/// An answer with this status and one sentence on what went wrong and what to do.
pub fn problem(status: StatusCode, detail: &str) -> HttpResponse {
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": detail,
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

/// The same with the code of a refusal as a member of its own, `code` (RFC 9457, section 3.2): the same word that a
/// mutation's problems have, so that a client need not read the sentence.
pub fn coded_problem(status: StatusCode, refusal: &Problem) -> HttpResponse {
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": refusal.message,
        "code": ProblemCode::from(refusal.code).to_value(),
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

/// The router's answer to a path it does not know.
pub async fn no_such_page() -> HttpResponse {
    problem(StatusCode::NOT_FOUND, "There is nothing at this address.")
}
