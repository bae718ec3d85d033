//! The command line: one file per command, one exit code per kind of failure.

mod heat;

use std::fmt::Display;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Watches navel orangeworm in nut orchards: heat units, egg-laying starts, projected dates.
#[derive(Debug, Parser)]
#[command(name = "duskflight", version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Heat(heat::Heat),
}

/// Reads the command line, runs the command and gives the program's exit code; what went wrong is
/// said on standard error.
#[must_use]
pub fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Heat(command) => command.run(),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure { exit, cause }) => {
            eprintln!("error: {cause:#}");
            ExitCode::from(exit as u8)
        }
    }
}

/// How the program says to its caller what kind of failure it met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// Something unexpected: see the message.
    Unexpected = 1,
    /// A wrong argument or input file.
    Usage = 2,
    /// Something outside is not ready; the same command may work later.
    TryLater = 75,
    /// The configuration must be corrected first.
    Configuration = 78,
}

/// Why a command failed, and with which exit code.
#[derive(Debug)]
pub struct Failure {
    /// The exit code.
    pub exit: Exit,
    /// What happened, with its sources.
    pub cause: anyhow::Error,
}

impl Failure {
    /// A wrong argument or input file.
    pub fn usage(cause: impl Into<anyhow::Error>) -> Self {
        Self {
            exit: Exit::Usage,
            cause: cause.into(),
        }
    }
}

impl From<anyhow::Error> for Failure {
    fn from(cause: anyhow::Error) -> Self {
        Self {
            exit: Exit::Unexpected,
            cause,
        }
    }
}

/// Something the reader should know about a result that stands.
fn note(text: impl Display) {
    eprintln!("note: {text}");
}
