//! What people may write in an answer.

/// What people may write in an answer. Words are compared without case and accents; where there are several for
/// one thing, the first is the one that the guide and our own mails use.
#[derive(Debug)]
pub struct AnswerWords {
    /// What follows [`BEGINS`](crate::wording::form::BEGINS) where lines are to be filled in.
    pub form_begins: &'static str,
    /// What follows it in any other mail that may be answered.
    pub mail_begins: &'static str,
    /// What follows [`ENDS`](crate::wording::form::ENDS).
    pub form_ends: &'static str,
    /// What may be written, in the three lines of a round mail's foot.
    pub foot: [&'static str; 3],
    /// Eggs.
    pub eggs: &'static [&'static str],
    /// Moths of both sexes, unsexed.
    pub moths: &'static [&'static str],
    /// Males.
    pub males: &'static [&'static str],
    /// Females.
    pub females: &'static [&'static str],
    /// Eggs that were left on the trap.
    pub left: &'static [&'static str],
    /// Why a trap could not be read.
    pub unreadable: &'static [&'static str],
    /// A part that was changed, in the order of [`Part::ALL`](crate::orchard::Part::ALL).
    pub parts: [&'static [&'static str]; 4],
    /// Words that say nothing more beside a reading.
    pub filler: &'static [&'static str],
    /// That a part was changed, beside its name.
    pub changed: &'static [&'static str],
    /// That something is said of how it was found.
    pub found: &'static [&'static str],
    /// The day before the answer was sent.
    pub yesterday: &'static [&'static str],
    /// The day on which it was sent.
    pub today: &'static [&'static str],
    /// Words that may stand beside a day.
    pub beside_day: &'static [&'static str],
    /// The months, whole; three letters of one are enough.
    pub months: [&'static str; 12],
    /// The days of the week from Monday, whole; three letters of one are enough.
    pub weekdays: [&'static str; 7],
    /// Hull split was seen.
    pub split: &'static [&'static str],
    /// A shake is expected.
    pub shake: &'static [&'static str],
    /// It was shaken.
    pub shaken: &'static [&'static str],
    /// Nobody enters before a day.
    pub closed_until: &'static [&'static str],
    /// The answer before is taken back.
    pub undo: &'static [&'static str],
    /// What was asked about is right.
    pub sure: &'static [&'static str],
    /// Alerts are kept back.
    pub hold: &'static [&'static str],
    /// They may leave.
    pub release: &'static [&'static str],
    /// A line is added to alerts.
    pub note: &'static [&'static str],
    /// A start is set by hand.
    pub start: &'static [&'static str],
    /// The reason follows.
    pub because: &'static [&'static str],
    /// Words of courtesy, which end what a line says.
    pub courtesy: &'static [&'static str],
}
