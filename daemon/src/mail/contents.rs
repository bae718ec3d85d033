//! What a grower's alert is composed from. It is kept beside the bytes, so that a line of the adviser's can
//! be added while the alert waits; composed anew without one it gives the same bytes.

use chrono::{DateTime, FixedOffset, Utc};
use duskflight_core::contents::{Alert, Chart};
use duskflight_core::wording::{DateOrder, Words};
use serde::{Deserialize, Serialize};

use super::compose::{self, Adviser, AdviserLine};
use super::message::{ComposeError, Composed, Envelope, Mailbox};

/// All that an alert is composed from but its Message-ID, and what was done to it by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlertContents {
    farm: String,
    farm_note: Option<String>,
    from: Named,
    to: Named,
    reply_to: Option<Named>,
    date: DateTime<FixedOffset>,
    as_of: String,
    order: DateOrder,
    adviser: String,
    phone: String,
    alert: Alert,
    charts: Vec<Chart>,
    acts: Vec<Act>,
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

impl AlertContents {
    /// Of a new alert, to which nothing was done.
    #[must_use]
    pub fn new(
        envelope: &Envelope<'_>,
        words: Words,
        adviser: Adviser<'_>,
        alert: Alert,
        charts: Vec<Chart>,
    ) -> Self {
        Self {
            farm: envelope.farm.to_owned(),
            farm_note: envelope.farm_note.map(str::to_owned),
            from: Named::of(envelope.from),
            to: Named::of(envelope.to),
            reply_to: envelope.reply_to.map(Named::of),
            date: envelope.date,
            as_of: envelope.as_of.to_owned(),
            order: words.order,
            adviser: adviser.name.to_owned(),
            phone: adviser.phone.to_owned(),
            alert,
            charts,
            acts: Vec::new(),
        }
    }

    /// As it is stored.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).expect("texts, days and numbers can be written as JSON")
    }

    /// Reads what [`AlertContents::to_json`] wrote.
    ///
    /// # Errors
    /// When it is something else, as of a version that kept less.
    pub fn from_json(json: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(json)
    }

    /// Notes what was done.
    pub fn act(&mut self, act: Act) {
        self.acts.push(act);
    }

    /// The name of the adviser that the alert names.
    #[must_use]
    pub fn adviser(&self) -> &str {
        &self.adviser
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

    /// Composes the mail; the same contents and id give the same bytes.
    ///
    /// # Errors
    /// [`ComposeError`] when an address or the message id cannot be used.
    pub fn compose(&self, message_id: &str) -> Result<Composed, ComposeError> {
        let lines: Vec<AdviserLine> = self.lines().map(|line| self.adviser_line(line)).collect();
        let envelope = Envelope {
            farm: &self.farm,
            farm_note: self.farm_note.as_deref(),
            from: self.from.mailbox(),
            to: self.to.mailbox(),
            reply_to: self.reply_to.as_ref().map(Named::mailbox),
            message_id,
            date: self.date,
            as_of: &self.as_of,
        };
        let adviser = Adviser {
            name: &self.adviser,
            phone: &self.phone,
            adds: &lines,
        };
        let words = Words { order: self.order };
        compose::alert(&envelope, words, &self.alert, adviser, &self.charts)
    }

    /// A line is the adviser's, also where somebody else entered it, which is said.
    fn adviser_line(&self, (by, line): (&str, &str)) -> AdviserLine {
        let entered = if by == self.adviser {
            String::new()
        } else {
            format!(", entered by {by}")
        };
        AdviserLine {
            from: format!("From your adviser {}{entered}", self.adviser),
            text: line.to_owned(),
        }
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
