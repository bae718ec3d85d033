//! Where answers to mails come in.

use std::path::PathBuf;

use super::imap::ImapServer;

/// Where answers come in.
#[derive(Debug, Clone)]
pub struct Inbox {
    /// The address to which they go.
    pub address: String,
    /// Whether that address may be written with a tag, as `office+tag@farm.example`: else the tag stands in
    /// subjects.
    pub tagged: bool,
    /// A folder of messages that is looked through, as files or a maildir.
    pub folder: Option<PathBuf>,
    /// The name by which the receiving server signs what it found out about a sender, as the first word of its
    /// `Authentication-Results` (RFC 8601); nobody's are believed where it is not given.
    pub verified_by: Option<String>,
    /// A mailbox that is looked through.
    pub imap: Option<ImapServer>,
}
