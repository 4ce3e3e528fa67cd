//! What a client sends and what it takes: `Content-Type` and `Accept`.

use actix_web::HttpRequest;
use actix_web::http::header::{ACCEPT, CONTENT_ENCODING, CONTENT_TYPE};

/// The two names under which a GraphQL answer may travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Media {
    /// `application/graphql-response+json`
    GraphQl,
    /// `application/json`, for clients that know no other.
    Json,
}

impl Media {
    pub fn content_type(self) -> &'static str {
        match self {
            Self::GraphQl => "application/graphql-response+json; charset=utf-8",
            Self::Json => "application/json; charset=utf-8",
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::GraphQl => "application/graphql-response+json",
            Self::Json => "application/json",
        }
    }

    /// What the client takes, ours first; `None` if it takes neither.
    pub fn accepted(request: &HttpRequest) -> Option<Self> {
        let mut accept = String::new();
        for value in request.headers().get_all(ACCEPT) {
            accept.push_str(value.to_str().ok()?);
            accept.push(',');
        }
        if accept.trim_matches([',', ' ']).is_empty() {
            return Some(Self::GraphQl);
        }
        best_of(&accept)
    }
}

fn best_of(accept: &str) -> Option<Media> {
    let graphql = quality(accept, Media::GraphQl);
    let json = quality(accept, Media::Json);
    match graphql.max(json) {
        0 => None,
        best if best == graphql => Some(Media::GraphQl),
        _ => Some(Media::Json),
    }
}

/// How much the client wants this, in thousandths: the most telling range that matches counts (RFC 9110).
fn quality(accept: &str, media: Media) -> u16 {
    let mut found = (0_u8, 0_u16);
    for range in accept.split(',') {
        let mut parts = range.split(';').map(str::trim);
        let telling = match parts.next().map(str::to_ascii_lowercase).as_deref() {
            Some(name) if name == media.name() => 3,
            Some("application/*") => 2,
            Some("*/*") => 1,
            _ => continue,
        };
        let weight = parts
            .find_map(|part| part.strip_prefix("q=").or(part.strip_prefix("Q=")))
            .map_or(1_000, thousandths);
        if telling > found.0 {
            found = (telling, weight);
        }
    }
    found.1
}

fn thousandths(weight: &str) -> u16 {
    let (whole, part) = weight.trim().split_once('.').unwrap_or((weight.trim(), ""));
    if whole != "0" {
        return 1_000;
    }
    format!("{part:0<3}")
        .get(..3)
        .and_then(|digits| digits.parse().ok())
        .unwrap_or(0)
}

/// Whether the body is plain JSON in UTF-8. A browser sends nothing of the kind cross-site without asking first.
pub fn sends_json(request: &HttpRequest) -> bool {
    let header = |name| {
        request
            .headers()
            .get(name)
            .map(|value| value.to_str().unwrap_or("unreadable"))
    };
    let is_plain =
        header(CONTENT_ENCODING).is_none_or(|coding| coding.eq_ignore_ascii_case("identity"));
    is_plain && header(CONTENT_TYPE).is_some_and(is_json)
}

fn is_json(content_type: &str) -> bool {
    let mut parts = content_type.split(';').map(str::trim);
    let is_json = parts
        .next()
        .is_some_and(|name| name.eq_ignore_ascii_case("application/json"));
    is_json
        && parts.all(|part| match part.split_once('=') {
            Some((name, value)) if name.trim().eq_ignore_ascii_case("charset") => {
                value.trim().trim_matches('"').eq_ignore_ascii_case("utf-8")
            }
            _ => true,
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_telling_range_decides() {
        for (accept, wanted) in [
            ("*/*", Some(Media::GraphQl)),
            ("application/*;q=0.1", Some(Media::GraphQl)),
            ("application/json", Some(Media::Json)),
            (
                "application/json, application/graphql-response+json;q=0.5",
                Some(Media::Json),
            ),
            (
                "application/graphql-response+json; charset=utf-8, application/json; charset=utf-8",
                Some(Media::GraphQl),
            ),
            (
                "*/*, application/graphql-response+json;q=0",
                Some(Media::Json),
            ),
            ("text/html", None),
            ("application/json;q=0", None),
        ] {
            assert_eq!(best_of(accept), wanted, "{accept}");
        }
    }

    #[test]
    fn only_json_in_utf_8_is_json() {
        assert!(is_json("application/json"));
        assert!(is_json("Application/JSON; charset=UTF-8"));
        assert!(!is_json("application/json; charset=latin1"));
        assert!(!is_json("text/plain"));
        assert!(!is_json("application/json2"));
    }
}
