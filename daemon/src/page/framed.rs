//! The frame of pages that somebody looks at: where they can go, the day, the caution.

use duskflight_core::wording::caution;

use super::frame::{Frame, Link};
use super::guest::Guest;
use super::visitor::Looks;

/// What surrounds a page that somebody looks at. `here`: the way by which one gets to it, if there is one.
pub(super) fn framed(guest: &Guest, title: &str, here: &str) -> Frame {
    let config = &guest.view.config;
    let looks = guest.looks();
    let link = |to: &str, words: &str| Link {
        to: to.to_owned(),
        words: words.to_owned(),
        is_here: to == here,
    };
    let mut links = vec![link("/", "Farm")];
    if looks.may_enter(&guest.view.night.orchard) {
        links.push(link("/round", "Rounds"));
    }
    links.extend([
        link("/stations", "Stations"),
        link("/mails", "Mails"),
        link("/reports", "Reports"),
    ]);
    if looks.minds_the_work() {
        links.push(link("/health", "Health"));
    }
    Frame {
        title: title.to_owned(),
        farm: config.farm.clone(),
        day: config.words.long_day(guest.view.day()),
        links,
        who: match looks {
            Looks::As(person) => Some(person.name.clone()),
            Looks::AtAll | Looks::Nobody => None,
        },
        made: config.moment_words(guest.view.made),
        trouble: config.trouble.clone().filter(|_| looks.minds_the_work()),
        note: config.note.clone(),
        caution: caution(&config.authority),
    }
}
