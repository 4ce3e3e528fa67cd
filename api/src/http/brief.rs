//! The arrival brief as text, by the same token as `/graphql`: `GET /calls/{id}/brief.txt`.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;

use crate::base::Error;
use crate::brief;
use crate::graphql::error::chain;
use crate::graphql::ids::Kind;

use super::Shared;
use super::caller;
use super::problem::problem;

/// Mounts the text.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/calls/{id}/brief.txt", web::get().to(send));
}

/// A call that does not exist looks like one that the caller may not see.
async fn send(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let Ok(call_id) = Kind::ServiceCall.row("id", &ID::from(id.into_inner())) else {
        return no_such_call();
    };
    match brief::load(act.app.db.read(), &act, call_id).await {
        Ok(Some(brief)) => HttpResponse::Ok()
            .content_type("text/plain; charset=utf-8")
            .insert_header(("Cache-Control", "private, no-store"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(brief::text(&brief)),
        Ok(None) => no_such_call(),
        Err(Error::Busy(_)) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database is busy. Try again.",
        ),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "a brief could not be read");
            problem(
                StatusCode::INTERNAL_SERVER_ERROR,
                "The brief could not be read; the log says why.",
            )
        }
    }
}

fn no_such_call() -> HttpResponse {
    problem(StatusCode::NOT_FOUND, "There is no such call.")
}
