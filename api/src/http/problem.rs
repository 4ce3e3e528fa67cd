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

/// A refusal of an act: the same, with what was refused as members of their own (RFC 9457, section 3.2). `code` is the first
/// one's, and `problems` has code, path and message of each, in the words that a mutation's problems have.
pub fn refusal(status: StatusCode, problems: &[Problem]) -> HttpResponse {
    let code = |problem: &Problem| ProblemCode::from(problem.code).to_value();
    let words: Vec<&str> = problems.iter().map(|one| one.message.as_str()).collect();
    let each: Vec<_> = (problems.iter())
        .map(|one| json!({ "code": code(one), "path": one.path, "message": one.message }))
        .collect();
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": words.join(" "),
        "code": problems.first().map(code),
        "problems": each,
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

/// The router's answer to a path it does not know.
pub async fn no_such_page() -> HttpResponse {
    problem(StatusCode::NOT_FOUND, "There is nothing at this address.")
}
