//! The collection of answers in `tests/data/answers`.

use std::fs;
use std::path::Path;

use super::*;

/// An answer of the collection: its name, its settings, its text and what it says.
struct Sample {
    name: String,
    language: Language,
    order: DateOrder,
    asked: String,
    text: String,
    says: Vec<String>,
}

/// A file: `### name`, lines `setting: value`, the text between `<<<` and `>>>`, then what it says.
fn samples(file: &str) -> Vec<Sample> {
    let answers = file.split("\n### ").skip(1);
    answers.map(sample).collect()
}

fn sample(written: &str) -> Sample {
    let (head, rest) = written.split_once("\n<<<\n").expect("a text begins");
    let (text, says) = rest.split_once("\n>>>").expect("a text ends");
    let setting = |name: &str| {
        let line = head.lines().find_map(|line| line.strip_prefix(name));
        line.map(str::trim)
    };
    let language = setting("language:")
        .and_then(Language::from_code)
        .unwrap_or_default();
    let asked = setting("asked:").unwrap_or(ASKED);
    let form = mail(&farm(asked), language);
    let text = text
        .replace("{>form}", &quoted(&form))
        .replace("{form}", &form);
    let says = says.lines().map(str::trim).filter(|line| !line.is_empty());
    Sample {
        name: head.lines().next().unwrap_or_default().to_owned(),
        language,
        order: match setting("order:") {
            Some("day-month") => DateOrder::DayMonth,
            _ => DateOrder::MonthDay,
        },
        asked: asked.to_owned(),
        text,
        says: says.map(str::to_owned).collect(),
    }
}

fn all() -> Vec<Sample> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/answers");
    let files = fs::read_dir(folder)
        .unwrap()
        .map(|file| file.unwrap().path());
    let mut files: Vec<_> = files
        .filter(|file| file.extension().is_some_and(|e| e == "txt"))
        .collect();
    files.sort();
    files
        .iter()
        .flat_map(|file| samples(&fs::read_to_string(file).unwrap()))
        .collect()
}

#[test]
fn each_answer_of_the_collection_says_what_stands_beside_it() {
    let samples = all();
    let mut wrong = Vec::new();
    for sample in &samples {
        let sent = sent(sample.language, sample.order);
        let says = told(&read(&sample.text, &farm(&sample.asked), &sent));
        if says != sample.says {
            wrong.push(format!(
                "{}\n{:#?}\nbut expected {:#?}",
                sample.name, says, sample.says
            ));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n\n"));
    assert!(samples.len() >= 60, "{} answers", samples.len());
}

#[test]
fn an_answer_says_the_same_after_any_mail_program_had_its_line_ends_and_blanks() {
    for sample in all() {
        let sent = sent(sample.language, sample.order);
        let form = farm(&sample.asked);
        let plain = told(&read(&sample.text, &form, &sent));
        let crlf = sample.text.replace('\n', "\r\n");
        assert_eq!(told(&read(&crlf, &form, &sent)), plain, "{}", sample.name);
        let solid = sample.text.replace(' ', "\u{a0}");
        assert_eq!(told(&read(&solid, &form, &sent)), plain, "{}", sample.name);
    }
}
