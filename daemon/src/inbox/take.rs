//! What becomes of one message.

use crate::store::StoreError;

/// The largest message that is ever read, in bytes: an answer with a sheet of a whole season has less.
pub const MOST_BYTES: u64 = 2 << 20;

/// Where a message lies in a mailbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The account and folder.
    pub folder: String,
    /// The folder's UIDVALIDITY (RFC 3501, 2.3.1.1).
    pub validity: u32,
    /// Its UID.
    pub uid: u32,
    /// Whether it lies among those that were done before: it is then taken without a receipt.
    pub done_before: bool,
}

/// A message as it was fetched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Message {
    /// All of it.
    Whole(Vec<u8>),
    /// Larger than is ever fetched: its size in bytes.
    TooLarge(u64),
}

/// What is to be done with a message in its mailbox.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// It was an answer: it is flagged as read and moved to the folder of those that are done.
    Done,
    /// It is none of ours and stays as it is, unread.
    LeftAlone,
}

/// Takes messages out of mailboxes, each exactly once.
pub trait Taker: Sync {
    /// The UIDVALIDITY and the highest UID of a folder up to which all was taken; `None` for one never seen.
    ///
    /// # Errors
    /// When the records cannot be read.
    fn taken_up_to(
        &self,
        folder: &str,
    ) -> impl Future<Output = Result<Option<(u32, u32)>, StoreError>> + Send;

    /// Takes one message; what it brought and its place are kept in one transaction. One that was taken before brings
    /// nothing again and has the fate that it had: it is handed over once more where it may not have been moved.
    ///
    /// # Errors
    /// When the records cannot be written: the message is asked for again later.
    fn take(
        &self,
        place: Place,
        message: Message,
    ) -> impl Future<Output = Result<Fate, StoreError>> + Send;
}
