//! Mails that do not leave before somebody has looked at them.

use std::collections::BTreeMap;

use super::MailPlan;
use crate::id::PersonId;
use crate::ledger::{MailKind, taken_back};

/// More than this is never taken back from a person at once: many dates seldom fall together, and records that are
/// missing or wrong take them all.
const MOST_TAKEN_BACK: usize = 5;
/// So many are looked at where they are a large share of what the person was told.
const FEW_TAKEN_BACK: usize = 3;
/// A large share: one in so many.
const ONE_IN: usize = 5;

/// What a person was told that stands, and how much of it is taken back tonight.
#[derive(Default)]
struct Standing {
    told: usize,
    taken_back: usize,
}

impl Standing {
    const fn is_taken_back_at_large(&self) -> bool {
        self.taken_back > MOST_TAKEN_BACK
            || self.taken_back >= FEW_TAKEN_BACK && self.taken_back * ONE_IN >= self.told
    }
}

/// Marks mails to others than advisers that change what was told by variety, and those that take much back from
/// one person at once.
pub(super) fn mark(plans: &mut [MailPlan<'_>]) {
    let mut people: BTreeMap<PersonId, Standing> = BTreeMap::new();
    for plan in plans.iter().filter(|plan| is_news_to_others(plan)) {
        let standing = people.entry(plan.person.clone()).or_default();
        for part in &plan.parts {
            let stands = part.told.iter().filter(|told| told.value.is_some());
            standing.told += stands.count();
            standing.taken_back += taken_back(&part.notices).count();
        }
    }
    for plan in plans.iter_mut().filter(|plan| is_news_to_others(plan)) {
        let mut notices = plan.parts.iter().flat_map(|part| &part.notices);
        let at_large = people[plan.person].is_taken_back_at_large();
        plan.waits_for_release =
            notices.any(|notice| notice.to_release || at_large && notice.change.takes_back());
    }
}

const fn is_news_to_others(plan: &MailPlan<'_>) -> bool {
    matches!(plan.kind, Some(MailKind::Alert | MailKind::Summary))
}
