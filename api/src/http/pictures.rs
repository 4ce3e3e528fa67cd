//! Charts of rates as SVG, by the same token as `/graphql`: `GET /pictures/{chart}.svg?by=…&windowDays=…&from=…&through=…`;
//! `models=…` stands once for each model, as a key may hold any letter.

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path, Query};
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;

use crate::base::Error;
use crate::graphql::error::chain;
use crate::summaries;
use crate::track_record::{self, PictureAsked};

use super::Shared;
use super::caller;
use super::problem::{problem, refusal};

/// Mounts the pictures.
pub fn routes(routes: &mut web::ServiceConfig) {
    routes.route("/pictures/{chart}.svg", web::get().to(send));
}

/// What stands behind the question mark.
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Question {
    by: Option<String>,
    window_days: Option<i32>,
    from: Option<NaiveDate>,
    through: Option<NaiveDate>,
}

/// All that stands there, also what stands more than once.
type Pairs = Vec<(String, String)>;

fn models(words: Pairs) -> Vec<String> {
    words
        .into_iter()
        .filter(|(name, key)| name == "models" && !key.is_empty())
        .map(|(_, key)| key)
        .collect()
}

async fn send(
    shared: Data<Shared>,
    request: HttpRequest,
    chart: Path<String>,
    asked: Result<Query<Question>, actix_web::Error>,
    words: Result<Query<Pairs>, actix_web::Error>,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let (Ok(Query(asked)), Ok(Query(words))) = (asked, words) else {
        return problem(
            StatusCode::BAD_REQUEST,
            "The address cannot be read: days are written 2026-11-29, windowDays is a whole number.",
        );
    };
    let (chart, span) = (chart.into_inner(), (asked.from, asked.through));
    let picture = if chart == "first-visits" {
        summaries::first_visits_picture(&act, span).await.map(Some)
    } else {
        let asked = PictureAsked {
            chart,
            by: asked.by,
            models: models(words),
            window_days: asked.window_days,
            span,
        };
        track_record::picture(&act, asked).await
    };
    match picture {
        Ok(Some(picture)) => HttpResponse::Ok()
            .content_type("image/svg+xml; charset=utf-8")
            .insert_header(("Cache-Control", "private, no-store"))
            .insert_header(("X-Content-Type-Options", "nosniff"))
            .body(picture.svg),
        Ok(None) => problem(StatusCode::NOT_FOUND, "There is no such picture."),
        Err(Error::Refused(problems)) => refusal(StatusCode::BAD_REQUEST, &problems),
        Err(Error::Forbidden) => {
            problem(StatusCode::FORBIDDEN, "Your role may not see this picture.")
        }
        Err(Error::Busy(_)) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database is busy. Try again.",
        ),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "a picture could not be made");
            let words = "The picture could not be made; the log says why.";
            problem(StatusCode::INTERNAL_SERVER_ERROR, words)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_model_is_named_by_itself_and_may_hold_a_comma() {
        let asked = "models=HEARTHLINE%7CHX-30%2C1&by=model&models=MARLOW%7CD+4&models=";
        let words = Query::<Pairs>::from_query(asked).expect("a question");
        assert_eq!(
            models(words.into_inner()),
            ["HEARTHLINE|HX-30,1", "MARLOW|D 4"]
        );
        let question = Query::<Question>::from_query(asked).expect("a question");
        assert_eq!(question.by.as_deref(), Some("model"));
    }
}
