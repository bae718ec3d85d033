//! When a weekly letter, or what is gathered for a day of the week, is due, and what a letter says was told.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate, Weekday};

use super::{Hearer, Letters, MadeMails, Pace, Tonight};
use crate::id::PersonId;
use crate::ledger::{Change, MailKind, Notice, Told};

/// Whether a grower gets a letter about an adviser's blocks tonight: it is its day; or nobody was told on its
/// day, or the letter of that day could not be delivered. In season only.
pub(super) fn is_due(
    person: &Hearer,
    adviser: &PersonId,
    made: &MadeMails,
    tonight: &Tonight,
) -> bool {
    let Some(weekday) = person.letter.filter(|_| tonight.pace == Pace::Daily) else {
        return false;
    };
    tonight.letters == Letters::All
        || falls_due(weekday, MailKind::Letter, person, adviser, made, tonight)
}

/// Whether key dates are told tonight to a person who gathers them, if they do.
pub(super) fn are_gathered(
    person: &Hearer,
    adviser: &PersonId,
    made: &MadeMails,
    tonight: &Tonight,
) -> bool {
    let Some(weekday) = person.key_dates else {
        return true;
    };
    falls_due(weekday, MailKind::Alert, person, adviser, made, tonight)
}

/// Whether what is due on a day of the week is due tonight: it is the day; or nobody was told on it, or the mail of
/// that day could not be delivered.
fn falls_due(
    weekday: Weekday,
    kind: MailKind,
    person: &Hearer,
    adviser: &PersonId,
    made: &MadeMails,
    tonight: &Tonight,
) -> bool {
    let today = tonight.day;
    let mut days = today.iter_days().rev().take(7);
    let its_day = days.find(|day| day.weekday() == weekday).unwrap_or(today);
    let missed = made
        .digest_catch_up(adviser, tonight.owed_before, today)
        .is_some_and(|catch_up| catch_up.since < its_day);
    let mut folded = made.folded(&person.id, adviser);
    its_day == today || missed || folded.any(|folded| folded == kind)
}

/// What a person was told last of each event, tonight's notices included. History was told by nobody.
pub(super) fn told(before: &[&Told], tonight: &[Notice], today: NaiveDate) -> Vec<Told> {
    let news = tonight
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)));
    let news: Vec<Told> = news.map(|notice| notice.entered(today, None)).collect();
    let key = |told: &Told| (told.block.clone(), told.insect.clone(), told.event.clone());
    let told_anew: BTreeSet<_> = news.iter().map(key).collect();
    let before = before.iter().filter(|told| !told_anew.contains(&key(told)));
    before.map(|told| (*told).clone()).chain(news).collect()
}
