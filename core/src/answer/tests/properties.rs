//! What holds for any text.

use std::collections::HashSet;

use proptest::prelude::*;

use super::*;
use crate::answer::atoms::{Kind, atoms};
use crate::answer::names::key;
use crate::answer::tidy::tidy;

/// A form of any traps that a mail can tell apart, and the mail that asks about them.
fn any_form() -> impl Strategy<Value = (Form, Language)> {
    let kinds = prop::sample::select(vec![
        TrapKind::Egg,
        TrapKind::Pheromone,
        TrapKind::PheromonePpo,
        TrapKind::BaitBag,
    ]);
    let id = "([A-Za-z]{1,6}[0-9]{0,2})[-_.]([A-Za-z0-9]{1,4})";
    let traps = prop::collection::vec((id, kinds), 1..12);
    let language = prop::sample::select(Language::ALL.to_vec());
    (traps, language).prop_map(|(traps, language)| {
        let (mut form, mut seen) = (Form::default(), HashSet::new());
        for (id, kind) in traps.into_iter().filter(|(id, _)| seen.insert(key(id))) {
            let (block, _) = id.split_once(['-', '_', '.']).unwrap();
            let block = BlockId::new(block).unwrap();
            let id = TrapId::new(&id).unwrap();
            form.asked.push(id.clone());
            form.blocks.push(FormBlock {
                id: block.clone(),
                name: format!("{block} block"),
                varieties: vec!["Nonpareil".into()],
            });
            form.traps.push(FormTrap {
                id,
                block,
                kind,
                told: None,
            });
        }
        (form, language)
    })
}

/// How a mail program brings a text back.
#[derive(Debug, Clone)]
struct Habit {
    quote: &'static str,
    width: usize,
    rewrap: bool,
    quote_first: bool,
    lose_hash: bool,
    line_end: &'static str,
    solid: bool,
    head: &'static str,
    marks: bool,
}

fn any_habit() -> impl Strategy<Value = Habit> {
    let quote = prop::sample::select(vec!["", "> ", ">", ">> ", "    "]);
    let head = prop::sample::select(vec![
        "",
        "On Tue, Jun 23, 2026 at 6:00 AM Farm <farm@example.com> wrote:\n",
        "El mar, 23 jun 2026 a las 6:00, Finca\n<farm@example.com> escribió:\n",
        "-----Original Message-----\nFrom: Farm\nSent: Tuesday, June 23, 2026\n",
        "Am 23.06.2026 um 06:00 schrieb Farm:\n\n",
    ]);
    let line_end = prop::sample::select(vec!["\n", "\r\n", "\n\n", " "]);
    (
        (quote, 1..120_usize, any::<bool>(), any::<bool>()),
        (any::<bool>(), line_end, any::<bool>(), head, any::<bool>()),
    )
        .prop_map(|(layout, rest)| Habit {
            // A sign without a blank, in the middle of a line, would read as "more than".
            quote: match rest.1 {
                " " if layout.0.starts_with('>') => "> ",
                _ => layout.0,
            },
            width: layout.1,
            rewrap: layout.2,
            quote_first: layout.3,
            lose_hash: rest.0,
            line_end: rest.1,
            solid: rest.2,
            head: rest.3,
            marks: rest.4,
        })
}

impl Habit {
    fn bring_back(&self, text: &str) -> String {
        let mut text = text.to_owned();
        if !self.marks {
            text = text.replace(BEGINS, "").replace(ENDS, "");
        }
        if self.lose_hash {
            text = text.replace("# ", "");
        }
        let quote = |line: String| format!("{}{line}", self.quote);
        let lines: Vec<String> = if self.rewrap {
            wrapped(&text.replace('\n', " "), self.width)
        } else if self.quote_first {
            // Quoted lines that grew too long break without a sign.
            let lines = text.lines().map(|line| quote(line.to_owned()));
            lines.flat_map(|line| wrapped(&line, self.width)).collect()
        } else {
            text.lines()
                .flat_map(|line| wrapped(line, self.width))
                .collect()
        };
        let lines: Vec<String> = match self.quote_first && !self.rewrap {
            true => lines,
            false => lines.into_iter().map(quote).collect(),
        };
        let text = format!("{}{}", self.head, lines.join(self.line_end));
        if self.solid {
            text.replace(' ', "\u{a0}")
        } else {
            text
        }
    }
}

/// Lines of at most so many letters, broken between words.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last_mut().expect("there is one");
        if !last.is_empty() && last.len() + 1 + word.len() > width {
            lines.push(word.to_owned());
        } else {
            let blank = if last.is_empty() { "" } else { " " };
            last.push_str(blank);
            last.push_str(word);
        }
    }
    lines
}

/// Counts of a visit.
fn counts(visit: &Visit) -> impl Iterator<Item = u32> {
    [visit.eggs, visit.moths, visit.males, visit.females]
        .into_iter()
        .flatten()
}

/// Texts of the kind that people write, so that some of it is read.
fn any_text() -> impl Strategy<Value = String> {
    let word = prop_oneof![
        4 => prop::sample::select(vec![
            "N1", "N1-E1", "N1-E2", "N1-P1", "E1", "P1", "N2-C1", "R4-P7", "Home block", "N1 – E3",
        ]).prop_map(str::to_owned),
        4 => "[0-9]{1,3}",
        2 => "[0-9olm.,]{1,4}",
        3 => prop::sample::select(vec![
            "eggs", "m", "f", "bait", "liner", "wet", "left", "moths", "-", "=", ":", ",", "#", "[", "]", ">", "\n",
            "\n> ", "Jun 20", "yesterday", "split", "Nonpareil", "closed until", "undo", "sure", "hold", "start",
            "because", "==v==", "==^==", "--", "wrote:", "shake", "Thanks",
        ]).prop_map(str::to_owned),
        1 => "\\PC{0,6}",
    ];
    prop::collection::vec(word, 0..40).prop_map(|words| words.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn a_mail_that_nobody_filled_in_says_nothing_however_it_comes_back(
        (form, language) in any_form(),
        habit in any_habit(),
    ) {
        let text = habit.bring_back(&mail(&form, language));
        let answer = read(&text, &form, &sent(language, DateOrder::MonthDay));
        prop_assert!(answer.said.is_empty(), "{text}\n{:?}", told(&answer));
        prop_assert!(!habit.marks || answer.unclear.is_empty(), "{text}\n{:?}", told(&answer));
    }

    #[test]
    fn a_line_written_above_a_mail_is_read_whatever_becomes_of_the_mail(
        habit in any_habit(),
        count in 0..900_u32,
    ) {
        let form = farm(ASKED);
        let mut habit = habit;
        habit.marks = true;
        let text = format!("N1-E1 {count} bait\n{}", habit.bring_back(&mail(&form, Language::English)));
        let answer = read(&text, &form, &sent(Language::English, DateOrder::MonthDay));
        prop_assert_eq!(told(&answer), vec![format!("N1-E1 {count} eggs bait")], "{}", text);
    }

    #[test]
    fn no_text_says_a_count_that_is_not_in_it(text in any_text()) {
        let answer = read(&text, &farm(ASKED), &sent(Language::Spanish, DateOrder::MonthDay));
        let plain = tidy(&text);
        let numbers: Vec<u32> = atoms(&plain)
            .iter()
            .filter(|atom| atom.kind == Kind::Number)
            .filter_map(|atom| atom.text.parse().ok())
            .collect();
        for line in &answer.said {
            if let Says::Visit(visit) = &line.says {
                for count in counts(visit) {
                    prop_assert!(numbers.contains(&count), "{count} in {text:?}");
                }
                prop_assert!(visit.date <= day());
                prop_assert!(plain.to_lowercase().contains(&visit.trap.as_str()[3..].to_lowercase())
                    || plain.contains("N1") || plain.contains("Home"), "{text:?}");
            }
        }
    }

    #[test]
    fn what_is_offered_as_meant_is_understood_when_it_is_sent_back(text in any_text()) {
        let form = farm(ASKED);
        let sent = sent(Language::English, DateOrder::MonthDay);
        for unclear in read(&text, &form, &sent).unclear {
            if let Some(probably) = unclear.probably {
                let again = read(&probably, &form, &sent);
                prop_assert!(!again.said.is_empty() || again.unclear.iter().any(|u| u.why == WhyUnclear::Twice),
                    "{probably:?} of {text:?}: {:?}", told(&again));
            }
        }
    }

    #[test]
    fn any_characters_are_read_without_a_word(text in "\\PC{0,400}") {
        let answer = read(&text, &farm(ASKED), &sent(Language::English, DateOrder::DayMonth));
        prop_assert!(answer.said.len() <= text.len());
    }
}

#[test]
fn a_long_text_is_read_in_time_that_grows_with_its_length() {
    let form = farm(ASKED);
    let sent = sent(Language::English, DateOrder::MonthDay);
    for part in [
        "N1-E1 1 ",
        "x",
        "[",
        "N1 ",
        "-",
        "Jun ",
        "a:",
        "=",
        "\n> ",
        "1,",
        "N1-E9 1\n",
        "On 2026 wrote:\n",
    ] {
        let text = part.repeat(40_000 / part.len());
        let answer = read(&text, &form, &sent);
        assert!(
            answer.unclear.len() <= 500 + answer.said.len() + 100_000,
            "{part}"
        );
    }
}
