//! All lines of an answer put together: what holds for those below, and what two lines say of one trap.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::atoms::{Kind, atoms};
use super::context::Context;
use super::days::Day;
use super::fault::Fault;
use super::lines::{Read, State};
use super::readings::reading;
use super::repair::probably;
use super::written::{Place, Written};
use super::{Answer, FormTrap, Line, Says, Unclear, WhyUnclear};
use crate::id::TrapId;
use crate::trapping::Visit;

/// Of so many lines that were not understood it is said what they probably meant.
const MOST_MENDED: usize = 40;
/// So many are named at all.
const MOST_UNCLEAR: usize = 500;
/// Fewer words are a greeting or a name.
const LEAST_TALK: usize = 3;
/// So many lines of talk are kept.
const MOST_TALK: usize = 5;
/// Of a line so much is shown.
const LONGEST_SHOWN: usize = 300;

/// What the lines of an answer say.
pub(super) fn gather(context: &Context<'_>, written: &[Written<'_>]) -> Answer {
    let mut gatherer = Gatherer {
        context,
        state: State::default(),
        awaits: None,
        said: Vec::new(),
        unclear: Vec::new(),
        talk: Vec::new(),
    };
    for line in written {
        gatherer.line(line);
    }
    let Gatherer {
        said,
        unclear,
        talk,
        ..
    } = gatherer;
    let talks_only = said.is_empty() && unclear.is_empty();
    Answer {
        talk: if talks_only { talk } else { Vec::new() },
        ..together(said, unclear)
    }
}

/// Something that was said, and whether it stood in the mail that is answered.
struct Entry {
    line: Line,
    quoted: bool,
}

struct Gatherer<'a> {
    context: &'a Context<'a>,
    state: State,
    /// The trap of the line before, which was not filled in.
    awaits: Option<&'a FormTrap>,
    said: Vec<Entry>,
    unclear: Vec<Unclear>,
    talk: Vec<String>,
}

impl<'a> Gatherer<'a> {
    fn line(&mut self, line: &Written<'_>) {
        if let Some(trap) = self.awaits.take()
            && self.below(trap, line)
        {
            return;
        }
        let (before, parts) = self.context.parted(line.text);
        if line.place != Place::Quoted && !before.is_empty() {
            self.part(before, line.place);
        }
        for part in parts {
            self.part(part, line.place);
        }
    }

    /// A count on the line below the one that was to be filled in.
    fn below(&mut self, trap: &FormTrap, line: &Written<'_>) -> bool {
        let atoms = atoms(line.text);
        let counted = atoms.first().is_some_and(|atom| atom.kind == Kind::Number);
        let (true, Ok(day)) = (counted, self.context.day_of(trap, self.state.day)) else {
            return false;
        };
        let Ok(Some(reading)) = reading(trap, &atoms, self.context.lexicon) else {
            return false;
        };
        let says = Says::Visit(reading.visit(trap, day, ""));
        self.say(&format!("{} {}", trap.id, line.text), line.place, says);
        true
    }

    fn part(&mut self, text: &str, place: Place) {
        match self.context.read(text, &self.state) {
            Ok(read) if place == Place::Own => self.take(text, place, read),
            // In a form and below a signature only readings count; below a signature also what they are of, since a dash
            // alone on its line may be no signature.
            Ok(read) => {
                let is_visit = |says: &Says| matches!(says, Says::Visit(_));
                if read.says.iter().all(is_visit) {
                    let is_form = place == Place::Quoted;
                    let read = Read {
                        day: read.day.filter(|_| !is_form),
                        block: read.block.filter(|_| !is_form),
                        ..read
                    };
                    self.take(text, place, read);
                }
            }
            Err(_) if place == Place::Signature => {}
            Err(fault) => {
                let is_doubted = self.doubt(text, &fault);
                if !is_doubted && place == Place::Own {
                    self.talk(text);
                }
                // Below a day that is not understood, or that talk speaks of, none is known.
                let of_day = fault.why == WhyUnclear::OddDay && self.context.is_day(text);
                let talk =
                    !self.context.tells_of_a_trap(text) && self.context.speaks_of_a_day(text);
                if of_day || place == Place::Own && talk {
                    self.state.day = Day::Unknown;
                }
            }
        }
    }

    fn take(&mut self, text: &str, place: Place, read: Read<'a>) {
        if let Some(day) = read.day {
            self.state.day = Day::Written(day);
        }
        if read.block.is_some() {
            self.state.block = read.block;
        }
        self.awaits = read.awaits;
        for says in read.says {
            self.say(text, place, says);
        }
    }

    fn say(&mut self, text: &str, place: Place, says: Says) {
        self.said.push(Entry {
            line: Line {
                text: shown(text),
                says,
            },
            quoted: place == Place::Quoted,
        });
    }

    /// Keeps a line that is meant for a person: more than a greeting or a name.
    fn talk(&mut self, text: &str) {
        let said = atoms(text);
        let words = said.iter().filter(|atom| atom.kind == Kind::Word).count();
        let is_talk = words >= LEAST_TALK && !self.context.is_courtesy(&said);
        if is_talk && self.talk.len() < MOST_TALK {
            self.talk.push(shown(text));
        }
    }

    /// Whether a line that is not understood meant something; then it is named.
    fn doubt(&mut self, text: &str, fault: &Fault) -> bool {
        let mends = self.unclear.len() < MOST_MENDED;
        let probably = mends.then(|| probably(self.context, text, fault, &self.state));
        let probably = probably.flatten();
        // One word alone may be a slip of an order's.
        let slipped = probably.is_some() && !text.contains(' ');
        let is_meant = slipped || self.context.is_meant(text);
        if is_meant && self.unclear.len() < MOST_UNCLEAR {
            self.unclear.push(Unclear {
                text: shown(text),
                why: fault.why,
                probably,
            });
        }
        is_meant
    }
}

fn shown(text: &str) -> String {
    text.chars().take(LONGEST_SHOWN).collect()
}

/// Readings of one trap and day are one; where they contradict each other, none is taken.
fn together(said: Vec<Entry>, mut unclear: Vec<Unclear>) -> Answer {
    let mut places: HashMap<(TrapId, NaiveDate), Vec<usize>> = HashMap::new();
    for (place, entry) in said.iter().enumerate() {
        if let Says::Visit(visit) = &entry.line.says {
            places
                .entry((visit.trap.clone(), visit.date))
                .or_default()
                .push(place);
        }
    }
    let mut lines: Vec<Option<Entry>> = said.into_iter().map(Some).collect();
    let mut places: Vec<Vec<usize>> = places.into_values().filter(|of| of.len() > 1).collect();
    places.sort_unstable();
    for places in places {
        let of_trap: Vec<Entry> = places
            .iter()
            .filter_map(|place| lines[*place].take())
            .collect();
        match as_one(&of_trap) {
            Some(line) => {
                lines[places[0]] = Some(Entry {
                    line,
                    quoted: false,
                });
            }
            None => unclear.extend(of_trap.into_iter().map(|entry| Unclear {
                text: entry.line.text,
                why: WhyUnclear::Twice,
                probably: None,
            })),
        }
    }
    let said = lines.into_iter().flatten().map(|entry| entry.line);
    Answer {
        said: said.collect(),
        unclear,
        talk: Vec::new(),
    }
}

/// What was written above a form says more than what stands in it.
fn as_one(of_trap: &[Entry]) -> Option<Line> {
    let own = of_trap.iter().filter(|entry| !entry.quoted);
    let own: Vec<&Line> = own.map(|entry| &entry.line).collect();
    let all = of_trap.iter().map(|entry| &entry.line).collect();
    let lines = if own.is_empty() { all } else { own };
    let (first, rest) = lines.split_first()?;
    rest.iter().try_fold((*first).clone(), |line, next| {
        let (Says::Visit(visit), Says::Visit(more)) = (&line.says, &next.says) else {
            return None;
        };
        let visit = merged(visit, more)?;
        let text = match line.text == next.text {
            true => line.text.clone(),
            false => shown(&format!("{}; {}", line.text, next.text)),
        };
        Some(Line {
            text,
            says: Says::Visit(visit),
        })
    })
}

fn merged(one: &Visit, other: &Visit) -> Option<Visit> {
    let counts = |visit: &Visit| {
        (
            visit.eggs,
            visit.moths,
            visit.males,
            visit.females,
            visit.readable,
            visit.eggs_left,
        )
    };
    if one.is_reading() && other.is_reading() && counts(one) != counts(other) {
        return None;
    }
    let read = if one.is_reading() { one } else { other };
    let mut notes = vec![one.note.as_str(), other.note.as_str()];
    notes.retain(|note| !note.is_empty());
    notes.dedup();
    Some(Visit {
        serviced: one.serviced.union(&other.serviced).copied().collect(),
        note: notes.join(", "),
        ..read.clone()
    })
}
