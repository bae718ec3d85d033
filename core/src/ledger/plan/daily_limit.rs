//! So many mails a person and day at the most: what would be too much goes into one summary.

use super::{MadeMails, MailPlan, Part, Tells, Tonight};
use crate::id::PersonId;
use crate::ledger::MailKind;

/// A person's parts as mails, most urgent first, of which there are `digests` already tonight. With room for
/// n mails, n - 1 are single ones and the rest is in the summary. After days of silence all of it is one mail.
pub(super) fn limited<'a>(
    person: &'a PersonId,
    parts: Vec<Part<'a>>,
    digests: usize,
    made: &MadeMails,
    tonight: &Tonight,
) -> Vec<MailPlan<'a>> {
    let plan = |kind, parts| MailPlan {
        kind,
        person,
        parts,
        waits_for_release: false,
    };
    let (recorded, mut mails): (Vec<_>, Vec<_>) = parts
        .into_iter()
        .partition(|part| part.tells == Tells::Recorded);
    let recorded = recorded.into_iter().map(|part| plan(None, vec![part]));
    let mut plans: Vec<MailPlan<'a>> = recorded.collect();
    mails.sort_by_key(Part::urgency);
    let room = room(person, &mails, digests, made, tonight);
    let singles = match room {
        room if mails.len() <= room => mails.len(),
        room => room.saturating_sub(1),
    };
    let too_many = mails.split_off(singles);
    let singles = mails.into_iter();
    plans.extend(singles.map(|part| plan(part.tells.kind(), vec![part])));
    // Without any room it is told tomorrow.
    if room > 0 && !too_many.is_empty() {
        plans.push(plan(Some(MailKind::Summary), too_many));
    }
    plans
}

/// Mails that a person may still get today; none where a summary of today is made already.
fn room(
    person: &PersonId,
    mails: &[Part<'_>],
    digests: usize,
    made: &MadeMails,
    tonight: &Tonight,
) -> usize {
    if made.contains(MailKind::Summary, person, None, "") {
        return 0;
    }
    let room = tonight
        .most_mails
        .saturating_sub(digests + made.count(person));
    let catches_up = |part: &Part<'_>| part.tells == Tells::Alert && part.catch_up.is_some();
    match mails.iter().any(catches_up) {
        true => room.min(1),
        false => room,
    }
}
