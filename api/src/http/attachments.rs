//! Files in and out: `POST /attachments?on=…&kind=…&caption=…` with the file as the body, and
//! `GET /attachments/{id}` (`/small` for a picture as shown on pages). For staff, by their token.
//!
//! What a file is is told by its content; the sender's `Content-Type` is not read. What goes out is never
//! shown in place by a browser: it is a download, sniffing is forbidden, and nothing in it may run.

use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{self, Data, Path, Payload, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;
use nameplate_entities::kinds::{AttachmentKind, AttachmentSize};
use serde::Deserialize;
use serde_json::json;

use crate::attachments::{self, FILE_BYTES_MAX, File, NewAttachment, On, is_picture};
use crate::base::{Error, ProblemCode};
use crate::graphql::error::chain;
use crate::graphql::ids::{self, Kind};

use super::Shared;
use super::body::{self, BodyFault};
use super::caller;
use super::problem::{problem, refusal};

/// The longest a file may take to arrive; a technician may stand in a cellar.
const FILE_TIMEOUT: Duration = Duration::from_mins(2);

/// Mounts the routes.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes
        .route("/attachments", web::post().to(post))
        .route("/attachments/{id}", web::get().to(full))
        .route("/attachments/{id}/small", web::get().to(small));
}

/// What a file is sent with.
#[derive(Deserialize)]
struct Sent {
    /// Id of an appliance, a call or a finding.
    on: String,
    #[serde(default)]
    kind: Option<String>,
    #[serde(default)]
    caption: Option<String>,
}

async fn post(
    shared: Data<Shared>,
    request: HttpRequest,
    sent: Result<Query<Sent>, actix_web::Error>,
    payload: Payload,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let Ok(sent) = sent else {
        let words =
            "Say in the address what the file belongs to, as `on`, and what it shows, as `kind`.";
        return problem(StatusCode::BAD_REQUEST, words);
    };
    let Some(on) = record(&sent.on) else {
        let words = "`on` is no id of an appliance, a call or a finding.";
        return problem(StatusCode::NOT_FOUND, words);
    };
    let Some(kind) = kind(sent.kind.as_deref()) else {
        let words = "`kind` is PLATE, PROOF_OF_PURCHASE, DAMAGE, BEFORE, AFTER or OTHER.";
        return problem(StatusCode::UNPROCESSABLE_ENTITY, words);
    };
    let reading = body::read_up_to(payload, FILE_BYTES_MAX);
    let bytes = match tokio::time::timeout(FILE_TIMEOUT, reading).await {
        Ok(Ok(bytes)) => bytes,
        Ok(Err(BodyFault::TooLarge)) => {
            let words = "A file has at most 8 MiB. Send a smaller one.";
            return problem(StatusCode::PAYLOAD_TOO_LARGE, words);
        }
        Ok(Err(BodyFault::Broken)) => {
            return problem(StatusCode::BAD_REQUEST, "The file ended too early.");
        }
        Err(_) => {
            let words = "The file took too long to arrive.";
            return problem(StatusCode::REQUEST_TIMEOUT, words);
        }
    };
    let new = NewAttachment {
        on,
        kind,
        caption: sent.into_inner().caption,
        bytes: bytes.to_vec(),
    };
    match attachments::add(&act, new).await {
        Ok(row) => HttpResponse::Created().json(json!({
            "id": Kind::Attachment.id(row.id).as_str(),
            "mediaType": row.media_type,
            "byteCount": row.byte_count,
            "sha256": row.sha256,
        })),
        Err(error) => failed(&error),
    }
}

async fn full(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    send(&shared, &request, (&id, AttachmentSize::Full)).await
}

async fn small(shared: Data<Shared>, request: HttpRequest, id: Path<String>) -> HttpResponse {
    send(&shared, &request, (&id, AttachmentSize::Small)).await
}

async fn send(
    shared: &Shared,
    request: &HttpRequest,
    (id, size): (&str, AttachmentSize),
) -> HttpResponse {
    let act = match caller::staff(shared, request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let Some((Kind::Attachment, row)) = ids::read(&ID::from(id)) else {
        return none();
    };
    match attachments::file(&act, row, size).await {
        Ok(Some(file)) => download(file),
        Ok(None) => none(),
        Err(error) => failed(&error),
    }
}

fn download(file: File) -> HttpResponse {
    let ending = if is_picture(&file.row.media_type) {
        "jpg"
    } else {
        "pdf"
    };
    let disposition = format!(
        "attachment; filename=\"attachment-{}.{ending}\"",
        file.row.id
    );
    HttpResponse::Ok()
        .content_type(file.row.media_type)
        .insert_header((CONTENT_DISPOSITION, disposition))
        .insert_header((
            "Content-Security-Policy",
            "default-src 'none'; sandbox; frame-ancestors 'none'",
        ))
        .insert_header(("Cache-Control", "private, no-store"))
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .body(file.bytes)
}

fn record(id: &str) -> Option<On> {
    match ids::read(&ID::from(id))? {
        (Kind::Appliance, row) => Some(On::Appliance(row)),
        (Kind::ServiceCall, row) => Some(On::Call(row)),
        (Kind::Finding, row) => Some(On::Finding(row)),
        _ => None,
    }
}

fn kind(name: Option<&str>) -> Option<AttachmentKind> {
    match name {
        Some("PLATE") => Some(AttachmentKind::Plate),
        Some("PROOF_OF_PURCHASE") => Some(AttachmentKind::ProofOfPurchase),
        Some("DAMAGE") => Some(AttachmentKind::Damage),
        Some("BEFORE") => Some(AttachmentKind::Before),
        Some("AFTER") => Some(AttachmentKind::After),
        None | Some("OTHER") => Some(AttachmentKind::Other),
        Some(_) => None,
    }
}

fn none() -> HttpResponse {
    problem(StatusCode::NOT_FOUND, "There is no such attachment.")
}

fn failed(error: &Error) -> HttpResponse {
    match error {
        Error::Refused(problems) => {
            let is_absent = problems
                .iter()
                .any(|problem| problem.code == ProblemCode::NotFound);
            let status = if is_absent {
                StatusCode::NOT_FOUND
            } else {
                StatusCode::UNPROCESSABLE_ENTITY
            };
            refusal(status, problems)
        }
        Error::Unauthenticated => caller::sign_in(),
        Error::Forbidden => problem(StatusCode::FORBIDDEN, "Your role may not do this."),
        Error::Busy(_) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "We are busy. Nothing was changed; please try again.",
        ),
        Error::Internal { .. } => {
            tracing::error!(chain = %chain(error), "a file was not handled");
            let words = "Something went wrong here. Tell support the X-Request-Id of this answer.";
            problem(StatusCode::INTERNAL_SERVER_ERROR, words)
        }
    }
}
