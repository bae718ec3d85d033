//! `[inbox]`, checked.

use super::imap;
use super::reader::Reader;
use crate::config::Inbox;
use crate::config::file::InboxPart;

pub(super) fn inbox(
    reader: &mut Reader<'_>,
    part: Option<InboxPart>,
    sender: &str,
) -> Option<Inbox> {
    let part = part?;
    if let Some(address) = &part.address {
        reader.address(&["inbox", "address"], address);
    }
    if part.verified_by.as_deref().is_some_and(str::is_empty) {
        reader.at(
            &["inbox", "verified_by"],
            " = \"\": write the receiving server's name, or leave it out",
        );
    }
    Some(Inbox {
        address: part.address.unwrap_or_else(|| sender.to_owned()),
        tagged: part.tagged,
        folder: part.folder.map(|path| reader.dir.join(path)),
        verified_by: part.verified_by,
        imap: part.imap.and_then(|part| imap::server(reader, part)),
    })
}
