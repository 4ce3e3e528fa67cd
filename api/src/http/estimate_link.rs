//! The pages behind a customer's link. What they show is decided in `estimates/link.rs`.
//!
//! Forms carry no further secret: the address itself is one, and is sent to nobody (no referrer). For the
//! same reason browsers name no origin with these forms, so none is asked for.

use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, LOCATION};
use actix_web::web::{self, Data, Form, FormConfig, Path, Payload};
use actix_web::{FromRequest, HttpRequest, HttpResponse};
use askama::Template;
use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::base::{Act, Caller, Error, Result};
use crate::estimates::link::{self, Acceptance, Fetched, Shown};
use crate::estimates::page::STYLE_SHEET;
use crate::estimates::reminding;
use crate::graphql::error::chain;

use super::Shared;
use super::problem::problem;

/// Longest form; a name, a reason and a hash need far less.
const FORM_BYTES_MAX: usize = 16 * 1024;

/// The longest a form may take to arrive.
const FORM_TIMEOUT: Duration = Duration::from_secs(20);

/// Nothing runs and nothing is loaded but our style sheet and pictures; forms go to us alone; no other page frames these.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

/// Mounts the pages.
pub fn routes(routes: &mut web::ServiceConfig) {
    let form = || FormConfig::default().limit(FORM_BYTES_MAX);
    routes
        .route("/e/style.css", web::get().to(style))
        .service(
            // Mail scanners look before people do; neither way of looking has an effect.
            web::resource("/e/{token}")
                .route(web::get().to(open))
                .route(web::head().to(open)),
        )
        .route("/e/{token}/", web::get().to(back))
        .route("/e/{token}/estimate.pdf", web::get().to(pdf))
        .route("/e/{token}/pictures/{position}", web::get().to(picture))
        .service(
            web::resource("/e/{token}/ask")
                .app_data(form())
                .route(web::post().to(ask))
                .route(web::get().to(back)),
        )
        .route("/e/{token}/reminders", web::get().to(ask_about_reminders))
        .route("/e/{token}/reminders", web::post().to(stop_reminders))
        .service(
            web::resource("/e/{token}/accept")
                .app_data(form())
                .route(web::post().to(accept))
                .route(web::get().to(back)),
        )
        .service(
            web::resource("/e/{token}/decline")
                .app_data(form())
                .route(web::post().to(decline))
                .route(web::get().to(back)),
        );
}

/// What the form to accept sends. What is missing is an empty text, so that the page can say what to mend.
#[derive(Deserialize)]
struct AcceptForm {
    #[serde(default)]
    option: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    content_hash: String,
}

/// What the form to decline sends.
#[derive(Deserialize)]
struct DeclineForm {
    #[serde(default)]
    reason: String,
}

/// What the form to ask sends.
#[derive(Deserialize)]
struct AskForm {
    #[serde(default)]
    question: String,
}

/// The form, or the answer to one that cannot be read or takes too long to arrive.
async fn received<F: DeserializeOwned + 'static>(
    request: &HttpRequest,
    payload: Payload,
) -> std::result::Result<F, HttpResponse> {
    let mut payload = payload.into_inner();
    let reading = Form::<F>::from_request(request, &mut payload);
    match tokio::time::timeout(FORM_TIMEOUT, reading).await {
        Ok(Ok(form)) => Ok(form.into_inner()),
        Ok(Err(error)) => Err(unreadable(&error)),
        Err(_) => Err(problem(
            StatusCode::REQUEST_TIMEOUT,
            "The answer took too long to arrive. Nothing was changed; please send it again.",
        )),
    }
}

async fn style() -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/css; charset=utf-8")
        .insert_header(("Cache-Control", "public, max-age=3600"))
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .body(STYLE_SHEET)
}

async fn open(shared: Data<Shared>, request: HttpRequest, token: Path<String>) -> HttpResponse {
    shown(link::open(&act(&shared, &request), &token).await)
}

/// Back to the page, for who reads a refused form again: its address takes answers alone.
async fn back(token: Path<String>) -> HttpResponse {
    see_other(&token, "")
}

fn see_other(token: &str, place: &str) -> HttpResponse {
    HttpResponse::SeeOther()
        .insert_header((LOCATION, format!("/e/{token}{place}")))
        .insert_header(("Cache-Control", "no-store"))
        .insert_header(("Referrer-Policy", "no-referrer"))
        .finish()
}

async fn accept(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
    payload: Payload,
) -> HttpResponse {
    let form: AcceptForm = match received(&request, payload).await {
        Ok(form) => form,
        Err(refusal) => return refusal,
    };
    let answer = Acceptance {
        option: form.option,
        name: form.name,
        content_hash: form.content_hash,
    };
    shown(link::accept(&act(&shared, &request), &token, answer).await)
}

async fn decline(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
    payload: Payload,
) -> HttpResponse {
    match received::<DeclineForm>(&request, payload).await {
        Ok(form) => shown(link::decline(&act(&shared, &request), &token, &form.reason).await),
        Err(refusal) => refusal,
    }
}

async fn ask(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
    payload: Payload,
) -> HttpResponse {
    let form: AskForm = match received(&request, payload).await {
        Ok(form) => form,
        Err(refusal) => return refusal,
    };
    match link::ask(&act(&shared, &request), &token, &form.question).await {
        // Back by GET, so that reading the page again sends nothing again.
        Ok(Shown::Asked) => see_other(&token, "#questions"),
        outcome => shown(outcome),
    }
}

async fn picture(
    shared: Data<Shared>,
    request: HttpRequest,
    place: Path<(String, String)>,
) -> HttpResponse {
    let (token, position) = place.into_inner();
    let act = act(&shared, &request);
    // Pictures count from one; what is no number names none.
    let position = position.parse().unwrap_or(0);
    match link::picture(&act, &token, position).await {
        Ok(Fetched::File(bytes)) => HttpResponse::Ok()
            .content_type("image/jpeg")
            .insert_header(("Cache-Control", "private, no-store"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(bytes),
        Ok(Fetched::Instead(other)) => shown(Ok(other)),
        Err(error) => shown(Err(error)),
    }
}

async fn ask_about_reminders(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
) -> HttpResponse {
    shown(reminding::ask(&act(&shared, &request), &token).await)
}

async fn stop_reminders(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
) -> HttpResponse {
    shown(reminding::stop(&act(&shared, &request), &token).await)
}

async fn pdf(shared: Data<Shared>, request: HttpRequest, token: Path<String>) -> HttpResponse {
    let act = act(&shared, &request);
    match link::pdf(&act, &token).await {
        Ok(Fetched::File(file)) => HttpResponse::Ok()
            .content_type("application/pdf")
            .insert_header((
                CONTENT_DISPOSITION,
                format!("attachment; filename=\"{}\"", file.name),
            ))
            .insert_header(("Cache-Control", "no-store"))
            .insert_header(("Referrer-Policy", "no-referrer"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(file.bytes),
        Ok(Fetched::Instead(other)) => shown(Ok(other)),
        Err(error) => shown(Err(error)),
    }
}

/// The act of whoever holds the link.
fn act(shared: &Shared, request: &HttpRequest) -> Act {
    let mut act = shared.app.act(Caller::CustomerLink);
    act.from = shared.client_of(request);
    act
}

fn unreadable(error: &actix_web::Error) -> HttpResponse {
    let status = error.as_response_error().status_code();
    problem(
        status,
        "The answer could not be read. Open the link from your mail again and send it once more.",
    )
}

/// The page with its status.
fn shown(outcome: Result<Shown>) -> HttpResponse {
    let (status, page) = match outcome {
        Ok(Shown::Offer(page)) => (StatusCode::OK, page.render()),
        Ok(Shown::NotTaken(page)) => (StatusCode::UNPROCESSABLE_ENTITY, page.render()),
        Ok(Shown::Answered(page)) => (StatusCode::OK, page.render()),
        Ok(Shown::Reminders(page)) => (StatusCode::OK, page.render()),
        Ok(Shown::Used(page)) => (StatusCode::GONE, page.render()),
        Ok(Shown::Gone(page)) => (StatusCode::NOT_FOUND, page.render()),
        Ok(Shown::Asked) => return fault(&Error::internal("only a question is asked")),
        Ok(Shown::TooManyTries(page)) => (StatusCode::TOO_MANY_REQUESTS, page.render()),
        Err(error) => return fault(&error),
    };
    match page {
        Ok(text) => html(status, text),
        Err(error) => fault(&Error::caused("page behind a link", error)),
    }
}

fn html(status: StatusCode, text: String) -> HttpResponse {
    HttpResponse::build(status)
        .content_type("text/html; charset=utf-8")
        .insert_header((CONTENT_SECURITY_POLICY, POLICY))
        .insert_header(("Cache-Control", "no-store"))
        .insert_header(("Referrer-Policy", "no-referrer"))
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .body(text)
}

/// A fault of ours: the log gets the cause, the customer a sentence.
fn fault(error: &Error) -> HttpResponse {
    if let Error::Busy(_) = error {
        tracing::warn!(chain = %chain(error), "a link page met a busy database");
        return problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "We are busy. Nothing was changed; please try again.",
        );
    }
    tracing::error!(chain = %chain(error), "a link page failed");
    problem(
        StatusCode::INTERNAL_SERVER_ERROR,
        "Something went wrong here. Nothing was changed; please try again or call us.",
    )
}
