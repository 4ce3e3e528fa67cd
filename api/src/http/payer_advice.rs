//! The upload of a payer's advice: `POST /warranty-payers/{id}/advice`, with `?preview=true` only to see what each row
//! would make of its claim. `reference` and `advisedOn` say what the file does not.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path, Payload, Query};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;
use chrono::NaiveDate;
use nameplate_rules::claims::Settlement;
use nameplate_rules::money::Cents;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::base::Error;
use crate::graphql::error::chain;
use crate::graphql::ids::Kind;
use crate::remittances::{Imported, Looked, Purpose, Said, Seen, Sight, import_advice};

use super::Shared;
use super::caller;
use super::csv_upload;
use super::problem::{problem, refusal};

const DESK_ONLY: &str = "Only owner and office take advices in.";

pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/warranty-payers/{id}/advice", web::post().to(upload));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Asked {
    #[serde(default)]
    preview: bool,
    reference: Option<String>,
    advised_on: Option<NaiveDate>,
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
        return problem(StatusCode::FORBIDDEN, DESK_ONLY);
    }
    let Ok(payer_id) = Kind::WarrantyPayer.row("", &ID(id.into_inner())) else {
        return problem(StatusCode::NOT_FOUND, "There is no such payer.");
    };
    let Ok(Query(asked)) = asked else {
        let words = "`preview` is true or false, `advisedOn` a day like 2026-03-31.";
        return problem(StatusCode::BAD_REQUEST, words);
    };
    let purpose = if asked.preview {
        Purpose::LookAt
    } else {
        Purpose::TakeIn
    };
    let said = Said {
        reference: asked.reference,
        advised_on: asked.advised_on,
    };
    let bytes = match csv_upload::receive(&request, payload).await {
        Ok(bytes) => bytes,
        Err(refusal) => return refusal,
    };
    match import_advice(&act, (payer_id, said), &bytes, purpose).await {
        Ok(Imported::Looked(looked)) => HttpResponse::Ok().json(shown(&looked)),
        Ok(Imported::Refused(faults)) => csv_upload::refused(&faults),
        Err(Error::Refused(problems)) => refusal(StatusCode::CONFLICT, &problems),
        Err(Error::Forbidden) => problem(StatusCode::FORBIDDEN, DESK_ONLY),
        Err(Error::Unauthenticated) => caller::sign_in(),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "taking in a payer's advice failed");
            let words = "The database could not take the file. Send it again.";
            problem(StatusCode::SERVICE_UNAVAILABLE, words)
        }
    }
}

fn shown(looked: &Looked) -> Value {
    json!({
        "adviceId": looked.advice_id.map(|id| Kind::PayerAdvice.id(id).to_string()),
        "reference": looked.reference,
        "advisedOn": looked.advised_on,
        "total": looked.total.to_string(),
        "rowCount": looked.rows.len(),
        "matchedCount": looked.rows.iter().filter(|seen| seen.sight.is_match()).count(),
        "rows": looked.rows.iter().map(row).collect::<Vec<_>>(),
    })
}

fn row(seen: &Seen) -> Value {
    let (finding, amount, about) = finding(&seen.sight);
    json!({
        "line": seen.row.line,
        "claimText": seen.row.claim,
        "claimId": seen.claim.as_ref().map(|claim| Kind::Claim.id(claim.id).to_string()),
        "claimNumber": seen.claim.as_ref().map(|claim| &claim.number),
        "open": seen.open.map(|open| open.to_string()),
        "paid": seen.row.paid.to_string(),
        "refused": seen.row.refused.map(|refused| refused.to_string()),
        "reasonCode": seen.row.reason,
        "note": seen.row.note,
        "paidOn": seen.row.on,
        "finding": finding,
        "difference": amount.map(|amount| amount.to_string()),
        "about": about,
    })
}

/// What a row would make of its claim, by how much less or more than what is open, and what else is to be said.
fn finding(sight: &Sight) -> (&'static str, Option<Cents>, Option<String>) {
    match sight {
        Sight::Settles(Settlement::InFull) => ("IN_FULL", None, None),
        Sight::Settles(Settlement::Short { left }) => ("SHORT", Some(*left), None),
        Sight::Settles(Settlement::Refused { left }) => ("REFUSED", Some(*left), None),
        Sight::Settles(Settlement::TooMuch { over }) => ("TOO_MUCH", Some(*over), None),
        Sight::ChangesNothing => ("CHANGES_NOTHING", None, None),
        Sight::NoClaim => ("NO_CLAIM", None, None),
        Sight::OtherPayer(payer) => {
            let about = format!("This is a claim on {payer}.");
            ("OTHER_PAYER", None, Some(about))
        }
        Sight::SeveralClaims => ("SEVERAL_CLAIMS", None, None),
        Sight::Twice { line } => {
            let about = format!("Line {line} is about the same claim.");
            ("TWICE", None, Some(about))
        }
        Sight::TakesNoMoney => {
            let about = "This claim was not submitted, or is closed.".to_owned();
            ("NOT_SUBMITTED", None, Some(about))
        }
    }
}
