//! When a grower's weekly letter is due, and what it says was told.

use chrono::{Datelike, NaiveDate};
use duskflight_core::ledger::{Change, Notice, Told};

use super::context::Context;
use super::mails::Purpose;
use crate::config::{Pace, Person};
use crate::store::StoreError;
use duskflight_core::ledger::MailKind;

/// Whether a grower gets a letter about an adviser's blocks tonight: it is its day; or nobody was told on its
/// day, or the letter of that day could not be delivered. In season only.
pub(super) fn is_due(
    context: &Context<'_>,
    person: &Person,
    adviser: &Person,
) -> Result<bool, StoreError> {
    let Some(weekday) = person.letter.filter(|_| context.pace == Pace::Daily) else {
        return Ok(false);
    };
    if context.purpose == Purpose::PreviewLetters {
        return Ok(true);
    }
    let today = context.night.as_of;
    let mut days = today.iter_days().rev().take(7);
    let its_day = days.find(|day| day.weekday() == weekday).unwrap_or(today);
    let folded = |kind: MailKind| {
        let mut mails = context.folded(person, adviser);
        mails.any(|mail| mail.kind == kind)
    };
    let missed = context
        .digest_catch_up(adviser)?
        .is_some_and(|catch_up| catch_up.since < its_day);
    Ok(its_day == today || missed || folded(MailKind::Letter))
}

/// What a person was told last of each event, tonight's notices included. History was told by nobody.
pub(super) fn told(before: &[Told], tonight: &[Notice], today: NaiveDate) -> Vec<Told> {
    let news = tonight
        .iter()
        .filter(|notice| !matches!(notice.change, Change::History(_)));
    let news = news.map(|notice| notice.entered(today, None));
    let news: Vec<Told> = news.collect();
    let told_anew = |told: &&Told| {
        let same = |new: &Told| {
            (&new.block, &new.insect, &new.event) == (&told.block, &told.insect, &told.event)
        };
        !news.iter().any(same)
    };
    before
        .iter()
        .filter(told_anew)
        .cloned()
        .chain(news.clone())
        .collect()
}
