//! The upload of a bank's file: `POST /bank-accounts/{id}/statement`, with `?preview=true` only to see how it is read.

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{self, Data, Path, Payload, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::{ID, InputType};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::banking::{self, FILE_MAX, Fault, Imported, Purpose, ReadLine, Taken};
use crate::base::Error;
use crate::graphql::error::{ProblemCode, chain};
use crate::graphql::ids::Kind;

use super::Shared;
use super::body::{self, BodyFault};
use super::caller;
use super::problem::problem;

pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/bank-accounts/{id}/statement", web::post().to(upload));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    preview: bool,
}

/// Receives the whole file, as it is read whole: a broken line refuses all of it.
async fn upload(
    shared: Data<Shared>,
    request: HttpRequest,
    id: Path<String>,
    asked: Result<Query<Asked>, actix_web::Error>,
    payload: Payload,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    if !act.is_desk() {
        let words = "Only owner and office take statements in.";
        return problem(StatusCode::FORBIDDEN, words);
    }
    if !is_csv(&request) {
        let words = "Send the file as text/csv.";
        return problem(StatusCode::UNSUPPORTED_MEDIA_TYPE, words);
    }
    let Ok(account_id) = Kind::Account.row("", &ID(id.into_inner())) else {
        return problem(StatusCode::NOT_FOUND, "There is no such account.");
    };
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
            let words = "A file has at most 4 MiB; export fewer days.";
            return problem(StatusCode::PAYLOAD_TOO_LARGE, words);
        }
        Err(BodyFault::Broken) => {
            let words = "The file ended too early. Send it again.";
            return problem(StatusCode::BAD_REQUEST, words);
        }
    };
    answer(banking::import_statement(&act, account_id, &bytes, purpose).await)
}

fn answer(outcome: crate::base::Result<Imported>) -> HttpResponse {
    match outcome {
        Ok(Imported::Taken(taken)) => HttpResponse::Ok().json(shown(&taken)),
        Ok(Imported::Refused(faults)) => refused(&faults),
        Err(Error::Refused(problems)) => {
            let words = problems.into_iter().map(|problem| problem.message);
            let words = words.collect::<Vec<_>>().join(" ");
            problem(StatusCode::CONFLICT, &words)
        }
        Err(Error::Forbidden) => problem(
            StatusCode::FORBIDDEN,
            "Only owner and office take statements in.",
        ),
        Err(Error::Unauthenticated) => caller::sign_in(),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "taking in a bank's file failed");
            let words = "The database could not take the file. Send it again.";
            problem(StatusCode::SERVICE_UNAVAILABLE, words)
        }
    }
}

fn shown(taken: &Taken) -> Value {
    json!({
        "statementId": taken.statement_id.map(|id| Kind::BankStatement.id(id).to_string()),
        "lineCount": taken.new_count,
        "knownCount": taken.known_count,
        "withoutAmountCount": taken.empty_count,
        "lines": taken.shown.iter().map(line).collect::<Vec<_>>(),
    })
}

fn line(line: &ReadLine) -> Value {
    json!({
        "line": line.line,
        "on": line.on,
        "amount": line.amount.to_string(),
        "text": line.words,
        "payee": line.payee,
        "reference": line.reference,
        "bankId": line.bank_key,
        "balance": line.balance.map(|balance| balance.to_string()),
    })
}

/// Problem details with the faults, line by line.
fn refused(faults: &[Fault]) -> HttpResponse {
    let fault = |fault: &Fault| {
        json!({
            "line": fault.line,
            "column": fault.column,
            "code": ProblemCode::from(fault.code).to_value(),
            "message": fault.message,
        })
    };
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    let body = json!({
        "type": "about:blank",
        "title": status.canonical_reason().unwrap_or("Failed"),
        "status": status.as_u16(),
        "detail": "This file was not taken; nothing was written. Its faults say why, line by line.",
        "faults": faults.iter().map(fault).collect::<Vec<_>>(),
    });
    HttpResponse::build(status)
        .content_type("application/problem+json")
        .body(body.to_string())
}

/// The layout says which letters; a charset in the header is not asked.
fn is_csv(request: &HttpRequest) -> bool {
    let kind = request.headers().get(CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let first = kind.split(';').next().unwrap_or_default().trim();
    first.eq_ignore_ascii_case("text/csv")
}
