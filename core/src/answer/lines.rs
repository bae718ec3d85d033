//! What one line of an answer says.

use chrono::NaiveDate;

use super::atoms::{Atom, Kind, atoms};
use super::blocks;
use super::context::{Context, behind_marks, without_remark};
use super::days::{self, Day, day_at};
use super::fault::Fault;
use super::orders;
use super::readings::reading;
use super::{FormBlock, FormTrap, Says, WhyUnclear};
use crate::id::BlockId;

/// What the lines before say of those below.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct State {
    /// The day that holds.
    pub(super) day: Day,
    /// The block that stood on a line of its own.
    pub(super) block: Option<BlockId>,
}

/// What a line says.
#[derive(Debug, Default)]
pub(super) struct Read<'a> {
    /// The day that holds from here.
    pub(super) day: Option<NaiveDate>,
    /// The block that is meant from here.
    pub(super) block: Option<BlockId>,
    /// What is said.
    pub(super) says: Vec<Says>,
    /// The trap of a line to fill in behind whose sign nothing stands.
    pub(super) awaits: Option<&'a FormTrap>,
}

impl<'a> Context<'a> {
    /// Reads a line.
    ///
    /// # Errors
    /// Where it means something that is not understood, or nothing.
    pub(super) fn read(&self, line: &str, state: &State) -> Result<Read<'a>, Fault> {
        let all = atoms(line);
        let (said, remark) = without_remark(&all, line);
        let said = self.without_farewell(said);
        let from = self.behind_bullet(said);
        let said = said.get(from..).unwrap_or_default();
        let reader = Reader {
            context: self,
            remark,
            day: state.day,
            within: state.block.as_ref(),
        };
        if reader.within_names(said) {
            return reader.named(said);
        }
        if let Some(order) = orders::order(self, line) {
            return Ok(Read {
                says: vec![Says::Order(order?)],
                ..Read::default()
            });
        }
        if said.is_empty() {
            return Ok(Read::default());
        }
        let heads = said.last().is_some_and(|last| last.is(':'));
        match (
            day_at(said, 0, self.sent, self.lexicon),
            self.day_in_talk(said),
        ) {
            (_, Some(written)) if heads => reader.dated(written, &[], said),
            (Some((written, end)), _) => {
                reader.dated(written, &said[behind_marks(said, end)..], said)
            }
            (None, _) => Err(self.unnamed(said)),
        }
    }

    /// Why a line is not understood that begins with no name.
    fn unnamed(&self, said: &[Atom]) -> Fault {
        let head = said
            .iter()
            .enumerate()
            .take_while(|(at, atom)| *at == 0 || atom.glued);
        let head: Vec<Atom> = head.map(|(_, atom)| atom.clone()).collect();
        let head: Vec<Atom> = head
            .into_iter()
            .take_while(|atom| !atom.is(':') && !atom.is('='))
            .collect();
        let kinds = |kind| head.iter().any(|atom| atom.kind == kind);
        let like_a_name = kinds(Kind::Word) && (kinds(Kind::Number) || kinds(Kind::Mark));
        let counted = said[head.len()..]
            .iter()
            .any(|atom| atom.kind == Kind::Number);
        let why = match like_a_name && counted {
            true => WhyUnclear::NoSuchName,
            false => WhyUnclear::NotUnderstood,
        };
        Fault {
            why,
            ..Fault::at(&head)
        }
    }
}

/// One line with what holds in it.
struct Reader<'c, 'a> {
    context: &'c Context<'a>,
    remark: &'c str,
    day: Day,
    within: Option<&'c BlockId>,
}

impl<'a> Reader<'_, 'a> {
    fn within_names(&self, said: &[Atom]) -> bool {
        let names = self.context.names;
        names.trap_at(said, 0, self.within).is_some() || names.block_at(said, 0).is_some()
    }

    fn day_of(&self, trap: &FormTrap) -> Result<NaiveDate, Fault> {
        self.context.day_of(trap, self.day)
    }

    /// A line that begins with a day.
    fn dated(
        mut self,
        written: days::Written,
        rest: &[Atom],
        said: &[Atom],
    ) -> Result<Read<'a>, Fault> {
        let of_its_own = self.context.is_courtesy(rest);
        if !of_its_own && !self.within_names(rest) {
            return Err(self.context.unnamed(said));
        }
        let day = days::of_readings(written, self.context.sent.on);
        let day = day.ok_or(Fault::of(WhyUnclear::OddDay))?;
        self.day = Day::Written(day);
        let read = match of_its_own {
            true => Read::default(),
            false => self.named(rest)?,
        };
        Ok(Read {
            day: Some(day),
            ..read
        })
    }

    /// A line that begins with a name: whichever of a trap and a block is longer.
    fn named(&self, said: &[Atom]) -> Result<Read<'a>, Fault> {
        let names = self.context.names;
        let trap = names.trap_at(said, 0, self.within);
        let block = names.block_at(said, 0);
        match (trap, block) {
            (trap, Some(block)) if trap.as_ref().is_none_or(|trap| trap.end < block.end) => {
                let unknown = Fault::of(WhyUnclear::NoSuchName);
                self.of_block(block.what.ok_or(unknown)?, &said[block.end..])
            }
            _ => self.of_traps(said),
        }
    }

    /// Traps with what was read of each.
    fn of_traps(&self, said: &[Atom]) -> Result<Read<'a>, Fault> {
        let Context { names, lexicon, .. } = self.context;
        let mut read = Read::default();
        let mut at = 0;
        while let Some(found) = names.trap_at(said, at, self.within) {
            let next = (found.end..said.len())
                .find(|at| names.trap_at(said, *at, self.within).is_some())
                .unwrap_or(said.len());
            let values = &said[found.end..next];
            let Some(trap) = found.what else {
                return Err(Fault {
                    why: WhyUnclear::NoSuchName,
                    ..Fault::at(&said[at..found.end])
                });
            };
            let remark = if next == said.len() { self.remark } else { "" };
            let signed = values.first().is_some_and(|sign| sign.is('='));
            let (values, day) = self.with_day(trap, values);
            match reading(trap, values, lexicon)? {
                Some(reading) => {
                    let visit = reading.visit(trap, day?, remark);
                    read.says.push(Says::Visit(visit));
                }
                None if signed => read.awaits = (values.len() == 1).then_some(trap),
                // A dash: not read.
                None if values.iter().any(|mark| mark.is('-')) => {}
                None => return Err(Fault::not_understood()),
            }
            at = next;
        }
        Ok(read)
    }

    /// Values up to the day that ends them, and that day; else the one that holds.
    fn with_day<'v>(
        &self,
        trap: &FormTrap,
        values: &'v [Atom],
    ) -> (&'v [Atom], Result<NaiveDate, Fault>) {
        let Context { sent, lexicon, .. } = self.context;
        let ends = |from: usize| {
            let (written, end) = day_at(values, from, sent, lexicon)?;
            (behind_marks(values, end) == values.len()).then_some((from, written))
        };
        let said = values
            .iter()
            .position(Atom::is_name)
            .map_or(values.len(), |first| first + 1);
        match (said..values.len()).find_map(ends) {
            Some((from, written)) => {
                let day = days::of_readings(written, sent.on);
                (&values[..from], day.ok_or(Fault::of(WhyUnclear::OddDay)))
            }
            None => (values, self.day_of(trap)),
        }
    }

    fn of_block(&self, block: &FormBlock, behind: &[Atom]) -> Result<Read<'a>, Fault> {
        let Context {
            names,
            lexicon,
            sent,
        } = self.context;
        let marks = behind_marks(behind, 0);
        if marks == behind.len() {
            return Ok(Read {
                block: Some(block.id.clone()),
                ..Read::default()
            });
        }
        let asked = names.asked_in(&block.id);
        if let Some(run) = blocks::run(&asked, behind, lexicon) {
            let visits = asked.iter().zip(run?).filter_map(|(trap, reading)| {
                let reading = reading?;
                let day = self.day_of(trap);
                Some(day.map(|day| Says::Visit(reading.visit(trap, day, self.remark))))
            });
            return Ok(Read {
                says: visits.collect::<Result<_, _>>()?,
                ..Read::default()
            });
        }
        if names.trap_at(behind, marks, Some(&block.id)).is_some() {
            let inside = Reader {
                within: Some(&block.id),
                ..*self
            };
            return inside.of_traps(&behind[marks..]);
        }
        let Some(note) = blocks::note(block, behind, self.day, sent, lexicon) else {
            return Err(Fault::at(&behind[marks..]));
        };
        let mut note = note?;
        self.remark.clone_into(&mut note.text);
        Ok(Read {
            says: vec![Says::Note(note)],
            ..Read::default()
        })
    }
}
