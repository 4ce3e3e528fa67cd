//! The archive of a claim for the desk, by the same token as `/graphql`: `/claims/{id}/archive.zip`; and what its
//! `claim.json` is made of, for whoever reads it: `/claims/claim.schema.json`.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;

use crate::base::{Error, ProblemCode};
use crate::claims;
use crate::graphql::ids::{self, Kind};

use super::Shared;
use super::caller;
use super::documents::answer;
use super::problem::coded_problem;

/// Mounts the archive and its schema.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes
        .route("/claims/claim.schema.json", web::get().to(schema))
        .route("/claims/{id}/archive.zip", web::get().to(archive));
}

async fn schema() -> HttpResponse {
    HttpResponse::Ok()
        .content_type("application/schema+json")
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .body(claims::SCHEMA)
}

async fn archive(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let row = match ids::read(&ID::from(id.as_str())) {
        Some((Kind::Claim, row)) if act.is_desk() => row,
        _ => return answer(Ok(None)),
    };
    match claims::claim_archive(&act, row).await {
        // What is too large is said; what is not there looks like any other.
        Err(Error::Refused(problems)) => match problems.first() {
            Some(found) if found.code != ProblemCode::NotFound => {
                coded_problem(StatusCode::CONFLICT, found)
            }
            _ => answer(Ok(None)),
        },
        found => answer(found.map(Some)),
    }
}
