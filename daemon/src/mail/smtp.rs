//! One mail to a mail server, step by step, so that the phase of a failure is known.

use std::error::Error as _;
use std::io;
use std::net::Ipv4Addr;
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use lettre::Address;
use lettre::address::AddressError;
use lettre::transport::smtp::Error as SmtpError;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{
    AsyncSmtpConnection, Certificate, CertificateStore, TlsParameters,
};
use lettre::transport::smtp::commands::{Data, Mail, Quit, Rcpt};
use lettre::transport::smtp::extension::ClientId;
use lettre::transport::smtp::response::{Response, Severity};
use tokio::net::TcpStream;
use tokio::time::error::Elapsed;
use tokio::time::timeout;

use super::no_read_ahead::NoReadAhead;
use super::redact::redact;
use super::reply_class::{self, Phase, ReplyClass, classify};
use super::send_error::SendError;
use crate::config::{Login, Security, SmtpServer};
use crate::crash;
use crate::store::outbox::Waiting;

/// How we introduce ourselves: the literal of a computer without a public name (RFC 5321, 4.1.3).
/// The computer's own name would tell the world what the farm calls it.
const HELLO: ClientId = ClientId::Ipv4(Ipv4Addr::LOCALHOST);
/// A goodbye is not waited for any longer: the mail has been taken.
const GOODBYE: Duration = Duration::from_secs(2);

/// Hands one mail to the server over a fresh connection, within the server's time-out, and gives the
/// words with which the server took it.
///
/// # Errors
/// [`SendError`], judged by the phase that failed.
pub(super) async fn send(
    server: &SmtpServer,
    sender: &str,
    mail: &Waiting,
) -> Result<String, SendError> {
    let mut phase = Phase::Connect;
    let talk = talk(server, sender, mail, &mut phase);
    let talked = timeout(server.timeout, talk).await;
    let (mut connection, answer) = judged_in_time(talked, phase, server)?;
    // Whatever comes of it, the mail has been taken.
    let _ = timeout(GOODBYE, connection.command(Quit)).await;
    Ok(redact(&words_of(&answer), &secrets(server)))
}

/// Connects and logs in as for a mail, and says goodbye.
///
/// # Errors
/// [`SendError`], judged by the phase that failed.
pub(super) async fn try_out(server: &SmtpServer) -> Result<String, SendError> {
    let mut phase = Phase::Connect;
    let greeted = timeout(server.timeout, greet(server, &mut phase)).await;
    let mut connection = judged_in_time(greeted, phase, server)?;
    let _ = timeout(GOODBYE, connection.command(Quit)).await;
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

fn judged_in_time<T>(
    talked: Result<Result<T, Broken>, Elapsed>,
    phase: Phase,
    server: &SmtpServer,
) -> Result<T, SendError> {
    talked
        .unwrap_or(Err(Broken::Silence))
        .map_err(|broken| judged(broken, phase, server))
}

/// Why a talk ended before the mail was taken.
enum Broken {
    /// The talk itself.
    Talk(SmtpError),
    /// No connection.
    Reach(io::Error),
    /// No answer in time.
    Silence,
    /// A reply that belongs elsewhere.
    OutOfTurn(String),
    /// The server does not offer what we need.
    Missing {
        what: &'static str,
        advice: &'static str,
    },
    /// There is no password.
    Password(String),
    /// An address that cannot be used.
    Address(AddressError),
}

impl From<SmtpError> for Broken {
    fn from(error: SmtpError) -> Self {
        Self::Talk(error)
    }
}

/// The whole talk up to the server's word that it has the mail.
async fn talk(
    server: &SmtpServer,
    sender: &str,
    mail: &Waiting,
    phase: &mut Phase,
) -> Result<(AsyncSmtpConnection, Response), Broken> {
    let mut connection = greet(server, phase).await?;
    *phase = Phase::Sender;
    let sender = sender.parse::<Address>().map_err(Broken::Address)?;
    connection
        .command(Mail::new(Some(sender), Vec::new()))
        .await?;
    crash::point("sender named");
    *phase = Phase::Recipient;
    let recipient = mail.address.parse::<Address>().map_err(Broken::Address)?;
    connection.command(Rcpt::new(recipient, Vec::new())).await?;
    crash::point("recipient named");
    *phase = Phase::Data;
    meant(
        &connection.command(Data).await?,
        Severity::PositiveIntermediate,
    )?;
    crash::point("message asked for");
    *phase = Phase::Message;
    let handed_over = hand_over(&mut connection, &mail.body);
    let answer = crash::point_while_waiting("message sent", handed_over).await?;
    meant(&answer, Severity::PositiveCompletion)?;
    crash::point("message taken");
    Ok((connection, answer))
}

/// A connection on which we are known, where a login is declared.
async fn greet(server: &SmtpServer, phase: &mut Phase) -> Result<AsyncSmtpConnection, Broken> {
    let mut connection = connect(server, phase).await?;
    if let Some(login) = &server.login {
        *phase = Phase::Login;
        log_in(&mut connection, server, login).await?;
        crash::point("logged in");
    }
    Ok(connection)
}

/// Not every friendly reply is the one that was waited for: only a completion means "taken".
fn meant(reply: &Response, severity: Severity) -> Result<(), Broken> {
    if reply.code().severity == severity {
        return Ok(());
    }
    Err(Broken::OutOfTurn(words_of(reply)))
}

/// A reply in one line.
fn words_of(reply: &Response) -> String {
    let lines: Vec<&str> = reply.message().collect();
    format!("{} {}", reply.code(), lines.join(" "))
}

/// A connection on which the server has greeted us, private where that is declared. There is no
/// falling back: what is declared is done, or nothing is said.
async fn connect(server: &SmtpServer, phase: &mut Phase) -> Result<AsyncSmtpConnection, Broken> {
    let host = bare(&server.host);
    if server.security == Security::Tls {
        let tls = Some(tls(server)?);
        let patience = Some(server.timeout / 3);
        let place = (host, server.port);
        return Ok(AsyncSmtpConnection::connect_tokio1(place, patience, &HELLO, tls, None).await?);
    }
    let stream = reach(host, server).await.map_err(Broken::Reach)?;
    crash::point("connected");
    let stream = Box::new(NoReadAhead(stream));
    let mut connection = AsyncSmtpConnection::connect_with_transport(stream, &HELLO).await?;
    crash::point("greeted");
    if server.security == Security::Starttls {
        *phase = Phase::Tls;
        if !connection.can_starttls() {
            return Err(Broken::Missing {
                what: "the server offers no STARTTLS",
                advice: reply_class::NO_TLS,
            });
        }
        connection.starttls(tls(server)?, &HELLO).await?;
        crash::point("private");
    }
    Ok(connection)
}

/// Tries the host's addresses one after the other, none for so long that the next has no time left.
async fn reach(host: &str, server: &SmtpServer) -> io::Result<TcpStream> {
    let mut last = io::Error::new(io::ErrorKind::NotFound, "the host has no address");
    for address in tokio::net::lookup_host((host, server.port)).await? {
        match timeout(server.timeout / 3, TcpStream::connect(address)).await {
            Ok(Ok(stream)) => return Ok(stream),
            Ok(Err(error)) => last = error,
            Err(_) => last = io::ErrorKind::TimedOut.into(),
        }
    }
    Err(last)
}

/// What we trust: the one authority declared, else the system's, or where there are none those
/// compiled in (Mozilla's), as with the feeds.
fn tls(server: &SmtpServer) -> Result<TlsParameters, SmtpError> {
    let builder = || TlsParameters::builder(bare(&server.host).to_owned());
    let only = |builder: lettre::transport::smtp::client::TlsParametersBuilder| {
        builder.certificate_store(CertificateStore::None)
    };
    if let Some(ca) = &server.ca {
        return only(builder()).add_root_certificate(ca.clone()).build();
    }
    builder().build().or_else(|_| {
        let roots = webpki_root_certs::TLS_SERVER_ROOT_CERTS.iter();
        roots
            .filter_map(|der| Certificate::from_der(der.to_vec()).ok())
            .fold(only(builder()), |builder, root| {
                builder.add_root_certificate(root)
            })
            .build()
    })
}

async fn log_in(
    connection: &mut AsyncSmtpConnection,
    server: &SmtpServer,
    login: &Login,
) -> Result<(), Broken> {
    let password = match &login.password {
        Ok(password) => password.expose().to_owned(),
        Err(problem) => return Err(Broken::Password(problem.what.clone())),
    };
    // Connecting has seen to it already; a password is worth a second look.
    if server.security != Security::None && !connection.is_encrypted() {
        return Err(Broken::Missing {
            what: "the connection is not private",
            advice: reply_class::NO_TLS,
        });
    }
    let offered = |mechanism: &&_| {
        connection
            .server_info()
            .supports_auth_mechanism(**mechanism)
    };
    if !DEFAULT_MECHANISMS
        .iter()
        .any(|mechanism| offered(&mechanism))
    {
        return Err(Broken::Missing {
            what: "the server offers no login by name and password",
            advice: reply_class::NO_LOGIN,
        });
    }
    let credentials = Credentials::new(login.username.clone(), password);
    connection.auth(DEFAULT_MECHANISMS, &credentials).await?;
    Ok(())
}

/// Sends the frozen bytes. The end of the talk brings a line end of its own, so theirs is left out,
/// and they arrive as they are.
async fn hand_over(
    connection: &mut AsyncSmtpConnection,
    body: &[u8],
) -> Result<Response, SmtpError> {
    connection
        .message(body.strip_suffix(b"\r\n").unwrap_or(body))
        .await
}

/// An IPv6 address may be written in brackets.
fn bare(host: &str) -> &str {
    host.strip_prefix('[')
        .and_then(|host| host.strip_suffix(']'))
        .unwrap_or(host)
}

/// A clear refusal leaves no doubt; silence or a broken connection after the message began does.
fn judged(broken: Broken, phase: Phase, server: &SmtpServer) -> SendError {
    let refused = matches!(&broken, Broken::Talk(error) if error.status().is_some());
    SendError {
        may_be_taken: phase == Phase::Message && !refused,
        ..explained(broken, phase, server)
    }
}

fn explained(broken: Broken, phase: Phase, server: &SmtpServer) -> SendError {
    let (class, phase, what, closing) = match broken {
        Broken::Talk(error) => return judged_talk(&error, phase, server),
        Broken::Reach(error) => (ReplyClass::TryAgain, phase, error.to_string(), false),
        Broken::Silence => {
            let seconds = server.timeout.as_secs();
            let what = format!("the server did not answer within {seconds} s");
            (ReplyClass::TryAgain, phase, what, false)
        }
        Broken::OutOfTurn(reply) => {
            let what = format!("the server said out of turn {reply}");
            (ReplyClass::TryAgain, phase, what, false)
        }
        Broken::Missing { what, advice } => (
            ReplyClass::OurFault { advice },
            phase,
            what.to_owned(),
            false,
        ),
        Broken::Password(what) => {
            let advice = "give the service its password, see [mail.smtp]";
            (ReplyClass::OurFault { advice }, phase, what, false)
        }
        // The configuration checks addresses; one in the outbox may be older than the check.
        Broken::Address(error) => (ReplyClass::Refused, phase, error.to_string(), false),
    };
    send_error(class, phase, &what, closing, server)
}

fn judged_talk(error: &SmtpError, phase: Phase, server: &SmtpServer) -> SendError {
    if let Some(code) = error.status() {
        let code = u16::from(code);
        let text = error.source().map_or_else(String::new, ToString::to_string);
        let what = format!("the server said {code} {text}");
        return send_error(
            classify(phase, code, &text),
            phase,
            &what,
            code == 421,
            server,
        );
    }
    if let Some(error) = tls_error(error) {
        let advice = match error {
            rustls::Error::InvalidCertificate(_) => reply_class::CERTIFICATE,
            _ => reply_class::HANDSHAKE,
        };
        let phase = phase.max(Phase::Tls);
        return send_error(
            ReplyClass::OurFault { advice },
            phase,
            &error.to_string(),
            false,
            server,
        );
    }
    let mut root: &dyn std::error::Error = error;
    while let Some(source) = root.source() {
        root = source;
    }
    let what = match root.to_string() {
        // So it is called when the connection ends in the middle of a reply.
        text if text == "incomplete response" => "the server hung up".to_owned(),
        text => text,
    };
    send_error(ReplyClass::TryAgain, phase, &what, false, server)
}

/// The TLS library's own error, inside the errors of the socket.
fn tls_error(error: &SmtpError) -> Option<&rustls::Error> {
    let mut source = error.source();
    while let Some(error) = source {
        let inner = error
            .downcast_ref::<io::Error>()
            .and_then(io::Error::get_ref);
        let found = inner.and_then(|inner| inner.downcast_ref::<rustls::Error>());
        if let Some(found) = found.or_else(|| error.downcast_ref()) {
            return Some(found);
        }
        source = error.source();
    }
    None
}

/// Whatever fails before a recipient is named would befall every mail, except a passing refusal of
/// the sender. A closing server is closing for all.
fn send_error(
    class: ReplyClass,
    phase: Phase,
    what: &str,
    closing: bool,
    server: &SmtpServer,
) -> SendError {
    let ours = matches!(class, ReplyClass::OurFault { .. });
    let place = format!("{}:{}", server.host, server.port);
    SendError {
        class,
        of_all: closing || phase < Phase::Sender || (phase == Phase::Sender && ours),
        reason: format!("{phase} ({place}): {}", redact(what, &secrets(server))),
        may_be_taken: false,
    }
}

/// The password in every form in which it is sent.
fn secrets(server: &SmtpServer) -> Vec<String> {
    let Some(Login {
        username,
        password: Ok(password),
    }) = &server.login
    else {
        return Vec::new();
    };
    let plain = password.expose();
    let both = format!("\0{username}\0{plain}");
    vec![
        STANDARD.encode(&both),
        STANDARD.encode(plain),
        plain.to_owned(),
    ]
}
