//! A connection that is read byte by byte, so that nobody reads ahead.
//!
//! Whoever stands between us and the server could send forged replies right behind the plain "ready
//! for TLS". A reader that had taken them up already would take them for the private talk. Read byte
//! by byte, they are left for the TLS handshake, which fails on them.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use lettre::transport::smtp::client::AsyncTokioStream;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;

/// A connection of which a read takes one byte at most. Servers say little, so it costs little.
#[derive(Debug)]
pub(super) struct NoReadAhead(pub(super) TcpStream);

impl AsyncRead for NoReadAhead {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if into.remaining() == 0 {
            return Poll::Ready(Ok(()));
        }
        let mut byte = [0];
        let mut one = ReadBuf::new(&mut byte);
        ready!(Pin::new(&mut self.0).poll_read(context, &mut one))?;
        into.put_slice(one.filled());
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for NoReadAhead {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(context)
    }
}

impl AsyncTokioStream for NoReadAhead {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        self.0.peer_addr()
    }
}
