//! The page on the office network, as declared in `[page]`.

use std::fmt;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;

/// The page, where there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Where it listens.
    pub listen: Listen,
    /// Further names by which browsers may ask for it, in small letters.
    pub names: Vec<String>,
    /// Whether whoever looks has to sign in. Only the machine itself may ask where nobody has to.
    pub sign_in: bool,
    /// The certificate by which it speaks TLS itself.
    pub certificate: Option<CertificateFiles>,
    /// Proxies whose word on who asks, and how, is taken.
    pub trusted_proxies: Vec<IpAddr>,
}

/// Where it listens: a place and a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listen {
    /// The place.
    pub place: Place,
    /// The port; 0 takes one that is free.
    pub port: u16,
}

/// A place to listen at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// One address of this machine.
    Address(IpAddr),
    /// All addresses of one of its interfaces, by its name.
    Interface(String),
}

/// Files in PEM form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CertificateFiles {
    /// The certificate, and those that lead up to its authority.
    pub certificate: PathBuf,
    /// Its key.
    pub key: PathBuf,
}

impl Listen {
    /// Whether nobody but this machine can ask there.
    #[must_use]
    pub fn is_loopback(&self) -> bool {
        match &self.place {
            Place::Address(address) => address.is_loopback(),
            Place::Interface(name) => name == "lo",
        }
    }
}

impl fmt::Display for Listen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::Address(address) => write!(f, "{}", SocketAddr::new(*address, self.port)),
            Place::Interface(name) => write!(f, "{name}:{}", self.port),
        }
    }
}
