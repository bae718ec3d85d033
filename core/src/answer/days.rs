//! Days as people write them.

use chrono::{Datelike, NaiveDate, TimeDelta};

use super::atoms::{Atom, Kind};
use super::fault::Fault;
use super::lexicon::{Lexicon, Word};
use super::{Sent, WhyUnclear};
use crate::wording::DateOrder;

/// A day without its year lies no further ahead than this; else it is last year's.
const HALF_A_YEAR: TimeDelta = TimeDelta::days(182);
/// Readings are no older when they are answered.
const OLDEST: TimeDelta = TimeDelta::days(60);

/// A day as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Written {
    /// With its year.
    Whole(NaiveDate),
    /// Without, month and day.
    OfYear(u32, u32),
    /// One that no calendar has.
    None,
}

/// The day that holds for a line.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) enum Day {
    /// No line before has one.
    #[default]
    Unwritten,
    /// That of a line before.
    Written(NaiveDate),
    /// It stands below one that is not understood.
    Unknown,
}

impl Day {
    /// The day that was written; else the one that is meant where none is.
    ///
    /// # Errors
    /// Where none is known.
    pub(super) fn or(self, unwritten: Option<NaiveDate>) -> Result<NaiveDate, Fault> {
        match self {
            Self::Unwritten => unwritten.ok_or(Fault::of(WhyUnclear::NoDay)),
            Self::Written(day) => Ok(day),
            Self::Unknown => Err(Fault::of(WhyUnclear::OddDay)),
        }
    }
}

/// The day that is written at an atom, and the atom behind it.
pub(super) fn day_at(
    line: &[Atom],
    from: usize,
    sent: &Sent,
    lexicon: &Lexicon,
) -> Option<(Written, usize)> {
    let reader = Reader { line, lexicon };
    let at = reader.behind_filler(from);
    match lexicon.at(line, at) {
        Some((Word::Yesterday, end)) => {
            let day = sent.on.pred_opt().map_or(Written::None, Written::Whole);
            return Some((day, end));
        }
        Some((Word::Today, end)) => return Some((Written::Whole(sent.on), end)),
        _ => {}
    }
    if let Some(found) = reader.date(at, sent.order) {
        return Some(found);
    }
    let weekday = lexicon.weekday(reader.word(at)?)?;
    let end = reader.behind_filler(reader.behind_marks(at + 1));
    Some(match reader.date(end, sent.order) {
        Some((written, end)) => (agreeing(written, weekday, sent.on), end),
        None => (Written::Whole(last_weekday(weekday, sent.on)), at + 1),
    })
}

/// The day of readings; `None` where it lies ahead, is too old or is in no calendar.
pub(super) fn of_readings(written: Written, on: NaiveDate) -> Option<NaiveDate> {
    let day = around(written, on)?;
    (day <= on && on - day <= OLDEST).then_some(day)
}

/// A day that is to come, on the day of a note or after it.
pub(super) fn to_come(written: Written, from: NaiveDate) -> Option<NaiveDate> {
    let day = match written {
        Written::Whole(day) => day,
        Written::OfYear(month, of_month) => {
            let of = |year| NaiveDate::from_ymd_opt(year, month, of_month);
            let this_year = of(from.year());
            match this_year {
                Some(day) if day < from => {
                    of(from.year() + 1).filter(|day| *day - from <= HALF_A_YEAR)?
                }
                day => day?,
            }
        }
        Written::None => return None,
    };
    (from <= day).then_some(day)
}

/// The day that is meant where it is of about the time of another.
pub(super) fn around(written: Written, on: NaiveDate) -> Option<NaiveDate> {
    match written {
        Written::Whole(day) => Some(day),
        Written::None => None,
        Written::OfYear(month, of_month) => {
            let of = |year| NaiveDate::from_ymd_opt(year, month, of_month);
            match of(on.year()) {
                Some(day) if day - on <= HALF_A_YEAR => Some(day),
                _ => of(on.year() - 1),
            }
        }
    }
}

fn agreeing(written: Written, weekday: u32, on: NaiveDate) -> Written {
    match around(written, on) {
        Some(day) if day.weekday().number_from_monday() == weekday => Written::Whole(day),
        _ => Written::None,
    }
}

fn last_weekday(weekday: u32, on: NaiveDate) -> NaiveDate {
    let back = (7 + on.weekday().number_from_monday() - weekday) % 7;
    on - TimeDelta::days(back.into())
}

struct Reader<'a> {
    line: &'a [Atom],
    lexicon: &'a Lexicon,
}

impl Reader<'_> {
    fn word(&self, at: usize) -> Option<&str> {
        let atom = self.line.get(at)?;
        (atom.kind == Kind::Word).then_some(atom.text.as_str())
    }

    fn number(&self, at: usize) -> Option<u32> {
        let atom = self.line.get(at)?;
        let short = atom.kind == Kind::Number && atom.text.len() <= 4;
        short.then(|| atom.text.parse().ok()).flatten()
    }

    fn behind_filler(&self, mut at: usize) -> usize {
        while let Some((Word::BesideDay, end)) = self.lexicon.at(self.line, at) {
            at = self.behind_colon(end);
        }
        at
    }

    fn behind_colon(&self, at: usize) -> usize {
        at + usize::from(self.line.get(at).is_some_and(|atom| atom.is(':')))
    }

    fn behind_marks(&self, at: usize) -> usize {
        let mark = |atom: &Atom| atom.is(',') || atom.is('.');
        at + usize::from(self.line.get(at).is_some_and(mark))
    }

    fn date(&self, at: usize, order: DateOrder) -> Option<(Written, usize)> {
        self.month_first(at)
            .or_else(|| self.day_first(at))
            .or_else(|| self.in_digits(at, order))
    }

    /// `June 20, 2026`.
    fn month_first(&self, at: usize) -> Option<(Written, usize)> {
        let month = self.lexicon.month(self.word(at)?)?;
        let at = self.behind_marks(at + 1);
        let day = self.number(at).filter(|day| *day <= 99)?;
        Some(self.with_year(month, day, self.behind_filler(at + 1)))
    }

    /// `20 de junio de 2026`.
    fn day_first(&self, at: usize) -> Option<(Written, usize)> {
        let day = self.number(at).filter(|day| *day <= 99)?;
        let at = self.behind_filler(self.behind_marks(at + 1));
        let month = self.lexicon.month(self.word(at)?)?;
        let end = at + 1;
        let dot = self
            .line
            .get(end)
            .is_some_and(|atom| atom.is('.') && atom.glued);
        Some(self.with_year(month, day, end + usize::from(dot)))
    }

    fn with_year(&self, month: u32, day: u32, end: usize) -> (Written, usize) {
        let at = self.behind_filler(self.behind_marks(end));
        match self.number(at).filter(|year| (2000..2100).contains(year)) {
            Some(year) => (whole(year, month, day), at + 1),
            None => (of_year(month, day), end),
        }
    }

    /// `2026-06-20`, `6/20`, `6/20/26`, `20.6.2026`.
    fn in_digits(&self, at: usize, order: DateOrder) -> Option<(Written, usize)> {
        let first = self.number(at)?;
        let mark = self.line.get(at + 1).filter(|mark| mark.glued)?;
        let second = self.number(at + 2).filter(|_| self.line[at + 2].glued)?;
        let third = self
            .line
            .get(at + 3)
            .filter(|again| again.glued && again.text == mark.text)
            .and_then(|_| self.number(at + 4).filter(|_| self.line[at + 4].glued));
        let written = match (mark.text.as_str(), third) {
            ("-" | "/" | ".", Some(day)) if first >= 2000 => whole(first, second, day),
            ("-" | "/" | ".", Some(year)) if !(100..2000).contains(&year) => {
                let year = if year < 100 { 2000 + year } else { year };
                let [month, day] = ordered(first, second, order);
                whole(year, month, day)
            }
            ("/", None) => {
                let [month, day] = ordered(first, second, order);
                of_year(month, day)
            }
            _ => return None,
        };
        Some((written, at + if third.is_some() { 5 } else { 3 }))
    }
}

const fn ordered(first: u32, second: u32, order: DateOrder) -> [u32; 2] {
    match order {
        DateOrder::DayMonth => [second, first],
        DateOrder::MonthDay | DateOrder::Iso => [first, second],
    }
}

fn whole(year: u32, month: u32, day: u32) -> Written {
    let year = i32::try_from(year).unwrap_or(i32::MAX);
    NaiveDate::from_ymd_opt(year, month, day).map_or(Written::None, Written::Whole)
}

/// A leap year, so that 29 February may be written.
fn of_year(month: u32, day: u32) -> Written {
    let exists = NaiveDate::from_ymd_opt(2024, month, day).is_some();
    if exists {
        Written::OfYear(month, day)
    } else {
        Written::None
    }
}
