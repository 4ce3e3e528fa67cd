//! The archive of a claim for the desk, by the same token as `/graphql`: `/claims/{id}/archive.zip`, as it was sent last, or
//! with `?now=true` as it is now; and what its
//! `claim.json` is made of, for whoever reads it: `/claims/claim.schema.json`.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;
use serde::Deserialize;

use crate::base::{Error, ProblemCode};
use crate::claims;
use crate::graphql::ids::{self, Kind};

use super::Shared;
use super::caller;
use super::documents::answer;
use super::problem::{problem, refusal};

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

/// What stands behind the question mark.
#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    now: bool,
}

async fn archive(
    shared: Data<Shared>,
    request: HttpRequest,
    id: Path<String>,
    asked: Result<Query<Asked>, actix_web::Error>,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let row = match ids::read(&ID::from(id.as_str())) {
        Some((Kind::Claim, row)) if act.is_desk() => row,
        _ => return answer(Ok(None)),
    };
    let Ok(Query(asked)) = asked else {
        return problem(StatusCode::BAD_REQUEST, "`now` is true or false.");
    };
    let found = if asked.now {
        claims::claim_archive_now(&act, row).await
    } else {
        claims::claim_archive(&act, row).await
    };
    match found {
        // What is too large is said; what is not there looks like any other.
        Err(Error::Refused(problems)) => match problems.first() {
            Some(found) if found.code != ProblemCode::NotFound => {
                refusal(StatusCode::CONFLICT, &problems)
            }
            _ => answer(Ok(None)),
        },
        found => answer(found.map(Some)),
    }
}
