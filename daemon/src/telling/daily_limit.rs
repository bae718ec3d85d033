//! So many mails a person and day at the most: what would be too much goes into one summary.

use duskflight_core::contents::{Alert, Chart, Folded, Summary};

use super::TellError;
use super::adviser::{Contents, Plan};
use super::context::{Causes, Context};
use super::mails::{Draft, Purpose, Telling};
use crate::config::Person;
use crate::mail::compose::{self, Adviser};
use crate::mail::contents::AlertContents;
use crate::store::outbox::{self, NewMail};
use duskflight_core::ledger::MailKind;

/// A person's plans as mails, most urgent first, of which there are `digests` already tonight. With room for
/// n mails, n - 1 are single ones and the rest is in the summary. After days of silence all of it is one mail.
pub(super) fn rationed(
    context: &Context<'_>,
    person: &Person,
    plans: Vec<Plan<'_>>,
    digests: usize,
) -> Result<Vec<Telling>, TellError> {
    let (mut mails, recorded): (Vec<_>, Vec<_>) =
        plans.into_iter().partition(|plan| plan.contents.is_some());
    let mut tellings: Vec<Telling> = recorded.into_iter().map(only_recorded).collect();
    if mails.is_empty() {
        return Ok(tellings);
    }
    mails.sort_by_key(|plan| plan.urgency);
    let room = room(context, person, &mails, digests)?;
    let singles = match room {
        room if mails.len() <= room => mails.len(),
        room => room.saturating_sub(1),
    };
    let too_many = mails.split_off(singles);
    for plan in mails {
        tellings.push(single(context, plan)?);
    }
    // Without any room it is told tomorrow.
    if room > 0 && !too_many.is_empty() {
        tellings.extend(summary(context, person, too_many)?);
    }
    Ok(tellings)
}

/// History: it goes into the ledger and into no mail.
fn only_recorded(plan: Plan<'_>) -> Telling {
    Telling {
        person: plan.person.id.clone(),
        notices: plan.notices,
        causes: plan.causes,
        draft: None,
    }
}

/// Mails that a person may still get today; none where a summary of today is made already.
fn room(
    context: &Context<'_>,
    person: &Person,
    mails: &[Plan<'_>],
    digests: usize,
) -> Result<usize, TellError> {
    let day = context.night.as_of;
    let (made, summary_made) = match context.purpose {
        Purpose::Tell => outbox::made_on(context.connection, &person.id, day)?,
        Purpose::Preview | Purpose::PreviewLetters => (0, false),
    };
    if summary_made || context.is_made(MailKind::Summary, person, None)? {
        return Ok(0);
    }
    let most = usize::from(context.config.most_mails_a_day);
    let room = most.saturating_sub(digests + made as usize);
    let catches_up = |plan: &Plan<'_>| match &plan.contents {
        Some(Contents::Alert(alert, _)) => alert.catch_up.is_some(),
        _ => false,
    };
    Ok(match mails.iter().any(catches_up) {
        true => room.min(1),
        false => room,
    })
}

fn single(context: &Context<'_>, plan: Plan<'_>) -> Result<Telling, TellError> {
    let ask = asked(plan.adviser);
    let words = context.config.words;
    let advisers = [plan.adviser];
    let compose = |contents| match contents {
        Contents::Alert(alert, charts) => {
            alert_draft(context, (plan.person, plan.adviser), alert, charts)
        }
        Contents::Letter(letter) => {
            context.draft(MailKind::Letter, plan.person, &advisers, |envelope| {
                compose::letter(envelope, words, &letter, ask)
            })
        }
    };
    Ok(Telling {
        person: plan.person.id.clone(),
        draft: plan.contents.map(compose).transpose()?,
        notices: plan.notices,
        causes: plan.causes,
    })
}

/// An alert, with what it is composed from beside it, so that the adviser can add a line to it.
fn alert_draft(
    context: &Context<'_>,
    (person, adviser): (&Person, &Person),
    alert: Alert,
    charts: Vec<Chart>,
) -> Result<Draft, TellError> {
    let mut json = None;
    let draft = context.draft(MailKind::Alert, person, &[adviser], |envelope| {
        let contents = AlertContents::new(
            envelope,
            context.config.words,
            asked(adviser),
            alert,
            charts,
        );
        json = Some(contents.to_json());
        contents.compose(envelope.message_id)
    })?;
    let mail = NewMail {
        contents: json,
        ..draft.mail
    };
    Ok(Draft { mail, ..draft })
}

fn summary(
    context: &Context<'_>,
    person: &Person,
    plans: Vec<Plan<'_>>,
) -> Result<Option<Telling>, TellError> {
    let (mut notices, mut causes) = (Vec::new(), Causes::default());
    let (mut advisers, mut folded) = (Vec::new(), Vec::new());
    for plan in plans {
        notices.extend(plan.notices);
        causes.extend(plan.causes);
        let Some(contents) = plan.contents else {
            continue;
        };
        advisers.push(plan.adviser);
        let mail = match contents {
            Contents::Alert(alert, _) => Folded::Alert(alert),
            Contents::Letter(letter) => Folded::Letter(letter),
        };
        folded.push((plan.adviser.id.clone(), mail));
    }
    let Some(contents) = Summary::of(context.night.as_of, folded) else {
        return Ok(None);
    };
    let asked: Vec<Adviser<'_>> = advisers.iter().copied().map(asked).collect();
    let draft = context.draft(MailKind::Summary, person, &advisers, |envelope| {
        compose::summary(envelope, context.config.words, &contents, &asked)
    })?;
    Ok(Some(Telling {
        person: person.id.clone(),
        notices,
        causes,
        draft: Some(draft),
    }))
}

fn asked(adviser: &Person) -> Adviser<'_> {
    Adviser {
        name: &adviser.name,
        phone: adviser.phone.as_deref().unwrap_or_default(),
        adds: &[],
    }
}
