//! One connection: requests read and answered, each step within its time.

use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use axum::response::{IntoResponse, Response};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep_until, timeout};
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;

use super::seats::Stage;
use crate::page::headers;
use crate::page::peer::Peer;

/// The first byte, the rest of a request's head, and the next request on a connection that is kept, each come within
/// this.
const HEAD_WITHIN: Duration = Duration::from_secs(10);
/// A body and its answer together take no longer.
const ANSWER_WITHIN: Duration = Duration::from_secs(30);
/// An answer is taken, and the next request there as a whole, within this.
const TAKEN_WITHIN: Duration = Duration::from_secs(45);
/// A connection is kept for so long; browsers open another.
const KEPT_FOR: Duration = Duration::from_secs(10 * 60);
/// The most bytes of a body, of each connection at once: a round of a thousand traps.
const LARGEST_BODY: usize = 256 << 10;

/// How connections are talked on.
#[derive(Clone)]
pub(super) struct Talk {
    service: TowerToHyperService<Router>,
    /// How TLS is spoken, where it is.
    acceptor: Arc<Mutex<Option<TlsAcceptor>>>,
    stop: CancellationToken,
}

impl Talk {
    pub(super) fn new(router: Router, stop: CancellationToken) -> Self {
        Self {
            service: TowerToHyperService::new(router),
            acceptor: Arc::default(),
            stop,
        }
    }

    /// From now on TLS is spoken so, or not at all.
    pub(super) fn by_tls(&self, acceptor: Option<TlsAcceptor>) {
        *self.acceptor.lock().unwrap_or_else(PoisonError::into_inner) = acceptor;
    }

    /// Whether it is spoken.
    pub(super) fn is_by_tls(&self) -> bool {
        self.acceptor().is_some()
    }

    fn acceptor(&self) -> Option<TlsAcceptor> {
        let acceptor = self.acceptor.lock();
        acceptor.unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Answers all requests of a connection. One that fails ends, and nobody has to be told.
    pub(super) async fn with(self, stream: TcpStream, peer: Peer, stage: &Stage) {
        // Answers are small and written whole.
        let _ = stream.set_nodelay(true);
        let Some(acceptor) = self.acceptor() else {
            return self.answer_all(stream, peer, stage).await;
        };
        if let Ok(Ok(stream)) = timeout(HEAD_WITHIN, acceptor.accept(stream)).await {
            self.answer_all(stream, peer, stage).await;
        }
    }

    async fn answer_all(
        &self,
        stream: impl AsyncRead + AsyncWrite + Unpin,
        peer: Peer,
        stage: &Stage,
    ) {
        let service = service_fn(|request| self.answer(request, peer, stage));
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .serve_connection(TokioIo::new(stream), service);
        let mut connection = std::pin::pin!(connection);
        let until = Instant::now() + KEPT_FOR;
        let mut is_ending = false;
        loop {
            let waits_until = stage
                .waiting_since()
                .map_or(Instant::now() + ANSWER_WITHIN, |since| since + TAKEN_WITHIN);
            tokio::select! {
                _ = connection.as_mut() => return,
                () = self.stop.cancelled(), if !is_ending => is_ending = true,
                () = sleep_until(until), if !is_ending => is_ending = true,
                () = sleep_until(waits_until) => {
                    let since = stage.waiting_since();
                    if since.is_some_and(|since| since.elapsed() >= TAKEN_WITHIN) {
                        return;
                    }
                    continue;
                }
            }
            // What is under way is answered still, and nothing after it.
            connection.as_mut().graceful_shutdown();
        }
    }

    async fn answer(
        &self,
        request: Request<Incoming>,
        peer: Peer,
        stage: &Stage,
    ) -> Result<Response, Infallible> {
        let answered = timeout(ANSWER_WITHIN, self.answer_whole(request, peer, stage)).await;
        let answer = answered.unwrap_or_else(|_| match stage.waiting_since() {
            Some(_) => refusal(
                StatusCode::REQUEST_TIMEOUT,
                "The request took too long to come.",
            ),
            None => refusal(
                StatusCode::SERVICE_UNAVAILABLE,
                "This took too long. Try again.",
            ),
        });
        stage.waits();
        Ok(answer)
    }

    /// Answers once the request is there as a whole.
    async fn answer_whole(
        &self,
        request: Request<Incoming>,
        peer: Peer,
        stage: &Stage,
    ) -> Response {
        let (mut parts, body) = request.into_parts();
        let Ok(body) = to_bytes(Body::new(body), LARGEST_BODY).await else {
            let what = "The request is larger than 256 KiB, or broke off.";
            return refusal(StatusCode::PAYLOAD_TOO_LARGE, what);
        };
        stage.works();
        parts.extensions.insert(peer);
        let request = Request::from_parts(parts, Body::from(body));
        let answer = self.service.call(request).await;
        answer.unwrap_or_else(|never| match never {})
    }
}

/// An answer after which the connection ends.
fn refusal(status: StatusCode, what: &'static str) -> Response {
    let answer = (status, [(header::CONNECTION, "close")], what);
    headers::secured(answer.into_response())
}
