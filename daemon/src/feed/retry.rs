//! Which failures are worth another try, and how long to wait before it.

use std::error::Error;
use std::io;
use std::time::Duration;

use reqwest::StatusCode;
use reqwest::header::{DATE, HeaderMap, HeaderName, RETRY_AFTER};

use super::get_error::GetError;

/// Whether asking again soon may help: time-outs, failed connections, answers that broke off,
/// 429 and 5xx. Not other refusals, and not an answer that came whole but wrong.
pub(super) fn is_worth_it(error: &GetError) -> bool {
    match error {
        GetError::Transport { source, .. } => is_passing(source),
        GetError::Status { status, .. } => {
            *status == StatusCode::TOO_MANY_REQUESTS || status.is_server_error()
        }
        GetError::ComeBackLater { .. } | GetError::TooLarge { .. } | GetError::OutOfTime { .. } => {
            false
        }
    }
}

/// The wait before the next try: what the server asked for when that is longer than our own;
/// `None` after the last try.
pub(super) fn wait_before(error: &GetError, own: Option<Duration>) -> Option<Duration> {
    let asked = match error {
        GetError::Status { retry_after, .. } => *retry_after,
        _ => None,
    };
    own.map(|own| own.max(asked.unwrap_or_default()))
}

/// The wait a server asks for in `Retry-After` (RFC 9110, 10.2.3). A date is measured against
/// the server's own `Date`, so that a wrong clock on either side does no harm; without one
/// there is nothing to measure it by, and our own wait stands.
pub(super) fn asked_wait(headers: &HeaderMap) -> Option<Duration> {
    let asked = text(headers, &RETRY_AFTER)?;
    if !asked.is_empty() && asked.bytes().all(|b| b.is_ascii_digit()) {
        // More seconds than 64 bits hold are still a wait.
        return Some(Duration::from_secs(asked.parse().unwrap_or(u64::MAX)));
    }
    let until = httpdate::parse_http_date(asked).ok()?;
    let sent = httpdate::parse_http_date(text(headers, &DATE)?).ok()?;
    Some(until.duration_since(sent).unwrap_or_default())
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok().map(str::trim)
}

/// The client reports a connection that ended inside the body and a body that cannot be unpacked
/// alike; only the second has invalid data at its root.
fn is_passing(error: &reqwest::Error) -> bool {
    !error.is_builder() && !error.is_redirect() && !has_invalid_data(error)
}

fn has_invalid_data(error: &reqwest::Error) -> bool {
    let mut source = error.source();
    while let Some(error) = source {
        let io = error.downcast_ref::<io::Error>();
        if io.is_some_and(|io| io.kind() == io::ErrorKind::InvalidData) {
            return true;
        }
        source = error.source();
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(HeaderName, &'static str)]) -> HeaderMap {
        let value = |text: &'static str| text.parse().unwrap();
        pairs
            .iter()
            .map(|(name, text)| (name.clone(), value(text)))
            .collect()
    }

    #[test]
    fn retry_after_is_read_in_seconds_and_as_a_date() {
        let check = |pairs: &[(HeaderName, &'static str)], expected: Option<u64>| {
            let wait = asked_wait(&headers(pairs));
            assert_eq!(wait, expected.map(Duration::from_secs), "{pairs:?}");
        };
        let sent = (DATE, "Sat, 06 Jul 2024 10:00:00 GMT");
        check(&[], None);
        check(&[(RETRY_AFTER, "7")], Some(7));
        check(&[(RETRY_AFTER, "99999999999999999999999")], Some(u64::MAX));
        check(&[(RETRY_AFTER, "-7")], None);
        check(&[(RETRY_AFTER, "soon")], None);
        check(&[(RETRY_AFTER, "")], None);
        let after = (RETRY_AFTER, "Sat, 06 Jul 2024 10:01:30 GMT");
        check(&[after.clone(), sent.clone()], Some(90));
        check(&[after], None);
        check(
            &[(RETRY_AFTER, "Sat, 06 Jul 2024 09:00:00 GMT"), sent],
            Some(0),
        );
    }

    #[test]
    fn a_longer_wait_of_the_server_goes_before_our_own_but_adds_no_try() {
        let error = |retry_after| GetError::Status {
            url: super::super::HttpUrl::new("http://data.example.org/").unwrap(),
            status: StatusCode::TOO_MANY_REQUESTS,
            retry_after,
            answer: super::super::Excerpt::of_answer(b""),
        };
        let s = Duration::from_secs;
        assert_eq!(wait_before(&error(Some(s(9))), Some(s(2))), Some(s(9)));
        assert_eq!(wait_before(&error(Some(s(1))), Some(s(2))), Some(s(2)));
        assert_eq!(wait_before(&error(None), Some(s(2))), Some(s(2)));
        assert_eq!(wait_before(&error(Some(s(9))), None), None);
    }
}
