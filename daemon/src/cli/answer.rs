//! `duskflight answer`: one message from standard input, for who pipes them.

use std::io::{self, Read, stdin};

use anyhow::{Context, anyhow};
use clap::Args;

use super::Failure;
use super::common::{AsOf, ConfigDir, open_store, print};
use crate::inbox::{Counter, MOST_BYTES};
use crate::mail::left::Left;

/// Take one message from standard input as the answer to a round mail, a digest or a receipt
///
/// It counts only if it answers a mail of the last 45 days to whoever sent it. Anything else changes nothing; it is
/// said why, and the exit code is 0 as well, so that a mail filter does not send it back.
#[derive(Debug, Args)]
pub(super) struct Answer {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
}

impl Answer {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        if config.inbox.is_none() {
            return Err(Failure::usage(anyhow!(
                "no answers are read here: add [inbox] to the configuration first"
            )));
        }
        let bytes = message(stdin().lock()).context("read the message from standard input")?;
        let counter = Counter {
            store: open_store(&config)?,
            clock: self.as_of.past_moment(&config)?.1,
            config,
        };
        let left = counter
            .hand_in(bytes, true)
            .await
            .context("take the message")?;
        let receipts = counter
            .write_receipts()
            .await
            .context("write the receipt")?;
        print(&match (left, receipts) {
            (Some(left), _) => format!("left as it is: {}\n", Left::words(left.name())),
            (None, 0) => "taken before, or nothing in it to answer\n".to_owned(),
            (None, _) => "taken; a receipt is on its way\n".to_owned(),
        })
    }
}

/// The message, as far as it is read. The rest is taken as well: a filter whose pipe ends early sends the mail back.
fn message(mut given: impl Read) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    // A byte more shows that it is larger.
    given
        .by_ref()
        .take(MOST_BYTES + 1)
        .read_to_end(&mut bytes)?;
    io::copy(&mut given, &mut io::sink())?;
    Ok(bytes)
}
