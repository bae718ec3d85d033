//! A block's row: what of its season is shown, and where.

use chrono::NaiveDate;

use crate::id::MarkId;
use crate::season::{BlockSeason, BlockSplit, HullSplit, MarkReading, Outcome, Shake};
use crate::trapping::{Flight, Flights, StartStatus};

use super::{FlightHill, GlanceRow, Sign, SignKind, SignState};

/// Marks that are no generation's egg laying, each with a letter in the order in which they come.
pub(super) struct Letters(Vec<(MarkId, String)>);

impl Letters {
    /// Those of some seasons.
    pub(super) fn of(seasons: &[&BlockSeason]) -> Self {
        let mut named: Vec<(MarkId, String)> = Vec::new();
        for reading in seasons.iter().flat_map(|season| &season.marks) {
            let is_new = named.iter().all(|(mark, _)| *mark != reading.mark);
            if is_shown(reading) && !reading.begins_laying && is_new {
                named.push((reading.mark.clone(), reading.name.clone()));
            }
        }
        Self(named)
    }

    /// Each letter with the name of its mark.
    pub(super) fn named(&self) -> impl Iterator<Item = (String, &str)> {
        let letters = ('A'..='Z').map(String::from);
        letters
            .zip(&self.0)
            .map(|(letter, (_, name))| (letter, name.as_str()))
    }

    fn letter(&self, mark: &MarkId) -> Option<String> {
        let place = self.0.iter().position(|(of, _)| of == mark)?;
        ('A'..='Z').nth(place).map(String::from)
    }
}

/// A told mark, first hatch aside, which follows the start so closely that it would cover it.
fn is_shown(reading: &MarkReading) -> bool {
    reading.told && (reading.begins_laying || !reading.rests_on_start)
}

/// A block's row.
pub(super) fn row(season: &BlockSeason, letters: &Letters, only_firm: bool) -> GlanceRow {
    let marks = marks(season, only_firm).into_iter();
    let marks = marks.map(|(reading, [early, middle, late])| Sign {
        kind: SignKind::Mark,
        state: state(season, reading),
        label: label(season, letters, &reading.mark),
        early,
        middle,
        late,
    });
    let mut signs: Vec<Sign> = start(season, only_firm).into_iter().chain(marks).collect();
    signs.extend(split(season));
    signs.extend(shakes(season));
    let flights = season.flights.as_ref();
    let flights = flights.map_or_else(|_| Vec::new(), hills);
    let is_empty = signs.is_empty() && flights.is_empty();
    GlanceRow {
        id: Some(season.block.id.clone()),
        block: season.block.name.clone(),
        note: is_empty.then(|| nothing(season).to_owned()),
        signs,
        flights,
    }
}

/// Why a row has nothing to show.
pub(super) const fn nothing(season: &BlockSeason) -> &'static str {
    match season.start.status {
        StartStatus::CannotTell => "egg-laying start: can't tell",
        StartStatus::NotAsked => "nothing seen yet",
        _ => "no egg-laying start yet",
    }
}

/// Whether the start is shown.
pub(super) const fn has_start(season: &BlockSeason, only_firm: bool) -> bool {
    season.start.date.is_some() && (!only_firm || season.start.status.is_firm())
}

/// The marks that are shown, each with its days: none that comes when no tree holds a nut any more.
pub(super) fn marks(season: &BlockSeason, only_firm: bool) -> Vec<(&MarkReading, [NaiveDate; 3])> {
    let shaken = season.all_shaken();
    let shown = season.marks.iter().filter(|reading| is_shown(reading));
    let shown = shown.filter(|reading| !only_firm || is_firm(season, reading));
    let dated = shown.filter_map(|reading| Some((reading, reading.outcome.days()?)));
    dated
        .filter(|(_, [_, middle, _])| shaken.is_none_or(|shaken| *middle < shaken))
        .collect()
}

/// Whether growers may be told what a mark says.
fn is_firm(season: &BlockSeason, reading: &MarkReading) -> bool {
    let by_estimate = matches!(reading.outcome, Outcome::Passed { firm: false, .. });
    !by_estimate && state(season, reading) != SignState::Provisional
}

const fn state(season: &BlockSeason, reading: &MarkReading) -> SignState {
    match reading.outcome {
        _ if reading.rests_on_start && !season.start.status.is_firm() => SignState::Provisional,
        Outcome::Passed { .. } => SignState::Known,
        _ => SignState::Ahead,
    }
}

fn label(season: &BlockSeason, letters: &Letters, mark: &MarkId) -> Option<String> {
    let number = season.flight_of(mark).map(|number| number.to_string());
    number.or_else(|| letters.letter(mark))
}

fn start(season: &BlockSeason, only_firm: bool) -> Option<Sign> {
    let day = season.start.date.filter(|_| has_start(season, only_firm))?;
    let [early, late] = season.start.may_have_begun()?;
    Some(Sign {
        kind: SignKind::Start,
        state: match season.start.status.is_firm() {
            true => SignState::Known,
            false => SignState::Provisional,
        },
        label: None,
        early,
        middle: day,
        late,
    })
}

fn split(season: &BlockSeason) -> Option<Sign> {
    let BlockSplit::Known { split, days, .. } = &season.split else {
        return None;
    };
    let seen = matches!(split, HullSplit::Seen(_));
    Some(sign(SignKind::Split, seen, days.days()))
}

/// The shakes of all varieties; those of a day are one.
fn shakes(season: &BlockSeason) -> Vec<Sign> {
    let shakes = season.exposure.iter().filter_map(|of| of.shake);
    let mut signs: Vec<Sign> = shakes
        .map(|shake| {
            let done = matches!(shake, Shake::Done(_));
            sign(SignKind::Shake, done, shake.days())
        })
        .collect();
    signs.sort_by_key(|sign| (sign.middle, sign.early, sign.late, sign.state));
    signs.dedup();
    signs
}

const fn sign(kind: SignKind, known: bool, [early, middle, late]: [NaiveDate; 3]) -> Sign {
    Sign {
        kind,
        state: if known {
            SignState::Known
        } else {
            SignState::Ahead
        },
        label: None,
        early,
        middle,
        late,
    }
}

fn hills(flights: &Flights) -> Vec<FlightHill> {
    let newest = flights.newest.by;
    let all = flights.flights.iter();
    all.map(|flight| hill(flight, newest)).collect()
}

/// What cannot be told of a start or an end is not drawn beyond the readings that surely are the flight's.
fn hill(flight: &Flight, newest: NaiveDate) -> FlightHill {
    let start = flight.start.round().map(|round| round.by);
    let end = flight.end.round().map(|round| round.by);
    let goes_on = flight.end.missing().is_some();
    let highest = flight.highest.by;
    let seen_to = if goes_on { newest } else { highest };
    FlightHill {
        from: start.unwrap_or(flight.highest.after).min(highest),
        started: start.is_some(),
        highest,
        peaked: flight.peak_round().is_some(),
        to: end.unwrap_or(seen_to).max(highest),
        ended: end.is_some(),
    }
}
