//! Readings and notes out of answers: each goes through the checks of a sheet's row, and those that are right are
//! stored though others are not.

use chrono::{DateTime, NaiveDate, Utc};
use csv::StringRecord;
use duskflight_core::answer::FieldNote;
use duskflight_core::id::BlockId;
use duskflight_core::trapping::{Note, NoteKind, Visit};
use rusqlite::Connection;

use super::export::{note_cells, sheet, visit_cells};
use super::visits::FOR_THE_ROUND;
use super::{Kind, Origin, Record, parse};
use crate::config::{Config, Person};
use crate::sheet::{Fault, Given};
use crate::store::entries::{Applied, Entry, Withdrawal};
use crate::store::{StoreError, answers, notes, visits};

/// Why a sheet beside an answer is not taken.
const NO_ROUND_SHEET: &str = "it is not a sheet that `round --format csv` made; bring others in by `visits import` or the watched folder";
/// The way in of answers, as the history keeps it.
pub const BY_MAIL: &str = "mail";
/// That of forms of the page.
pub const BY_PAGE: &str = "page";

/// Who enters records by an answer or a form, and how.
#[derive(Debug, Clone, Copy)]
pub struct Writer<'a> {
    /// The configuration.
    pub config: &'a Config,
    /// Who wrote the answer.
    pub person: &'a Person,
    /// The short name of the answer or the form, with which its entries begin.
    pub answer: &'a str,
    /// The way in, as the history keeps it.
    pub via: &'static str,
    /// Whether the person said that it is right as it stands.
    pub sure: bool,
    /// When it is entered.
    pub at: DateTime<Utc>,
}

/// What became of one record of an answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Entered<T> {
    /// It stands, as it is now.
    Stands {
        /// The record.
        now: T,
        /// What stood there before: the same, or what it replaced.
        replaced: Option<T>,
    },
    /// It cannot be stored, and why.
    Refused(String),
    /// It is not stored until the person is sure, and why.
    Asked(String),
    /// Somebody else has other counts there.
    Differs {
        /// Who.
        by: String,
        /// What.
        stands: T,
    },
}

impl Writer<'_> {
    /// Enters some visits, each in turn; `from` counts the entries of the answer before.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub fn visits(
        &self,
        connection: &Connection,
        written: &[Visit],
        from: usize,
    ) -> Result<Vec<Entered<Visit>>, StoreError> {
        let mut outcomes = Vec::new();
        let mut merged = Vec::new();
        for visit in written {
            let stands = visits::entered(connection, &visit.trap, visit.date)?;
            merged.push((
                with_what_stands(visit, stands.as_ref().map(|(v, _)| v)),
                stands,
            ));
        }
        let rows = merged
            .iter()
            .map(|(visit, _)| visit_cells(visit, self.person.id.as_str()));
        let text = sheet(Kind::Visits.columns(), rows);
        let checked = self.checked(Kind::Visits, &text, written.len());
        for (place, ((visit, stands), faults)) in merged.into_iter().zip(checked).enumerate() {
            if let Some(outcome) = self.not_taken(&faults) {
                outcomes.push(outcome);
                continue;
            }
            if let Some((stands, by)) = stands.as_ref().filter(|_| !self.sure)
                && !self.is_own(by)
                && counts_differ(stands, &written[place])
            {
                let (by, stands) = (by.clone(), stands.clone());
                outcomes.push(Entered::Differs { by, stands });
                continue;
            }
            visits::apply(connection, &visit, &self.entry(from + place))?;
            outcomes.push(Entered::Stands {
                now: visit,
                replaced: stands.map(|(visit, _)| visit),
            });
        }
        Ok(outcomes)
    }

    /// Enters some notes.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub fn notes(
        &self,
        connection: &Connection,
        written: &[FieldNote],
        from: usize,
    ) -> Result<Vec<Entered<FieldNote>>, StoreError> {
        let all: Vec<Note> = written.iter().map(|note| self.note(note)).collect();
        let text = sheet(Kind::Notes.columns(), all.iter().map(note_cells));
        let checked = self.checked(Kind::Notes, &text, written.len());
        let mut outcomes = Vec::new();
        for (place, (note, faults)) in all.iter().zip(checked).enumerate() {
            if let Some(outcome) = self.not_taken(&faults) {
                outcomes.push(outcome);
                continue;
            }
            let applied = notes::apply(connection, note, &self.entry(from + place))?;
            let now = written[place].clone();
            outcomes.push(Entered::Stands {
                replaced: (applied != Applied::Added).then(|| now.clone()),
                now,
            });
        }
        Ok(outcomes)
    }

    /// What is wrong with each row, or asked about it.
    fn checked(&self, kind: Kind, text: &str, rows: usize) -> Vec<Vec<Fault>> {
        let origin = Origin {
            file: self.via.to_owned(),
            by: self.person.id.to_string(),
            sure: self.sure,
        };
        let (parsed, _) = parse(self.config, kind, text.as_bytes(), &origin, self.at);
        let mut faults: Vec<Vec<Fault>> = vec![Vec::new(); rows];
        for fault in parsed.faults {
            // The header is row 1.
            if let Some(of_row) = fault.row.checked_sub(2).and_then(|at| faults.get_mut(at)) {
                of_row.push(fault);
            }
        }
        let mut right = (0..rows)
            .filter(|at| faults[*at].is_empty())
            .collect::<Vec<_>>()
            .into_iter();
        for row in parsed.rows {
            if let (Some((_, asked)), Some(at)) = (row, right.next()) {
                faults[at].extend(asked);
            }
        }
        faults
    }

    /// Why a record is not taken, by what is wrong or asked.
    fn not_taken<T>(&self, faults: &[Fault]) -> Option<Entered<T>> {
        let (asked, wrong): (Vec<&Fault>, Vec<&Fault>) =
            faults.iter().partition(|fault| fault.doubted);
        let said = |faults: &[&Fault]| {
            let said: Vec<&str> = faults.iter().map(|fault| fault.reason.as_str()).collect();
            said.join("; ")
        };
        if !wrong.is_empty() {
            return Some(Entered::Refused(said(&wrong)));
        }
        (!asked.is_empty() && !self.sure).then(|| Entered::Asked(said(&asked)))
    }

    fn is_own(&self, by: &str) -> bool {
        by == self.person.id.as_str() || by.eq_ignore_ascii_case(&self.person.name)
    }

    fn entry(&self, place: usize) -> Entry {
        Entry {
            at: self.at,
            by: self.person.id.to_string(),
            via: self.via.to_owned(),
            id: format!("{}:{place}", self.answer),
            again: false,
        }
    }

    fn note(&self, note: &FieldNote) -> Note {
        Note {
            block: note.block.clone(),
            variety: note.variety.clone(),
            date: note.date,
            kind: note.kind,
            text: note.text.clone(),
            by: self.person.id.to_string(),
            entered_at: self.at,
        }
    }
}

/// A visit with what stood there of the same day, as far as the answer says nothing of it: a line that names a part
/// takes no count away, and a corrected count no part.
fn with_what_stands(visit: &Visit, stands: Option<&Visit>) -> Visit {
    let Some(stands) = stands else {
        return visit.clone();
    };
    let mut merged = visit.clone();
    if !has_count(visit) && visit.readable {
        merged.eggs = stands.eggs;
        merged.moths = stands.moths;
        merged.males = stands.males;
        merged.females = stands.females;
        merged.readable = stands.readable;
        merged.eggs_left |= stands.eggs_left;
    }
    merged.serviced.extend(&stands.serviced);
    // Why a trap could not be read says nothing of a count, nor a remark on a count why it could not.
    if merged.note.is_empty() && merged.readable == stands.readable {
        merged.note.clone_from(&stands.note);
    }
    merged
}

const fn has_count(visit: &Visit) -> bool {
    visit.eggs.is_some()
        || visit.moths.is_some()
        || visit.males.is_some()
        || visit.females.is_some()
}

/// Whether two readings of one trap and day say different things of what was caught.
fn counts_differ(stands: &Visit, visit: &Visit) -> bool {
    let said = |visit: &Visit| has_count(visit) || !visit.readable;
    let counts = |v: &Visit| (v.eggs, v.moths, v.males, v.females, v.readable);
    said(stands) && said(visit) && counts(stands) != counts(visit)
}

/// The readings of a sheet that came with an answer, all of them or what is wrong.
///
/// # Errors
/// All that is wrong in it.
pub fn visits_of_sheet(
    config: &Config,
    bytes: &[u8],
    person: &Person,
    now: DateTime<Utc>,
) -> Result<Vec<Visit>, Vec<Fault>> {
    let origin = Origin {
        file: BY_MAIL.to_owned(),
        by: person.id.to_string(),
        sure: false,
    };
    let is_of_round = |header: &StringRecord| {
        let has = |column: &str| header.iter().any(|name| name.eq_ignore_ascii_case(column));
        FOR_THE_ROUND.iter().all(|column| has(column))
    };
    let given = Given::of(bytes).map_err(|error| vec![Fault::of_sheet(error.why)])?;
    if !given.headers().take(1).any(|header| is_of_round(&header)) {
        return Err(vec![Fault::of_sheet(NO_ROUND_SHEET.to_owned())]);
    }
    let (sheet, _) = parse(config, Kind::Visits, bytes, &origin, now);
    if !sheet.faults.is_empty() {
        return Err(sheet.faults);
    }
    let visits = sheet
        .rows
        .into_iter()
        .flatten()
        .filter_map(|(record, _)| match record {
            Record::Visit(visit, _) => Some(visit),
            Record::Note(_) => None,
        });
    Ok(visits.collect())
}

/// Takes back all that an answer entered and that stands as it entered it; what it had replaced stands again. Gives
/// what was taken back: traps and blocks with their day.
///
/// # Errors
/// When the records cannot be read or written.
pub fn take_back(
    connection: &Connection,
    answer: &str,
    person: &Person,
    at: DateTime<Utc>,
) -> Result<Vec<(String, NaiveDate)>, StoreError> {
    let withdrawal = Withdrawal {
        at,
        by: person.id.to_string(),
        why: "taken back with all that came with it".to_owned(),
    };
    let mut gone = Vec::new();
    for (trap, day) in answers::visits_of(connection, answer)? {
        visits::put_back(connection, &trap, day, &withdrawal)?;
        gone.push((trap.to_string(), day));
    }
    for (block, variety, kind, day) in answers::notes_of(connection, answer)? {
        let id = BlockId::new(&block).map_err(|_| StoreError::Value {
            column: "block",
            value: block.clone(),
        })?;
        if let Some(kind) = NoteKind::NAMES.into_iter().find(|known| *known == kind) {
            let variety = Some(variety.as_str()).filter(|variety| !variety.is_empty());
            notes::put_back(
                connection,
                &notes::Key::new(&id, variety, kind, day),
                &withdrawal,
            )?;
            gone.push((block, day));
        }
    }
    Ok(gone)
}
