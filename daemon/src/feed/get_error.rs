//! Why an address gave no answer with data.

use std::time::Duration;

use reqwest::StatusCode;

use super::excerpt::Excerpt;
use super::url::HttpUrl;

/// An address that gave no data.
#[derive(Debug, thiserror::Error)]
pub enum GetError {
    /// No connection, no answer in time, a refused redirect, or an answer that broke off.
    #[error("fetch {url}")]
    Transport {
        /// The address.
        url: HttpUrl,
        /// What happened.
        source: reqwest::Error,
    },
    /// The server answered with another status than success.
    #[error("fetch {url}: the server answered {status}{}, {answer}", advice(*.status))]
    Status {
        /// The address.
        url: HttpUrl,
        /// The status.
        status: StatusCode,
        /// How long the server asked to wait.
        retry_after: Option<Duration>,
        /// The beginning of the answer.
        answer: Excerpt,
    },
    /// The server wants to be left alone for longer than a try may wait.
    #[error("fetch {url}: the server answered {status} and asked to come back later, in {} s", .wait.as_secs())]
    ComeBackLater {
        /// The address.
        url: HttpUrl,
        /// The status.
        status: StatusCode,
        /// How long the server asked to wait.
        wait: Duration,
    },
    /// The answer is larger than any station's days.
    #[error("fetch {url}: the answer has more than {most} bytes, it begins {answer}")]
    TooLarge {
        /// The address.
        url: HttpUrl,
        /// The limit.
        most: usize,
        /// The beginning of the answer.
        answer: Excerpt,
    },
    /// All tries together took too long.
    #[error("fetch {url}: no answer within {} s, all tries taken together", .limit.as_secs())]
    OutOfTime {
        /// The address.
        url: HttpUrl,
        /// The limit.
        limit: Duration,
    },
}

impl GetError {
    /// How long the server asked to be left alone, where it had no time for us: 429 and 503.
    #[must_use]
    pub fn asked_wait(&self) -> Option<Duration> {
        let (status, wait) = match self {
            Self::Status {
                status,
                retry_after,
                ..
            } => (status, (*retry_after)?),
            Self::ComeBackLater { status, wait, .. } => (status, *wait),
            _ => return None,
        };
        let busy = [
            StatusCode::TOO_MANY_REQUESTS,
            StatusCode::SERVICE_UNAVAILABLE,
        ];
        busy.contains(status).then_some(wait)
    }

    /// Whether the host gave no answer at all.
    #[must_use]
    pub fn is_silence(&self) -> bool {
        match self {
            Self::Transport { source, .. } => source.is_timeout() || source.is_connect(),
            Self::OutOfTime { .. } => true,
            _ => false,
        }
    }
}

fn advice(status: StatusCode) -> &'static str {
    match status {
        StatusCode::FORBIDDEN => " (some providers refuse callers that name no contact)",
        StatusCode::NOT_FOUND | StatusCode::GONE => " (check the address and the station's id)",
        _ => "",
    }
}
