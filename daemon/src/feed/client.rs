//! The one way out to the feeds: a client that always gives up in time, and says why.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use backon::{ExponentialBuilder, Retryable};
use reqwest::header::{HeaderValue, InvalidHeaderValue};
use reqwest::redirect::{Attempt, Policy};
use reqwest::{Certificate, ClientBuilder, Proxy, Response, StatusCode, Url};

use super::excerpt::Excerpt;
use super::get_error::GetError;
use super::heard::Heard;
use super::retry;
use super::url::HttpUrl;
use super::version::Version;
use crate::error_chain::error_chain;

/// So long a connection waits for the next request to its host.
const IDLE: Duration = Duration::from_secs(5);
/// How many bytes of a refusal are read for its excerpt.
const REFUSAL_BYTES: usize = 400;

/// What the client allows a feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The longest wait for a connection.
    pub connect: Duration,
    /// The longest silence while an answer is awaited or read.
    pub read: Duration,
    /// The longest one try may take in all.
    pub total: Duration,
    /// The longest all tries and the waits between them may take.
    pub overall: Duration,
    /// The most bytes of an answer, counted after it is unpacked.
    pub body_bytes: usize,
    /// How often an answer is asked for, the first try included.
    pub tries: usize,
    /// The wait before the second try; each further wait is twice as long, and a random share
    /// of up to its own length is added to each.
    pub first_wait: Duration,
    /// Where the waits stop growing, and the longest `Retry-After` that is waited for.
    pub longest_wait: Duration,
    /// The most redirects that are followed.
    pub redirects: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(10),
            read: Duration::from_secs(20),
            total: Duration::from_secs(60),
            overall: Duration::from_secs(180),
            body_bytes: 8 * 1024 * 1024,
            tries: 4,
            first_wait: Duration::from_secs(2),
            longest_wait: Duration::from_secs(60),
            redirects: 3,
        }
    }
}

/// A client that cannot be built.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// The contact has characters that a header cannot carry.
    #[error("name the contact {contact:?} to the feeds: use plain letters, digits and signs")]
    Contact {
        /// The contact of the configuration.
        contact: String,
        /// What the header refused.
        source: InvalidHeaderValue,
    },
    /// Neither the system's certificates nor the ones compiled in could be used.
    #[error("set up the web client: check that the system's CA certificates are installed")]
    Build {
        /// What the client said.
        source: reqwest::Error,
    },
}

/// Who asks the feeds, and which way.
#[derive(Debug, Clone, Copy, Default)]
pub struct Caller<'a> {
    /// How to reach whoever looks after the box: sent with every request.
    pub contact: Option<&'a str>,
    /// The proxy through which every request goes.
    pub proxy: Option<&'a HttpUrl>,
}

/// A successful answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Answer {
    /// What it says.
    pub(super) body: Vec<u8>,
    /// Which version it is, where the server says so.
    pub(super) version: Option<Version>,
}

/// Fetches answers within its [`Limits`]. Built once at the start; a copy shares its parts.
#[derive(Debug, Clone)]
pub struct Client {
    http: reqwest::Client,
    limits: Limits,
    /// Requests that this copy and those made of it have sent.
    requests: Arc<AtomicU32>,
    heard: Arc<Heard>,
}

impl Client {
    /// A client that names the program and whoever calls to the feeds. It trusts the
    /// system's CA certificates, or where there are none those compiled in (Mozilla's).
    ///
    /// # Errors
    /// [`ClientError`] when the contact cannot be sent or no client can be built.
    pub fn new(limits: Limits, caller: Caller<'_>) -> Result<Self, ClientError> {
        let agent = user_agent(caller.contact)?;
        let proxy = caller.proxy.map(|proxy| {
            let proxy = Proxy::all(proxy.whole().clone());
            proxy.map_err(|source| ClientError::Build { source })
        });
        let proxy = proxy.transpose()?;
        // Refused only when one is installed already, and any one serves.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let builder = || {
            let builder = frugal(limits).user_agent(agent.clone());
            proxy.iter().cloned().fold(builder, ClientBuilder::proxy)
        };
        let http = builder().build().or_else(|error| {
            tracing::warn!(
                error = error_chain(&error),
                "the system's CA certificates cannot be used, the ones compiled in are taken"
            );
            let http = builder().tls_certs_only(bundled_certificates()).build();
            http.map_err(|source| ClientError::Build { source })
        })?;
        Ok(Self {
            http,
            limits,
            requests: Arc::default(),
            heard: Arc::default(),
        })
    }

    /// A copy that asks at most so often for an answer, and counts its own requests.
    #[must_use]
    pub fn with_tries(&self, most: u32) -> Self {
        let mut copy = self.clone();
        copy.limits.tries = copy.limits.tries.min(most as usize);
        copy.requests = Arc::default();
        copy
    }

    /// A copy that takes answers of so many bytes.
    #[must_use]
    pub(super) fn taking(&self, body_bytes: usize) -> Self {
        let mut copy = self.clone();
        copy.limits.body_bytes = body_bytes;
        copy
    }

    /// How many requests were sent, redirects aside.
    #[must_use]
    pub fn requests(&self) -> u32 {
        self.requests.load(Ordering::Relaxed)
    }

    /// Notes the dates of answers there.
    #[must_use]
    pub fn hearing(mut self, heard: Arc<Heard>) -> Self {
        self.heard = heard;
        self
    }

    /// The dates of answers.
    #[must_use]
    pub const fn heard(&self) -> &Arc<Heard> {
        &self.heard
    }

    /// Asks a host for nothing but the date of its answer, once.
    pub async fn ask_date(&self, url: &HttpUrl) {
        let request = self.http.head(url.whole().clone());
        match request.send().await {
            Ok(response) => self.note_date(&response),
            Err(error) => {
                let error = error_chain(&transport(url, error));
                tracing::info!(error, "the time could not be asked for");
            }
        }
    }

    fn note_date(&self, response: &Response) {
        if let Some(host) = response.url().host_str() {
            self.heard.note(host, response.headers());
        }
    }

    /// What this client allows a feed.
    #[must_use]
    pub const fn limits(&self) -> &Limits {
        &self.limits
    }

    /// Fetches the body of a successful answer, with as many tries as the limits allow.
    ///
    /// # Errors
    /// [`GetError`] of the last try, or [`GetError::OutOfTime`].
    pub async fn get(&self, url: &HttpUrl) -> Result<Vec<u8>, GetError> {
        let answer = self.get_newer(url, None).await?;
        Ok(answer.map(|answer| answer.body).unwrap_or_default())
    }

    /// As [`Self::get`], unless the server has nothing newer than the version that is known.
    ///
    /// # Errors
    /// As [`Self::get`].
    pub(super) async fn get_newer(
        &self,
        url: &HttpUrl,
        known: Option<&Version>,
    ) -> Result<Option<Answer>, GetError> {
        let waits = ExponentialBuilder::new()
            .with_jitter()
            .with_min_delay(self.limits.first_wait)
            .with_max_delay(self.limits.longest_wait)
            .with_max_times(self.limits.tries.saturating_sub(1));
        let tries = (|| self.get_once(url, known))
            .retry(waits)
            .when(retry::is_worth_it)
            .adjust(retry::wait_before)
            .notify(log_retry);
        let limit = self.limits.overall;
        tokio::time::timeout(limit, tries)
            .await
            .unwrap_or_else(|_| {
                let url = url.clone();
                Err(GetError::OutOfTime { url, limit })
            })
    }

    async fn get_once(
        &self,
        url: &HttpUrl,
        known: Option<&Version>,
    ) -> Result<Option<Answer>, GetError> {
        self.requests.fetch_add(1, Ordering::Relaxed);
        let mut request = self.http.get(url.whole().clone());
        if let Some(known) = known {
            request = known.asked_for_newer(request);
        }
        let sent = request.send().await;
        let response = sent.map_err(|error| transport(url, error))?;
        self.note_date(&response);
        if response.status().is_success() {
            let version = Version::of(response.headers());
            let body = self.body(url, response).await?;
            let body = url.without_its_keys(body);
            Ok(Some(Answer { body, version }))
        } else if known.is_some() && response.status() == StatusCode::NOT_MODIFIED {
            Ok(None)
        } else {
            Err(self.refusal(url, response).await)
        }
    }

    async fn body(&self, url: &HttpUrl, mut response: Response) -> Result<Vec<u8>, GetError> {
        let most = self.limits.body_bytes;
        let mut body = Vec::new();
        while let Some(chunk) = response
            .chunk()
            .await
            .map_err(|error| transport(url, error))?
        {
            body.extend_from_slice(&chunk);
            if body.len() > most {
                let answer = Excerpt::of_answer(&url.without_its_keys(body));
                let url = url.clone();
                return Err(GetError::TooLarge { url, most, answer });
            }
        }
        Ok(body)
    }

    async fn refusal(&self, url: &HttpUrl, mut response: Response) -> GetError {
        let (url, status) = (url.clone(), response.status());
        let retry_after = retry::asked_wait(response.headers());
        if let Some(wait) = retry_after.filter(|wait| *wait > self.limits.longest_wait) {
            return GetError::ComeBackLater { url, status, wait };
        }
        let mut body = Vec::new();
        // The status is the news; a body that breaks off only makes the excerpt shorter.
        while let Ok(Some(chunk)) = response.chunk().await {
            body.extend_from_slice(&chunk);
            if body.len() > REFUSAL_BYTES {
                break;
            }
        }
        let answer = url.without_its_keys(body);
        GetError::Status {
            url,
            status,
            retry_after,
            answer: Excerpt::of_answer(&answer),
        }
    }
}

/// A redirect that is not followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
enum RedirectRefused {
    #[error("redirected more than {0} times")]
    TooMany(usize),
    #[error("redirected from https to plain http")]
    ToPlainHttp,
    #[error("redirected to another host with a query, which may hold a key")]
    QueryToOtherHost,
}

/// A client without what a nightly call has no use for: more than one connection to a host, the proxy of the
/// environment, the page it came from, and retries that do not wait.
fn frugal(limits: Limits) -> ClientBuilder {
    reqwest::Client::builder()
        .connect_timeout(limits.connect)
        .read_timeout(limits.read)
        .timeout(limits.total)
        .pool_max_idle_per_host(1)
        .pool_idle_timeout(IDLE)
        .no_proxy()
        .referer(false)
        .retry(reqwest::retry::never())
        .redirect(Policy::custom(move |attempt| {
            match refused_redirect(&attempt, limits.redirects) {
                Some(reason) => attempt.error(reason),
                None => attempt.follow(),
            }
        }))
}

fn refused_redirect(attempt: &Attempt<'_>, most: usize) -> Option<RedirectRefused> {
    let from = attempt.previous().last()?;
    if attempt.previous().len() > most {
        return Some(RedirectRefused::TooMany(most));
    }
    refused_step(from, attempt.url())
}

fn refused_step(from: &Url, to: &Url) -> Option<RedirectRefused> {
    if from.scheme() == "https" && to.scheme() != "https" {
        Some(RedirectRefused::ToPlainHttp)
    } else if from.host_str() != to.host_str() && to.query().is_some() {
        Some(RedirectRefused::QueryToOtherHost)
    } else {
        None
    }
}

fn user_agent(contact: Option<&str>) -> Result<HeaderValue, ClientError> {
    let program = concat!(env!("CARGO_PKG_NAME"), "/", env!("CARGO_PKG_VERSION"));
    let Some(contact) = contact else {
        return Ok(HeaderValue::from_static(program));
    };
    HeaderValue::from_str(&format!("{program} (+{contact})")).map_err(|source| {
        ClientError::Contact {
            contact: contact.to_owned(),
            source,
        }
    })
}

fn bundled_certificates() -> impl Iterator<Item = Certificate> {
    webpki_root_certs::TLS_SERVER_ROOT_CERTS
        .iter()
        .filter_map(|der| Certificate::from_der(der).ok())
}

fn transport(url: &HttpUrl, error: reqwest::Error) -> GetError {
    GetError::Transport {
        url: url.clone(),
        // Its own text would show the query.
        source: error.without_url(),
    }
}

fn log_retry(error: &GetError, wait: Duration) {
    tracing::debug!(
        error = error_chain(error),
        wait_ms = u64::try_from(wait.as_millis()).unwrap_or(u64::MAX),
        "the feed gave no data, the next try follows"
    );
}

#[cfg(test)]
#[path = "client_tests.rs"]
mod tests;
