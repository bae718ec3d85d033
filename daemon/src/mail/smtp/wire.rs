//! The lines that we and a mail server say to each other (RFC 5321), each waited for with a bound of its own.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use rustls::ClientConfig;
use rustls::pki_types::ServerName;
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader};
use tokio::time::timeout;
use tokio_rustls::TlsConnector;

/// The longest reply that is read, in bytes: many lines of the longest that the standard allows.
const LONGEST_REPLY: u64 = 64 * 1024;
/// A message is sent in blocks of so many bytes, each with the time that one block may take.
const BLOCK: usize = 16 * 1024;

/// What the lines travel on.
trait Stream: AsyncRead + AsyncWrite + Send + Sync + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Sync + Unpin> Stream for T {}

/// A connection to a mail server.
pub(super) struct Wire {
    stream: BufReader<Box<dyn Stream>>,
    is_private: bool,
}

/// What a server says to a command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Reply {
    /// Its three digits.
    pub(super) code: u16,
    /// The text of each line; empty where the server sends the bare code.
    pub(super) lines: Vec<String>,
}

impl Reply {
    /// The text in one line.
    pub(super) fn text(&self) -> String {
        self.lines.join(" ").trim().to_owned()
    }

    /// Code and text in one line.
    pub(super) fn words(&self) -> String {
        format!("{} {}", self.code, self.text()).trim().to_owned()
    }
}

/// Why no reply came.
#[derive(Debug)]
pub(super) enum WireError {
    /// The connection broke.
    Broken(io::Error),
    /// The server ended the connection.
    HungUp,
    /// It said nothing for so long.
    Silence(Duration),
    /// It said something that is no reply.
    NoReply(String),
}

impl From<io::Error> for WireError {
    fn from(error: io::Error) -> Self {
        Self::Broken(error)
    }
}

impl Wire {
    /// Lines on a connection as it is.
    pub(super) fn plain(
        stream: impl AsyncRead + AsyncWrite + Send + Sync + Unpin + 'static,
    ) -> Self {
        Self {
            stream: BufReader::new(Box::new(stream)),
            is_private: false,
        }
    }

    /// The same connection, private from here on. What was already received in clear behind the last reply could
    /// have been put there by anybody on the way, and ends the talk.
    pub(super) async fn into_private(
        self,
        config: Arc<ClientConfig>,
        name: ServerName<'static>,
        patience: Duration,
    ) -> Result<Self, WireError> {
        if !self.stream.buffer().is_empty() {
            let text = "more in clear behind its word that TLS may begin".to_owned();
            return Err(WireError::NoReply(text));
        }
        let handshake = TlsConnector::from(config).connect(name, self.stream.into_inner());
        let stream = in_time(patience, handshake).await?;
        Ok(Self {
            stream: BufReader::new(Box::new(stream)),
            is_private: true,
        })
    }

    /// Whether what is said is encrypted.
    pub(super) const fn is_private(&self) -> bool {
        self.is_private
    }

    /// Says a line and waits for the reply.
    pub(super) async fn command(
        &mut self,
        line: &str,
        patience: Duration,
    ) -> Result<Reply, WireError> {
        let line = format!("{line}\r\n");
        in_time(patience, self.send(line.as_bytes())).await?;
        self.reply(patience).await
    }

    /// Sends a message but for the dot that ends it.
    pub(super) async fn message(
        &mut self,
        bytes: &[u8],
        a_block: Duration,
    ) -> Result<(), WireError> {
        for block in dotted(bytes).chunks(BLOCK) {
            in_time(a_block, self.send(block)).await?;
        }
        Ok(())
    }

    /// Sends the dot that ends a message. From here on the server may have it.
    pub(super) async fn dot(&mut self, patience: Duration) -> Result<(), WireError> {
        in_time(patience, self.send(b".\r\n")).await
    }

    /// The next reply: several lines of one code. A code without text is a reply, too.
    pub(super) async fn reply(&mut self, patience: Duration) -> Result<Reply, WireError> {
        let read = timeout(patience, self.read_reply()).await;
        read.unwrap_or(Err(WireError::Silence(patience)))
    }

    async fn read_reply(&mut self) -> Result<Reply, WireError> {
        let mut limited = (&mut self.stream).take(LONGEST_REPLY);
        let mut reply: Option<Reply> = None;
        loop {
            let mut line = Vec::new();
            limited.read_until(b'\n', &mut line).await?;
            let line = String::from_utf8_lossy(&line);
            let Some(line) = line.strip_suffix('\n') else {
                return Err(match limited.limit() {
                    0 => WireError::NoReply("a reply without an end".to_owned()),
                    _ => WireError::HungUp,
                });
            };
            let line = line.trim_end_matches('\r');
            let said = parse(line).ok_or_else(|| WireError::NoReply(line.to_owned()))?;
            let reply = reply.get_or_insert_with(|| Reply {
                code: said.code,
                lines: Vec::new(),
            });
            if reply.code != said.code {
                return Err(WireError::NoReply(line.to_owned()));
            }
            reply.lines.push(said.text.to_owned());
            if !said.goes_on {
                return Ok(reply.clone());
            }
        }
    }

    async fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let stream = self.stream.get_mut();
        stream.write_all(bytes).await?;
        stream.flush().await
    }
}

async fn in_time<T>(
    patience: Duration,
    work: impl Future<Output = io::Result<T>>,
) -> Result<T, WireError> {
    match timeout(patience, work).await {
        Ok(done) => Ok(done?),
        Err(_) => Err(WireError::Silence(patience)),
    }
}

struct ReplyLine<'a> {
    code: u16,
    goes_on: bool,
    text: &'a str,
}

/// `250-text` of a reply that goes on, `250 text`, or `250` alone (RFC 5321, 4.2).
fn parse(line: &str) -> Option<ReplyLine<'_>> {
    let (code, rest) = line.split_at_checked(3)?;
    let is_code =
        code.starts_with(['2', '3', '4', '5']) && code.bytes().all(|b| b.is_ascii_digit());
    let (goes_on, text) = match rest.strip_prefix('-') {
        Some(text) => (true, text),
        None if rest.is_empty() => (false, ""),
        None => (false, rest.strip_prefix(' ')?),
    };
    Some(ReplyLine {
        code: code.parse().ok().filter(|_| is_code)?,
        goes_on,
        text,
    })
}

/// A message with the dots doubled that begin a line, and with a line end at its own end (RFC 5321, 4.5.2).
fn dotted(message: &[u8]) -> Vec<u8> {
    let mut dotted = Vec::with_capacity(message.len() + 64);
    let mut rest = message;
    while !rest.is_empty() {
        if rest.starts_with(b".") {
            dotted.push(b'.');
        }
        let end = rest.windows(2).position(|two| two == b"\r\n");
        let (line, after) = rest.split_at(end.map_or(rest.len(), |at| at + 2));
        dotted.extend_from_slice(line);
        rest = after;
    }
    if !dotted.ends_with(b"\r\n") {
        dotted.extend_from_slice(b"\r\n");
    }
    dotted
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: Duration = Duration::from_secs(1);

    /// The reply that is read of what a server says before it hangs up.
    async fn read(said: &str) -> Result<Reply, WireError> {
        let (mut server, client) = tokio::io::duplex(128 * 1024);
        server.write_all(said.as_bytes()).await.unwrap();
        drop(server);
        Wire::plain(client).reply(SECOND).await
    }

    #[tokio::test]
    async fn a_reply_is_one_code_with_any_text_or_none() {
        for (said, code, text) in [
            ("250 2.0.0 taken\r\n", 250, "2.0.0 taken"),
            ("250\r\n", 250, ""),
            ("250 \r\n", 250, ""),
            ("354\n", 354, ""),
            (
                "250-mail.host.example\r\n250-\r\n250 SIZE\r\n",
                250,
                "mail.host.example  SIZE",
            ),
            ("550-5.1.1 no\r\n550\r\n", 550, "5.1.1 no"),
        ] {
            let reply = read(said).await.unwrap();
            assert_eq!((reply.code, &*reply.text()), (code, text), "{said:?}");
        }
    }

    #[tokio::test]
    async fn what_is_no_reply_is_none() {
        for said in [
            "25 fine\r\n",
            "fine\r\n",
            "\r\n",
            "650 x\r\n",
            "250x\r\n",
            "250-a\r\n550 b\r\n",
        ] {
            let read = read(said).await;
            assert!(matches!(read, Err(WireError::NoReply(_))), "{said:?}");
        }
        for said in ["", "250 half a li", "250-and then\r\n"] {
            let read = read(said).await;
            assert!(matches!(read, Err(WireError::HungUp)), "{said:?}");
        }
        let endless = "250-again\r\n".repeat(10_000);
        assert!(matches!(read(&endless).await, Err(WireError::NoReply(_))));
    }

    #[test]
    fn a_dot_that_begins_a_line_is_doubled_and_the_last_line_ended() {
        for (message, sent) in [
            ("a\r\n.\r\n..b\r\n", "a\r\n..\r\n...b\r\n"),
            (".a\r\nb", "..a\r\nb\r\n"),
            ("a.\r\n\r\n", "a.\r\n\r\n"),
            ("a\n.b\r\n", "a\n.b\r\n"),
            ("", "\r\n"),
        ] {
            assert_eq!(dotted(message.as_bytes()), sent.as_bytes(), "{message:?}");
        }
    }
}
