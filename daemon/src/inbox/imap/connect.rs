//! A talk with a server that knows us: private where that is declared, before anything is said.

use std::time::Duration;

use async_imap::imap_proto::{Capability, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

use super::talk::{Done, Talk};
use super::token::token;
use super::why::Why;
use crate::config::{ImapServer, Proof, Security};
use crate::crash;
use crate::one_line::{one_line, shortened};
use crate::secret::Secret;
use crate::tls;

/// What a server may say in clear before TLS begins, in bytes.
const IN_CLEAR: u64 = 8 * 1024;
/// How long words in clear are shown, in characters.
const SHOWN: usize = 120;
/// The tag of the one command that is said in clear.
const TAG: &str = "D1";

/// What a server can do, as far as it matters here.
#[derive(Debug, Clone, Copy)]
pub(super) struct Offers {
    /// To say at once that messages came (RFC 2177).
    pub(super) idles: bool,
    /// To move a message in one step (RFC 6851).
    pub(super) moves: bool,
    /// To remove one message and no other (RFC 4315).
    pub(super) removes_one: bool,
}

/// Connects and logs in. There is no falling back: what is declared is done, or nothing is said.
pub(super) async fn open(server: &ImapServer) -> Result<(Talk, Offers), Why> {
    let patience = server.patience;
    let secret = secret(server).await?;
    let reached = tls::reach(&server.host, server.port, patience).await;
    let plain = reached.map_err(Why::NoConnection)?;
    crash::point("mailbox connected");
    let mut talk = match server.security {
        Security::Tls => Talk::on(private(plain, server).await?, patience),
        Security::Starttls => Talk::on(
            private(in_clear(plain, patience).await?, server).await?,
            patience,
        ),
        Security::None => Talk::on(plain, patience),
    };
    // With STARTTLS the greeting came in clear, and counts for nothing any longer.
    if server.security != Security::Starttls {
        talk.greeting().await?;
    }
    log_in(&mut talk, server, &secret).await?;
    crash::point("mailbox opened");
    let said = offered(&mut talk).await?;
    let has = |word: &str| said.iter().any(|offer| offer == word);
    let offers = Offers {
        idles: has("IDLE"),
        moves: has("MOVE"),
        removes_one: has("UIDPLUS"),
    };
    Ok((talk, offers))
}

async fn secret(server: &ImapServer) -> Result<Secret, Why> {
    match &server.proof {
        Proof::Password(Ok(password)) => Ok(password.clone()),
        Proof::Password(Err(problem)) => Err(Why::NoPassword(problem.what.clone())),
        Proof::TokenCommand(command) => token(command, server.patience).await,
    }
}

async fn private(plain: TcpStream, server: &ImapServer) -> Result<TlsStream<TcpStream>, Why> {
    let name = tls::name_of(&server.host).map_err(Why::NoConnection)?;
    let config =
        tls::trusting(server.ca.as_deref()).map_err(|error| Why::Tls(error.to_string()))?;
    let handshake = TlsConnector::from(config).connect(name, plain);
    let made = timeout(server.patience, handshake).await;
    let made = made.map_err(|_| Why::Silence(server.patience))?;
    made.map_err(Why::on_the_way)
}

/// The talk in clear: a greeting, and the word that TLS may begin. What was already received behind that could have
/// been put there by anybody on the way, and ends the talk.
async fn in_clear(plain: TcpStream, patience: Duration) -> Result<TcpStream, Why> {
    let mut lines = BufReader::new(plain);
    let talked = timeout(patience, ask_for_tls(&mut lines)).await;
    talked.map_err(|_| Why::Silence(patience))??;
    match lines.buffer().is_empty() {
        true => Ok(lines.into_inner()),
        false => Err(Why::ReadAhead),
    }
}

async fn ask_for_tls(stream: &mut BufReader<TcpStream>) -> Result<(), Why> {
    let mut left = IN_CLEAR;
    let greeting = line(stream, &mut left).await?;
    let word = greeting.split(' ').nth(1).unwrap_or_default();
    match word.to_ascii_uppercase().as_str() {
        "OK" if greeting.starts_with("* ") => {}
        "PREAUTH" => return Err(Why::Known),
        "BYE" => return Err(Why::HungUp(format!(": {}", shown(&greeting)))),
        _ => return Err(Why::NoAnswer),
    }
    let command = format!("{TAG} STARTTLS\r\n");
    let said = stream.write_all(command.as_bytes()).await;
    said.map_err(Why::on_the_way)?;
    stream.flush().await.map_err(Why::on_the_way)?;
    loop {
        let line = line(stream, &mut left).await?;
        let Some(answer) = line
            .strip_prefix(TAG)
            .and_then(|rest| rest.strip_prefix(' '))
        else {
            continue;
        };
        let is_ok = answer
            .split(' ')
            .next()
            .is_some_and(|word| word.eq_ignore_ascii_case("OK"));
        return match is_ok {
            true => Ok(()),
            false => Err(Why::NoStarttls(shown(answer))),
        };
    }
}

async fn line(stream: &mut BufReader<TcpStream>, left: &mut u64) -> Result<String, Why> {
    let mut line = Vec::new();
    let mut limited = stream.take(*left);
    let read = limited.read_until(b'\n', &mut line).await;
    read.map_err(Why::on_the_way)?;
    *left = limited.limit();
    match line.strip_suffix(b"\n") {
        Some(line) => Ok(String::from_utf8_lossy(line).trim_end().to_owned()),
        None if *left == 0 => Err(Why::TooMuch),
        None => Err(Why::HungUp(String::new())),
    }
}

/// Words that came in clear, of whomever.
fn shown(said: &str) -> String {
    shortened(one_line(said).trim(), SHOWN)
}

async fn log_in(talk: &mut Talk, server: &ImapServer, secret: &Secret) -> Result<(), Why> {
    let (username, secret) = (&server.username, secret.expose());
    let encoded = |text: String| STANDARD.encode(text);
    let both = encoded(format!("\0{username}\0{secret}"));
    let bearer = encoded(format!("user={username}\x01auth=Bearer {secret}\x01\x01"));
    talk.hide(vec![
        both.clone(),
        bearer.clone(),
        encoded(secret.to_owned()),
        secret.to_owned(),
    ]);
    let offers = offered(talk).await?;
    let has = |word: &str| offers.iter().any(|offer| offer == word);
    let (command, answers) = match &server.proof {
        // Where the token is refused, the server first asks for an answer to its reasons.
        Proof::TokenCommand(_) => (
            "AUTHENTICATE XOAUTH2".to_owned(),
            vec![bearer, String::new()],
        ),
        Proof::Password(_) if has("AUTH=PLAIN") => ("AUTHENTICATE PLAIN".to_owned(), vec![both]),
        // Between quotes no other letters can stand.
        Proof::Password(_) if !has("LOGINDISABLED") && is_plain(username) && is_plain(secret) => {
            let command = format!("LOGIN {} {}", quoted(username), quoted(secret));
            (command, Vec::new())
        }
        Proof::Password(_) => return Err(Why::NoLogin),
    };
    let patience = server.patience;
    match talk
        .ask_within(patience, &command, &answers, |_| {})
        .await?
    {
        Done::Ok => Ok(()),
        Done::No(said) => Err(Why::Login(said)),
    }
}

/// What the server says it can do, in capitals.
async fn offered(talk: &mut Talk) -> Result<Vec<String>, Why> {
    let mut offers = Vec::new();
    let asked = talk.ask("CAPABILITY", |response| {
        let Response::Capabilities(said) = response else {
            return;
        };
        offers.extend(said.iter().map(|offer| match offer {
            Capability::Imap4rev1 => "IMAP4REV1".to_owned(),
            Capability::Auth(way) => format!("AUTH={way}").to_uppercase(),
            Capability::Atom(word) => word.to_uppercase(),
        }));
    });
    asked.await?.or_refused("say what it can do")?;
    Ok(offers)
}

fn is_plain(text: &str) -> bool {
    text.chars().all(|c| c == ' ' || c.is_ascii_graphic())
}

/// A text of plain letters between quotes, as commands have it (RFC 3501, 4.3).
pub(super) fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}
