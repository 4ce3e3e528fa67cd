//! Whether a browser sends a request from a page of ours.

use actix_web::HttpRequest;
use actix_web::http::header::{HOST, HeaderValue, ORIGIN};

/// True without an `Origin`, which only browsers send, and for pages of this server.
pub fn is_ours(request: &HttpRequest, public_url: Option<&str>) -> bool {
    let Some(origin) = request.headers().get(ORIGIN) else {
        return true;
    };
    let Ok(origin) = origin.to_str() else {
        return false;
    };
    if public_url.is_some_and(|url| url.trim_end_matches('/') == origin) {
        return true;
    }
    let host = request.headers().get(HOST).map(HeaderValue::to_str);
    let (Some((_, origin_host)), Some(Ok(host))) = (origin.split_once("://"), host) else {
        return false;
    };
    origin_host == host
}
