//! What an answer says, carried out: readings and notes entered, orders given, what its receipt says of each.

use std::collections::BTreeMap;

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
use super::told::{asked_traps, days_told};
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
    /// Whether the day on which it was sent cannot be.
    odd_day: bool,
    /// Of a receipt that is answered: the answers that it told of, oldest first.
    told: Vec<KeptAnswer>,
    /// The days of their readings, by trap.
    days_told: BTreeMap<String, Vec<NaiveDate>>,
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
        // What corrects a receipt's readings is about their day.
        let on = told
            .last()
            .map_or_else(|| config.day_of(sent_at), |answer| answer.sent_on);
        let asked = asked_traps(connection, person, marked, &told)?;
        let form = form(config, person, asked, config.day_of(now));
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
                order: config.words.order,
                language: person.language,
            },
            odd_day: sent_at > now + CLOCKS_DIFFER || (told.is_empty() && on < marked.day),
            days_told: days_told(connection, &told)?,
            told,
        })
    }

    /// The civil day on which the answer was sent.
    pub(super) const fn sent_on(&self) -> NaiveDate {
        self.sent.on
    }

    /// Does what the answer says: what its receipt says, and lines that wait for a word.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub(super) fn carry_out(&self) -> Result<(AnswerReceipt, Vec<String>), StoreError> {
        let mut said = AnswerReceipt::of(self.person.language, self.sent.order, self.sent.on);
        let mut asked = Vec::new();
        let mut answer = answer::read(&self.letter.text, &self.form, &self.sent);
        self.about_days_told(&mut answer);
        self.read_sheets(&mut answer, &mut said);
        said.unclear.extend(
            answer
                .talk
                .iter()
                .map(|talk| line(talk, self.words.nobody_reads)),
        );
        said.unclear.extend(answer.unclear.iter().map(|line| {
            ReceiptLine {
                text: line.text.clone(),
                why: match line.why {
                    WhyUnclear::NoSuchName => self.words.no_such_name,
                    WhyUnclear::NotUnderstood => self.words.not_understood,
                    WhyUnclear::OddDay => self.words.no_such_day,
                    WhyUnclear::Twice => self.words.twice,
                }
                .to_owned(),
                probably: line.probably.clone(),
            }
        }));
        if answer.said.len() > MOST_LINES {
            answer.said.truncate(MOST_LINES);
            said.unclear.push(line("…", self.words.too_long));
        }
        let is_order = |wanted: &Order| {
            answer
                .said
                .iter()
                .any(|l| l.says == Says::Order(wanted.clone()))
        };
        if is_order(&Order::Undo) {
            self.undo(&mut said)?;
        }
        let sure = is_order(&Order::Sure);
        let writer = self.writer(sure);
        if sure {
            self.take_asked(&writer, &mut said, answer.said.len())?;
        }
        self.enter(&answer.said, &writer, &mut said, &mut asked)?;
        self.give_orders(&answer.said, &writer, &mut said)?;
        Ok((said, asked))
    }

    /// A reading that names no day is about the one day that the receipt told of its trap, where it told of one.
    fn about_days_told(&self, answer: &mut Answer) {
        for line in &mut answer.said {
            if let Says::Visit(visit) = &mut line.says
                && visit.date == self.sent.on
                && let Some([day]) = self.days_told.get(visit.trap.as_str()).map(Vec::as_slice)
            {
                visit.date = *day;
            }
        }
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
        asked: &mut Vec<String>,
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
        mut visits: Vec<(&Line, Visit)>,
        writer: &Writer<'_>,
        said: &mut AnswerReceipt,
        asked: &mut Vec<String>,
    ) -> Result<(), StoreError> {
        let mut ask = |line: &Line, day: NaiveDate, why: &str| {
            said.asked.push(self::line(&line.text, why));
            // It is read again later, with the day that it is about above it.
            asked.push(format!("{day}\n{}\n", line.text));
        };
        visits.retain(|(line, visit)| {
            let is_odd = self.odd_day && !writer.sure && visit.date == self.sent.on;
            if is_odd {
                ask(line, visit.date, self.words.odd_day);
            }
            !is_odd
        });
        let own: Vec<Visit> = visits.iter().map(|(_, visit)| visit.clone()).collect();
        let entered = writer.visits(self.connection, &own, 0)?;
        let mut stand = Vec::new();
        let mut refused = Vec::new();
        for ((line, visit), outcome) in visits.into_iter().zip(entered) {
            match outcome {
                Entered::Stands { now, replaced } => stand.push((now, replaced)),
                Entered::Refused(why) => refused.push(self::line(&line.text, &why)),
                Entered::Asked(why) => ask(line, visit.date, &why),
                Entered::Differs { by, stands } => {
                    let found = found(self.person.language, &stands);
                    let by = self.name_of(&by);
                    let why = format!("{} {by}: {found}", self.words.other_person);
                    ask(line, visit.date, &why);
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
        asked: &mut Vec<String>,
    ) -> Result<(), StoreError> {
        let fields: Vec<FieldNote> = notes.iter().map(|(_, note)| note.clone()).collect();
        let entered = writer.notes(self.connection, &fields, from)?;
        for ((line, note), outcome) in notes.into_iter().zip(entered) {
            match outcome {
                Entered::Stands { .. } => said.done.push(line.text.clone()),
                Entered::Asked(why) => {
                    said.asked.push(self::line(&line.text, &why));
                    asked.push(format!("{}\n{}\n", note.date, line.text));
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

    fn undo(&self, said: &mut AnswerReceipt) -> Result<(), StoreError> {
        let before = self.before()?;
        for answer in before.iter().rev() {
            take_back(self.connection, &answer.id, self.person, self.now)?;
            answers::undo(self.connection, &answer.id, self.now)?;
        }
        let words = match before.is_empty() {
            true => self.words.nothing_to_undo,
            false => self.words.undone,
        };
        said.done.push(words.to_owned());
        Ok(())
    }

    /// Takes what answers before asked about as it was written.
    fn take_asked(
        &self,
        writer: &Writer<'_>,
        said: &mut AnswerReceipt,
        more: usize,
    ) -> Result<(), StoreError> {
        let mut any = false;
        for before in self.before()? {
            let asked = before
                .asked
                .as_deref()
                .map(serde_json::from_str::<Vec<String>>);
            let Some(Ok(lines)) = asked else {
                continue;
            };
            any = true;
            let answer = answer::read(&lines.concat(), &self.form, &self.sent);
            // They are the answer's that wrote them, and taken back with it.
            let id = format!("{}:asked", before.id);
            let writer = Writer {
                answer: &id,
                ..*writer
            };
            self.enter(&answer.said, &writer, said, &mut Vec::new())?;
            answers::is_answered(self.connection, &before.id)?;
        }
        // Beside other lines the word is about those.
        if !any && more == 1 {
            said.done.push(self.words.nothing_asked.to_owned());
        }
        Ok(())
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

fn line(text: &str, why: &str) -> ReceiptLine {
    ReceiptLine {
        text: text.to_owned(),
        why: why.to_owned(),
        probably: None,
    }
}
