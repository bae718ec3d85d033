//! One socket that listens: whoever comes is given a seat as soon as one is free.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::time::sleep;

use super::seats::Seats;
use super::talk::Talk;
use crate::page::peer::Peer;

/// After an error of accepting, as where there are no more files to open, others are let go on first.
const CATCH_BREATH: Duration = Duration::from_millis(200);
/// So many more may wait to be accepted.
const BACKLOG: u32 = 1024;

/// A socket that listens.
pub(super) struct Doorstep(TcpListener);

impl Doorstep {
    /// # Errors
    /// In words: the address is not this machine's, or something else listens there.
    pub(super) fn open(address: SocketAddr) -> Result<Self, String> {
        let open = || -> std::io::Result<TcpListener> {
            let socket = match address {
                SocketAddr::V4(_) => tokio::net::TcpSocket::new_v4(),
                SocketAddr::V6(_) => tokio::net::TcpSocket::new_v6(),
            }?;
            // A restart need not wait until the connections of before are forgotten.
            socket.set_reuseaddr(true)?;
            socket.bind(address)?;
            socket.listen(BACKLOG)
        };
        open()
            .map(Self)
            .map_err(|error| format!("nothing can listen at {address}: {error}"))
    }

    /// Where it listens.
    pub(super) fn address(&self) -> Option<SocketAddr> {
        self.0.local_addr().ok()
    }

    /// Accepts whoever comes, for ever.
    pub(super) async fn let_in(self, talk: Talk, seats: Arc<Seats>) {
        loop {
            let Ok((stream, address)) = self.0.accept().await else {
                sleep(CATCH_BREATH).await;
                continue;
            };
            let Ok(here) = stream.local_addr() else {
                continue;
            };
            let peer = Peer::new(address, here, talk.is_by_tls());
            let seat = seats.take().await;
            let (stage, talk) = (Arc::clone(seat.stage()), talk.clone());
            seat.sits(move |seat| async move {
                talk.with(stream, peer, &stage).await;
                drop(seat);
            });
        }
    }
}
