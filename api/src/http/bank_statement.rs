//! The upload of a bank's file: `POST /bank-accounts/{id}/statement`, with `?preview=true` only to see how it is read.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path, Payload, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::banking::{self, Imported, Purpose, ReadLine, Taken};
use crate::base::Error;
use crate::graphql::error::chain;
use crate::graphql::ids::Kind;

use super::Shared;
use super::caller;
use super::csv_upload;
use super::problem::{problem, refusal};

pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/bank-accounts/{id}/statement", web::post().to(upload));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
struct Asked {
    #[serde(default)]
    preview: bool,
}

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
    let bytes = match csv_upload::receive(&request, payload).await {
        Ok(bytes) => bytes,
        Err(refusal) => return refusal,
    };
    answer(banking::import_statement(&act, account_id, &bytes, purpose).await)
}

fn answer(outcome: crate::base::Result<Imported>) -> HttpResponse {
    match outcome {
        Ok(Imported::Taken(taken)) => HttpResponse::Ok().json(shown(&taken)),
        Ok(Imported::Refused(faults)) => csv_upload::refused(&faults),
        Err(Error::Refused(problems)) => refusal(StatusCode::CONFLICT, &problems),
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
