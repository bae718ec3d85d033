//! An access token from a command.

use std::process::Stdio;
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, AsyncReadExt, BufReader};
use tokio::process::Command;
use tokio::time::timeout;

use super::why::Why;
use crate::secret::Secret;

/// The longest first line that is read, in bytes.
const LONGEST: u64 = 16 * 1024;

/// The first line that a command prints. What it complains of is not shown: it may hold secrets.
pub(super) async fn token(command: &[String], patience: Duration) -> Result<Secret, Why> {
    let printed = timeout(patience, first_line(command)).await;
    let seconds = patience.as_secs();
    let line =
        printed.unwrap_or_else(|_| Err(format!("it had printed nothing within {seconds} s")));
    let line = line.map_err(Why::Token)?;
    match line.trim() {
        "" => Err(Why::Token("its first line is empty".to_owned())),
        token if token.chars().all(|c| c.is_ascii_graphic()) => Ok(Secret::new(token.to_owned())),
        _ => Err(Why::Token("its first line is no token".to_owned())),
    }
}

async fn first_line(command: &[String]) -> Result<String, String> {
    let Some((program, words)) = command.split_first() else {
        return Err("there is no command".to_owned());
    };
    let mut child = Command::new(program)
        .args(words)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .map_err(|error| format!("{program} cannot be run: {error}"))?;
    let mut line = Vec::new();
    if let Some(output) = child.stdout.take() {
        let mut output = BufReader::new(output);
        let read = (&mut output)
            .take(LONGEST)
            .read_until(b'\n', &mut line)
            .await;
        read.map_err(|error| error.to_string())?;
        // A command that cannot print the rest would never end.
        let rest = tokio::io::copy(&mut output, &mut tokio::io::sink()).await;
        rest.map_err(|error| error.to_string())?;
    }
    let ended = child.wait().await.map_err(|error| error.to_string())?;
    match ended.success() {
        true => Ok(String::from_utf8_lossy(&line).into_owned()),
        false => Err(format!("{program} failed ({ended})")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn of(script: &str) -> Result<Secret, Why> {
        let command = ["/bin/sh", "-c", script].map(str::to_owned);
        token(&command, Duration::from_secs(10)).await
    }

    #[tokio::test]
    async fn a_token_is_the_first_line_of_a_command_that_worked() {
        let given = of("echo ya29.abc; echo more").await.unwrap();
        assert_eq!(given.expose(), "ya29.abc");
        for (script, why) in [
            ("echo; echo ya29.abc", "empty"),
            ("echo two words", "no token"),
            ("echo ya29.abc; exit 3", "failed"),
            ("printf 'a\\001b'", "no token"),
        ] {
            let error = of(script).await.unwrap_err().to_string();
            assert!(error.contains(why) && !error.contains("ya29"), "{error}");
        }
        let nobody = token(&["/nowhere/token".to_owned()], Duration::from_secs(10)).await;
        let error = nobody.unwrap_err().to_string();
        assert!(error.contains("/nowhere/token cannot be run"), "{error}");
    }

    #[tokio::test]
    async fn a_command_that_never_ends_is_ended() {
        let command = ["/bin/sleep", "600"].map(str::to_owned);
        let late = token(&command, Duration::from_millis(50)).await;
        assert!(matches!(late, Err(Why::Token(_))), "{late:?}");
    }
}
