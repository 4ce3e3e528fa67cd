//! The upload of published recalls: `POST /recalls`, with `?preview=true` only to see what it would bring.

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{self, Data, Payload, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::InputType;
use serde::Deserialize;
use serde_json::json;

use crate::base::Error;
use crate::graphql::error::{ProblemCode, chain};
use crate::recalls::{FILE_MAX, Fault, Imported, Purpose, Taken, import_recalls};

use super::Shared;
use super::body::{self, BodyFault};
use super::caller;
use super::problem::problem;

const DESK_ONLY: &str = "Only owner and office take recalls in.";

/// What to do about records that name a company and no make.
const MAKES_TO_SAY: &str = "Some records name companies and no makes. machinesOfRecalledMakes lists machines whose make such \
     a name begins with; say what their plates say (setRecallProducts), as no machine is told of such a recall before.";

pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/recalls", web::post().to(upload));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    preview: bool,
}

/// Receives the whole file, as it is read whole. An odd record is told of and blocks no other.
async fn upload(
    shared: Data<Shared>,
    request: HttpRequest,
    asked: Result<Query<Asked>, actix_web::Error>,
    payload: Payload,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    if !act.is_desk() {
        return problem(StatusCode::FORBIDDEN, DESK_ONLY);
    }
    if !is_json(&request) {
        let words = "Send the file as application/json.";
        return problem(StatusCode::UNSUPPORTED_MEDIA_TYPE, words);
    }
    let Ok(Query(asked)) = asked else {
        return problem(StatusCode::BAD_REQUEST, "`preview` is true or false.");
    };
    let purpose = if asked.preview {
        Purpose::LookAt
    } else {
        Purpose::TakeIn
    };
    let bytes = match body::read_up_to(payload, FILE_MAX).await {
        Ok(bytes) => bytes,
        Err(BodyFault::TooLarge) => {
            let words = "A file has at most 4 MiB; ask the publisher for fewer days.";
            return problem(StatusCode::PAYLOAD_TOO_LARGE, words);
        }
        Err(BodyFault::Broken) => {
            let words = "The file ended too early. Send it again.";
            return problem(StatusCode::BAD_REQUEST, words);
        }
    };
    match import_recalls(&act, &bytes, purpose).await {
        Ok(Imported::Taken(taken)) => taken_in(&taken),
        Ok(Imported::Refused(faults)) => refused(&faults),
        Err(Error::Forbidden) => problem(StatusCode::FORBIDDEN, DESK_ONLY),
        Err(Error::Unauthenticated) => caller::sign_in(),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "taking in recalls failed");
            let words = "The database could not take the file. Send it again.";
            problem(StatusCode::SERVICE_UNAVAILABLE, words)
        }
    }
}

fn taken_in(taken: &Taken) -> HttpResponse {
    let hint = (taken.make_of_company_count > 0).then_some(MAKES_TO_SAY);
    HttpResponse::Ok().json(json!({
        "newCount": taken.new_count,
        "changedCount": taken.changed_count,
        "sameCount": taken.same_count,
        "withoutModelCount": taken.without_model_count,
        "makeOfCompanyCount": taken.make_of_company_count,
        "passedOverCount": taken.passed_over_count,
        "mendedCount": taken.mended_count,
        "oddities": taken.oddities.iter().map(shown).collect::<Vec<_>>(),
        "hint": hint,
    }))
}

/// What is wrong with a record, or with the file.
fn shown(fault: &Fault) -> serde_json::Value {
    json!({
        "record": fault.record,
        "path": fault.path,
        "code": ProblemCode::from(fault.code).to_value(),
        "message": fault.message,
    })
}

/// Problem details with what is wrong with the file.
fn refused(faults: &[Fault]) -> HttpResponse {
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": "This file was not taken; nothing was written. Its faults say why.",
        "faults": faults.iter().map(shown).collect::<Vec<_>>(),
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

fn is_json(request: &HttpRequest) -> bool {
    let kind = request.headers().get(CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let first = kind.split(';').next().unwrap_or_default().trim();
    first.eq_ignore_ascii_case("application/json")
}
