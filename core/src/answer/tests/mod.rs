//! Answers as people and mail programs write them, and what each says.

mod collection;
mod days;
mod properties;
mod words;

use chrono::NaiveDate;

use super::*;
use crate::wording::form::{BEGINS, ENDS, fill_in, remark};

/// A Tuesday.
fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, 23).unwrap()
}

fn sent(language: Language, order: DateOrder) -> Sent {
    Sent {
        on: day(),
        day_is_clear: true,
        order,
        language,
    }
}

/// Three blocks, and a mail that asks about the first, or about the traps that are named.
fn farm(asked: &str) -> Form {
    use TrapKind::{BaitBag, Egg, Pheromone, PheromonePpo};
    let traps = [
        ("N1-E1", "N1", Egg),
        ("N1-E2", "N1", Egg),
        ("N1-E3", "N1", Egg),
        ("N1-P1", "N1", Pheromone),
        ("N1-B1", "N1", BaitBag),
        ("N2-E1", "N2", Egg),
        ("N2-C1", "N2", PheromonePpo),
        ("R4-P7", "R4", Pheromone),
    ];
    let traps = traps.map(|(id, block, kind)| FormTrap {
        id: TrapId::new(id).unwrap(),
        block: BlockId::new(block).unwrap(),
        kind,
        told: None,
    });
    let blocks = [
        ("N1", "Home block", "Nonpareil, Monterey"),
        ("N2", "Creek 7", "Nonpareil, Wood Colony"),
        ("R4", "Ridge", "Independence"),
    ];
    let blocks = blocks.map(|(id, name, varieties)| FormBlock {
        id: BlockId::new(id).unwrap(),
        name: name.to_owned(),
        varieties: varieties.split(", ").map(str::to_owned).collect(),
    });
    Form {
        asked: asked
            .split_whitespace()
            .map(|id| TrapId::new(id).unwrap())
            .collect(),
        traps: traps.into(),
        blocks: blocks.into(),
    }
}

const ASKED: &str = "N1-E1 N1-E2 N1-E3 N1-P1 N1-B1";

/// The text of a round mail, as its lines are made for coming back.
fn mail(form: &Form, language: Language) -> String {
    let words = &language.words().answer;
    let mut lines = vec![format!("{BEGINS} {}", words.form_begins)];
    lines.push(remark(
        "Home block (N1): closed until Jun 24, bring 3 baits",
    ));
    for (place, trap) in form.asked.iter().enumerate() {
        let last = format!("gate {place}, row 1{place}, tree 5; 12 on Jun 14; change: bait");
        lines.push(remark(&last));
        lines.push(fill_in(trap));
    }
    lines.extend(words.foot.map(remark));
    lines.push(format!("{ENDS} {}", words.form_ends));
    lines.join("\n")
}

fn quoted(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(|line| format!("> {line}")).collect();
    lines.join("\n")
}

/// Each thing that was said and each that was not understood, one a line.
fn told(answer: &Answer) -> Vec<String> {
    let said = answer.said.iter().map(|line| match &line.says {
        Says::Visit(visit) => visit_words(visit),
        Says::Note(note) => note_words(note),
        Says::Order(order) => format!("{order:?}"),
    });
    let unclear = answer.unclear.iter().map(|unclear| {
        let probably = unclear.probably.as_ref();
        let probably = probably.map_or_else(String::new, |words| format!(" -> {words}"));
        format!("? {:?}: {}{probably}", unclear.why, unclear.text)
    });
    let talk = answer.talk.iter().map(|line| format!("talk: {line}"));
    said.chain(unclear).chain(talk).collect()
}

fn visit_words(visit: &Visit) -> String {
    let mut words = vec![visit.trap.to_string()];
    if visit.date != day() {
        words.push(visit.date.format("%m-%d").to_string());
    }
    for (count, what) in [
        (visit.eggs, "eggs"),
        (visit.moths, "moths"),
        (visit.males, "males"),
        (visit.females, "females"),
    ] {
        words.extend(count.map(|count| format!("{count} {what}")));
    }
    words.extend(visit.eggs_left.then(|| "left".to_owned()));
    words.extend((!visit.readable).then(|| "unreadable".to_owned()));
    words.extend(visit.serviced.iter().map(|part| part.name().to_owned()));
    words.extend((!visit.note.is_empty()).then(|| format!("({})", visit.note)));
    words.join(" ")
}

fn note_words(note: &FieldNote) -> String {
    let what = match note.kind {
        NoteKind::HullSplit => "split".to_owned(),
        NoteKind::Shaken => "shaken".to_owned(),
        NoteKind::ShakeExpected(days) => format!("shake {}", days.likely.format("%m-%d")),
        NoteKind::NoEntryUntil(day) => format!("closed until {}", day.format("%m-%d")),
        other => format!("{other:?}"),
    };
    let variety = note.variety.as_deref().unwrap_or("no variety");
    let text = Some(&note.text).filter(|text| !text.is_empty());
    let text = text.map_or_else(String::new, |text| format!(" ({text})"));
    format!(
        "{} {} {variety}: {what}{text}",
        note.block,
        note.date.format("%m-%d")
    )
}
