//! What we and a server say to each other (RFC 3501): a command and all that comes until it is done, within a time.
//!
//! The connection and the reading of answers are async-imap's. Its commands are not used: they take a refusal, and a
//! connection that ended, for an answer without messages.

use std::mem;
use std::time::Duration;

use async_imap::Client;
use async_imap::imap_proto::{MailboxDatum, Outcome, Response, Status};
use tokio::io::AsyncWriteExt;
use tokio::time::timeout;

use super::meter::{Meter, Stream};
use super::why::Why;
use crate::redact::redact;

/// A talk with a server that has greeted us.
pub(super) struct Talk {
    client: Client<Meter>,
    patience: Duration,
    commands: u32,
    state: State,
    /// What must not be shown though a server repeats it.
    secrets: Vec<String>,
    /// Whether it has said that messages came since this was last set to false.
    pub(super) news: bool,
}

/// Where the talk is.
enum State {
    /// Between two commands.
    Ready,
    /// In a command: whoever drops its future ends the talk.
    Midway,
    /// Waiting for messages, with the command that is to be ended.
    Idling(String),
}

/// What an answer is to the command that is under way.
enum Heard {
    /// Its end.
    Done(Done),
    /// The word that more may be said.
    GoOn,
    /// Anything else.
    Aside,
}

/// What came of a command.
pub(super) enum Done {
    /// It was done.
    Ok,
    /// It was refused, with these words.
    No(String),
}

impl Done {
    /// Refusals as errors.
    pub(super) fn or_refused(self, what: &'static str) -> Result<(), Why> {
        match self {
            Self::Ok => Ok(()),
            Self::No(said) => Err(Why::Refused { what, said }),
        }
    }
}

impl Talk {
    /// A talk on a connection that is as private as it will be.
    pub(super) fn on(stream: impl Stream + 'static, patience: Duration) -> Self {
        Self {
            client: Client::new(Meter::new(stream)),
            patience,
            commands: 0,
            state: State::Ready,
            secrets: Vec::new(),
            news: false,
        }
    }

    /// Hides these in what the server says.
    pub(super) fn hide(&mut self, secrets: Vec<String>) {
        self.secrets = secrets;
    }

    /// Waits for the server's first word.
    pub(super) async fn greeting(&mut self) -> Result<(), Why> {
        let mut greeting = Err(Why::NoAnswer);
        let look = |response: &Response<'_>| match response {
            Response::Data {
                status: Status::Ok, ..
            } => greeting = Ok(()),
            Response::Data {
                status: Status::PreAuth,
                ..
            } => greeting = Err(Why::Known),
            _ => {}
        };
        self.next(self.patience, "", look).await?;
        greeting
    }

    /// Says a command and looks at each answer until it is done.
    pub(super) async fn ask(
        &mut self,
        command: &str,
        each: impl FnMut(&Response<'_>),
    ) -> Result<Done, Why> {
        self.ask_within(self.patience, command, &[], each).await
    }

    /// The same with the time that each answer may take, and with what is answered where the server asks for more:
    /// one after the other, then that we give up.
    pub(super) async fn ask_within(
        &mut self,
        patience: Duration,
        command: &str,
        answers: &[String],
        mut each: impl FnMut(&Response<'_>),
    ) -> Result<Done, Why> {
        self.settle().await?;
        let tag = self.begin(command).await?;
        let mut answers = answers.iter();
        loop {
            match self.next(patience, &tag, &mut each).await? {
                Heard::Aside => {}
                Heard::GoOn => {
                    let answer = answers.next().map_or("*", String::as_str);
                    self.say(answer).await?;
                }
                Heard::Done(done) => {
                    self.state = State::Ready;
                    return Ok(done);
                }
            }
        }
    }

    /// Waits until messages come, or for so long. Whoever drops the future may go on with the talk.
    pub(super) async fn idle(&mut self, at_most: Duration) -> Result<(), Why> {
        self.settle().await?;
        let tag = self.begin("IDLE").await?;
        loop {
            match self.next(self.patience, &tag, |_| {}).await? {
                Heard::Aside => {}
                Heard::GoOn => break,
                Heard::Done(done) => {
                    self.state = State::Ready;
                    return done.or_refused("wait for messages");
                }
            }
        }
        self.state = State::Idling(tag.clone());
        let news = async {
            while !self.news {
                self.read(&tag, |_| {}).await?;
            }
            Ok(())
        };
        if let Ok(broken @ Err(_)) = timeout(at_most, news).await {
            return broken;
        }
        self.settle().await
    }

    /// Ends a wait, if there is one.
    async fn settle(&mut self) -> Result<(), Why> {
        match mem::replace(&mut self.state, State::Midway) {
            State::Ready => {}
            State::Midway => return Err(Why::HungUp(": we had broken a command off".to_owned())),
            State::Idling(tag) => {
                self.say("DONE").await?;
                while !matches!(
                    self.next(self.patience, &tag, |_| {}).await?,
                    Heard::Done(_)
                ) {}
            }
        }
        self.state = State::Ready;
        Ok(())
    }

    /// Says a command; gives the tag by which its end is known.
    async fn begin(&mut self, command: &str) -> Result<String, Why> {
        self.state = State::Midway;
        self.client.get_mut().allow();
        self.commands += 1;
        let tag = format!("D{}", self.commands);
        self.say(&format!("{tag} {command}")).await?;
        Ok(tag)
    }

    async fn say(&mut self, line: &str) -> Result<(), Why> {
        let line = format!("{line}\r\n");
        let stream = self.client.get_mut();
        let said = timeout(self.patience, async {
            stream.write_all(line.as_bytes()).await?;
            stream.flush().await
        });
        let said = said.await.map_err(|_| Why::Silence(self.patience))?;
        said.map_err(Why::on_the_way)
    }

    async fn next(
        &mut self,
        patience: Duration,
        tag: &str,
        each: impl FnMut(&Response<'_>),
    ) -> Result<Heard, Why> {
        let read = timeout(patience, self.read(tag, each)).await;
        read.unwrap_or(Err(Why::Silence(patience)))
    }

    /// The next answer, of whatever kind.
    async fn read(&mut self, tag: &str, mut each: impl FnMut(&Response<'_>)) -> Result<Heard, Why> {
        let read = self.client.read_response().await;
        let read = read.map_err(Why::on_the_way)?;
        let response = read.ok_or_else(|| Why::HungUp(String::new()))?;
        match response.parsed() {
            Response::Done {
                tag: of,
                status,
                outcome,
            } if of.0 == tag => {
                return Ok(Heard::Done(match status {
                    Status::Ok => Done::Ok,
                    _ => Done::No(self.words(outcome)),
                }));
            }
            Response::Continue(_) => return Ok(Heard::GoOn),
            Response::Data {
                status: Status::Bye,
                outcome,
            } => return Err(Why::HungUp(format!(": {}", self.words(outcome)))),
            Response::MailboxData(MailboxDatum::Exists(_)) => self.news = true,
            _ => {}
        }
        each(response.parsed());
        Ok(Heard::Aside)
    }

    fn words(&self, outcome: &Outcome<'_>) -> String {
        let said = outcome.information.as_deref().unwrap_or("no reason given");
        redact(said, &self.secrets)
    }
}
