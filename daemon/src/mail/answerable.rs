//! Mails that can be answered: the mark by which an answer is known, and where answers go.

use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailIdentity;

use super::mark::MarkKey;
use crate::config::Config;
use crate::hash::hash;

/// How one mail is named and answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answerable {
    /// Its Message-ID, derived from its identity and the sender's domain of today.
    pub message_id: String,
    /// The address to which answers go, where the program reads them.
    pub address: Option<String>,
    /// The mark, where it stands in the subject.
    pub in_subject: Option<String>,
}

impl Answerable {
    /// Of a mail; one that nobody answers, or where no answers are read, has no mark.
    #[must_use]
    pub fn of(config: &Config, key: &MarkKey, mail: &MailIdentity) -> Self {
        let inbox = config.inbox.as_ref();
        let marked = inbox.and_then(|inbox| Some((inbox, key.mark(mail)?)));
        let mark = marked.as_ref().map(|(_, mark)| mark.as_str());
        Self {
            message_id: message_id(config, mail, mark),
            address: marked.as_ref().map(|(inbox, mark)| match inbox.tagged {
                true => with_tag(&inbox.address, mark),
                false => inbox.address.clone(),
            }),
            in_subject: marked
                .filter(|(inbox, _)| !inbox.tagged)
                .map(|(_, mark)| mark),
        }
    }
}

fn message_id(config: &Config, mail: &MailIdentity, mark: Option<&str>) -> String {
    let adviser = mail.adviser.as_ref().map_or("", PersonId::as_str);
    let ids = [mail.person.as_str(), adviser, &mail.about].map(str::as_bytes);
    let ids = match mail.about.is_empty() {
        true => &ids[..2],
        false => &ids,
    };
    let domain = config.mail_from.domain();
    let (kind, day) = (mail.kind.name(), mail.day);
    match mark {
        // It says all of that itself, and headers have no room for both.
        Some(mark) => format!("<{mark}@{domain}>"),
        None => format!("<{kind}.{day}.{}@{domain}>", hash(ids)),
    }
}

/// An address with a tag behind its local part (RFC 5233), which mail servers deliver as without.
fn with_tag(address: &str, tag: &str) -> String {
    match address.rsplit_once('@') {
        Some((local, domain)) => format!("{local}+{tag}@{domain}"),
        None => address.to_owned(),
    }
}
