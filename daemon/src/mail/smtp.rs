//! Mails to a mail server, step by step, so that the phase of a failure is known: one connection for the mails of a
//! round, each its own transaction, since a login a mail is what servers bar people for.

mod connect;
mod failure;
mod greeting;
mod wire;

use std::time::Duration;

use lettre::Address;
use tokio::time::timeout;

use self::failure::{Broken, judged, meant, secrets};
use self::wire::{Reply, Wire};
use super::reply_class::Phase;
use super::send_error::SendError;
use crate::config::{Security, SmtpServer};
use crate::crash;
use crate::feed::Heard;
use crate::redact::redact;
use crate::store::outbox::Waiting;

/// A goodbye is not waited for any longer: the mails have been taken.
const GOODBYE: Duration = Duration::from_secs(2);

/// A greeting that is wanted for its time alone is waited for so long.
const GREETING: Duration = Duration::from_secs(30);

/// What is said to one server in one round of delivery.
pub(super) struct Talk<'a> {
    server: &'a SmtpServer,
    sender: &'a str,
    /// Where the time goes that the server says.
    heard: &'a Heard,
    /// The connection, while it may carry another mail.
    open: Option<Wire>,
}

impl<'a> Talk<'a> {
    /// A talk that begins with its first mail.
    pub(super) const fn new(server: &'a SmtpServer, sender: &'a str, heard: &'a Heard) -> Self {
        Self {
            server,
            sender,
            heard,
            open: None,
        }
    }

    /// Hands one mail over and gives the words with which the server took it.
    ///
    /// # Errors
    /// [`SendError`], judged by the phase that failed.
    pub(super) async fn send(&mut self, mail: &Waiting) -> Result<String, SendError> {
        let mut phase = Phase::Connect;
        let taken = self.transaction(mail, &mut phase).await;
        let reply = taken.map_err(|broken| judged(broken, phase, self.server))?;
        Ok(redact(&reply.words(), &secrets(self.server)))
    }

    /// Says goodbye, where anybody listens.
    pub(super) async fn close(mut self) {
        if let Some(wire) = self.open.take() {
            goodbye(wire).await;
        }
    }

    async fn transaction(&mut self, mail: &Waiting, phase: &mut Phase) -> Result<Reply, Broken> {
        let mut wire = self.begun(phase).await?;
        crash::point("sender named");
        let taken = self.hand_over(&mut wire, mail, phase).await;
        let usable = match &taken {
            Ok(_) => true,
            Err(Broken::Refused(reply)) if reply.code != 421 => self.reset(&mut wire).await,
            Err(_) => false,
        };
        self.open = usable.then_some(wire);
        taken
    }

    /// A connection on which the sender is named: the one that the mail before left, or where it serves no longer,
    /// since servers end connections after a while or some mails, a fresh one.
    async fn begun(&mut self, phase: &mut Phase) -> Result<Wire, Broken> {
        if let Some(mut wire) = self.open.take()
            && self.name_sender(&mut wire).await.is_ok()
        {
            return Ok(wire);
        }
        let mut wire = connect::open(self.server, self.heard, phase).await?;
        *phase = Phase::Sender;
        self.name_sender(&mut wire).await?;
        Ok(wire)
    }

    async fn name_sender(&self, wire: &mut Wire) -> Result<(), Broken> {
        let sender = address(self.sender)?;
        let command = format!("MAIL FROM:<{sender}>");
        let reply = wire.command(&command, self.server.patience.command).await?;
        meant(reply, 2).map(|_: Reply| ())
    }

    /// The transaction from the recipient up to the server's word that it has the mail.
    async fn hand_over(
        &self,
        wire: &mut Wire,
        mail: &Waiting,
        phase: &mut Phase,
    ) -> Result<Reply, Broken> {
        let patience = &self.server.patience;
        *phase = Phase::Recipient;
        let command = format!("RCPT TO:<{}>", address(&mail.address)?);
        meant(wire.command(&command, patience.command).await?, 2)?;
        crash::point("recipient named");
        *phase = Phase::Data;
        meant(wire.command("DATA", patience.data).await?, 3)?;
        crash::point("message asked for");
        *phase = Phase::Message;
        wire.message(&mail.body, patience.block).await?;
        *phase = Phase::Dot;
        wire.dot(patience.block).await?;
        crash::point("message sent");
        let reply = meant(wire.reply(patience.after_dot).await?, 2)?;
        crash::point("message taken");
        Ok(reply)
    }

    /// Ends a transaction that was refused; gives whether the connection can carry another one.
    async fn reset(&self, wire: &mut Wire) -> bool {
        let reply = wire.command("RSET", self.server.patience.command).await;
        reply.is_ok_and(|reply| meant(reply, 2).is_ok())
    }
}

/// Connects and logs in as for a mail, and says goodbye.
///
/// # Errors
/// [`SendError`], judged by the phase that failed.
pub(super) async fn try_out(server: &SmtpServer, heard: &Heard) -> Result<String, SendError> {
    let mut phase = Phase::Connect;
    let opened = connect::open(server, heard, &mut phase).await;
    goodbye(opened.map_err(|broken| judged(broken, phase, server))?).await;
    let private = match server.security {
        Security::None => "without encryption",
        Security::Tls | Security::Starttls => "encrypted",
    };
    let login = match server.login {
        Some(_) => "logged in",
        None => "no login",
    };
    Ok(format!(
        "{}:{} answers, {private}, {login}",
        server.host, server.port
    ))
}

/// Asks a server for nothing but its greeting, for the time in it.
pub(super) async fn ask_time(server: &SmtpServer, heard: &Heard) {
    match timeout(GREETING, connect::greeted(server, heard)).await {
        Ok(Ok(wire)) => goodbye(wire).await,
        _ => tracing::info!("the mail server could not be asked for the time"),
    }
}

async fn goodbye(mut wire: Wire) {
    // Whatever comes of it, the mails have been taken.
    let _ = timeout(GOODBYE, wire.command("QUIT", GOODBYE)).await;
}

/// An address that was checked cannot carry a command of its own.
fn address(text: &str) -> Result<Address, Broken> {
    text.parse().map_err(Broken::Address)
}
