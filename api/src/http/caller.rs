//! Who sends a request, by the bearer token it brings.

use actix_web::http::StatusCode;
use actix_web::http::header::{AUTHORIZATION, HeaderValue, WWW_AUTHENTICATE};
use actix_web::{HttpRequest, HttpResponse};

use crate::base::{Act, Caller, Result};
use crate::graphql::error::chain;
use crate::shop;

use super::problem::problem;
use super::{Shared, origin};

/// Whose token a request brings: nobody's for a wrong one, none without one.
///
/// # Errors
/// Internal only.
pub async fn of(shared: &Shared, request: &HttpRequest) -> Result<Option<Caller>> {
    let Some(header) = request.headers().get(AUTHORIZATION) else {
        return Ok(None);
    };
    match header.to_str() {
        Ok(header) => Ok(Some(holder(shared, header).await?)),
        Err(_) => Ok(Some(Caller::Nobody)),
    }
}

/// Whose token an `Authorization` header's text holds; nobody's for a wrong one.
///
/// # Errors
/// Internal only.
pub async fn holder(shared: &Shared, header: &str) -> Result<Caller> {
    match bearer(header) {
        Some(token) => shop::recognise(&shared.app, token).await,
        None => Ok(Caller::Nobody),
    }
}

/// The act of the member of staff whose token this is, or why there is none.
pub async fn staff(
    shared: &Shared,
    request: &HttpRequest,
) -> std::result::Result<Act, HttpResponse> {
    if !origin::is_ours(request, shared.app.config.public_url.as_deref()) {
        let words = "Pages of other sites may not send requests here.";
        return Err(problem(StatusCode::FORBIDDEN, words));
    }
    match of(shared, request).await {
        Ok(None | Some(Caller::Nobody)) => Err(sign_in()),
        Ok(Some(caller)) => Ok(act(shared, request, caller)),
        Err(error) => {
            tracing::error!(chain = %chain(&error), "the caller could not be looked up");
            let words = "The database does not answer. Try again.";
            Err(problem(StatusCode::SERVICE_UNAVAILABLE, words))
        }
    }
}

/// What a caller does now, from where.
pub fn act(shared: &Shared, request: &HttpRequest, caller: Caller) -> Act {
    let mut act = shared.app.act(caller);
    act.from = shared.client_of(request);
    act
}

/// The answer to who brings no token that opens anything.
pub fn sign_in() -> HttpResponse {
    let words = "Sign in and send the token as a bearer token.";
    let mut answer = problem(StatusCode::UNAUTHORIZED, words);
    let scheme = HeaderValue::from_static("Bearer");
    answer.headers_mut().insert(WWW_AUTHENTICATE, scheme);
    answer
}

/// The token in an `Authorization` header.
fn bearer(header: &str) -> Option<&str> {
    let (scheme, token) = header.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

#[cfg(test)]
mod tests {
    use super::bearer;

    #[test]
    fn the_scheme_is_read_in_any_case_and_nothing_but_a_bearer_token_counts() {
        assert_eq!(bearer("Bearer abc"), Some("abc"));
        assert_eq!(bearer("bearer  abc "), Some("abc"));
        assert_eq!(bearer("Basic abc"), None);
        assert_eq!(bearer("abc"), None);
    }
}
