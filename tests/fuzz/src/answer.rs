//! Answers of all kinds to a round mail of one block.

use duskflight_core::answer::{Form, FormBlock, FormTrap, Says, Sent, read};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::orchard::TrapKind;
use duskflight_core::wording::DateOrder;
use duskflight_core::wording::language::Language;

/// The traps of two blocks, of which one is asked about.
pub(crate) fn form() -> Form {
    let traps = [
        ("N1-E1", "N1", TrapKind::Egg),
        ("N1-E2", "N1", TrapKind::Egg),
        ("N1-P1", "N1", TrapKind::Pheromone),
        ("N1-B1", "N1", TrapKind::BaitBag),
        ("N2-E1", "N2", TrapKind::Egg),
        ("N2-C1", "N2", TrapKind::PheromonePpo),
    ];
    let traps = traps.map(|(id, block, kind)| FormTrap {
        id: TrapId::new(id).expect("an id"),
        block: BlockId::new(block).expect("an id"),
        kind,
        told: None,
    });
    let blocks = [("N1", "Home block"), ("N2", "Creek 7")].map(|(id, name)| FormBlock {
        id: BlockId::new(id).expect("an id"),
        name: name.to_owned(),
        varieties: vec!["Nonpareil".to_owned(), "Wood Colony".to_owned()],
    });
    let in_first = traps.iter().filter(|trap| trap.block.as_str() == "N1");
    Form {
        asked: in_first.map(|trap| trap.id.clone()).collect(),
        traps: traps.to_vec(),
        blocks: blocks.to_vec(),
    }
}

/// Reads a text and sees that each count stands in it.
pub(crate) fn check(text: &[u8], form: &Form) {
    let text = String::from_utf8_lossy(text);
    let sent = Sent {
        on: "2026-06-23".parse().expect("a day"),
        day_is_clear: true,
        order: DateOrder::MonthDay,
        language: Language::Spanish,
    };
    let answer = read(&text, form, &sent);
    let digits: String = text.chars().map(plain).collect();
    for line in answer.said {
        let Says::Visit(visit) = line.says else {
            continue;
        };
        assert!(visit.date <= sent.on, "{visit:?}");
        let counts = [visit.eggs, visit.moths, visit.males, visit.females];
        for count in counts.into_iter().flatten() {
            assert!(digits.contains(&count.to_string()), "{visit:?} of {text:?}");
        }
    }
}

/// Full-width digits are digits.
fn plain(letter: char) -> char {
    match u32::from(letter) {
        wide @ 0xff10..=0xff19 => char::from_u32(wide - 0xff10 + 0x30).unwrap_or(letter),
        _ => letter,
    }
}
