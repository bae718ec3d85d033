//! One trap's readings through a season: when each fell due, and when it was made.

use chrono::NaiveDate;

use crate::orchard::Trap;

use super::super::{Visit, Visits};
use super::IN_TIME_DAYS;

/// How traps are read on a day.
#[derive(Debug, Clone, Copy)]
pub(super) struct OnDay {
    /// Days from one reading to the next; `None` where they may be left out.
    pub(super) every_days: Option<u64>,
    /// Whether nobody may enter the block.
    pub(super) closed: bool,
}

/// The same on each day of a season.
#[derive(Debug)]
pub(super) struct Routine {
    first: NaiveDate,
    days: Vec<OnDay>,
}

impl Routine {
    pub(super) const fn new(first: NaiveDate, days: Vec<OnDay>) -> Self {
        Self { first, days }
    }

    fn on(&self, day: NaiveDate) -> OnDay {
        let nothing = OnDay {
            every_days: None,
            closed: false,
        };
        let place = usize::try_from((day - self.first).num_days()).ok();
        let on = place.and_then(|place| self.days.get(place));
        on.copied().unwrap_or(nothing)
    }
}

/// A reading that was due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DueReading {
    pub(super) due: NaiveDate,
    /// When it was made; `None` where the next one fell due before that.
    pub(super) made: Option<NaiveDate>,
    /// Days after the due one, those in which the block was closed left out.
    pub(super) days_late: u64,
}

/// What the walk found.
#[derive(Debug, Default)]
pub(super) struct Walked {
    pub(super) due: Vec<DueReading>,
    /// Days on which it was read.
    pub(super) read: Vec<NaiveDate>,
    pub(super) beside: u32,
    pub(super) unreadable: u32,
    pub(super) open: bool,
}

/// Walks the days of a season.
pub(super) fn walk(
    trap: &Trap,
    visits: &Visits,
    routine: &Routine,
    [first, last]: [NaiveDate; 2],
) -> Walked {
    let seen = visits.of(&trap.id, last);
    let readings = seen.iter().filter(|visit| visit.is_reading());
    let before = readings.clone().rfind(|visit| visit.date < first);
    let mut readings = readings.filter(|visit| visit.date >= first).peekable();
    let since = before.map(|visit| visit.date).into_iter();
    let since = since
        .chain(trap.hung_again(first))
        .fold(trap.hung, NaiveDate::max);
    let mut walk = Walk {
        routine,
        since,
        pending: None,
        found: Walked::default(),
    };
    for day in first.iter_days().take_while(|day| *day <= last) {
        if trap.pulls.iter().any(|pull| pull.back == Some(day)) {
            walk.since = day;
        }
        let reading = readings.next_if(|visit| visit.date == day);
        match reading.is_some() || trap.in_use_on(day) {
            true => walk.wait(day),
            false => walk.end(),
        }
        if let Some(visit) = reading {
            walk.read(visit);
        }
    }
    match walk.pending {
        Some(pending) if pending.days_late <= IN_TIME_DAYS => walk.found.open = true,
        _ => walk.end(),
    }
    walk.found
}

struct Walk<'a> {
    routine: &'a Routine,
    /// From this day the next reading is counted.
    since: NaiveDate,
    pending: Option<DueReading>,
    found: Walked,
}

impl Walk<'_> {
    /// The trap is read. A reading before it was due is the one that would have been due next, once half of the
    /// days to it have passed; common practice, no source: rounds move by a day or two.
    fn read(&mut self, visit: &Visit) {
        let day = visit.date;
        let days = u64::try_from((day - self.since).num_days()).unwrap_or(0);
        let next = self.routine.on(day).every_days;
        match (self.pending.take(), next) {
            (Some(pending), _) => self.found.due.push(DueReading {
                made: Some(day),
                ..pending
            }),
            (None, Some(every)) if days * 2 >= every => self.found.due.push(DueReading {
                due: day,
                made: Some(day),
                days_late: 0,
            }),
            (None, _) => self.found.beside += 1,
        }
        self.found.unreadable += u32::from(!visit.readable);
        self.found.read.push(day);
        self.since = day;
    }

    /// The morning of a day on which it hangs.
    fn wait(&mut self, day: NaiveDate) {
        let OnDay { every_days, closed } = self.routine.on(day);
        let Some(every) = every_days else {
            return self.end();
        };
        if closed {
            return;
        }
        match &mut self.pending {
            Some(pending) if pending.days_late + 1 >= every => {
                self.end();
                self.fall_due(day);
            }
            Some(pending) => pending.days_late += 1,
            None if (day - self.since).num_days() >= every.cast_signed() => self.fall_due(day),
            None => {}
        }
    }

    const fn fall_due(&mut self, day: NaiveDate) {
        self.pending = Some(DueReading {
            due: day,
            made: None,
            days_late: 0,
        });
    }

    /// Nothing is due any more: what was, was missed.
    fn end(&mut self) {
        let pending = self.pending.take();
        // It was still in time to be read.
        let missed = pending.filter(|pending| pending.days_late > IN_TIME_DAYS);
        self.found.due.extend(missed);
    }
}
