//! Who is at the other end of a connection.

use std::net::{IpAddr, SocketAddr};

/// The two ends of a connection. Listening puts it into every request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Peer {
    /// Theirs.
    pub(super) address: IpAddr,
    /// Ours.
    pub(super) here: IpAddr,
    /// Whether it is a connection by TLS.
    pub(super) by_tls: bool,
}

impl Peer {
    /// An IPv4 address counts as one however it is written.
    pub(super) const fn new(address: SocketAddr, here: SocketAddr, by_tls: bool) -> Self {
        Self {
            address: address.ip().to_canonical(),
            here: here.ip().to_canonical(),
            by_tls,
        }
    }
}
