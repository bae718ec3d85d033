//! A connection on which a server cannot send more than was asked for.

use std::fmt;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// What a server may send to one command, in bytes: the largest message that is fetched, or where hundreds of thousands
/// of messages lie, with room to spare.
const ALLOWANCE: u64 = 4 * 1024 * 1024;

/// What bytes travel on.
pub(super) trait Stream: AsyncRead + AsyncWrite + Send + Sync + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Sync + Unpin> Stream for T {}

/// A connection whose bytes are counted. The reader behind makes room for a literal as soon as its length is announced
/// (RFC 3501, 4.3), so that announcements are counted, too.
pub(super) struct Meter {
    stream: Box<dyn Stream>,
    left: u64,
    announced: Announced,
}

impl Meter {
    pub(super) fn new(stream: impl Stream + 'static) -> Self {
        Self {
            stream: Box::new(stream),
            left: ALLOWANCE,
            announced: Announced::default(),
        }
    }

    /// Begins to count anew, for another command.
    pub(super) const fn allow(&mut self) {
        self.left = ALLOWANCE;
    }

    fn count(&mut self, bytes: &[u8]) -> io::Result<()> {
        let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        let left = self.left.checked_sub(length);
        let left = left.filter(|left| self.announced.read(bytes) <= *left);
        self.left = left.ok_or(io::ErrorKind::QuotaExceeded)?;
        Ok(())
    }
}

/// How far one is in `{123}` at a line's end, which announces so many bytes of a literal.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Announced {
    #[default]
    Nothing,
    /// Behind the brace, with the digits so far.
    Digits(u64),
    /// Behind the closing brace, or the return behind that.
    Closed(u64),
    /// In the literal, with the bytes that are to come.
    Literal(u64),
}

impl Announced {
    /// Goes on over some bytes; gives how many bytes of a literal are to come behind them.
    fn read(&mut self, mut bytes: &[u8]) -> u64 {
        while let Some((byte, rest)) = bytes.split_first() {
            if let Self::Literal(left) = *self {
                let here = usize::try_from(left).unwrap_or(usize::MAX).min(bytes.len());
                bytes = &bytes[here..];
                let left = left - here as u64;
                *self = if left == 0 {
                    Self::Nothing
                } else {
                    Self::Literal(left)
                };
                continue;
            }
            *self = self.behind(*byte);
            bytes = rest;
        }
        match self {
            Self::Literal(left) => *left,
            _ => 0,
        }
    }

    fn behind(self, byte: u8) -> Self {
        match (self, byte) {
            (_, b'{') => Self::Digits(0),
            (Self::Digits(number), b'0'..=b'9') => Self::Digits(
                number
                    .saturating_mul(10)
                    .saturating_add(u64::from(byte - b'0')),
            ),
            (Self::Digits(number), b'}') | (Self::Closed(number), b'\r') => Self::Closed(number),
            (Self::Closed(number), b'\n') if number > 0 => Self::Literal(number),
            _ => Self::Nothing,
        }
    }
}

impl AsyncRead for Meter {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        ready!(Pin::new(&mut self.stream).poll_read(cx, buf))?;
        Poll::Ready(self.count(&buf.filled()[before..]))
    }
}

impl AsyncWrite for Meter {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

impl fmt::Debug for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Meter")
            .field("left", &self.left)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(parts: &[&[u8]]) -> io::Result<()> {
        let mut meter = Meter::new(tokio::io::empty());
        parts.iter().try_for_each(|part| meter.count(part))
    }

    #[test]
    fn an_announcement_counts_before_its_bytes_come_wherever_it_is_broken() {
        let greedy: &[u8] = b"* 1 FETCH (BODY[] {5000000}\r\n";
        for at in 0..greedy.len() {
            let (first, rest) = greedy.split_at(at);
            assert!(read(&[first, rest]).is_err(), "{at}");
        }
        assert!(read(&[b"* 1 FETCH (BODY[] {99999999999999999999999}\r\n"]).is_err());
    }

    #[test]
    fn what_only_looks_like_an_announcement_is_read_on() {
        let shown: &[u8] = b"* 1 FETCH (BODY[] {14}\r\n{5000000}\r\n..)\r\n";
        for at in 0..shown.len() {
            let (first, rest) = shown.split_at(at);
            assert!(read(&[first, rest]).is_ok(), "{at}");
        }
        for line in [
            "* OK {5000000} of them\r\n",
            "* OK {}\r\n",
            "* OK {0}\r\n{5}x\r\n",
        ] {
            assert!(read(&[line.as_bytes()]).is_ok(), "{line}");
        }
    }

    #[test]
    fn more_than_was_asked_for_ends_the_talk_and_another_command_begins_anew() {
        let block = vec![b'x'; 3 * 1024 * 1024];
        assert!(read(&[&block]).is_ok());
        assert!(read(&[&block, &block]).is_err());
        let mut meter = Meter::new(tokio::io::empty());
        for _ in 0..3 {
            meter.allow();
            meter.count(&block).unwrap();
        }
    }
}
