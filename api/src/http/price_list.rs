//! The upload of a supplier's price list, piece by piece: it is never whole in memory.

use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::CONTENT_TYPE;
use actix_web::web::{self, Data, Path, Payload};
use actix_web::{HttpRequest, HttpResponse};
use async_graphql::ID;
use futures_util::StreamExt;
use serde_json::json;
use tokio::sync::mpsc;

use crate::base::Error;
use crate::graphql::error::chain;
use crate::graphql::ids::Kind;
use crate::pricing;
use crate::pricing::{Arriving, RECEIVED_MAX, Received};

use super::Shared;
use super::caller;
use super::problem::{problem, refusal};

/// How long the next piece may take to arrive.
const PIECE_TIMEOUT: Duration = Duration::from_secs(20);
/// Pieces that may wait for the database.
const PIECES_AHEAD: usize = 4;

pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/price-lists/{id}", web::post().to(upload));
}

/// Receives the rows of a list that was begun.
async fn upload(
    shared: Data<Shared>,
    request: HttpRequest,
    id: Path<String>,
    payload: Payload,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    if !is_csv(&request) {
        let words = "Send the list as text/csv in UTF-8.";
        return problem(StatusCode::UNSUPPORTED_MEDIA_TYPE, words);
    }
    let Ok(list_id) = Kind::PriceList.row("", &ID(id.into_inner())) else {
        return problem(StatusCode::NOT_FOUND, "There is no such price list.");
    };
    let (sender, arriving) = mpsc::channel(PIECES_AHEAD);
    // On its own, so that a sender who goes away leaves a list marked as broken off and not one half received.
    let receiving = tokio::spawn(async move { pricing::receive(&act, list_id, arriving).await });
    let is_too_large = forward(payload, sender).await;
    match receiving.await {
        Ok(outcome) => answer(outcome, is_too_large),
        Err(error) => {
            tracing::error!(%error, "receiving a price list failed");
            problem(
                StatusCode::INTERNAL_SERVER_ERROR,
                "Something went wrong here.",
            )
        }
    }
}

/// Passes the pieces on as fast as they are taken; true when there were too many.
async fn forward(mut payload: Payload, sender: mpsc::Sender<Arriving>) -> bool {
    let mut byte_count = 0_usize;
    loop {
        let piece = match tokio::time::timeout(PIECE_TIMEOUT, payload.next()).await {
            Ok(Some(Ok(piece))) => piece,
            Ok(None) => {
                // Nobody listens when the list was refused already; its answer says why.
                let _ = sender.send(Arriving::End).await;
                return false;
            }
            Ok(Some(Err(_))) | Err(_) => return false,
        };
        byte_count = byte_count.saturating_add(piece.len());
        if byte_count > RECEIVED_MAX {
            let _ = sender.send(Arriving::TooLarge).await;
            return true;
        }
        if sender.send(Arriving::Piece(piece)).await.is_err() {
            return false;
        }
    }
}

fn answer(outcome: crate::base::Result<Received>, is_too_large: bool) -> HttpResponse {
    match outcome {
        Ok(Received::Staged(list)) => HttpResponse::Ok().json(json!({
            "id": Kind::PriceList.id(list.id).as_str(),
            "state": "STAGED",
            "rowCount": list.row_count,
            "badRowCount": list.bad_row_count,
        })),
        Ok(Received::Refused(_)) => problem(
            StatusCode::UNPROCESSABLE_ENTITY,
            "This list was not taken. Its faults say why, line by line.",
        ),
        Ok(Received::BrokenOff) if is_too_large => problem(
            StatusCode::PAYLOAD_TOO_LARGE,
            "A list has at most 64 MiB. Send it in parts, each as a list of its own.",
        ),
        Ok(Received::BrokenOff) => problem(
            StatusCode::BAD_REQUEST,
            "The list ended too early. Send it again.",
        ),
        Ok(Received::Displaced) => problem(
            StatusCode::CONFLICT,
            "This list is being sent anew, or was given up.",
        ),
        Err(Error::Forbidden) => problem(
            StatusCode::FORBIDDEN,
            "Only owner and office take price lists in.",
        ),
        Err(Error::Unauthenticated) => caller::sign_in(),
        Err(Error::Refused(problems)) => refusal(StatusCode::CONFLICT, &problems),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "receiving a price list failed");
            let words = "The database could not take the list. Send it again.";
            problem(StatusCode::SERVICE_UNAVAILABLE, words)
        }
    }
}

fn is_csv(request: &HttpRequest) -> bool {
    let kind = request.headers().get(CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let mut words = kind.split(';').map(|word| word.trim().to_ascii_lowercase());
    words.next().as_deref() == Some("text/csv")
        && words.all(|word| match word.strip_prefix("charset=") {
            Some(charset) => matches!(charset.trim_matches('"'), "utf-8" | "utf8"),
            None => true,
        })
}
