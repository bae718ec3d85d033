//! Which version of an answer a server sent, so that it need not send the same again.

use reqwest::RequestBuilder;
use reqwest::header::{
    DATE, ETAG, HeaderMap, HeaderName, IF_MODIFIED_SINCE, IF_NONE_MATCH, LAST_MODIFIED,
};

/// What a server calls the version that it sent: an entity tag, the day of its last change, or both (RFC 9110, 8.8).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version {
    /// The entity tag as the server wrote it.
    pub etag: Option<String>,
    /// The time of the last change as the server wrote it.
    pub last_modified: Option<String>,
}

impl Version {
    /// Reads it from an answer's head. A last change that lies after the answer's own date says nothing, and neither does one
    /// beside no date.
    pub(super) fn of(headers: &HeaderMap) -> Option<Self> {
        let text = |name: HeaderName| Some(headers.get(name)?.to_str().ok()?.to_owned());
        let instant = |text: &String| httpdate::parse_http_date(text).ok();
        let sent = text(DATE).as_ref().and_then(instant);
        let is_past = |changed: &String| {
            let changed = instant(changed);
            changed
                .zip(sent)
                .is_some_and(|(changed, sent)| changed <= sent)
        };
        let version = Self {
            etag: text(ETAG),
            last_modified: text(LAST_MODIFIED).filter(is_past),
        };
        (version.etag.is_some() || version.last_modified.is_some()).then_some(version)
    }

    /// A request for whatever is newer.
    pub(super) fn asked_for_newer(&self, request: RequestBuilder) -> RequestBuilder {
        let conditions = [
            (IF_NONE_MATCH, &self.etag),
            (IF_MODIFIED_SINCE, &self.last_modified),
        ];
        conditions
            .into_iter()
            .filter_map(|(name, value)| Some((name, value.as_ref()?)))
            .fold(request, |request, (name, value)| {
                request.header(name, value)
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_last_change_in_the_future_says_nothing() {
        let version = |headers: &[(&'static str, &'static str)]| {
            let pairs = headers.iter().map(|(name, value)| {
                let name = HeaderName::from_static(name);
                (name, value.parse().unwrap())
            });
            Version::of(&pairs.collect())
        };
        let sent = ("date", "Mon, 20 Jun 2022 12:00:00 GMT");
        let before = ("last-modified", "Mon, 20 Jun 2022 04:00:00 GMT");
        let after = ("last-modified", "Tue, 21 Jun 2022 04:00:00 GMT");
        let tag = ("etag", "\"a1\"");
        let known = |etag: Option<&str>, changed: Option<&str>| {
            Some(Version {
                etag: etag.map(str::to_owned),
                last_modified: changed.map(str::to_owned),
            })
        };
        assert_eq!(version(&[sent, before]), known(None, Some(before.1)));
        assert_eq!(version(&[sent, after]), None);
        assert_eq!(version(&[before]), None);
        assert_eq!(version(&[sent, after, tag]), known(Some(tag.1), None));
        assert_eq!(version(&[sent]), None);
    }
}
