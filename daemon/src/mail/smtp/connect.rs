//! A connection on which a mail server has greeted us, private where that is declared, and knows us where a login is.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::failure::{Broken, meant};
use super::greeting::date_in;
use super::wire::{Reply, Wire};
use crate::config::{Login, Security, SmtpServer};
use crate::crash;
use crate::feed::Heard;
use crate::mail::reply_class::{self, Phase};
use crate::tls;

/// How we introduce ourselves: the literal of a computer without a public name (RFC 5321, 4.1.3).
/// The computer's own name would tell the world what the farm calls it.
const HELLO: &str = "EHLO [127.0.0.1]";

/// An open connection and what the server offers on it.
struct Greeted {
    wire: Wire,
    offers: Vec<String>,
}

impl Greeted {
    /// What follows a keyword among the offers.
    fn offer(&self, keyword: &str) -> Option<&str> {
        let mut offers = self.offers.iter().map(|offer| offer.trim());
        offers.find_map(|offer| {
            let (word, rest) = offer.split_at_checked(keyword.len())?;
            let is_whole = rest.is_empty() || rest.starts_with([' ', '=']);
            (word.eq_ignore_ascii_case(keyword) && is_whole)
                .then(|| rest.trim_start_matches([' ', '=']))
        })
    }
}

/// Connects, and logs in where a login is declared. There is no falling back: what is declared is done, or nothing
/// is said.
pub(super) async fn open(
    server: &SmtpServer,
    heard: &Heard,
    phase: &mut Phase,
) -> Result<Wire, Broken> {
    let mut greeted = connect(server, heard, phase).await?;
    if let Some(login) = &server.login {
        *phase = Phase::Login;
        log_in(&mut greeted, server, login).await?;
        crash::point("logged in");
    }
    Ok(greeted.wire)
}

/// Connects up to the server's greeting, and notes the time in it.
pub(super) async fn greeted(server: &SmtpServer, heard: &Heard) -> Result<Wire, Broken> {
    let host = tls::bare(&server.host);
    let reached = tls::reach(host, server.port, server.patience.greeting).await;
    let mut wire = Wire::plain(reached.map_err(Broken::Reach)?);
    crash::point("connected");
    if server.security == Security::Tls {
        wire = private(wire, server).await?;
    }
    let greeting = meant(wire.reply(server.patience.greeting).await?, 2)?;
    if let Some(date) = date_in(&greeting.text()).filter(|_| Heard::heeds(host)) {
        heard.hear(host, date);
    }
    Ok(wire)
}

async fn connect(server: &SmtpServer, heard: &Heard, phase: &mut Phase) -> Result<Greeted, Broken> {
    let wire = greeted(server, heard).await?;
    let mut greeted = hello(wire, server).await?;
    crash::point("greeted");
    if server.security == Security::Starttls {
        *phase = Phase::Tls;
        if greeted.offer("STARTTLS").is_none() {
            return Err(Broken::Missing {
                what: "the server offers no STARTTLS",
                advice: reply_class::NO_TLS,
            });
        }
        let mut wire = greeted.wire;
        meant(wire.command("STARTTLS", server.patience.command).await?, 2)?;
        // What was offered in clear counts for nothing any longer.
        greeted = hello(private(wire, server).await?, server).await?;
        crash::point("private");
    }
    Ok(greeted)
}

async fn hello(mut wire: Wire, server: &SmtpServer) -> Result<Greeted, Broken> {
    let reply = meant(wire.command(HELLO, server.patience.command).await?, 2)?;
    let offers = reply.lines.into_iter().skip(1).collect();
    Ok(Greeted { wire, offers })
}

async fn private(wire: Wire, server: &SmtpServer) -> Result<Wire, Broken> {
    let name = tls::name_of(&server.host).map_err(Broken::Reach)?;
    let config = tls::trusting(server.ca.as_deref()).map_err(Broken::Tls)?;
    Ok(wire
        .into_private(config, name, server.patience.greeting)
        .await?)
}

async fn log_in(greeted: &mut Greeted, server: &SmtpServer, login: &Login) -> Result<(), Broken> {
    let password = match &login.password {
        Ok(password) => password.expose(),
        Err(problem) => return Err(Broken::Password(problem.what.clone())),
    };
    // Connecting has seen to it already; a password is worth a second look.
    if server.security != Security::None && !greeted.wire.is_private() {
        return Err(Broken::Missing {
            what: "the connection is not private",
            advice: reply_class::NO_TLS,
        });
    }
    let offered = greeted.offer("AUTH").unwrap_or_default().to_owned();
    let offers = |name: &str| {
        offered
            .split_whitespace()
            .any(|word| word.eq_ignore_ascii_case(name))
    };
    let username = &login.username;
    let (command, answers) = if offers("PLAIN") {
        let both = STANDARD.encode(format!("\0{username}\0{password}"));
        (format!("AUTH PLAIN {both}"), vec![both])
    } else if offers("LOGIN") {
        let answers = [username, password].map(|text| STANDARD.encode(text));
        ("AUTH LOGIN".to_owned(), answers.to_vec())
    } else {
        return Err(Broken::Missing {
            what: "the server offers no login by name and password",
            advice: reply_class::NO_LOGIN,
        });
    };
    let patience = server.patience.command;
    let mut reply = greeted.wire.command(&command, patience).await?;
    for answer in answers {
        if reply.code != 334 {
            break;
        }
        reply = greeted.wire.command(&answer, patience).await?;
    }
    meant(reply, 2).map(|_: Reply| ())
}
