//! Passwords, hashed by argon2id, one at a time and off the runtime's thread: each takes 19 MiB and a tenth of a second.

use std::sync::Arc;
use std::time::Duration;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use icu_normalizer::ComposingNormalizerBorrowed;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::spawn_blocking;
use tokio::time::sleep;

use crate::secret::Secret;

/// Characters of a password.
pub(super) const LENGTH: std::ops::RangeInclusive<usize> = 10..=200;
/// Of nobody's password: what is typed for somebody who has none costs as much. Its costs are those of our own.
const OF_NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$\
                         AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";
/// So many wait for their turn at most.
const WAITING: usize = 8;

/// Where passwords wait for their turn.
#[derive(Debug, Clone)]
pub(super) struct Hashing {
    places: Arc<Semaphore>,
    turn: Arc<Semaphore>,
}

/// Why a password was not looked at.
#[derive(Debug, thiserror::Error)]
pub(super) enum NotNow {
    /// Too many wait.
    #[error("too many passwords wait to be looked at")]
    Busy,
    /// Something unexpected.
    #[error("a password cannot be hashed: {0}")]
    Failed(String),
}

impl Default for Hashing {
    fn default() -> Self {
        Self {
            places: Arc::new(Semaphore::new(WAITING)),
            turn: Arc::new(Semaphore::new(1)),
        }
    }
}

impl Hashing {
    /// Whether a password is the one whose hash is kept; after `pause`, which those behind it wait, too.
    ///
    /// # Errors
    /// Too many wait.
    pub(super) async fn is_right(
        &self,
        password: Secret,
        kept: Option<String>,
        pause: Duration,
    ) -> Result<bool, NotNow> {
        let is_right = move || {
            let hash = PasswordHash::new(kept.as_deref().unwrap_or(OF_NOBODY));
            let hash = hash.map_err(|error| NotNow::Failed(error.to_string()))?;
            let typed = composed(&password);
            let verified = Argon2::default().verify_password(typed.as_bytes(), &hash);
            Ok(verified.is_ok() && kept.is_some())
        };
        self.in_turn(pause, is_right).await
    }

    /// What is kept of a new password.
    ///
    /// # Errors
    /// Too many wait.
    pub(super) async fn hash(&self, password: Secret, pause: Duration) -> Result<String, NotNow> {
        let hash = move || {
            let typed = composed(&password);
            let hash = Argon2::default().hash_password(typed.as_bytes());
            let hash = hash.map_err(|error| NotNow::Failed(error.to_string()))?;
            Ok(hash.to_string())
        };
        self.in_turn(pause, hash).await
    }

    async fn in_turn<T: Send + 'static>(
        &self,
        pause: Duration,
        work: impl FnOnce() -> Result<T, NotNow> + Send + 'static,
    ) -> Result<T, NotNow> {
        let place = Arc::clone(&self.places).try_acquire_owned();
        let place = place.map_err(|_| NotNow::Busy)?;
        let turn = Arc::clone(&self.turn).acquire_owned().await;
        let turn = turn.map_err(|_| NotNow::Busy)?;
        sleep(pause).await;
        let held: [OwnedSemaphorePermit; 2] = [place, turn];
        let done = spawn_blocking(move || {
            let done = work();
            // Not before, though whoever asked may have gone.
            drop(held);
            done
        });
        done.await
            .unwrap_or_else(|panic| Err(NotNow::Failed(panic.to_string())))
    }
}

/// One letter with its accent is the same however a keyboard puts it together.
fn composed(password: &Secret) -> String {
    ComposingNormalizerBorrowed::new_nfc()
        .normalize(password.expose())
        .into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret(text: &str) -> Secret {
        Secret::new(text.to_owned())
    }

    #[tokio::test]
    async fn a_password_is_known_again_and_no_other_and_nobodys_is_never_right() {
        let hashing = Hashing::default();
        let kept = hashing.hash(secret("señal de otoño"), Duration::ZERO).await;
        let kept = kept.unwrap();
        assert!(
            kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{kept}"
        );
        let right = async |typed: &str, kept: Option<&String>| {
            let right = hashing.is_right(secret(typed), kept.cloned(), Duration::ZERO);
            right.await.unwrap()
        };
        assert!(right("señal de otoño", Some(&kept)).await);
        assert!(right("sen\u{303}al de oton\u{303}o", Some(&kept)).await);
        assert!(!right("senal de otono", Some(&kept)).await);
        assert!(!right("señal de otoño", None).await);
        assert!(!right("", None).await);
    }

    #[tokio::test]
    async fn they_are_hashed_one_at_a_time_and_a_few_wait() {
        let hashing = Hashing::default();
        let slow = || hashing.is_right(secret("wrong"), None, Duration::from_millis(20));
        let (a, b, c, d, e, f, g, h, i, j) = tokio::join!(
            slow(),
            slow(),
            slow(),
            slow(),
            slow(),
            slow(),
            slow(),
            slow(),
            slow(),
            slow()
        );
        let all = [a, b, c, d, e, f, g, h, i, j];
        let busy = all.iter().filter(|one| matches!(one, Err(NotNow::Busy)));
        assert_eq!(busy.count(), 2);
        assert_eq!(all.iter().filter(|one| matches!(one, Ok(false))).count(), 8);
    }
}
