//! The counter at which answers are handed in, wherever they come from.

use std::sync::Arc;

use super::take::{Fate, Message, Place, Taker};
use super::{receipts, taken};
use crate::clock::Clock;
use crate::config::Config;
use crate::crash;
use crate::mail::left::Left;
use crate::store::{Store, StoreError, answers};

/// Takes answers into the records.
#[derive(Debug, Clone)]
pub struct Counter {
    /// The records.
    pub store: Store,
    /// The configuration.
    pub config: Arc<Config>,
    /// The time at which they come in.
    pub clock: Arc<dyn Clock>,
}

impl Counter {
    /// Queues receipts for answers that have none; gives how many.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn write_receipts(&self) -> Result<usize, StoreError> {
        let waits = self
            .store
            .read(|c| Ok::<_, StoreError>(!answers::without_receipt(c)?.is_empty()));
        if !waits.await? {
            return Ok(0);
        }
        crash::point("before receipts are written");
        let config = Arc::clone(&self.config);
        let write = move |t: &rusqlite::Transaction<'_>, now| receipts::queue(t, &config, now);
        self.store.write_at(&self.clock, write).await
    }

    /// Takes a message, or gives why it is left alone.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn hand_in(
        &self,
        bytes: Vec<u8>,
        with_receipt: bool,
    ) -> Result<Option<Left>, StoreError> {
        self.hand_in_from("", Message::Whole(bytes), with_receipt)
            .await
    }

    /// The same of one that lies in a place, which names it where it is too large to be read.
    pub(super) async fn hand_in_from(
        &self,
        place: &str,
        message: Message,
        with_receipt: bool,
    ) -> Result<Option<Left>, StoreError> {
        let (config, place) = (Arc::clone(&self.config), place.to_owned());
        let act = move |t: &rusqlite::Transaction<'_>, now| {
            taken::take(t, &config, &message, &place, with_receipt, now)
        };
        self.store.write_at(&self.clock, act).await
    }
}

impl Taker for Counter {
    async fn taken_up_to(&self, folder: &str) -> Result<Option<(u32, u32)>, StoreError> {
        let folder = folder.to_owned();
        self.store
            .read(move |c| answers::taken_up_to(c, &folder))
            .await
    }

    async fn take(&self, place: Place, message: Message) -> Result<Fate, StoreError> {
        let config = Arc::clone(&self.config);
        let act = move |t: &rusqlite::Transaction<'_>, now| {
            let name = format!("{} {} {}", place.folder, place.validity, place.uid);
            let left = taken::take(t, &config, &message, &name, !place.done_before, now)?;
            answers::looked_through(t, &place.folder, (place.validity, place.uid))?;
            Ok(left.map_or(Fate::Done, |_| Fate::LeftAlone))
        };
        self.store.write_at(&self.clock, act).await
    }
}
