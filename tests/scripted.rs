//! A mail server on the loopback address that does as it is told, also wrong.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use duskflight::config::{Patience, Security, SmtpServer};

/// A point in the talk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum At {
    Greeting,
    Ehlo,
    Auth,
    Mail,
    /// Naming the sender of a mail that is not the first of its connection.
    SecondMail,
    /// Naming a recipient whose address contains this.
    Rcpt(&'static str),
    /// Asking to send a message to such a recipient.
    Data(&'static str),
    /// After the dot that ends it.
    Dot(&'static str),
}

impl At {
    /// Whether this is the point where the talk is, about the recipient named last.
    fn is(self, here: Self, recipient: &str) -> bool {
        match (self, here) {
            (Self::Rcpt(part), Self::Rcpt(_))
            | (Self::Data(part), Self::Data(_))
            | (Self::Dot(part), Self::Dot(_)) => recipient.contains(part),
            _ => self == here,
        }
    }
}

/// What the server does there instead of going on.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Act {
    /// Says nothing more and keeps the connection.
    Silence,
    /// At the dot: takes the message, and says nothing more.
    TakeAndKeepSilent,
    /// Closes the connection.
    Drop,
    /// Replies with this line.
    Say(&'static str),
    /// Replies with this line and all that the client has sent to log in.
    Repeat(&'static str),
}

/// A message that was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Taken {
    pub(crate) recipient: String,
    pub(crate) bytes: Vec<u8>,
}

#[derive(Default)]
struct State {
    script: Vec<(At, Act)>,
    extensions: Vec<&'static str>,
    connections: usize,
    commands: Vec<String>,
    taken: Vec<Taken>,
}

/// The server; it serves until the test ends.
pub(crate) struct Scripted {
    port: u16,
    state: Arc<Mutex<State>>,
}

impl Scripted {
    pub(crate) fn start(script: &[(At, Act)]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let state = Arc::new(Mutex::new(State {
            script: script.to_vec(),
            extensions: vec!["AUTH PLAIN LOGIN"],
            ..State::default()
        }));
        let shared = Arc::clone(&state);
        thread::spawn(move || {
            for stream in listener.incoming() {
                let state = Arc::clone(&shared);
                // A client that goes away in the middle is no trouble of this server.
                thread::spawn(move || {
                    let _ = serve(stream.unwrap(), &state);
                });
            }
        });
        Self { port, state }
    }

    /// Changes what it does from the next connection on.
    pub(crate) fn now_does(&self, script: &[(At, Act)]) {
        self.state.lock().unwrap().script = script.to_vec();
    }

    /// Changes what it says it can do.
    pub(crate) fn offers(&self, extensions: &[&'static str]) {
        self.state.lock().unwrap().extensions = extensions.to_vec();
    }

    pub(crate) const fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn connections(&self) -> usize {
        self.state.lock().unwrap().connections
    }

    pub(crate) fn commands(&self) -> Vec<String> {
        self.state.lock().unwrap().commands.clone()
    }

    pub(crate) fn taken(&self) -> Vec<Taken> {
        self.state.lock().unwrap().taken.clone()
    }

    /// How a client would be told of it: plain, no login, one second.
    pub(crate) fn declared(&self) -> SmtpServer {
        SmtpServer {
            host: "127.0.0.1".to_owned(),
            port: self.port,
            security: Security::None,
            login: None,
            ca: None,
            patience: Patience {
                after_dot: Duration::from_secs(1),
                ..Patience::default().at_most(Duration::from_secs(1))
            },
        }
    }
}

/// `None` when the talk is over.
fn serve(stream: TcpStream, state: &Mutex<State>) -> Option<()> {
    let script = {
        let mut state = state.lock().unwrap();
        state.connections += 1;
        state.script.clone()
    };
    let mut talk = Talk {
        lines: BufReader::new(stream.try_clone().ok()?),
        stream,
        script,
        login: Vec::new(),
        recipient: String::new(),
        mails: 0,
    };
    talk.at(At::Greeting, "220 mail.host.example")?;
    loop {
        let line = talk.line()?;
        state.lock().unwrap().commands.push(line.clone());
        let verb: String = line.chars().take(4).collect::<String>().to_uppercase();
        match verb.as_str() {
            "EHLO" => {
                let extensions = state.lock().unwrap().extensions.clone();
                talk.say("250-mail.host.example")?;
                for extension in extensions {
                    talk.say(&format!("250-{extension}"))?;
                }
                talk.at(At::Ehlo, "250 SIZE 10000000")?;
            }
            "AUTH" => {
                talk.login = vec![line];
                talk.at(At::Auth, "235 2.7.0 welcome")?;
            }
            "MAIL" => {
                talk.mails += 1;
                let at = if talk.mails > 1 && talk.scripted(At::SecondMail).is_some() {
                    At::SecondMail
                } else {
                    At::Mail
                };
                talk.at(at, "250 2.1.0 fine")?;
            }
            "RCPT" => {
                talk.recipient = line["RCPT TO:<".len()..].trim_end_matches('>').to_owned();
                talk.at(At::Rcpt(""), "250 2.1.5 fine")?;
            }
            "DATA" => {
                talk.at(At::Data(""), "354 go on")?;
                let bytes = talk.message()?;
                let reply = match talk.scripted(At::Dot("")) {
                    None => "250 2.0.0 taken",
                    Some(Act::Say(reply)) if reply.starts_with('2') => reply,
                    Some(Act::TakeAndKeepSilent) => "",
                    Some(_) => return talk.at(At::Dot(""), ""),
                };
                let recipient = talk.recipient.clone();
                state.lock().unwrap().taken.push(Taken { recipient, bytes });
                match reply {
                    "" => return talk.keep_silent(),
                    _ => talk.say(reply)?,
                }
            }
            "RSET" => talk.say("250 2.0.0 forgotten")?,
            "QUIT" => return talk.say("221 2.0.0 goodbye"),
            _ => talk.say("502 5.5.1 what?")?,
        }
    }
}

struct Talk {
    stream: TcpStream,
    lines: BufReader<TcpStream>,
    script: Vec<(At, Act)>,
    login: Vec<String>,
    recipient: String,
    mails: u32,
}

impl Talk {
    /// What the script has for a point.
    fn scripted(&self, at: At) -> Option<Act> {
        let here = |(point, _): &&(At, Act)| point.is(at, &self.recipient);
        self.script.iter().find(here).map(|(_, act)| *act)
    }

    /// Does what the script has for a point, or says the usual thing. A negative reply at the dot
    /// ends the talk here, so that the message is not taken.
    fn at(&mut self, at: At, usual: &str) -> Option<()> {
        match self.scripted(at) {
            None => self.say(usual),
            Some(Act::Say(reply)) => {
                self.say(reply)?;
                let goes_on = !matches!(at, At::Data(_) | At::Dot(_)) || reply == "354";
                goes_on.then_some(())
            }
            Some(Act::Repeat(reply)) => {
                let login = self.login.join(" ");
                self.say(&format!("{reply} {login}"))
            }
            Some(Act::Drop) => None,
            Some(Act::Silence | Act::TakeAndKeepSilent) => self.keep_silent(),
        }
    }

    /// Until the client goes away.
    fn keep_silent(&mut self) -> Option<()> {
        let _ = self.lines.read_to_end(&mut Vec::new());
        None
    }

    fn say(&mut self, line: &str) -> Option<()> {
        self.stream.write_all(format!("{line}\r\n").as_bytes()).ok()
    }

    fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        let length = self.lines.read_line(&mut line).ok()?;
        (length > 0).then(|| line.trim_end().to_owned())
    }

    /// The lines up to the dot, with the dots that were doubled single again (RFC 5321, 4.5.2).
    fn message(&mut self) -> Option<Vec<u8>> {
        let mut bytes = Vec::new();
        loop {
            let mut line = Vec::new();
            if self.lines.read_until(b'\n', &mut line).ok()? == 0 {
                return None;
            }
            if line == b".\r\n" {
                return Some(bytes);
            }
            bytes.extend_from_slice(line.strip_prefix(b".").unwrap_or(&line));
        }
    }
}
