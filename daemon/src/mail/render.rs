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

#[cfg(test)]
mod tests {
    use chrono::{DateTime, NaiveDate};
    use duskflight_core::id::PersonId;
    use duskflight_core::ledger::MailKind;
    use duskflight_core::wording::Words;

    use super::*;
    use crate::clock::SetClock;
    use crate::mail::contents::Holds;
    use crate::mail::delivery::deliver;
    use crate::mail::message::{Envelope, Mailbox};
    use crate::mail::transport::Transport;
    use crate::store::outbox::NewMail;

    const ID: &str = "<good@test.example>";

    fn contents() -> MailContents {
        let mailbox = Mailbox {
            name: "Test farm",
            address: "farm@test.example",
        };
        let envelope = Envelope {
            farm: "Test farm",
            farm_note: None,
            authority: "your local authority",
            from: mailbox,
            to: mailbox,
            reply_to: None,
            in_reply_to: None,
            in_subject: None,
            answerable: false,
            message_id: ID,
            date: DateTime::UNIX_EPOCH.fixed_offset(),
            as_of: "Jan 1, 1970",
        };
        MailContents::new(&envelope, Words::default(), Holds::Test)
    }

    /// A mail to somebody, without bytes.
    fn told(id: &str, person: &str, contents: &str) -> NewMail {
        NewMail {
            message_id: id.to_owned(),
            kind: MailKind::Test,
            person: PersonId::new(person).unwrap(),
            adviser: None,
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            about: String::new(),
            address: format!("{person}@test.example"),
            subject: String::new(),
            body: None,
            queued_at: DateTime::UNIX_EPOCH,
            contents: Some(contents.to_owned()),
            waits_for: Vec::new(),
            hold_s: 0,
        }
    }

    #[tokio::test]
    async fn a_mail_leaves_once_it_has_its_bytes_and_one_that_cannot_be_composed_holds_up_no_other()
    {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
        let mails = [
            told("<bad@test.example>", "ada", "{}"),
            told(ID, "gil", &contents().to_json()),
        ];
        let queued: Result<(), StoreError> = store
            .write(move |t| mails.iter().try_for_each(|mail| outbox::queue(t, mail)))
            .await;
        queued.unwrap();
        let (folder, clock) = (dir.path().join("mail"), SetClock::at(DateTime::UNIX_EPOCH));
        let transport = Transport::Folder(folder.clone());
        let sent = deliver(&store, &transport, &clock).await.unwrap().sent;
        assert_eq!(sent, 0, "as after a crash before the bytes were made");

        let rendered = render(&store).await.unwrap();
        assert_eq!(rendered.mails, 1);
        let failed: Vec<&str> = rendered.failed.iter().map(|(id, _)| id.as_str()).collect();
        assert_eq!(failed, ["<bad@test.example>"]);
        let again = render(&store).await.unwrap();
        assert_eq!((again.mails, again.failed.len()), (0, 1));

        let sent = deliver(&store, &transport, &clock).await.unwrap().sent;
        assert_eq!(sent, 1);
        let mut mails = std::fs::read_dir(folder).unwrap();
        let mail = std::fs::read(mails.next().unwrap().unwrap().path()).unwrap();
        assert_eq!(mail, contents().compose(ID).unwrap().bytes);
    }
}
