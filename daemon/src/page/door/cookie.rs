//! Cookies: read, and written so that no script, other host or unprotected way gets at them.

use axum::http::header::COOKIE;
use axum::http::{HeaderMap, HeaderValue};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

/// A cookie of ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cookie {
    /// The token of somebody who signed in.
    Session,
    /// What ties a form to a browser in which nobody has signed in.
    Visit,
}

/// A browser keeps a session as long as it can last.
const SESSION_KEPT_S: i64 = crate::store::doors::SESSION_LASTS.num_seconds();

impl Cookie {
    /// Its name. By TLS it is one that browsers take from nobody but this very host, by TLS.
    const fn name(self, by_tls: bool) -> &'static str {
        match (self, by_tls) {
            (Self::Session, true) => "__Host-duskflight",
            (Self::Session, false) => "duskflight",
            (Self::Visit, true) => "__Host-duskflight-visit",
            (Self::Visit, false) => "duskflight-visit",
        }
    }

    /// The random bytes that a browser keeps. Of several of one name the first counts, as browsers send the nearest
    /// first.
    pub(super) fn read(self, headers: &HeaderMap, by_tls: bool) -> Option<Token> {
        let name = self.name(by_tls);
        let lists = headers.get_all(COOKIE).iter();
        let pairs = lists.filter_map(|list| list.to_str().ok());
        let mut pairs = pairs.flat_map(|list| list.split(';'));
        let value = pairs.find_map(|pair| {
            let (found, value) = pair.trim().split_once('=')?;
            (found == name).then_some(value)
        })?;
        let bytes = URL_SAFE_NO_PAD.decode(value).ok()?;
        bytes.try_into().ok().map(Token)
    }

    /// The header that has a browser keep it.
    pub(super) fn kept(self, token: &Token, by_tls: bool) -> HeaderValue {
        let lasts = match self {
            Self::Session => format!("; Max-Age={SESSION_KEPT_S}"),
            Self::Visit => String::new(),
        };
        self.header(&URL_SAFE_NO_PAD.encode(token.0), &lasts, by_tls)
    }

    /// The header that has a browser forget it.
    pub(super) fn forgotten(self, by_tls: bool) -> HeaderValue {
        self.header("", "; Max-Age=0", by_tls)
    }

    fn header(self, value: &str, lasts: &str, by_tls: bool) -> HeaderValue {
        let name = self.name(by_tls);
        let secure = if by_tls { "; Secure" } else { "" };
        let header = format!("{name}={value}; Path=/; HttpOnly; SameSite=Lax{lasts}{secure}");
        HeaderValue::try_from(header).expect("nothing in it but letters, digits and marks")
    }
}

/// 256 random bits.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Token(pub(super) [u8; 32]);

impl Token {
    /// A new one.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub(super) fn random() -> Result<Self, getrandom::Error> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes)?;
        Ok(Self(bytes))
    }
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token(***)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cookie_is_read_as_it_was_written_and_only_on_its_own_way() {
        let token = Token::random().unwrap();
        for by_tls in [false, true] {
            for cookie in [Cookie::Session, Cookie::Visit] {
                let written = cookie.kept(&token, by_tls);
                let (pair, flags) = written.to_str().unwrap().split_once(';').unwrap();
                let mut headers = HeaderMap::new();
                let sent = format!("other=1; {pair}; {}=short", cookie.name(by_tls));
                headers.insert(COOKIE, sent.parse().unwrap());
                assert_eq!(cookie.read(&headers, by_tls), Some(token));
                assert_eq!(cookie.read(&headers, !by_tls), None);
                assert!(flags.contains("HttpOnly") && flags.contains("SameSite=Lax"));
                assert!(flags.contains("Path=/") && !flags.contains("Domain"));
                assert_eq!(flags.contains("Secure"), by_tls);
                assert_eq!(pair.starts_with("__Host-"), by_tls);
            }
        }
    }

    #[test]
    fn what_is_no_token_of_ours_is_none() {
        for value in ["", "short", "****", &"A".repeat(44), &"A".repeat(5000)] {
            let mut headers = HeaderMap::new();
            headers.insert(COOKIE, format!("duskflight={value}").parse().unwrap());
            assert_eq!(Cookie::Session.read(&headers, false), None, "{value}");
        }
    }
}
