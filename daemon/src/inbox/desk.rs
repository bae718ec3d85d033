//! What an answer says, carried out: readings and notes entered, orders given, what its receipt says of each.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight_core::answer::{self, Answer, FieldNote, Form, Line, Order, Says, Sent, WhyUnclear};
use duskflight_core::contents::{AnswerReceipt, ReceiptLine, ReceiptRow, Stood, found, usual};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::ledger::MailKind;
use duskflight_core::trapping::Visit;
use duskflight_core::wording::language::ReceiptWords;
use rusqlite::Connection;

use super::form::form;
use super::letter::Letter;
use super::orders::Giver;
use super::receipts;
use super::told::{DaysTold, asked_traps, waiting};
use crate::config::{Config, Person};
use crate::mail::mark::Marked;
use crate::records::{BY_MAIL, Entered, Writer, take_back, visits_of_sheet};
use crate::store::answers::{self, KeptAnswer};
use crate::store::{StoreError, visits};

/// A clock may be so far ahead of ours before the day of an answer is asked about.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::hours(2);
/// More readings of one answer are not taken: a firm's week is less.
const MOST_LINES: usize = 3000;

/// An answer with all that it is carried out with.
pub(super) struct Desk<'a> {
    connection: &'a Connection,
    config: &'a Config,
    person: &'a Person,
    marked: &'a Marked,
    letter: &'a Letter,
    now: DateTime<Utc>,
    words: &'static ReceiptWords,
    /// What the person may speak of.
    form: Form,
    sent: Sent,
    /// Of a receipt that is answered: the answers that it told of, oldest first.
    told: Vec<KeptAnswer>,
    /// The block of each trap that the person may enter.
    blocks: BTreeMap<TrapId, BlockId>,
}

impl<'a> Desk<'a> {
    /// Reads what the answer is about.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub(super) fn open(
        connection: &'a Connection,
        config: &'a Config,
        person: &'a Person,
        marked: &'a Marked,
        letter: &'a Letter,
        now: DateTime<Utc>,
    ) -> Result<Self, StoreError> {
        let sent_at = letter.sent.unwrap_or(now);
        let told = match marked.kind {
            MailKind::Receipt => {
                let receipt = (marked.day, marked.which.as_str());
                receipts::answers_in(connection, &person.id, receipt)?
            }
            _ => Vec::new(),
        };
        let asked = asked_traps(connection, person, marked, &told)?;
        let days = DaysTold::by(connection, &told)?;
        let on = config.day_of(sent_at);
        let can_be = sent_at <= now + CLOCKS_DIFFER && on >= marked.day;
        let form = form(config, person, (asked, &days), config.day_of(now));
        let traps = form.traps.iter();
        let blocks = traps.map(|trap| (trap.id.clone(), trap.block.clone()));
        Ok(Self {
            connection,
            config,
            person,
            marked,
            letter,
            now,
            words: &person.language.words().receipt,
            blocks: blocks.collect(),
            form,
            sent: Sent {
                on,
                day_is_clear: can_be && is_of_day(marked, &told, &days, on),
                order: config.words.order,
                language: person.language,
            },
            told,
        })
    }

    /// The civil day on which the answer was sent.
    pub(super) const fn sent_on(&self) -> NaiveDate {
        self.sent.on
    }

    /// Does what the answer says: what its receipt says, and lines that wait for a word. `is_news`: whether it was
    /// never taken; alerts that wait now are not those that an older one means.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub(super) fn carry_out(
        &self,
        is_news: bool,
    ) -> Result<(AnswerReceipt, Vec<Line>), StoreError> {
        let mut said = AnswerReceipt::of(self.person.language, self.sent.order, self.sent.on);
        let mut asked = Vec::new();
        let mut answer = answer::read(&self.letter.text, &self.form, &self.sent);
        self.read_sheets(&mut answer, &mut said);
        self.not_taken(&answer, &mut said);
        let mut lines = answer.said;
        lines.retain(|line| is_news || !is_about_alerts(line));
        if orders(&lines, &Order::Undo) {
            self.undo(&mut said)?;
        }
        let sure = orders(&lines, &Order::Sure);
        if sure {
            let waiting = self.take_waiting()?;
            // Beside other lines the word is about those.
            if waiting.is_empty() && lines.len() == 1 {
                said.done.push(self.words.nothing_asked.to_owned());
            }
            lines.splice(0..0, without_newer(waiting, &lines));
        }
        if lines.len() > MOST_LINES {
            lines.truncate(MOST_LINES);
            said.unclear.push(line("…", self.words.too_long));
        }
        let writer = self.writer(sure);
        self.enter(&lines, &writer, &mut said, &mut asked)?;
        self.give_orders(&lines, &writer, &mut said)?;
        Ok((said, asked))
    }

    /// Says of lines that are not taken why.
    fn not_taken(&self, answer: &Answer, said: &mut AnswerReceipt) {
        let talk = answer.talk.iter();
        said.unclear
            .extend(talk.map(|talk| line(talk, self.words.nobody_reads)));
        said.unclear.extend(answer.unclear.iter().map(|line| {
            ReceiptLine {
                text: line.text.clone(),
                why: match line.why {
                    WhyUnclear::NoSuchName => self.words.no_such_name,
                    WhyUnclear::NotUnderstood => self.words.not_understood,
                    WhyUnclear::OddDay => self.words.no_such_day,
                    WhyUnclear::NoDay => self.words.no_day,
                    WhyUnclear::Twice => self.words.twice,
                }
                .to_owned(),
                probably: line.probably.clone(),
            }
        }));
    }

    fn writer(&self, sure: bool) -> Writer<'a> {
        Writer {
            config: self.config,
            person: self.person,
            answer: &self.letter.id,
            via: BY_MAIL,
            sure,
            at: self.now,
        }
    }

    /// Enters readings and notes.
    fn enter(
        &self,
        lines: &[Line],
        writer: &Writer<'_>,
        said: &mut AnswerReceipt,
        asked: &mut Vec<Line>,
    ) -> Result<(), StoreError> {
        let (mut visits, mut notes) = (Vec::new(), Vec::new());
        for line in lines {
            match &line.says {
                Says::Visit(visit) => visits.push((line, visit.clone())),
                Says::Note(note) => notes.push((line, note.clone())),
                Says::Order(_) => {}
            }
        }
        let from = visits.len();
        self.enter_visits(visits, writer, said, asked)?;
        self.enter_notes(notes, writer, from, said, asked)
    }

    fn enter_visits(
        &self,
        visits: Vec<(&Line, Visit)>,
        writer: &Writer<'_>,
        said: &mut AnswerReceipt,
        asked: &mut Vec<Line>,
    ) -> Result<(), StoreError> {
        let mut ask = |line: &Line, why: &str| {
            said.asked.push(self::line(&line.text, why));
            asked.push(line.clone());
        };
        let own: Vec<Visit> = visits.iter().map(|(_, visit)| visit.clone()).collect();
        let entered = writer.visits(self.connection, &own, 0)?;
        let mut stand = Vec::new();
        let mut refused = Vec::new();
        for ((line, _), outcome) in visits.into_iter().zip(entered) {
            match outcome {
                Entered::Stands { now, replaced } => stand.push((now, replaced)),
                Entered::Refused(why) => refused.push(self::line(&line.text, &why)),
                Entered::Asked(why) => ask(line, &why),
                Entered::Differs { by, stands } => {
                    let found = found(self.person.language, &stands);
                    let by = self.name_of(&by);
                    let why = format!("{} {by}: {found}", self.words.other_person);
                    ask(line, &why);
                }
            }
        }
        said.unclear.extend(refused);
        self.show(&stand, said)
    }

    fn enter_notes(
        &self,
        notes: Vec<(&Line, FieldNote)>,
        writer: &Writer<'_>,
        from: usize,
        said: &mut AnswerReceipt,
        asked: &mut Vec<Line>,
    ) -> Result<(), StoreError> {
        let fields: Vec<FieldNote> = notes.iter().map(|(_, note)| note.clone()).collect();
        let entered = writer.notes(self.connection, &fields, from)?;
        for ((line, _), outcome) in notes.into_iter().zip(entered) {
            match outcome {
                Entered::Stands { .. } => said.done.push(line.text.clone()),
                Entered::Asked(why) => {
                    said.asked.push(self::line(&line.text, &why));
                    asked.push(line.clone());
                }
                Entered::Refused(why) => said.unclear.push(self::line(&line.text, &why)),
                // A note is written over by whoever knows better.
                Entered::Differs { .. } => {}
            }
        }
        Ok(())
    }

    /// Who entered something, by their name where they are declared.
    fn name_of<'b>(&'b self, by: &'b str) -> &'b str {
        let mut people = self.config.people.iter();
        let person = people.find(|person| person.id.as_str() == by);
        person.map_or(by, |person| &person.name)
    }

    /// Readings that stand now, each with the one before and what it replaced, and their sums by block.
    fn show(
        &self,
        stand: &[(Visit, Option<Visit>)],
        said: &mut AnswerReceipt,
    ) -> Result<(), StoreError> {
        let (language, order) = (self.person.language, self.sent.order);
        let traps: Vec<&TrapId> = stand.iter().map(|(visit, _)| &visit.trap).collect();
        let known = visits::of_traps_up_to(self.connection, &traps, self.config.day_of(self.now))?;
        for (visit, replaced) in stand {
            let of_trap = known
                .iter()
                .filter(|other| other.trap == visit.trap && other.date < visit.date);
            let before: Vec<Visit> = of_trap.cloned().collect();
            let year = before
                .iter()
                .filter(|other| visit.date - other.date < TimeDelta::days(200));
            let stood = Stood {
                answer_of: self.sent.on,
                visit,
                before: before.iter().rev().find(|other| other.is_reading()),
                replaced: replaced.as_ref(),
                usual: usual(visit, &year.cloned().collect::<Vec<_>>()),
            };
            said.rows.push(ReceiptRow::new(language, order, stood));
        }
        for block in &self.form.blocks {
            let in_block = |visit: &&Visit| self.blocks.get(&visit.trap) == Some(&block.id);
            let of_block: Vec<&Visit> = stand
                .iter()
                .map(|(visit, _)| visit)
                .filter(in_block)
                .collect();
            said.add_sum(language, &block.name, &of_block);
        }
        Ok(())
    }

    /// Carries out what else the answer asks for.
    fn give_orders(
        &self,
        lines: &[Line],
        writer: &Writer<'_>,
        said: &mut AnswerReceipt,
    ) -> Result<(), StoreError> {
        let giver = Giver {
            config: self.config,
            person: self.person,
            verdict: self.letter.verdict,
            words: self.words,
            now: self.now,
        };
        for (place, line) in lines.iter().enumerate() {
            match &line.says {
                Says::Order(Order::Sure | Order::Undo) | Says::Visit(_) | Says::Note(_) => {}
                Says::Order(order) => {
                    // Far behind the places of readings and notes.
                    let place = 2 * MOST_LINES + place;
                    match giver.carry_out(self.connection, order, writer, place)? {
                        None => said.done.push(line.text.clone()),
                        Some(why) => said.unclear.push(self::line(&line.text, &why)),
                    }
                }
            }
        }
        Ok(())
    }

    /// The answers that the mail stands for, where it is a receipt; else the newest to the same mail.
    fn before(&self) -> Result<Vec<KeptAnswer>, StoreError> {
        let Marked { kind, day, which } = self.marked;
        if *kind == MailKind::Receipt {
            return Ok(self.told.clone());
        }
        let newest = answers::newest_to(self.connection, &self.person.id, (*kind, *day, which))?;
        Ok(newest.into_iter().collect())
    }

    /// Takes answers back with all that came of them.
    fn undo(&self, said: &mut AnswerReceipt) -> Result<(), StoreError> {
        let mut any = false;
        let all = answers::with_followers(self.connection, &self.before()?)?;
        for answer in all.iter().rev() {
            any |= !take_back(self.connection, &answer.id, self.person, self.now)?.is_empty();
            answers::undo(self.connection, &answer.id, self.now)?;
        }
        let words = match any {
            false => self.words.nothing_to_undo,
            true => self.words.undone,
        };
        said.done.push(words.to_owned());
        Ok(())
    }

    /// What answers before asked about, as they said it; it waits no more.
    fn take_waiting(&self) -> Result<Vec<Line>, StoreError> {
        let mut all = Vec::new();
        for before in self.before()? {
            all = without_newer(all, &waiting(&before));
            all.extend(waiting(&before));
            answers::is_answered(self.connection, &before.id)?;
        }
        Ok(all)
    }

    /// Readings of sheets that came with the answer, as if they were lines of it.
    fn read_sheets(&self, answer: &mut Answer, said: &mut AnswerReceipt) {
        if self.marked.kind != MailKind::Round {
            return;
        }
        for (name, bytes) in &self.letter.sheets {
            match visits_of_sheet(self.config, bytes, self.person, self.now) {
                Ok(visits) => {
                    for visit in visits {
                        let text = format!("{name}: {}", visit.trap);
                        match self.blocks.contains_key(&visit.trap) {
                            true => answer.said.push(Line {
                                text,
                                says: Says::Visit(visit),
                            }),
                            false => said.unclear.push(line(&text, self.words.no_such_name)),
                        }
                    }
                }
                Err(faults) => {
                    let faults = faults.iter().take(20);
                    said.unclear
                        .extend(faults.map(|fault| line(name, &fault.to_string())));
                }
            }
        }
    }
}

/// Whether an answer to a mail is about the day on which it was sent: one to a receipt, where that told of no other.
fn is_of_day(marked: &Marked, told: &[KeptAnswer], days: &DaysTold, on: NaiveDate) -> bool {
    match (marked.kind, told) {
        (MailKind::Receipt, []) => marked.day == on,
        (_, told) => told.iter().all(|answer| answer.sent_on == on) && days.are_all(on),
    }
}

fn orders(lines: &[Line], wanted: &Order) -> bool {
    lines
        .iter()
        .any(|line| matches!(&line.says, Says::Order(order) if order == wanted))
}

const fn is_about_alerts(line: &Line) -> bool {
    matches!(
        line.says,
        Says::Order(Order::Hold(_) | Order::Release(_) | Order::AddLine { .. })
    )
}

/// Lines without those that newer ones take the place of.
fn without_newer(mut lines: Vec<Line>, newer: &[Line]) -> Vec<Line> {
    let newer: BTreeSet<_> = newer.iter().filter_map(about).collect();
    lines.retain(|line| about(line).is_none_or(|about| !newer.contains(&about)));
    lines
}

/// The trap or block, the variety, the kind of note and the day that a record is about.
fn about(line: &Line) -> Option<(&str, Option<&str>, &str, NaiveDate)> {
    match &line.says {
        Says::Visit(visit) => Some((visit.trap.as_str(), None, "", visit.date)),
        Says::Note(note) => {
            let (block, variety) = (note.block.as_str(), note.variety.as_deref());
            Some((block, variety, note.kind.name(), note.date))
        }
        Says::Order(_) => None,
    }
}

fn line(text: &str, why: &str) -> ReceiptLine {
    ReceiptLine {
        text: text.to_owned(),
        why: why.to_owned(),
        probably: None,
    }
}
