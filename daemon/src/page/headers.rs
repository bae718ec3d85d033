//! What every answer tells browsers: what it may load, who may frame it, what is kept.

use axum::http::{HeaderName, HeaderValue, header};
use axum::response::Response;

/// An answer that says something of these itself keeps it.
const HEADERS: [(HeaderName, HeaderValue); 5] = [
    (
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(
            "default-src 'self'; frame-ancestors 'none'; form-action 'self'; base-uri 'none'",
        ),
    ),
    (
        header::X_CONTENT_TYPE_OPTIONS,
        HeaderValue::from_static("nosniff"),
    ),
    (
        header::REFERRER_POLICY,
        HeaderValue::from_static("same-origin"),
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
];

/// The answer with all of them.
pub(super) fn secured(mut answer: Response) -> Response {
    for (name, value) in HEADERS {
        answer.headers_mut().entry(name).or_insert(value);
    }
    answer
}
