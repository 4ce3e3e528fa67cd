//! Reports as CSV, by the same token as `/graphql`: `GET /reports/{report}.csv?from=…&through=…&basis=…`.

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{self, Bytes, Data, Path, Query};
use actix_web::{HttpRequest, HttpResponse};
use futures_util::TryStreamExt;
use serde::Deserialize;

use crate::base::Error;
use crate::graphql::error::chain;
use crate::reports::{self, Failed, Pieces, Wanted};

use super::Shared;
use super::caller;
use super::problem::problem;

/// Mounts the reports.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/reports/{report}.csv", web::get().to(send));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
struct Asked {
    from: Option<String>,
    through: Option<String>,
    basis: Option<String>,
    account: Option<String>,
}

async fn send(
    shared: Data<Shared>,
    request: HttpRequest,
    report: Path<String>,
    asked: Result<Query<Asked>, actix_web::Error>,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let Ok(Query(asked)) = asked else {
        return problem(StatusCode::BAD_REQUEST, "The address cannot be read.");
    };
    let wanted = Wanted {
        report: report.into_inner(),
        from: asked.from,
        through: asked.through,
        basis: asked.basis,
        account: asked.account,
    };
    match reports::export(&act, &wanted).await {
        Ok(Pieces::Whole(bytes)) => file(&wanted).body(bytes),
        Ok(Pieces::OneByOne(pieces)) => file(&wanted).streaming(
            pieces
                .map_ok(Bytes::from)
                .inspect_err(|error| tracing::error!(chain = %chain(error), "a report broke off")),
        ),
        Err(Failed::NoSuchReport) => problem(StatusCode::NOT_FOUND, "There is no such report."),
        Err(Failed::BadRequest(words)) => problem(StatusCode::BAD_REQUEST, &words),
        Err(Failed::Fault(Error::Busy(_))) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database is busy. Try again.",
        ),
        Err(Failed::Fault(error)) => {
            tracing::error!(chain = %chain(&error), "a report could not be made");
            let words = "The report could not be made; the log says why.";
            problem(StatusCode::INTERNAL_SERVER_ERROR, words)
        }
    }
}

fn file(wanted: &Wanted) -> actix_web::HttpResponseBuilder {
    // Only the name of a report that there is comes here.
    let name = format!("attachment; filename=\"{}.csv\"", wanted.report);
    let mut answer = HttpResponse::Ok();
    answer
        .content_type("text/csv; charset=utf-8; header=present")
        .insert_header((CONTENT_DISPOSITION, name))
        .insert_header(("Cache-Control", "private, no-store"))
        .insert_header(("X-Content-Type-Options", "nosniff"));
    answer
}
