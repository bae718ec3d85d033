//! What is said to the service manager that started the daemon, as systemd understands it; nothing where none did.

use std::ffi::OsStr;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;

use sd_notify::NotifyState::{self, Ready, Reloading, Status, Stopping, Watchdog};

/// The daemon looked what is due, so it is ready and alive, and how it stands.
pub(super) fn alive(standing: &str) {
    say(&[Ready, Watchdog, Status(standing)]);
}

/// A changed configuration is about to be looked at; the next sign of life ends this.
pub fn reloading() {
    match NotifyState::monotonic_usec_now() {
        Ok(now) => say(&[Reloading, now]),
        Err(error) => tracing::debug!(%error, "the monotonic clock cannot be read"),
    }
}

/// No new work is begun.
pub(super) fn stopping() {
    say(&[Stopping]);
}

/// What is due is asked, and a sign of life given, so often where no manager asks for more, by a monotonic clock.
pub(super) const USUAL: Duration = Duration::from_secs(30);

/// How often a sign of life is given: as usual, or more often where the manager asks for it.
pub(super) fn beat(usual: Duration) -> Duration {
    let asked = sd_notify::watchdog_enabled().map(|within| within / 3);
    asked.map_or(usual, |asked| asked.clamp(Duration::from_millis(1), usual))
}

/// A manager that does not hear is its own trouble, and one whose ears are full is not waited for.
fn say(words: &[NotifyState<'_>]) {
    let Some(socket) = std::env::var_os("NOTIFY_SOCKET") else {
        return;
    };
    let text: String = words.iter().map(|word| format!("{word}\n")).collect();
    if let Err(error) = send(&socket, text.as_bytes()) {
        tracing::debug!(%error, "the service manager does not hear");
    }
}

/// As the crate's own sending, but for the waiting.
fn send(socket: &OsStr, words: &[u8]) -> io::Result<()> {
    let address = match socket.as_bytes().strip_prefix(b"@") {
        Some(name) => SocketAddr::from_abstract_name(name)?,
        None => SocketAddr::from_pathname(socket)?,
    };
    let sender = UnixDatagram::unbound()?;
    sender.set_nonblocking(true)?;
    sender.send_to_addr(words, &address)?;
    Ok(())
}
