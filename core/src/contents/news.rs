//! What is new since the last telling, most important first, and what it rests on.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, InsectId, PersonId};
use crate::ledger::rank::{NEVER_LEADS, rank};
use crate::ledger::{Event, Notice};
use crate::season::BlockSeason;
use crate::wording::gather::{gathered, grouped, name_list};
use crate::wording::sentence::{Sentence, told_reading};
use crate::wording::words::Words;
use crate::wording::work::plural;

use super::headline::Headline;

/// More news than this is counted by its kind.
const MOST_TOLD: usize = 120;

/// Something new, of one block or of several alike.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewsItem {
    /// The blocks.
    pub blocks: String,
    /// What is told, in one sentence.
    pub says: String,
    /// What it rests on, in one line, where it is one block's.
    pub rests_on: Option<String>,
}

/// One thing that is new in one block.
pub(crate) struct News<'a> {
    season: &'a BlockSeason,
    /// Notices that one sentence tells.
    notices: Vec<&'a Notice>,
    sentence: Sentence,
}

/// What notices tell, most important first, then in the order of the blocks. Parts that are past their service life
/// stand in the trap work alone.
pub(crate) fn news<'a>(
    words: Words,
    seasons: &[&'a BlockSeason],
    notices: &'a [Notice],
) -> Vec<News<'a>> {
    let mut about: BTreeMap<(&BlockId, &InsectId), Vec<&'a Notice>> = BTreeMap::new();
    let told = notices
        .iter()
        .filter(|notice| !matches!(notice.event, Event::PastServiceLife(..)));
    for notice in told {
        about
            .entry((&notice.block, &notice.insect))
            .or_default()
            .push(notice);
    }
    let mut of_season = |season: &&'a BlockSeason| -> Vec<News<'a>> {
        let season = *season;
        let notices = about
            .remove(&(&season.block.id, &season.insect))
            .unwrap_or_default();
        let groups = gathered(&notices).into_iter();
        groups
            .map(|notices| News {
                season,
                sentence: words.told(&notices, season),
                notices,
            })
            .collect()
    };
    let mut news: Vec<News<'_>> = seasons.iter().flat_map(&mut of_season).collect();
    news.sort_by_key(|news| rank(news.notices[0]));
    news
}

/// What some notices will tell, a sentence each behind its block's name.
#[must_use]
pub fn foretold(words: Words, seasons: &[&BlockSeason], notices: &[Notice]) -> Vec<String> {
    let news = news(words, seasons, notices).into_iter();
    news.map(|news| format!("{}: {}", news.season.block.name, news.sentence.whole()))
        .collect()
}

/// The most important of the news for a subject that begins with the day; `None` where none leads.
pub(crate) fn headline(news: &[News<'_>], day: &str) -> Option<String> {
    let leading = news
        .iter()
        .filter(|news| rank(news.notices[0]) < NEVER_LEADS);
    let alike = grouped(leading.map(|news| {
        let name = news.season.block.name.as_str();
        (news.sentence.brief.as_str(), name)
    }));
    let (brief, blocks) = alike.first()?;
    let headline = Headline {
        begins: day.to_owned(),
        brief,
        blocks: blocks.clone(),
    };
    Some(headline.words(alike.len() - 1))
}

/// All that is new, in whole sentences, each once.
pub(crate) fn told(
    words: Words,
    news: &[News<'_>],
    name: &dyn Fn(&PersonId) -> String,
    why: impl Fn(&Notice) -> Option<String>,
) -> Vec<NewsItem> {
    if news.len() > MOST_TOLD {
        return counted(words, news, name);
    }
    let told = grouped(news.iter().map(|news| {
        let sentence = news.sentence.whole();
        let says = match why(news.notices[0]) {
            Some(why) => format!("{sentence}; {why}"),
            None => sentence,
        };
        (says, news)
    }));
    let item = |(says, of): (String, Vec<&News<'_>>)| {
        let names: Vec<&str> = of
            .iter()
            .map(|news| news.season.block.name.as_str())
            .collect();
        let leads = rank(of[0].notices[0]) < NEVER_LEADS;
        NewsItem {
            blocks: name_list(&names),
            rests_on: match of[..] {
                [one] if leads => rests_on(words, &one.notices[0].event, one.season),
                _ => None,
            },
            says,
        }
    };
    told.into_iter().map(item).collect()
}

/// News of more blocks than anybody reads one by one: each kind with the days it spans, and how many blocks of whom.
fn counted(words: Words, news: &[News<'_>], name: &dyn Fn(&PersonId) -> String) -> Vec<NewsItem> {
    let alike = grouped(news.iter().map(|news| (news.sentence.brief.as_str(), news)));
    let item = |(brief, of): (&str, Vec<&News<'_>>)| {
        let growers = grouped(of.iter().map(|news| (&news.season.block.grower, ())));
        let growers = growers.iter();
        let growers = growers.map(|(grower, blocks)| format!("{} {}", name(grower), blocks.len()));
        let growers: Vec<String> = growers.collect();
        let days = of
            .iter()
            .filter_map(|news| news.notices[0].change.value()?.day());
        let days: Vec<NaiveDate> = days.collect();
        let span = days.iter().min().zip(days.iter().max());
        let span = span.map_or_else(String::new, |(first, last)| {
            format!(", {}", words.stretch(*first, *last))
        });
        NewsItem {
            blocks: plural(of.len(), "block"),
            says: format!("{brief}{span} ({})", growers.join(", ")),
            rests_on: None,
        }
    };
    alike.into_iter().map(item).collect()
}

/// What one event rests on, in one line.
fn rests_on(words: Words, event: &Event, season: &BlockSeason) -> Option<String> {
    match event {
        Event::StartProvisional | Event::Start | Event::SecondCandidate | Event::StartNotKnown => {
            words.start_evidence(season).into_iter().next()
        }
        Event::MarginTurned(..) => words.exposure_evidence(season).into_iter().next(),
        Event::MarkNear(mark) | Event::MarkPassed(mark) | Event::MarkNearOfVariety(mark, _) => {
            told_reading(season, mark).map(|reading| words.mark_evidence(season, reading))
        }
        Event::SentinelCatch(..) => words.disruption_lines(season).into_iter().next(),
        // What else it rests on stands in the sentence.
        Event::Flight(..)
        | Event::HangEggTraps
        | Event::HangMothTraps
        | Event::HullSplit
        | Event::PastServiceLife(..) => None,
    }
}
