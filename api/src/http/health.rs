//! Whether the process runs, and whether it can work. Neither names versions or hosts.

use std::time::Duration;

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::web::Data;

use crate::shop;

use super::Shared;
use super::problem::problem;

const PATIENCE: Duration = Duration::from_secs(3);

/// The process runs.
pub async fn livez() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain").body("ok\n")
}

/// The database answers and holds an open shop, and the server is not about to end.
pub async fn readyz(shared: Data<Shared>) -> HttpResponse {
    if *shared.leaving.borrow() {
        return problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The server is about to end.",
        );
    }
    match tokio::time::timeout(PATIENCE, shop::settings(shared.app.db.read())).await {
        Ok(Ok(_)) => HttpResponse::Ok().content_type("text/plain").body("ok\n"),
        _ => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database does not answer.",
        ),
    }
}
