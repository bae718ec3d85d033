//! What is wrong with a configuration: what, where, what to do.

use std::fmt;
use std::path::PathBuf;

/// One thing to mend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file.
    pub file: PathBuf,
    /// The line, where it is known, counted from 1.
    pub line: Option<usize>,
    /// What is wrong, with the value, and what to do.
    pub what: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        write!(f, ": {}", self.what)
    }
}

/// A configuration that cannot be used, with all its problems.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "use the configuration; {} to mend:{}",
    count(problems),
    list(problems)
)]
pub struct ConfigError {
    /// Everything that is wrong.
    pub problems: Vec<Problem>,
}

fn count(problems: &[Problem]) -> String {
    match problems.len() {
        1 => "one thing".to_owned(),
        n => format!("{n} things"),
    }
}

fn list(problems: &[Problem]) -> String {
    problems.iter().map(|p| format!("\n  {p}")).collect()
}
