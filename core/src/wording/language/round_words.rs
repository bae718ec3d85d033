//! What stands in round mails and on round sheets.

use chrono::NaiveDate;

use crate::orchard::{Part, TrapKind};
use crate::wording::words::DateOrder;

/// What stands in round mails and on round sheets. What takes something is given it as it is printed.
#[derive(Debug)]
pub struct RoundWords {
    /// A day with its weekday and year.
    pub long_day: fn(NaiveDate, DateOrder) -> String,
    /// Kinds of traps.
    pub kind: fn(TrapKind) -> &'static str,
    /// So many of a part.
    pub parts: fn(usize, Part) -> String,
    /// So many traps.
    pub traps: fn(usize) -> String,
    /// Before the number of a gate.
    pub gate: &'static str,
    /// Before the number of a row.
    pub row: &'static str,
    /// Before the number of a tree.
    pub tree: &'static str,
    /// A route by its name.
    pub route: fn(&str) -> String,
    /// Traps that have no route.
    pub no_route: &'static str,
    /// Between the ends of a run of traps.
    pub to: &'static str,
    /// What is to be done on the way.
    pub todo: TodoWords,
    /// What stands in the mail alone.
    pub mail: MailWords,
    /// What stands on the sheet alone.
    pub sheet: SheetWords,
}

/// What is to be done on a round.
#[derive(Debug)]
pub struct TodoWords {
    /// A reading that is due today.
    pub due: &'static str,
    /// One that was due on a day.
    pub due_since: fn(&str) -> String,
    /// One that falls due on a day.
    pub due_on: fn(&str) -> String,
    /// One that may be left out, since sound nuts have split.
    pub optional: &'static str,
    /// One that is not due where a part is changed.
    pub count_before: &'static str,
    /// So many eggs that were left on count again.
    pub eggs_left: fn(u32) -> String,
    /// To change a part.
    pub change: fn(&str) -> String,
    /// That a part's life ended on a day.
    pub life_ended: fn(&str) -> String,
    /// Until which day a part serves.
    pub lasts_until: fn(&str) -> String,
    /// That nobody may enter before a day.
    pub no_entry: fn(&str) -> String,
    /// Traps that wait until then.
    pub waiting: fn(&str) -> String,
    /// That the posting binds.
    pub check_posting: &'static str,
    /// Since which day traps are down; the traps come last, so that no number stands behind one.
    pub down: fn(&str, &str) -> String,
    /// That it is not known whether a part of traps is due: the part, the traps.
    pub no_clock: fn(&str, &str) -> String,
    /// What to bring.
    pub bring: &'static str,
}

/// What stands in round mails alone.
#[derive(Debug)]
pub struct MailWords {
    /// A round on a route, for a subject; without a route where the name is empty.
    pub round: fn(&str) -> String,
    /// Whose round it is.
    pub of: fn(&str) -> String,
    /// That nobody may enter a block before a day: the day, the block.
    pub no_entry: fn(&str, &str) -> String,
    /// So many traps that wait there.
    pub wait: fn(usize) -> String,
    /// Before what to bring.
    pub bring: &'static str,
    /// That the posting at each block binds.
    pub postings: &'static str,
    /// The last count with its day.
    pub last: fn(u32, &str) -> String,
    /// That the trap could not be read last, with its day.
    pub last_unreadable: fn(&str) -> String,
    /// Whom to ask, before a telephone number.
    pub ask: fn(&str) -> String,
    /// How often it comes.
    pub sending: &'static str,
    /// The caution, with the authority that mails name.
    pub caution: fn(&str) -> String,
}

/// What stands on round sheets alone.
#[derive(Debug)]
pub struct SheetWords {
    /// What the page is.
    pub sheets: &'static str,
    /// Before the name of who reads.
    pub read_by: &'static str,
    /// Before the day of reading.
    pub read_on: &'static str,
    /// Heads of the printed table: gate, row, tree, trap, count, changed, remark.
    pub heads: [&'static str; 7],
    /// Heads of the table on a terminal: block, place, trap, kind, what.
    pub columns: [&'static str; 5],
    /// Counts by their columns in the visits sheet.
    pub counts: fn(&str) -> String,
    /// A trap that could not be read.
    pub not_readable: &'static str,
    /// Eggs that were not taken off.
    pub eggs_left_on: &'static str,
    /// That a part is to be changed.
    pub change: &'static str,
    /// That nothing is due.
    pub nothing_due: &'static str,
    /// The same in a sentence.
    pub nothing_due_sentence: &'static str,
    /// How to fill it in.
    pub how: &'static str,
}
