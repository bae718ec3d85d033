//! A mailbox by IMAP on the loopback address that says what it is told, also wrong.

use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use duskflight::config::{ImapServer, Proof, Security};
use duskflight::secret::Secret;

/// What the server says to a command, after its tag; `None` ends the connection.
type Answers = dyn Fn(&str) -> Option<String> + Send + Sync;

/// The server; it serves until the test ends.
pub(crate) struct ImapScript {
    port: u16,
    heard: Arc<Mutex<Vec<String>>>,
}

impl ImapScript {
    /// A server with a greeting. To a command, or to a line that goes on with one, it says what `answer` gives; in that
    /// `TAG` stands for the command's tag.
    pub(crate) fn start(
        greeting: &'static str,
        answer: impl Fn(&str) -> Option<String> + Send + Sync + 'static,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let heard = Arc::new(Mutex::new(Vec::new()));
        let answers: Arc<Answers> = Arc::new(answer);
        let shared = Arc::clone(&heard);
        thread::spawn(move || {
            for stream in listener.incoming() {
                let (answers, heard) = (Arc::clone(&answers), Arc::clone(&shared));
                // A client that goes away in the middle is no trouble of this server.
                thread::spawn(move || {
                    let _ = serve(stream.unwrap(), greeting, &*answers, &heard);
                });
            }
        });
        Self { port, heard }
    }

    /// One that has an inbox and says the usual things, but for what `odd` says first.
    pub(crate) fn usual(
        odd: impl Fn(&str) -> Option<&'static str> + Send + Sync + 'static,
    ) -> Self {
        Self::start("* OK ready", move |command| {
            let said = odd(command).unwrap_or_else(|| usual(command));
            (said != "HANG UP").then(|| said.to_owned())
        })
    }

    /// What the usual server says.
    pub(crate) fn usually(command: &str) -> String {
        usual(command).to_owned()
    }

    /// Commands without their tags, and what went on with them.
    pub(crate) fn heard(&self) -> Vec<String> {
        self.heard.lock().unwrap().clone()
    }

    /// How a client would be told of it: in clear, by password, one second.
    pub(crate) fn declared(&self) -> ImapServer {
        ImapServer {
            host: "127.0.0.1".to_owned(),
            port: self.port,
            security: Security::None,
            username: "office".to_owned(),
            proof: Proof::Password(Ok(Secret::new("hunter2".to_owned()))),
            ca: None,
            folder: "INBOX".to_owned(),
            done_folder: "Duskflight".to_owned(),
            patience: Duration::from_secs(1),
        }
    }
}

/// One message in each folder, which says that it is an answer.
fn usual(command: &str) -> &'static str {
    match command.split(' ').next().unwrap() {
        "CAPABILITY" => "* CAPABILITY IMAP4rev1 AUTH=PLAIN MOVE UIDPLUS\r\nTAG OK done",
        "AUTHENTICATE" => "+ ",
        "SELECT" if command.contains("Duskflight") => {
            "* 0 EXISTS\r\n* OK [UIDVALIDITY 3] numbered\r\nTAG OK done"
        }
        "SELECT" => "* 1 EXISTS\r\n* OK [UIDVALIDITY 7] numbered\r\nTAG OK done",
        "UID" if command.starts_with("UID SEARCH") => "* SEARCH 5\r\nTAG OK done",
        "UID" if command.contains("RFC822.SIZE") => {
            "* 1 FETCH (UID 5 RFC822.SIZE 6)\r\nTAG OK done"
        }
        "UID" if command.contains("BODY.PEEK") => {
            "* 1 FETCH (UID 5 BODY[]<0> {6}\r\nanswer)\r\nTAG OK done"
        }
        _ => "TAG OK done",
    }
}

fn serve(
    mut stream: TcpStream,
    greeting: &str,
    answers: &Answers,
    heard: &Mutex<Vec<String>>,
) -> Option<()> {
    stream
        .write_all(format!("{greeting}\r\n").as_bytes())
        .ok()?;
    let lines = BufReader::new(stream.try_clone().ok()?);
    let mut tag = String::new();
    for line in lines.lines() {
        let line = line.ok()?;
        let is_tag = |word: &str| {
            word.strip_prefix('D')
                .is_some_and(|number| number.parse::<u32>().is_ok())
        };
        let command = match line.split_once(' ') {
            Some((first, command)) if is_tag(first) => {
                first.clone_into(&mut tag);
                command
            }
            _ => &line,
        };
        heard.lock().unwrap().push(command.to_owned());
        let said = answers(command)?.replace("TAG", &tag);
        if !said.is_empty() {
            stream.write_all(format!("{said}\r\n").as_bytes()).ok()?;
        }
    }
    Some(())
}
