//! One folder looked through: what is new in it by number, each message handed over and filed away.

use std::collections::BTreeMap;

use async_imap::imap_proto::{AttributeValue, MailboxDatum, Response, ResponseCode};
use chrono::NaiveDate;

use super::connect::quoted;
use super::talk::Done;
use super::why::Why;
use super::{Collected, Session};
use crate::crash;
use crate::inbox::take::{Fate, MOST_BYTES, Message, Place, Taker};

/// How many messages of a folder are looked at in one go.
const AT_ONCE: usize = 200;
/// A large message over a slow line takes so many times as long as another answer.
const FOR_A_MESSAGE: u32 = 5;

impl Session {
    /// Both folders, the older messages first. What is new waits until all that was done before is known again.
    pub(super) async fn look_through(
        &mut self,
        taker: &impl Taker,
        since: NaiveDate,
    ) -> Result<Collected, Why> {
        let validity = self.open_done_folder().await?;
        let folder = self.server.done_folder.clone();
        let before = self.messages(taker, &folder, validity, true, None).await?;
        if before.more {
            return Ok(before);
        }
        let folder = self.server.folder.clone();
        let validity = match self.select(&folder).await? {
            Ok(validity) => validity,
            Err(said) => return Err(Why::NoFolder { folder, said }),
        };
        self.talk.news = false;
        let new = self.messages(taker, &folder, validity, false, Some(since));
        let new = new.await?;
        self.fresh = false;
        Ok(Collected {
            taken: before.taken + new.taken,
            ..new
        })
    }

    /// Opens the folder of what is done, and makes it where it is missing.
    async fn open_done_folder(&mut self) -> Result<u32, Why> {
        let folder = self.server.done_folder.clone();
        if let Ok(validity) = self.select(&folder).await? {
            return Ok(validity);
        }
        let name = quoted(&folder);
        let made = self.talk.ask(&format!("CREATE {name}"), |_| {}).await?;
        // So that mail programs show it; where they do so anyway it may be refused.
        self.talk.ask(&format!("SUBSCRIBE {name}"), |_| {}).await?;
        match (self.select(&folder).await?, made) {
            (Ok(validity), _) => Ok(validity),
            (Err(_), Done::No(said)) | (Err(said), Done::Ok) => {
                Err(Why::NoDoneFolder { folder, said })
            }
        }
    }

    /// Opens a folder; gives its UIDVALIDITY, or the server's reason.
    async fn select(&mut self, folder: &str) -> Result<Result<u32, String>, Why> {
        let mut validity = None;
        self.selected = None;
        let command = format!("SELECT {}", quoted(folder));
        let opened = self.talk.ask(&command, |response| {
            if let Response::Data { outcome, .. } = response
                && let Some(ResponseCode::UidValidity(number)) = outcome.code
            {
                validity = Some(number);
            }
        });
        if let Done::No(said) = opened.await? {
            return Ok(Err(said));
        }
        self.selected = Some(folder.to_owned());
        // Without one no number means anything for longer than this connection (RFC 3501, 2.3.1.1).
        validity.map(Ok).ok_or(Why::NoAnswer)
    }

    async fn messages(
        &mut self,
        taker: &impl Taker,
        folder: &str,
        validity: u32,
        done_before: bool,
        since: Option<NaiveDate>,
    ) -> Result<Collected, Why> {
        let (host, username) = (&self.server.host, &self.server.username);
        let place_of = Place {
            folder: format!("{username} at {host}: {folder}"),
            validity,
            uid: 0,
            done_before,
        };
        let mark = taker.taken_up_to(&place_of.folder).await?;
        let mark = mark.filter(|(of, _)| *of == validity).map(|(_, uid)| uid);
        // The program may have ended before the last one was moved: whoever takes it again has the same fate for it.
        let again = self.fresh && !done_before && self.can_move();
        let first = match mark {
            Some(uid) if again => uid,
            Some(uid) => uid.saturating_add(1),
            None => 1,
        };
        let since = since.filter(|_| mark.is_none());
        let mut uids = self.uids(first, since).await?;
        let are_more = uids.len() > AT_ONCE;
        uids.truncate(AT_ONCE);
        let (mut collected, mut refused) = (Collected::default(), None);
        for (uid, size) in self.sizes(&uids).await? {
            let message = match size > MOST_BYTES {
                true => Some(Message::TooLarge(size)),
                false => self.message(uid).await?,
            };
            // Somebody else has moved it meanwhile.
            let Some(message) = message else {
                continue;
            };
            crash::point("answer fetched");
            let place = Place {
                uid,
                ..place_of.clone()
            };
            let fate = taker.take(place, message).await?;
            crash::point("answer taken");
            collected.taken += 1;
            if fate == Fate::Done && !done_before {
                match self.file_away(uid).await {
                    Ok(()) => collected.done += 1,
                    // One that cannot be moved stays, and stops none behind it.
                    Err(why @ Why::Refused { .. }) => refused = Some(why),
                    Err(why) => return Err(why),
                }
            }
        }
        if let Some(why) = refused {
            return Err(why);
        }
        // A look that brought nothing would bring the same again at once.
        collected.more = are_more && collected.taken > 0;
        Ok(collected)
    }

    /// The numbers from one on, in ascending order.
    async fn uids(&mut self, first: u32, since: Option<NaiveDate>) -> Result<Vec<u32>, Why> {
        let since = since.map(|day| day.format(" SINCE %-d-%b-%Y").to_string());
        let command = format!("UID SEARCH UID {first}:*{}", since.unwrap_or_default());
        let mut uids = Vec::new();
        let found = self.talk.ask(&command, |response| {
            if let Response::MailboxData(MailboxDatum::Search(numbers)) = response {
                uids.extend(numbers);
            }
        });
        found.await?.or_refused("search")?;
        // The star is the highest number there is, also where that is below the first.
        uids.retain(|uid| *uid >= first);
        uids.sort_unstable();
        uids.dedup();
        Ok(uids)
    }

    /// The sizes of those that are still there, in bytes.
    async fn sizes(&mut self, uids: &[u32]) -> Result<BTreeMap<u32, u64>, Why> {
        let mut sizes = BTreeMap::new();
        if uids.is_empty() {
            return Ok(sizes);
        }
        let set: Vec<String> = uids.iter().map(u32::to_string).collect();
        let command = format!("UID FETCH {} (UID RFC822.SIZE)", set.join(","));
        let found = self.talk.ask(&command, |response| {
            if let Response::Fetch(_, attributes) = response {
                let uid = uid_in(attributes).filter(|uid| uids.contains(uid));
                let size = attributes.iter().find_map(|attribute| match attribute {
                    AttributeValue::Rfc822Size(size) => Some(u64::from(*size)),
                    _ => None,
                });
                sizes.extend(uid.zip(size));
            }
        });
        found.await?.or_refused("say how large messages are")?;
        Ok(sizes)
    }

    /// A message, as it is, without being flagged as read. Sizes that servers give are not always right: a byte more
    /// than the largest that is taken shows that it is larger.
    async fn message(&mut self, uid: u32) -> Result<Option<Message>, Why> {
        let most = MOST_BYTES + 1;
        let command = format!("UID FETCH {uid} (UID BODY.PEEK[]<0.{most}>)");
        let patience = self.server.patience * FOR_A_MESSAGE;
        let mut message = None;
        let fetched = self.talk.ask_within(patience, &command, &[], |response| {
            let Response::Fetch(_, attributes) = response else {
                return;
            };
            let body = attributes.iter().find_map(|attribute| match attribute {
                AttributeValue::BodySection {
                    section: None,
                    data,
                    ..
                } => data.as_deref(),
                _ => None,
            });
            if uid_in(attributes) == Some(uid) {
                message = body.map(<[u8]>::to_vec);
            }
        });
        fetched.await?.or_refused("give a message")?;
        Ok(message.map(|bytes| {
            let size = bytes.len() as u64;
            match size > MOST_BYTES {
                true => Message::TooLarge(size),
                false => Message::Whole(bytes),
            }
        }))
    }

    /// Whether what is done leaves the folder.
    const fn can_move(&self) -> bool {
        self.offers.moves || self.offers.removes_one
    }

    /// Flags an answer as read and moves it. A server that can neither move nor remove one message keeps it where it
    /// is, beside its copy: anything else would remove others, too.
    async fn file_away(&mut self, uid: u32) -> Result<(), Why> {
        let done = quoted(&self.server.done_folder);
        let flag = format!("UID STORE {uid} +FLAGS.SILENT (\\Seen)");
        self.change(&flag, "flag an answer as read").await?;
        crash::point("answer flagged");
        if self.offers.moves {
            let command = format!("UID MOVE {uid} {done}");
            self.change(&command, "move an answer").await?;
        } else {
            let command = format!("UID COPY {uid} {done}");
            self.change(&command, "copy an answer").await?;
            crash::point("answer copied");
            if self.offers.removes_one {
                let flag = format!("UID STORE {uid} +FLAGS.SILENT (\\Deleted)");
                self.change(&flag, "flag an answer as moved").await?;
                let command = format!("UID EXPUNGE {uid}");
                self.change(&command, "remove what was copied").await?;
            }
        }
        crash::point("answer moved");
        Ok(())
    }

    async fn change(&mut self, command: &str, what: &'static str) -> Result<(), Why> {
        self.talk.ask(command, |_| {}).await?.or_refused(what)
    }
}

fn uid_in(attributes: &[AttributeValue<'_>]) -> Option<u32> {
    attributes.iter().find_map(|attribute| match attribute {
        AttributeValue::Uid(uid) => Some(*uid),
        _ => None,
    })
}
