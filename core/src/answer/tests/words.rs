//! The guide's page and the words that are understood.

use std::fs;
use std::path::Path;

use super::*;
use crate::wording::language::AnswerWords;

/// The rows of the guide's table: what is meant, and its words in each language.
fn rows(words: [&AnswerWords; 2]) -> Vec<String> {
    let row = |what: &str, of: &dyn Fn(&AnswerWords) -> &'static [&'static str]| {
        let [english, spanish] = words.map(|words| of(words).join(", "));
        format!("| {what} | {english} | {spanish} |")
    };
    vec![
        row("eggs", &|words| words.eggs),
        row("moths, unsexed", &|words| words.moths),
        row("males", &|words| words.males),
        row("females", &|words| words.females),
        row("eggs left on the trap", &|words| words.left),
        row("could not be read", &|words| words.unreadable),
        row("lure changed", &|words| words.parts[0]),
        row("PPO changed", &|words| words.parts[1]),
        row("bait changed", &|words| words.parts[2]),
        row("liner changed", &|words| words.parts[3]),
        row("the day before", &|words| words.yesterday),
        row("the day itself", &|words| words.today),
        row("hull split seen", &|words| words.split),
        row("shake expected", &|words| words.shake),
        row("shaken", &|words| words.shaken),
        row("nobody enters before", &|words| words.closed_until),
        row("take the answer before back", &|words| words.undo),
        row("right as it was asked about", &|words| words.sure),
        row("keep alerts back", &|words| words.hold),
        row("let them leave", &|words| words.release),
        row("add a line to alerts", &|words| words.note),
        row("set an egg-laying start", &|words| words.start),
        row("the reason", &|words| words.because),
    ]
}

#[test]
fn the_guide_names_the_words_that_are_understood_and_no_others() {
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/guide/answers.md");
    let guide = fs::read_to_string(guide).unwrap();
    let table: Vec<&str> = guide
        .lines()
        .skip_while(|line| !line.starts_with("| what is meant"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .collect();
    let rows = rows(Language::ALL.map(|language| &language.words().answer));
    assert_eq!(table, rows, "\n{}\n", rows.join("\n"));
}

/// The examples of a text that stand between backticks and begin with a capital of a block.
fn check_examples(text: &str, language: Language) {
    let order = match language {
        Language::English => DateOrder::MonthDay,
        Language::Spanish => DateOrder::DayMonth,
    };
    let sent = sent(language, order);
    for example in text.split('`').skip(1).step_by(2) {
        let answer = read(example, &farm(ASKED), &sent);
        assert!(answer.unclear.is_empty(), "{example}: {:?}", told(&answer));
    }
}

#[test]
fn each_example_of_the_guide_is_understood() {
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/guide/answers.md");
    let guide = fs::read_to_string(guide).unwrap();
    check_examples(&guide, Language::English);
}

#[test]
fn each_example_of_a_foot_is_understood() {
    for language in Language::ALL {
        let order = match language {
            Language::English => DateOrder::MonthDay,
            Language::Spanish => DateOrder::DayMonth,
        };
        let sent = sent(language, order);
        let foot = language.words().answer.foot.join(" ");
        let mut examples = 0;
        // An example stands behind a colon or a comma and begins with a block.
        for said in foot
            .split([':', ',', '.'])
            .map(str::trim)
            .filter(|said| said.starts_with("N1"))
        {
            let answer = read(said, &farm(ASKED), &sent);
            assert!(
                answer.unclear.is_empty() && !answer.said.is_empty(),
                "{said}: {:?}",
                told(&answer)
            );
            examples += 1;
        }
        assert_eq!(examples, 5, "{foot}");
    }
}
