//! Why a command fails, and with which exit code.

use crate::config::ConfigError;
use crate::records::ImportError;
use crate::runner::LockError;
use crate::store::{StoreError, Unusable};

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

    /// Something outside that is not ready.
    pub fn try_later(cause: impl Into<anyhow::Error>) -> Self {
        Self {
            exit: Exit::TryLater,
            cause: cause.into(),
        }
    }
}

impl From<anyhow::Error> for Failure {
    /// Records that cannot be used now are said first, whatever a command was about to do.
    fn from(cause: anyhow::Error) -> Self {
        let unusable = Unusable::of(&*cause);
        let exit = match unusable {
            Some(Unusable::Busy | Unusable::Full) => Exit::TryLater,
            Some(Unusable::Failing | Unusable::Damaged) | None => Exit::Unexpected,
        };
        let cause = match unusable {
            Some(unusable) => cause.context(unusable.words()),
            None => cause,
        };
        Self { exit, cause }
    }
}

impl From<ConfigError> for Failure {
    fn from(error: ConfigError) -> Self {
        Self {
            exit: Exit::Configuration,
            cause: error.into(),
        }
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NoCopy { .. } => Self::usage(error),
            error => anyhow::Error::from(error).into(),
        }
    }
}

impl From<LockError> for Failure {
    fn from(error: LockError) -> Self {
        match error {
            LockError::Held { .. } => Self::try_later(error),
            LockError::File { .. } => anyhow::Error::from(error).into(),
        }
    }
}

impl From<ImportError> for Failure {
    fn from(error: ImportError) -> Self {
        match error {
            ImportError::Rows { .. } => Self::usage(error),
            ImportError::Store(_) => anyhow::Error::from(error).into(),
        }
    }
}
