//! The PDF of an estimate, an invoice or the receipt of a payment for the desk, by the same token as `/graphql`: `/documents/{id}.pdf`, and an
//! invoice as a file for machines: `/documents/{id}/e-invoice.xml`.

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{self, Data, Path};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;

use crate::base::letter::Attachment;
use crate::base::{Act, Error, ProblemCode, Result};
use crate::graphql::error::chain;
use crate::graphql::ids::{self, Kind};
use crate::{estimates, invoices};

use super::Shared;
use super::caller;
use super::problem::{problem, refusal};

/// Mounts the documents.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes
        .route("/documents/{id}.pdf", web::get().to(send))
        .route("/documents/{id}/e-invoice.xml", web::get().to(send_file));
}

async fn send(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    answer(file(&act, &id).await)
}

async fn send_file(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    if !act.is_desk() {
        return answer(Ok(None));
    }
    let found = match ids::read(&ID::from(id.as_str())) {
        Some((Kind::Invoice, row)) => invoices::e_invoice(act.app.db.read(), row).await.map(Some),
        _ => Ok(None),
    };
    match found {
        // What the standard cannot tell, or waits for a setting, is said; what is not there looks like any other.
        Err(Error::Refused(problems)) => match problems.first() {
            Some(found) if found.code != ProblemCode::NotFound => {
                refusal(StatusCode::CONFLICT, &problems)
            }
            _ => answer(Ok(None)),
        },
        found => answer(found),
    }
}

pub(super) fn answer(found: Result<Option<Attachment>>) -> HttpResponse {
    match found {
        Ok(Some(file)) => HttpResponse::Ok()
            .content_type(file.content_type)
            .insert_header((
                CONTENT_DISPOSITION,
                format!("inline; filename=\"{}\"", file.file_name),
            ))
            .insert_header(("Cache-Control", "private, no-store"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(file.bytes),
        Ok(None) => problem(StatusCode::NOT_FOUND, "There is no such document."),
        Err(Error::Busy(_)) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database is busy. Try again.",
        ),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "a document could not be made");
            problem(
                StatusCode::INTERNAL_SERVER_ERROR,
                "The document could not be made; the log says why.",
            )
        }
    }
}

/// The document with this id, if it was sent or issued and the caller sits at the desk.
async fn file(act: &Act, id: &str) -> Result<Option<Attachment>> {
    if !act.is_desk() {
        return Ok(None);
    }
    let db = act.app.db.read();
    let found = match ids::read(&ID::from(id)) {
        Some((Kind::EstimateRevision, row)) => estimates::printed_pdf(db, row).await,
        Some((Kind::Invoice, row)) => invoices::pdf(db, row).await.map(Some),
        Some((Kind::Payment, row)) => invoices::receipt(db, row).await.map(Some),
        _ => Ok(None),
    };
    match found {
        Err(Error::Refused(_)) => Ok(None),
        found => found,
    }
}
