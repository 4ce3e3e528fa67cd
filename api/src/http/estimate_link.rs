//! The pages behind a customer's link. What they show is decided in `estimates/link.rs`.
//!
//! Forms carry no further secret: the address itself is one, and is sent to nobody (no referrer). For the
//! same reason browsers name no origin with these forms, so none is asked for.

use actix_web::http::StatusCode;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY};
use actix_web::web::{self, Data, Form, FormConfig, Path};
use actix_web::{HttpRequest, HttpResponse};
use askama::Template;
use serde::Deserialize;

use crate::base::{Act, Caller, Error, Result};
use crate::estimates::link::{self, Acceptance, Shown};
use crate::estimates::page::STYLE_SHEET;
use crate::graphql::error::chain;

use super::Shared;
use super::problem::problem;

/// Longest form; a name, a reason and a hash need far less.
const FORM_BYTES_MAX: usize = 16 * 1024;

/// Nothing runs and nothing is loaded but our style sheet; forms go to us alone; no other page frames these.
const POLICY: &str = "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

/// Mounts the pages.
pub fn routes(routes: &mut web::ServiceConfig) {
    let form = || FormConfig::default().limit(FORM_BYTES_MAX);
    routes
        .route("/e/style.css", web::get().to(style))
        .route("/e/{token}", web::get().to(open))
        .route("/e/{token}/estimate.pdf", web::get().to(pdf))
        .service(
            web::resource("/e/{token}/accept")
                .app_data(form())
                .route(web::post().to(accept)),
        )
        .service(
            web::resource("/e/{token}/decline")
                .app_data(form())
                .route(web::post().to(decline)),
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

/// A form as it arrived, or why it could not be read.
type Received<F> = std::result::Result<Form<F>, actix_web::Error>;

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

async fn accept(
    shared: Data<Shared>,
    request: HttpRequest,
    token: Path<String>,
    form: Received<AcceptForm>,
) -> HttpResponse {
    let form = match form {
        Ok(form) => form.into_inner(),
        Err(error) => return unreadable(&error),
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
    form: Received<DeclineForm>,
) -> HttpResponse {
    match form {
        Ok(form) => shown(link::decline(&act(&shared, &request), &token, &form.reason).await),
        Err(error) => unreadable(&error),
    }
}

async fn pdf(shared: Data<Shared>, request: HttpRequest, token: Path<String>) -> HttpResponse {
    let act = act(&shared, &request);
    match link::pdf(&act, &token).await {
        Ok(Some(file)) => HttpResponse::Ok()
            .content_type("application/pdf")
            .insert_header((
                CONTENT_DISPOSITION,
                format!("attachment; filename=\"{}\"", file.name),
            ))
            .insert_header(("Cache-Control", "no-store"))
            .insert_header(("Referrer-Policy", "no-referrer"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(file.bytes),
        Ok(None) => shown(link::nothing(&act).await),
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
        Ok(Shown::Gone(page)) => (StatusCode::NOT_FOUND, page.render()),
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
