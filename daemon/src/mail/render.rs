//! From the contents of mails to their bytes, after the telling that committed the contents and apart from it:
//! a crash in between leaves mails that wait for their bytes, and the same contents give the same bytes.

use tokio::sync::Mutex;
use tokio::task::spawn_blocking;

use super::contents::MailContents;
use super::gallery::Gallery;
use super::message::ComposeError;
use crate::crash;
use crate::store::outbox::{self, ToCompose};
use crate::store::{Store, StoreError};

/// Why a mail has no bytes.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// What it is composed from.
    #[error("read what it is composed from")]
    Contents(#[from] serde_json::Error),
    /// The mail.
    #[error("compose it")]
    Compose(#[from] ComposeError),
}

/// What one round of rendering did.
#[derive(Debug, Default)]
pub struct Rendered {
    /// Mails that have their bytes now.
    pub mails: usize,
    /// Message-IDs of those that cannot be composed, and why.
    pub failed: Vec<(String, RenderError)>,
}

/// One round at a time in a process: the telling's and a delivery's would both render the same.
static ROUND: Mutex<()> = Mutex::const_new(());

/// Composes each mail that waits for its bytes, and freezes them in a transaction of its own. One that cannot
/// be composed waits on, and is late like any mail that is stuck.
///
/// # Errors
/// When the records cannot be read or written.
pub async fn render(store: &Store) -> Result<Rendered, StoreError> {
    let _alone = ROUND.lock().await;
    let (mut rendered, mut gallery, mut after) = (Rendered::default(), Gallery::default(), 0);
    while let Some(mail) = store.read(move |c| outbox::to_compose(c, after)).await? {
        after = mail.place;
        let (id, composed);
        (id, composed, gallery) = apart(mail, gallery).await?;
        match composed {
            Ok(bytes) => {
                crash::point("before a mail's bytes are frozen");
                let frozen = store.write(move |t| outbox::freeze(t, &id, &bytes)).await?;
                rendered.mails += usize::from(frozen);
            }
            Err(error) => rendered.failed.push((id, error)),
        }
    }
    Ok(rendered)
}

/// Drawing takes a while, in which signals and other tasks are heard.
async fn apart(
    mail: ToCompose,
    mut gallery: Gallery,
) -> Result<(String, Result<Vec<u8>, RenderError>, Gallery), StoreError> {
    let composing = spawn_blocking(move || {
        let composed = compose(&mail, &mut gallery);
        (mail.message_id, composed, gallery)
    });
    composing.await.map_err(|_| StoreError::Ended)
}

fn compose(mail: &ToCompose, gallery: &mut Gallery) -> Result<Vec<u8>, RenderError> {
    let contents = MailContents::from_json(&mail.contents)?;
    Ok(contents.compose_with(&mail.message_id, gallery)?.bytes)
}
