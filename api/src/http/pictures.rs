//! Charts of rates as SVG, by the same token as `/graphql`: `GET /pictures/{chart}.svg?by=…&windowDays=…&from=…&through=…`;
//! `models=…` stands once for each model, as a key may hold any letter.

use std::str::FromStr;

use actix_web::http::StatusCode;
use actix_web::web::{self, Data, Path, Query};
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;

use crate::base::{Checks, Error, ProblemCode, Result};
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

/// All that stands behind the question mark, also what stands there more than once. Any text is read as pairs of texts.
type Pairs = Vec<(String, String)>;

/// All that a picture may be asked with.
const NAMES: [&str; 5] = ["by", "models", "windowDays", "from", "through"];

/// What a picture is asked with.
struct Question {
    by: Option<String>,
    models: Vec<String>,
    window_days: Option<i32>,
    from: Option<NaiveDate>,
    through: Option<NaiveDate>,
}

impl Question {
    /// # Errors
    /// `Malformed` at each name that no picture knows, whose value cannot be read, or that stands twice.
    fn read(pairs: &[(String, String)]) -> Result<Self> {
        const DAY: &str = "Write a day like 2026-11-29.";
        let mut checks = Checks::new();
        let unknown = pairs
            .iter()
            .filter(|(name, _)| !NAMES.contains(&name.as_str()));
        for (name, _) in unknown {
            let words = format!(
                "No picture knows this. It is asked with {}.",
                NAMES.join(", ")
            );
            checks.refuse(ProblemCode::Malformed, name, words);
        }
        let question = Self {
            by: one(&mut checks, pairs, "by").map(str::to_owned),
            models: models(pairs),
            window_days: read(&mut checks, pairs, ("windowDays", "Write a whole number.")),
            from: read(&mut checks, pairs, ("from", DAY)),
            through: read(&mut checks, pairs, ("through", DAY)),
        };
        checks.finish()?;
        Ok(question)
    }
}

fn models(pairs: &[(String, String)]) -> Vec<String> {
    pairs
        .iter()
        .filter(|(name, key)| name == "models" && !key.is_empty())
        .map(|(_, key)| key.clone())
        .collect()
}

/// What stands under a name that may stand once.
fn one<'a>(checks: &mut Checks, pairs: &'a [(String, String)], name: &str) -> Option<&'a str> {
    let mut values = pairs.iter().filter(|(known, _)| known == name);
    let first = values.next();
    if values.next().is_some() {
        let message = "This stands twice; say it once.";
        checks.refuse(ProblemCode::Malformed, name, message);
    }
    first.map(|(_, value)| value.as_str())
}

/// The same, as what it means.
fn read<T: FromStr>(
    checks: &mut Checks,
    pairs: &[(String, String)],
    (name, how): (&str, &str),
) -> Option<T> {
    let value = one(checks, pairs, name)?.parse().ok();
    if value.is_none() {
        checks.refuse(ProblemCode::Malformed, name, how);
    }
    value
}

async fn send(
    shared: Data<Shared>,
    request: HttpRequest,
    chart: Path<String>,
    Query(pairs): Query<Pairs>,
) -> HttpResponse {
    let act = match caller::staff(&shared, &request).await {
        Ok(act) => act,
        Err(refusal) => return refusal,
    };
    let asked = match Question::read(&pairs) {
        Ok(asked) => asked,
        Err(error) => return not_drawn(error),
    };
    let (chart, span) = (chart.into_inner(), (asked.from, asked.through));
    let picture = if chart == "first-visits" {
        summaries::first_visits_picture(&act, span).await.map(Some)
    } else {
        let asked = PictureAsked {
            chart,
            by: asked.by,
            models: asked.models,
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
        Err(error) => not_drawn(error),
    }
}

fn not_drawn(error: Error) -> HttpResponse {
    match error {
        Error::Refused(problems) => refusal(StatusCode::BAD_REQUEST, &problems),
        Error::Forbidden => problem(StatusCode::FORBIDDEN, "Your role may not see this picture."),
        Error::Busy(_) => problem(
            StatusCode::SERVICE_UNAVAILABLE,
            "The database is busy. Try again.",
        ),
        error => {
            tracing::error!(chain = %chain(&error), "a picture could not be made");
            let words = "The picture could not be made; the log says why.";
            problem(StatusCode::INTERNAL_SERVER_ERROR, words)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question(asked: &str) -> Result<Question> {
        let pairs = Query::<Pairs>::from_query(asked).expect("pairs");
        Question::read(&pairs)
    }

    #[test]
    fn each_model_is_named_by_itself_and_may_hold_a_comma() {
        let asked = "models=HEARTHLINE%7CHX-30%2C1&by=MODEL&models=MARLOW%7CD+4&models=";
        let question = question(asked).expect("a question");
        assert_eq!(question.models, ["HEARTHLINE|HX-30,1", "MARLOW|D 4"]);
        assert_eq!(question.by.as_deref(), Some("MODEL"));
    }

    #[test]
    fn any_text_is_pairs() {
        for asked in [
            "",
            "&",
            "=",
            "by",
            "%",
            "%zz=%FF",
            "a=b=c&&\u{e9}=%00",
            "+=+",
        ] {
            assert!(Query::<Pairs>::from_query(asked).is_ok(), "{asked}");
        }
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let asked = question("windowDays=9&from=2026-02-01&through=2026-02-28");
        let asked = asked.expect("a question");
        assert_eq!(asked.window_days, Some(9));
        assert_eq!(asked.from, NaiveDate::from_ymd_opt(2026, 2, 1));
        assert_eq!(asked.through, NaiveDate::from_ymd_opt(2026, 2, 28));
        let Err(Error::Refused(unknown)) = question("windowdays=9") else {
            panic!("a name that nothing is called was read");
        };
        let paths = unknown.iter().map(|one| one.path.as_str());
        assert_eq!(paths.collect::<Vec<_>>(), ["windowdays"]);
        let wrong = "windowDays=soon&from=2026-02-30&through=&by=LOT&by=PART";
        let Err(Error::Refused(problems)) = question(wrong) else {
            panic!("{wrong} was read");
        };
        let paths = problems.iter().map(|one| (one.code, one.path.as_str()));
        assert_eq!(
            paths.collect::<Vec<_>>(),
            ["by", "windowDays", "from", "through"].map(|path| (ProblemCode::Malformed, path))
        );
    }
}
