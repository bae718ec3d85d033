//! What is new since the last telling, most important first, and what it rests on.

use std::collections::BTreeMap;

use crate::id::{BlockId, InsectId};
use crate::orchard::Part;
use crate::season::{BlockSeason, MarkReading};

use crate::ledger::Event;
use crate::ledger::rank::{NEVER_LEADS, rank};
use crate::ledger::{Change, Notice};
use crate::wording::gather::{BlockName, Lines, gathered, grouped, name_list, shared};
use crate::wording::sentence::{Sentence, told_reading};
use crate::wording::words::Words;

/// A headline's characters: a subject has 90, some of them for how much more there is.
const HEADLINE_ROOM: usize = 80;

/// One thing that is new in one block.
pub(crate) struct News<'a> {
    season: &'a BlockSeason,
    /// Notices that one sentence tells.
    notices: Vec<&'a Notice>,
    sentence: Sentence,
}

/// Notices by the season that they are about.
struct BySeason<'a>(BTreeMap<(&'a BlockId, &'a InsectId), Vec<&'a Notice>>);

impl<'a> BySeason<'a> {
    fn of(notices: &'a [Notice]) -> Self {
        let mut seasons: BTreeMap<_, Vec<&Notice>> = BTreeMap::new();
        for notice in notices {
            let key = (&notice.block, &notice.insect);
            seasons.entry(key).or_default().push(notice);
        }
        Self(seasons)
    }

    fn about(&self, season: &'a BlockSeason) -> &[&'a Notice] {
        let about = self.0.get(&(&season.block.id, &season.insect));
        about.map_or(&[], Vec::as_slice)
    }
}

/// What notices tell, most important first, then in the order of the blocks.
pub(crate) fn news<'a>(
    words: Words,
    seasons: &[&'a BlockSeason],
    notices: &'a [Notice],
) -> Vec<News<'a>> {
    let notices = BySeason::of(notices);
    let of_season = |season: &&'a BlockSeason| -> Vec<News<'a>> {
        let season = *season;
        let groups = gathered(notices.about(season)).into_iter();
        groups
            .map(|notices| News {
                season,
                sentence: words.told(&notices, season),
                notices,
            })
            .collect()
    };
    let mut news: Vec<News<'_>> = seasons.iter().flat_map(of_season).collect();
    news.sort_by_key(|news| rank(news.notices[0]));
    news
}

/// A short line for each thing that is new, blocks of equal news in one.
pub(crate) fn leads(news: &[News<'_>]) -> Vec<String> {
    let leading = news
        .iter()
        .filter(|news| rank(news.notices[0]) < NEVER_LEADS);
    let leads = grouped(leading.map(|news| {
        let name = news.season.block.name.as_str();
        (news.sentence.brief.as_str(), name)
    }));
    let line =
        |(brief, names): (&str, Vec<&str>)| format!("{}: {brief}", some_blocks(&names, brief));
    leads.into_iter().map(line).collect()
}

/// As many names of a list of blocks as a headline has room for beside its other words, at least one,
/// and how many more there are.
pub(crate) fn some_blocks(names: &[&str], beside: &str) -> String {
    let room = HEADLINE_ROOM.saturating_sub(beside.chars().count());
    let named = |count: usize| match names.len() - count {
        0 => name_list(names),
        more => format!("{} and {more} more", name_list(&names[..count])),
    };
    let fitting = (1..=names.len()).rev().map(named);
    let mut fitting = fitting.filter(|text| text.chars().count() <= room);
    fitting.next().unwrap_or_else(|| match names {
        [first, _, ..] => format!("{first} +{}", names.len() - 1),
        _ => name_list(names),
    })
}

/// All that is new, in whole sentences, each once.
pub(crate) fn changed(
    news: &[News<'_>],
    blocks: usize,
    why: impl Fn(&Notice) -> Option<String>,
) -> Vec<Lines> {
    let told = news.iter().filter(|news| !is_new_service(news.notices[0]));
    let told = told.map(|news| {
        let sentence = &news.sentence.whole;
        let told = match why(news.notices[0]) {
            Some(why) => format!("{sentence}; {why}"),
            None => sentence.clone(),
        };
        (BlockName::of(&news.season.block), told)
    });
    shared(blocks, told.chain(newly_past(news)))
}

const fn is_new_service(notice: &Notice) -> bool {
    matches!(
        (&notice.event, &notice.change),
        (
            Event::PastServiceLife(..),
            Change::New(_) | Change::History(_)
        )
    )
}

/// Each block with the number of traps whose parts are newly past their service life; which ones
/// stands in the trap work.
fn newly_past<'a>(news: &[News<'a>]) -> Vec<(BlockName<'a>, String)> {
    let service: Vec<&News<'a>> = news
        .iter()
        .filter(|news| is_new_service(news.notices[0]))
        .collect();
    // All of one rank, they stand in the order of the blocks.
    let by_block = service.chunk_by(|one, next| std::ptr::eq(one.season, next.season));
    let line = |of_block: &[&News<'a>]| {
        let mut traps: BTreeMap<Part, usize> = BTreeMap::new();
        for news in of_block {
            if let Event::PastServiceLife(_, part, _) = &news.notices[0].event {
                *traps.entry(*part).or_default() += news.notices.len();
            }
        }
        let parts = traps.into_iter().map(|(part, count)| part.counted(count));
        let parts: Vec<String> = parts.collect();
        let line = format!("newly past the service life: {}", parts.join(", "));
        (BlockName::of(&of_block[0].season.block), line)
    };
    by_block.map(line).collect()
}

/// What the news of each block rests on; what does not change is a command away.
pub(crate) fn evidence<'a>(
    words: Words,
    seasons: &[&'a BlockSeason],
    notices: &'a [Notice],
) -> Vec<Lines> {
    let notices = BySeason::of(notices);
    let said = seasons.iter().flat_map(|season| {
        let mut lines: Vec<String> = Vec::new();
        let about = notices.about(season).iter();
        let leading = about.filter(|notice| rank(notice) < NEVER_LEADS);
        let rests_on = leading.flat_map(|notice| rests_on(words, &notice.event, season));
        for line in rests_on {
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
        lines
            .into_iter()
            .map(|line| (BlockName::of(&season.block), line))
    });
    shared(usize::MAX, said)
}

/// What one event rests on, but for the temperatures, which many share.
pub(crate) fn rests_on(words: Words, event: &Event, season: &BlockSeason) -> Vec<String> {
    match event {
        Event::HangEggTraps | Event::HangMothTraps => Vec::new(),
        Event::StartProvisional | Event::Start | Event::SecondCandidate => {
            words.start_evidence(season)
        }
        Event::Flight(..) => {
            let flights = season.flights.as_ref().ok();
            let why_these = flights.and_then(|flights| words.read_beside(flights));
            why_these
                .into_iter()
                .chain(words.flight_evidence(season))
                .collect()
        }
        Event::MarginTurned(..) => words.exposure_evidence(season),
        Event::MarkNearOfVariety(mark, _) => told_reading(season, mark)
            .map(|reading| words.mark_line(season, reading))
            .into_iter()
            .collect(),
        Event::MarkNear(mark) | Event::MarkPassed(mark) => told_reading(season, mark)
            .map_or_else(Vec::new, |reading| a_mark_rests_on(words, season, reading)),
        Event::PastServiceLife(trap, part, _) => season
            .work
            .service
            .iter()
            .filter(|due| &due.trap == trap && due.part == *part)
            .map(|due| format!("service life {} days ({})", due.life_days, due.source))
            .collect(),
        Event::SentinelCatch(..) => words.disruption_lines(season),
    }
}

/// What the date of a mark rests on.
fn a_mark_rests_on(words: Words, season: &BlockSeason, reading: &MarkReading) -> Vec<String> {
    let mut lines = vec![words.mark_line(season, reading)];
    if reading.waits_for_split {
        lines.extend(words.hull_split_evidence(season));
    }
    lines.push(words.counted_so_far(season));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_headline_names_the_blocks_it_has_room_for_and_counts_the_others() {
        let beside = |letters: usize| "x".repeat(letters);
        let names = ["North", "South", "West"];
        // "North, South, West" are 18 letters of 80, "North, South and 1 more" 23.
        assert_eq!(some_blocks(&names, &beside(62)), "North, South, West");
        let three = ["North", "South", "A block with a long name"];
        assert_eq!(some_blocks(&three, &beside(57)), "North, South and 1 more");
        assert_eq!(some_blocks(&three, &beside(64)), "North and 2 more");
        assert_eq!(some_blocks(&three, &beside(65)), "North +2");
        assert_eq!(some_blocks(&three[2..], &beside(90)), three[2]);
    }
}
