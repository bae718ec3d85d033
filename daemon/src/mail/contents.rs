//! What a mail is composed from. It is committed with the ledger and kept beside the bytes, which are made from
//! it alone: composed anew it gives the same bytes, but for a line that an adviser adds to an alert that waits.

mod earlier;

use chrono::{DateTime, FixedOffset, Utc};
use duskflight_core::contents::{
    Alert, Chart, Digest, Letter, Receipt, RecordsMissing, RoundMail, Summary,
};
use duskflight_core::id::TrapId;
use duskflight_core::ledger::MailKind;
use duskflight_core::wording::{DateOrder, LOCAL_AUTHORITY, Words};
use serde::{Deserialize, Serialize};

use super::compose::{self, Adviser, AdviserLine, Extras};
use super::gallery::Gallery;
use super::message::{ComposeError, Composed, Envelope, Mailbox};
use crate::config::Person;

/// All that a mail is composed from but its Message-ID, and what was done to it by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MailContents {
    farm: String,
    farm_note: Option<String>,
    /// Left out by versions before, which knew one authority.
    #[serde(default = "local_authority")]
    authority: String,
    from: Named,
    to: Named,
    reply_to: Option<Named>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    in_reply_to: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    in_subject: Option<String>,
    #[serde(default, skip_serializing_if = "is_false")]
    answerable: bool,
    date: DateTime<FixedOffset>,
    as_of: String,
    order: DateOrder,
    holds: Holds,
    acts: Vec<Act>,
}

/// What a mail says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// An adviser's digest.
    Digest {
        /// What it says of the blocks.
        digest: Digest,
        /// What stands beside that.
        extras: Extras,
    },
    /// Key-date alerts.
    Alert {
        /// What they say.
        alert: Alert,
        /// Charts of blocks that there is news of.
        charts: Vec<Chart>,
        /// Whom the recipient can ask.
        adviser: Asked,
    },
    /// A weekly letter.
    Letter {
        /// What it says.
        letter: Letter,
        /// The season at a glance.
        #[serde(default)]
        charts: Vec<Chart>,
        /// Whom the recipient can ask.
        adviser: Asked,
    },
    /// A round on one route.
    Round {
        /// What it says.
        round: RoundMail,
        /// Whom the recipient can ask.
        adviser: Asked,
    },
    /// What was too much for single mails.
    Summary {
        /// What it says.
        summary: Summary,
        /// Whom the recipient can ask about each part.
        advisers: Vec<Asked>,
    },
    /// That records are missing.
    Records {
        /// What it says.
        missing: RecordsMissing,
    },
    /// To whoever looks after the box.
    Operator {
        /// What fails, or works again.
        headline: String,
        /// What there is to know of it.
        lines: Vec<String>,
    },
    /// What was made of answers.
    Receipt {
        /// What it says.
        receipt: Receipt,
    },
    /// Nothing but that mail arrives.
    Test,
}

/// An adviser whom the recipient can ask.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    name: String,
    #[serde(default)]
    licence: Option<String>,
    phone: String,
}

/// A name with its mail address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Named {
    name: String,
    address: String,
}

/// Something that was done by hand to an alert that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Act {
    /// Who did it.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
    /// What.
    pub what: What,
}

/// What can be done by hand to an alert that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// It was held.
    Held,
    /// It was let go.
    Released,
    /// A line was added to it.
    Line(String),
    /// All lines were taken out of it.
    Cleared,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands it over so")]
const fn is_false(value: &bool) -> bool {
    !*value
}

fn local_authority() -> String {
    LOCAL_AUTHORITY.to_owned()
}

impl Holds {
    /// Which kind of mail says it.
    #[must_use]
    pub const fn kind(&self) -> MailKind {
        match self {
            Self::Digest { .. } => MailKind::Digest,
            Self::Alert { .. } => MailKind::Alert,
            Self::Letter { .. } => MailKind::Letter,
            Self::Round { .. } => MailKind::Round,
            Self::Summary { .. } => MailKind::Summary,
            Self::Records { .. } => MailKind::Records,
            Self::Operator { .. } => MailKind::Operator,
            Self::Receipt { .. } => MailKind::Receipt,
            Self::Test => MailKind::Test,
        }
    }

    /// What it is about beside an adviser's blocks: the route of a round.
    #[must_use]
    pub fn about(&self) -> &str {
        match self {
            Self::Round { round, .. } => &round.route,
            _ => "",
        }
    }
}

impl Asked {
    /// As an adviser is declared.
    #[must_use]
    pub fn of(adviser: &Person) -> Self {
        Self {
            name: adviser.name.clone(),
            licence: adviser.licence.clone(),
            phone: adviser.phone.clone().unwrap_or_default(),
        }
    }

    /// The same without lines of theirs.
    pub(super) fn plainly(&self) -> Adviser<'_> {
        self.adding(&[])
    }

    fn adding<'a>(&'a self, adds: &'a [AdviserLine]) -> Adviser<'a> {
        Adviser {
            name: &self.name,
            licence: self.licence.as_deref(),
            phone: &self.phone,
            adds,
        }
    }

    /// A line is the adviser's, also where somebody else entered it, which is said. What is written in
    /// passing is not what the law asks of a recommendation (California Food and Agricultural Code 12003), and
    /// a reader must not take it for one.
    fn line(&self, (by, line): (&str, &str)) -> AdviserLine {
        let entered = if by == self.name {
            String::new()
        } else {
            format!(", entered by {by}")
        };
        AdviserLine {
            from: format!(
                "From your adviser {}{entered} (not the written recommendation)",
                self.name
            ),
            text: line.to_owned(),
        }
    }
}

impl MailContents {
    /// Of a new mail, to which nothing was done.
    #[must_use]
    pub fn new(envelope: &Envelope<'_>, words: Words, holds: Holds) -> Self {
        Self {
            farm: envelope.farm.to_owned(),
            farm_note: envelope.farm_note.map(str::to_owned),
            authority: envelope.authority.to_owned(),
            from: Named::of(envelope.from),
            to: Named::of(envelope.to),
            reply_to: envelope.reply_to.map(Named::of),
            in_reply_to: envelope.in_reply_to.map(str::to_owned),
            in_subject: envelope.in_subject.map(str::to_owned),
            answerable: envelope.answerable,
            date: envelope.date,
            as_of: envelope.as_of.to_owned(),
            order: words.order,
            holds,
            acts: Vec::new(),
        }
    }

    /// As it is stored.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).expect("texts, days and numbers can be written as JSON")
    }

    /// Reads what [`MailContents::to_json`] wrote, or what the version before kept of an alert.
    ///
    /// # Errors
    /// When it is something else, as of a version that kept less.
    pub fn from_json(json: &str) -> Result<Self, serde_json::Error> {
        let read = serde_json::from_str(json);
        read.or_else(|error| match earlier::alert(json) {
            Some(alert) => serde_json::from_value(alert),
            None => Err(error),
        })
    }

    /// Notes what was done.
    pub fn act(&mut self, act: Act) {
        self.acts.push(act);
    }

    /// Whether lines can be added to it: only an alert names one adviser as who adds them.
    #[must_use]
    pub const fn takes_lines(&self) -> bool {
        matches!(self.holds, Holds::Alert { .. })
    }

    /// The lines that were added and not taken out again, oldest first, each with who entered it.
    pub fn lines(&self) -> impl Iterator<Item = (&str, &str)> {
        let cleared = self.acts.iter().rposition(|act| act.what == What::Cleared);
        let since = cleared.map_or(0, |place| place + 1);
        self.acts[since..].iter().filter_map(|act| match &act.what {
            What::Line(line) => Some((act.by.as_str(), line.as_str())),
            What::Held | What::Released | What::Cleared => None,
        })
    }

    /// The subject of the mail.
    #[must_use]
    pub fn subject(&self) -> String {
        let words = self.words();
        let subject = match &self.holds {
            Holds::Digest { digest, .. } => {
                compose::subject_after(words, digest.catch_up, &digest.headline)
            }
            Holds::Alert { alert, .. } => {
                compose::subject_after(words, alert.catch_up, &alert.headline)
            }
            Holds::Letter { letter, .. } => compose::subject(&letter.headline),
            Holds::Round { round, .. } => compose::subject(&round.headline),
            Holds::Summary { summary, .. } => compose::summary_subject(words, summary),
            Holds::Records { missing } => compose::subject(&missing.headline),
            Holds::Operator { headline, .. } => compose::subject(headline),
            Holds::Receipt { receipt } => compose::subject(&receipt.headline),
            Holds::Test => compose::test_subject(&self.farm),
        };
        compose::with_mark(subject, self.in_subject.as_deref())
    }

    /// The traps that it asks readings of, in its order.
    #[must_use]
    pub fn asked_traps(&self) -> Vec<TrapId> {
        match &self.holds {
            Holds::Round { round, .. } => round.traps(),
            _ => Vec::new(),
        }
    }

    /// Composes the mail; the same contents and id give the same bytes.
    ///
    /// # Errors
    /// [`ComposeError`] when an address or the message id cannot be used.
    pub fn compose(&self, message_id: &str) -> Result<Composed, ComposeError> {
        self.compose_with(message_id, &mut Gallery::default())
    }

    /// The same, with charts that were drawn for other mails.
    pub(super) fn compose_with(
        &self,
        message_id: &str,
        gallery: &mut Gallery,
    ) -> Result<Composed, ComposeError> {
        let (envelope, words) = (self.envelope(message_id), self.words());
        match &self.holds {
            Holds::Digest { digest, extras } => {
                let pictures = gallery.pictures(&extras.charts)?;
                compose::digest(&envelope, words, digest, extras, pictures)
            }
            Holds::Alert {
                alert,
                charts,
                adviser,
            } => {
                let lines: Vec<AdviserLine> = self.lines().map(|line| adviser.line(line)).collect();
                let charts = (&charts[..], gallery.pictures(charts)?);
                compose::alert(&envelope, words, alert, adviser.adding(&lines), charts)
            }
            Holds::Letter {
                letter,
                charts,
                adviser,
            } => {
                let charts = (&charts[..], gallery.pictures(charts)?);
                compose::letter(&envelope, letter, adviser.adding(&[]), charts)
            }
            Holds::Round { round, adviser } => {
                compose::round(&envelope, round, adviser.adding(&[]))
            }
            Holds::Summary { summary, advisers } => {
                let advisers = advisers.iter().map(|adviser| adviser.adding(&[]));
                let advisers: Vec<Adviser<'_>> = advisers.collect();
                compose::summary(&envelope, words, summary, &advisers)
            }
            Holds::Records { missing } => compose::records_missing(&envelope, missing),
            Holds::Operator { headline, lines } => {
                compose::operator_mail(&envelope, headline, lines)
            }
            Holds::Receipt { receipt } => compose::receipt(&envelope, receipt),
            Holds::Test => compose::test_mail(&envelope),
        }
    }

    fn envelope<'a>(&'a self, message_id: &'a str) -> Envelope<'a> {
        Envelope {
            farm: &self.farm,
            farm_note: self.farm_note.as_deref(),
            authority: &self.authority,
            from: self.from.mailbox(),
            to: self.to.mailbox(),
            reply_to: self.reply_to.as_ref().map(Named::mailbox),
            in_reply_to: self.in_reply_to.as_deref(),
            in_subject: self.in_subject.as_deref(),
            answerable: self.answerable,
            message_id,
            date: self.date,
            as_of: &self.as_of,
        }
    }

    const fn words(&self) -> Words {
        Words { order: self.order }
    }
}

impl Named {
    fn of(mailbox: Mailbox<'_>) -> Self {
        Self {
            name: mailbox.name.to_owned(),
            address: mailbox.address.to_owned(),
        }
    }

    fn mailbox(&self) -> Mailbox<'_> {
        Mailbox {
            name: &self.name,
            address: &self.address,
        }
    }
}
