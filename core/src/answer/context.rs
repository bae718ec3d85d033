//! What an answer is read by, and what of a line says nothing.

use chrono::NaiveDate;

use super::atoms::{Atom, Kind, atoms};
use super::days::{Day, Written, day_at, of_readings};
use super::fault::Fault;
use super::lexicon::{Lexicon, Word};
use super::names::{Names, begins_name};
use super::{FormTrap, Sent};

/// A weekday's name in a sentence; `sun` may be another thing. `ayer` and `today` are days as well.
const SHORTEST_WEEKDAY: usize = 4;

/// What an answer is read by.
pub(super) struct Context<'a> {
    /// What it may name.
    pub(super) names: &'a Names<'a>,
    /// The words it may hold.
    pub(super) lexicon: &'a Lexicon,
    /// How it was sent.
    pub(super) sent: &'a Sent,
}

impl Context<'_> {
    /// The day of a reading beside which none stands.
    ///
    /// # Errors
    /// Where none is known.
    pub(super) fn day_of(&self, trap: &FormTrap, holds: Day) -> Result<NaiveDate, Fault> {
        holds.or(trap.told.or(self.sent.unwritten()))
    }

    /// Whether a trap is named in a line, with something said of it.
    pub(super) fn tells_of_a_trap(&self, line: &str) -> bool {
        let atoms = atoms(line);
        let said = |at: usize| {
            let at = behind_marks(&atoms, at);
            let word = self.lexicon.at(&atoms, at);
            atoms.get(at).is_some_and(|atom| atom.kind == Kind::Number)
                || word.is_some_and(|(word, _)| word.is_of_a_reading())
        };
        (0..atoms.len()).any(|at| {
            self.names
                .trap_at(&atoms, at, None)
                .is_some_and(|found| said(found.end))
        })
    }

    /// The only day that talk speaks of, where no other number stands in it: `counts of yesterday`. A word that only
    /// begins like a weekday is none.
    pub(super) fn day_in_talk(&self, said: &[Atom]) -> Option<Written> {
        let speaks = |at: usize| {
            let (day, end) = day_at(said, at, self.sent, self.lexicon)?;
            let numbers = |atoms: &[Atom]| atoms.iter().any(|atom| atom.kind == Kind::Number);
            let whole = numbers(&said[at..end])
                || said[at..end]
                    .iter()
                    .any(|atom| atom.text.len() >= SHORTEST_WEEKDAY);
            (whole && !numbers(&said[..at]) && !numbers(&said[end..])).then_some(day)
        };
        (0..said.len()).find_map(speaks)
    }

    /// Whether talk speaks of a day before the one on which the answer was sent: what is below may be of that day.
    pub(super) fn speaks_of_a_day(&self, line: &str) -> bool {
        let all = atoms(line);
        let (said, _) = without_remark(&all, line);
        let day = self
            .day_in_talk(said)
            .and_then(|day| of_readings(day, self.sent.on));
        day.is_some_and(|day| day < self.sent.on)
    }

    /// Whether a line begins with a day.
    pub(super) fn is_day(&self, line: &str) -> bool {
        let atoms = atoms(line);
        let from = self.behind_bullet(&atoms);
        day_at(&atoms, from, self.sent, self.lexicon).is_some()
    }

    /// Whether a line that is not understood looks as if it said something.
    pub(super) fn is_meant(&self, line: &str) -> bool {
        let all = atoms(line);
        let (said, _) = without_remark(&all, line);
        let numbers = said.iter().any(|atom| atom.kind == Kind::Number) && !is_contact(line);
        if numbers || (0..said.len()).any(|at| self.names.trap_at(said, at, None).is_some()) {
            return true;
        }
        let words = said.iter().filter(|atom| atom.kind == Kind::Word).count();
        let of_trade = said.iter().filter(|atom| {
            let word = self.lexicon.word(atom);
            word.is_some_and(|word| {
                word.is_of_a_reading() || word.is_of_a_block() || word.is_order()
            })
        });
        let known = of_trade.count();
        known > 0 && known * 2 >= words || (0..said.len()).any(|at| self.names_block(said, at))
    }

    fn names_block(&self, line: &[Atom], at: usize) -> bool {
        at == 0 && self.names.block_at(line, at).is_some()
    }

    /// Lines to fill in that stand in one line, each with what stands behind its sign, and what stands before
    /// the first.
    pub(super) fn parted<'t>(&self, line: &'t str) -> (&'t str, Vec<&'t str>) {
        let atoms = atoms(line);
        let signed = |at: &usize| {
            let found = self.names.trap_at(&atoms, *at, None);
            found.is_some_and(|found| atoms.get(found.end).is_some_and(|sign| sign.is('=')))
        };
        let begins: Vec<usize> = (0..atoms.len())
            .filter(signed)
            .map(|at| atoms[at].from)
            .collect();
        let ends = begins.iter().skip(1).copied().chain([line.len()]);
        let parts = begins
            .iter()
            .zip(ends)
            .map(|(from, to)| line[*from..to].trim());
        let before = &line[..begins.first().copied().unwrap_or(line.len())];
        (before.trim(), parts.collect())
    }

    /// Behind words of courtesy and the marks among them.
    pub(super) fn behind_courtesy(&self, line: &[Atom], mut at: usize) -> usize {
        while let Some((Word::Courtesy, end)) = self.lexicon.at(line, at) {
            at = behind_marks(line, end);
        }
        at
    }

    /// Whether nothing but courtesy stands there, and perhaps a name.
    pub(super) fn is_courtesy(&self, line: &[Atom]) -> bool {
        let words = &line[behind_marks(line, 0)..];
        let courteous = matches!(self.lexicon.at(words, 0), Some((Word::Courtesy, _)));
        words.is_empty() || courteous && words.iter().all(|atom| atom.kind != Kind::Number)
    }

    /// A line up to the courtesy that ends it.
    pub(super) fn without_farewell<'l>(&self, line: &'l [Atom]) -> &'l [Atom] {
        let last = line.iter().rposition(|atom| atom.kind == Kind::Number);
        let from = last.map_or(1, |last| last + 1);
        let courteous = |at: &usize| {
            let word = self.lexicon.at(line, *at);
            matches!(word, Some((Word::Courtesy, _))) && begins_name(line, *at)
        };
        let end = (from..line.len()).find(courteous);
        &line[..end.unwrap_or(line.len())]
    }

    /// Behind what stands before the items of a list, and behind a greeting.
    pub(super) fn behind_bullet(&self, line: &[Atom]) -> usize {
        let bullet = |atom: &&Atom| {
            ['*', '-', '+', '\u{2022}', '\u{b7}', '"', '\'']
                .into_iter()
                .any(|mark| atom.is(mark))
        };
        let bullets = line.iter().take_while(bullet).count();
        if self.names.trap_at(line, bullets, None).is_some() {
            return bullets;
        }
        let at = self.behind_courtesy(line, bullets);
        let numbered = line
            .get(at)
            .is_some_and(|number| number.kind == Kind::Number)
            && line
                .get(at + 1)
                .is_some_and(|mark| mark.glued && (mark.is('.') || mark.is(')')))
            && line.get(at + 2).is_some_and(|next| !next.glued)
            && self.names.trap_at(line, at + 2, None).is_some();
        if numbered { at + 2 } else { at }
    }
}

/// A line up to its remark, and the remark.
pub(super) fn without_remark<'l>(atoms: &'l [Atom], line: &'l str) -> (&'l [Atom], &'l str) {
    match atoms.iter().position(|atom| atom.is('#')) {
        Some(at) => (&atoms[..at], line[atoms[at].to..].trim()),
        None => (atoms, ""),
    }
}

/// Behind the marks that stand at an atom.
pub(super) fn behind_marks(line: &[Atom], at: usize) -> usize {
    let mark = |atom: &&Atom| {
        [',', '.', ':', ';', '!', '-', '=']
            .into_iter()
            .any(|mark| atom.is(mark))
    };
    at + line.iter().skip(at).take_while(mark).count()
}

/// Whether a line holds a web address or a telephone number, as signatures and programs add them.
fn is_contact(line: &str) -> bool {
    let is_of_number = |c: char| c.is_ascii_digit() || " ()-+./".contains(c);
    let mut runs = line.split(|c: char| !is_of_number(c));
    line.contains("://") || runs.any(is_telephone)
}

/// Nine digits or more, in two or three groups behind what a country may have.
fn is_telephone(run: &str) -> bool {
    let run = run.trim();
    let groups = run.split(|c: char| !c.is_ascii_digit());
    let mut groups: Vec<usize> = groups.map(str::len).filter(|length| *length > 0).collect();
    if run.starts_with('+') && groups.len() > 2 {
        groups.remove(0);
    }
    matches!(groups.len(), 2 | 3)
        && groups.iter().all(|length| (2..=5).contains(length))
        && groups.iter().sum::<usize>() >= 9
}
