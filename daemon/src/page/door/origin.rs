//! That what is to be changed is asked for by a page of our own.

use axum::http::HeaderMap;
use axum::http::header::ORIGIN;
use axum::http::uri::Authority;

const FETCH_SITE: &str = "sec-fetch-site";

/// Whether a form was sent by a page of the host that was asked for. Every browser says so in one of two headers, most in
/// both; who says it in neither is refused.
pub(super) fn is_our_own(headers: &HeaderMap, asked: &Authority) -> bool {
    let site = headers.get(FETCH_SITE);
    let origin = headers.get(ORIGIN);
    let is_same_site = site.is_none_or(|site| site == "same-origin");
    let is_same_origin = origin.is_none_or(|origin| {
        let origin = origin.to_str().unwrap_or_default();
        let host = origin.split_once("://").map(|(_, host)| host);
        host.is_some_and(|host| host.eq_ignore_ascii_case(asked.as_str()))
    });
    (site.is_some() || origin.is_some()) && is_same_site && is_same_origin
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_pages_of_the_host_that_was_asked_for_may_send_a_form() {
        let check = |origin: Option<&str>, site: Option<&str>, expected| {
            let mut headers = HeaderMap::new();
            if let Some(origin) = origin {
                headers.insert(ORIGIN, origin.parse().unwrap());
            }
            if let Some(site) = site {
                headers.insert(FETCH_SITE, site.parse().unwrap());
            }
            let asked = Authority::from_static("farm-office.local:8790");
            assert_eq!(
                is_our_own(&headers, &asked),
                expected,
                "{origin:?} {site:?}"
            );
        };
        let ours = Some("http://farm-office.local:8790");
        check(ours, Some("same-origin"), true);
        check(ours, None, true);
        check(Some("https://Farm-Office.local:8790"), None, true);
        check(None, Some("same-origin"), true);
        check(None, None, false);
        check(ours, Some("cross-site"), false);
        check(ours, Some("same-site"), false);
        check(ours, Some("none"), false);
        for foreign in [
            "http://evil.example",
            "http://farm-office.local",
            "http://farm-office.local:8791",
            "http://farm-office.local:8790.evil.example",
            "null",
            "",
        ] {
            check(Some(foreign), None, false);
            check(Some(foreign), Some("same-origin"), false);
        }
    }
}
