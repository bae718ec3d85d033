//! A block's season as one looks it up: each answer with what it rests on, and the tables behind them.

use chrono::NaiveDate;

use crate::orchard::{Orchard, Part, Trap, TrapKind};
use crate::season::{BlockSeason, Outcome};
use crate::trapping::{DueState, ReadingDue, ServiceDue, Visits, checks};
use crate::wording::ExposureTable;
use crate::wording::language::{Language, Speech};
use crate::wording::plural;
use crate::wording::words::Words;

use super::sheet::Sheet;
use super::weeks::{WeekTable, week_table};

/// A block's season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockPage {
    /// What is known and projected.
    pub answers: Vec<Answered>,
    /// The checks of the egg traps that its start rests on, newest first.
    pub checks: Vec<CheckRow>,
    /// What each rule and the estimate make of them.
    pub rules: Vec<String>,
    /// Catches by week.
    pub weeks: WeekTable,
    /// Egg laying beside hull split and shake.
    pub exposure: Vec<ExposureTable>,
    /// The traps of this year.
    pub traps: Vec<TrapRow>,
    /// Catches beside those of earlier years.
    pub years: Vec<String>,
    /// What the traps show of mating disruption.
    pub disruption: Vec<String>,
    /// What decides risk beside catches.
    pub context: Vec<String>,
    /// What is not known because nobody entered it.
    pub not_known: Vec<String>,
}

/// An answer with what it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// What is asked.
    pub label: String,
    /// The answer.
    pub answer: String,
    /// What it rests on; empty where the answer says all.
    pub rests_on: Vec<String>,
}

/// One check of the egg traps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckRow {
    /// Its day.
    pub day: NaiveDate,
    /// Traps hanging, and of these read.
    pub hung: usize,
    /// Traps read, first readings after hanging included.
    pub read: usize,
    /// Of those that are judged, with eggs.
    pub with_eggs: usize,
    /// Eggs on those that are judged.
    pub eggs: u32,
    /// Each reading: trap, eggs and nights.
    pub readings: Vec<String>,
}

/// A trap with its clocks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrapRow {
    /// Its id.
    pub trap: String,
    /// Its kind.
    pub kind: TrapKind,
    /// Where it hangs.
    pub place: String,
    /// Since when, or until when.
    pub hangs: String,
    /// Its newest reading.
    pub last: String,
    /// When it is read next.
    pub next: String,
    /// What wears out: part, product, since and until when.
    pub parts: Vec<String>,
    /// Whether a reading or a part is overdue.
    pub is_late: bool,
}

/// Puts it together; `visits` are those of the block's traps and of the traps that its start rests on. For whom it is
/// not `advised` nothing stands that the next check may take back.
#[must_use]
pub fn block_page(
    words: Words,
    season: &BlockSeason,
    orchard: &Orchard,
    visits: &Visits,
    advised: bool,
) -> BlockPage {
    let sheet = Sheet::of(words, season);
    BlockPage {
        answers: answers(words, season, &sheet, advised),
        checks: if advised {
            check_rows(season, orchard, visits)
        } else {
            Vec::new()
        },
        rules: if advised {
            words.start_evidence(season)
        } else {
            Vec::new()
        },
        weeks: week_table(season, orchard, visits),
        exposure: if advised || season.start.status.is_shown_to_growers() {
            words.exposure(season, advised)
        } else {
            Vec::new()
        },
        traps: trap_rows(words, season, orchard),
        years: sheet.years,
        disruption: if advised {
            sheet.disruption
        } else {
            Vec::new()
        },
        context: sheet.context,
        not_known: words.not_known_lines(season),
    }
}

fn answers(words: Words, season: &BlockSeason, sheet: &Sheet, advised: bool) -> Vec<Answered> {
    let firm = advised || season.start.status.is_shown_to_growers();
    let marks = season
        .marks
        .iter()
        .filter(|reading| firm || !reading.rests_on_start);
    let of_marks = marks.map(|reading| {
        let outcome = words.outcome(&reading.outcome);
        let beside = words.traps_beside(season, reading);
        let mut rests_on = vec![words.mark_evidence(season, reading)];
        if matches!(reading.outcome, Outcome::Projected(_)) {
            rests_on.extend(
                reading
                    .waits_for_split
                    .then(|| words.hull_split_evidence(season))
                    .flatten(),
            );
            rests_on.extend(words.shift_evidence(season));
        }
        Answered {
            label: reading.name.clone(),
            answer: beside.map_or_else(|| outcome.clone(), |beside| format!("{outcome}; {beside}")),
            rests_on,
        }
    });
    let of_marks: Vec<Answered> = of_marks.collect();
    let is_mark = |label: &str| season.marks.iter().any(|reading| reading.name == label);
    let is_heat = |label: &str| label.starts_with("heat since");
    let others = sheet.answers.iter();
    let others = others.filter(|(label, _)| !is_mark(label) && (firm || !is_heat(label)));
    let mut all: Vec<Answered> = others
        .map(|(label, answer)| plain(label, answer))
        .map(|(label, answer)| Answered {
            answer: match label == "egg-laying start" && !firm {
                true => "not known yet".to_owned(),
                false => answer,
            },
            rests_on: rests_on(words, season, &label, advised),
            label,
        })
        .collect();
    // Behind the start and its heat, before what the traps showed.
    let place = all
        .iter()
        .take_while(|answered| is_of_start(&answered.label))
        .count();
    all.splice(place..place, of_marks);
    all
}

/// A label that fits beside its answer: what says of which days and traps it is stands with the answer.
fn plain(label: &str, answer: &str) -> (String, String) {
    const NEWEST: &str = "newest reading";
    match label.strip_prefix(NEWEST) {
        Some(of) => (NEWEST.to_owned(), format!("{}: {answer}", of.trim_start())),
        None => (label.to_owned(), answer.to_owned()),
    }
}

fn is_of_start(label: &str) -> bool {
    label == "egg-laying start" || label == "dates" || label.starts_with("heat since")
}

fn rests_on(words: Words, season: &BlockSeason, label: &str, advised: bool) -> Vec<String> {
    match label {
        "egg-laying start" if advised => words.start_evidence(season),
        _ if label.starts_with("heat since") => vec![words.heat_evidence(season)],
        _ if label.contains("flight") => words.flight_evidence(season).into_iter().collect(),
        _ => Vec::new(),
    }
}

fn check_rows(season: &BlockSeason, orchard: &Orchard, visits: &Visits) -> Vec<CheckRow> {
    let traps: Vec<&Trap> = orchard.egg_traps(&season.block.start_group).collect();
    let checks = checks(&traps, visits, season.as_of).into_iter().rev();
    let rows = checks.map(|check| CheckRow {
        day: check.date,
        hung: check.hung,
        read: check.readings.len(),
        with_eggs: check.with_eggs(),
        eggs: check.judged().map(|reading| reading.eggs).sum(),
        readings: check
            .readings
            .iter()
            .map(|reading| {
                let first = if reading.baseline {
                    ", first reading"
                } else {
                    ""
                };
                format!(
                    "{} {} in {}{first}",
                    reading.trap,
                    reading.eggs,
                    plural(reading.nights, "night")
                )
            })
            .collect(),
    });
    rows.collect()
}

fn trap_rows(words: Words, season: &BlockSeason, orchard: &Orchard) -> Vec<TrapRow> {
    let traps = orchard.traps_of(&season.block.id);
    let of_year = traps.filter(|trap| {
        let new_year = NaiveDate::from_ymd_opt(season.year, 1, 1).unwrap_or(season.as_of);
        trap.hung <= season.as_of && trap.removed.is_none_or(|removed| removed >= new_year)
    });
    of_year.map(|trap| trap_row(words, season, trap)).collect()
}

fn trap_row(words: Words, season: &BlockSeason, trap: &Trap) -> TrapRow {
    let reading = season
        .work
        .readings
        .iter()
        .find(|reading| reading.trap == trap.id);
    let service = season.work.service.iter().filter(|due| due.trap == trap.id);
    let service: Vec<&ServiceDue> = service.collect();
    let is_overdue = |state: DueState| state == DueState::Overdue;
    TrapRow {
        trap: trap.id.to_string(),
        kind: trap.kind,
        place: Speech::of(Language::English, words).place(&trap.place),
        hangs: hangs(words, season, trap),
        last: reading.map_or_else(String::new, |reading| last(words, reading)),
        next: reading.map_or_else(String::new, |reading| next(words, season, reading)),
        parts: service.iter().map(|due| part(words, season, due)).collect(),
        is_late: reading.is_some_and(|reading| is_overdue(season.reading_state(reading)))
            || service
                .iter()
                .any(|due| is_overdue(season.due_state(due.due))),
    }
}

fn hangs(words: Words, season: &BlockSeason, trap: &Trap) -> String {
    let hung = words.day(trap.hung);
    let down = trap.down_since(season.as_of);
    match (
        trap.removed.filter(|removed| *removed <= season.as_of),
        down,
    ) {
        (Some(removed), _) => format!("{hung} to {}", words.day(removed)),
        (None, Some(down)) => format!("since {hung}, down since {}", words.day(down)),
        (None, None) => format!("since {hung}"),
    }
}

fn last(words: Words, reading: &ReadingDue) -> String {
    match (reading.last, reading.last_count) {
        (Some(day), Some(count)) => format!("{count} on {}", words.day(day)),
        (Some(day), None) => format!("not readable on {}", words.day(day)),
        (None, _) => "not read yet".to_owned(),
    }
}

fn next(words: Words, season: &BlockSeason, reading: &ReadingDue) -> String {
    let day = words.day(reading.due);
    match season.reading_state(reading) {
        DueState::Optional => "may be left out".to_owned(),
        DueState::Closed(until) => format!("{day}, closed until {}", words.day(until)),
        DueState::Overdue => format!("{day}, overdue"),
        _ => day,
    }
}

fn part(words: Words, season: &BlockSeason, due: &ServiceDue) -> String {
    let part: Part = due.part;
    let full = due.full.map_or_else(String::new, |full| {
        format!(", full with {} moths", full.moths)
    });
    let past = match season.due_state(due.due) {
        DueState::Overdue => {
            let days = due.days_past(season.as_of);
            format!(", {} past", plural(days, "day"))
        }
        _ => String::new(),
    };
    format!(
        "{} {}: in since {}, serves to {}{full}{past}",
        part.words(),
        due.product,
        words.day(due.since),
        words.day(due.due)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::{StartStatus, Visit};

    /// Eggs on all traps at the check of 10 May, which nothing followed: the start is provisional.
    fn page(advised: bool) -> (BlockPage, BlockSeason) {
        let hung = date(2021, 4, 20);
        let ids = ["E1", "E2", "E3", "E4"];
        let mut traps: Vec<Trap> = ids.map(|id| sample::trap(id, TrapKind::Egg, hung)).into();
        let mut gone = sample::trap("P0", TrapKind::Pheromone, date(2020, 3, 1));
        gone.removed = Some(date(2020, 11, 1));
        traps.push(gone);
        let read = [(3, 0), (7, 0), (10, 3)];
        let visits: Vec<Visit> = read
            .iter()
            .flat_map(|(day, eggs)| {
                ids.map(|id| Visit {
                    eggs: Some(*eggs),
                    ..sample::visit(id, date(2021, 5, *day))
                })
            })
            .collect();
        let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
        let season = sample::season(&orchard, visits.clone(), &[], date(2021, 5, 12));
        let visits = Visits::new(visits);
        let page = block_page(Words::default(), &season, &orchard, &visits, advised);
        (page, season)
    }

    fn answer<'a>(page: &'a BlockPage, label: &str) -> Option<&'a Answered> {
        page.answers
            .iter()
            .find(|answered| answered.label.starts_with(label))
    }

    #[test]
    fn growers_see_nothing_that_counts_from_a_start_which_the_next_check_may_take_back() {
        let (advised, season) = page(true);
        assert_eq!(season.start.status, StartStatus::Provisional);
        assert!(
            answer(&advised, "egg-laying start")
                .unwrap()
                .answer
                .contains("May")
        );
        assert!(answer(&advised, "heat since the start").is_some());
        assert!(!advised.rules.is_empty());

        let (grower, _) = page(false);
        let start = answer(&grower, "egg-laying start").unwrap();
        assert_eq!(start.answer, "not known yet");
        assert!(start.rests_on.is_empty());
        assert!(answer(&grower, "heat since").is_none());
        let resting = season.marks.iter().filter(|reading| reading.rests_on_start);
        for reading in resting {
            assert!(
                answer(&advised, &reading.name).is_some(),
                "{}",
                reading.name
            );
            assert!(answer(&grower, &reading.name).is_none(), "{}", reading.name);
        }
        assert!(grower.checks.is_empty() && grower.rules.is_empty());
        assert!(grower.exposure.is_empty() && grower.disruption.is_empty());
    }

    #[test]
    fn checks_are_listed_newest_first_with_each_reading() {
        let (page, _) = page(true);
        let days: Vec<NaiveDate> = page.checks.iter().map(|check| check.day).collect();
        assert_eq!(days, [10, 7, 3].map(|day| date(2021, 5, day)));
        let newest = &page.checks[0];
        assert_eq!(
            (newest.hung, newest.read, newest.with_eggs, newest.eggs),
            (4, 4, 4, 12)
        );
        assert_eq!(newest.readings[0], "E1 3 in 3 nights");
        assert!(page.checks[2].readings[0].ends_with("first reading"));
    }

    #[test]
    fn traps_of_this_year_are_listed_with_when_they_are_read_next() {
        let (page, _) = page(true);
        let traps: Vec<&str> = page.traps.iter().map(|trap| trap.trap.as_str()).collect();
        assert_eq!(
            traps,
            ["E1", "E2", "E3", "E4"],
            "one taken down last year is gone"
        );
        let first = &page.traps[0];
        assert_eq!(
            (first.last.as_str(), first.hangs.as_str()),
            ("3 on May 10", "since Apr 20")
        );
        assert!(!first.is_late && !first.next.is_empty());
    }

    #[test]
    fn a_label_says_what_and_its_answer_of_which_days_and_traps() {
        assert_eq!(
            plain("newest reading of bait bags", "nothing"),
            (
                "newest reading".to_owned(),
                "of bait bags: nothing".to_owned()
            )
        );
        assert_eq!(
            plain("dates", "none"),
            ("dates".to_owned(), "none".to_owned())
        );
    }
}
