//! What an answer asks to be done.

use chrono::Datelike;

use super::atoms::{Atom, atoms};
use super::context::{Context, behind_marks};
use super::days::{around, day_at};
use super::fault::Fault;
use super::lexicon::Word;
use super::{Order, WhyUnclear};

/// A person is named by no more words.
const MOST_WORDS: usize = 4;

/// The order that a line begins with; `None` where it only begins with such a word.
pub(super) fn order(context: &Context<'_>, line: &str) -> Option<Result<Order, Fault>> {
    let atoms = atoms(line);
    let from = context.behind_courtesy(&atoms, 0);
    let (word, at) = context.lexicon.at(&atoms, from)?;
    let rest = || atoms.get(at).map_or("", |next| &line[next.from..]);
    let named = || {
        let until = context.without_farewell(&atoms).last();
        until.map_or("", |last| {
            line.get(line.len() - rest().len()..last.to)
                .unwrap_or_default()
        })
    };
    match word {
        Word::Undo if context.is_courtesy(&atoms[at..]) => Some(Ok(Order::Undo)),
        Word::Sure if context.is_courtesy(&atoms[at..]) => Some(Ok(Order::Sure)),
        Word::Hold => Some(Ok(Order::Hold(person(named())?))),
        Word::Release => Some(Ok(Order::Release(person(named())?))),
        Word::Note => {
            let (to, line) = rest().split_once(':')?;
            let line = line.trim();
            (!line.is_empty()).then_some(Ok(Order::AddLine {
                to: person(to)?,
                line: line.to_owned(),
            }))
        }
        Word::Start => start(context, line, &atoms, at),
        _ => None,
    }
}

/// The words that name a person.
fn person(words: &str) -> Option<String> {
    let name = words
        .trim()
        .trim_end_matches(['.', '!', ',', ';'])
        .trim_end();
    let short = name.split_whitespace().count() <= MOST_WORDS && name.len() <= 100;
    (short && !name.contains(',') && name.chars().any(char::is_alphabetic)).then(|| name.to_owned())
}

/// `start R4 Apr 24 because …`.
fn start(
    context: &Context<'_>,
    line: &str,
    atoms: &[Atom],
    at: usize,
) -> Option<Result<Order, Fault>> {
    let block = context.names.block_at(atoms, at)?;
    let Some(named) = block.what else {
        return Some(Err(Fault::of(WhyUnclear::NoSuchName)));
    };
    let dated = day_at(atoms, block.end, context.sent, context.lexicon);
    let Some((written, end)) = dated else {
        return Some(Err(Fault::not_understood()));
    };
    let because = context.lexicon.at(atoms, behind_marks(atoms, end));
    let reason = match because {
        Some((Word::Because, end)) => atoms.get(behind_marks(atoms, end)),
        _ => None,
    };
    let Some(reason) = reason else {
        return Some(Err(Fault::not_understood()));
    };
    let on = context.sent.on;
    let day = around(written, on).filter(|day| *day <= on && day.year() == on.year());
    Some(
        day.ok_or(Fault::of(WhyUnclear::OddDay))
            .map(|day| Order::Start {
                block: named.id.clone(),
                day,
                because: line[reason.from..].trim().to_owned(),
            }),
    )
}
