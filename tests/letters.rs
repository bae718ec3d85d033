//! Whole messages as people and mail programs write them (`tests/data/answers/mail`), each handed in at the counter.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use duskflight::clock::SetClock;
use duskflight::config::Config;
use duskflight::inbox::Counter;
use duskflight::mail::left::Left;
use duskflight::store::Store;
use mail_parser::MessageParser;
use serde_json::Value;

use crate::harness::{Farm, VISITS, rows};

/// The day of the round that is answered.
pub(crate) const DAY: &str = "2022-04-22";

/// A farm whose scout walks two blocks, and an adviser a third one.
pub(crate) fn farm() -> Farm {
    let farm = Farm::new("2022-12-31");
    farm.add_scout();
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,scout,crop,regime,station,varieties\n\
         N1,Home block,gil,ada,sam,almond,conventional,yard,Nonpareil\n\
         N2,Creek 7,gil,ada,sam,almond,conventional,yard,Nonpareil\n\
         S1,Far block,gil,ada,,almond,conventional,yard,Nonpareil\n",
    );
    farm.write(
        "traps.csv",
        "id,block,kind,hung,route,gate,row,tree,bait,lure\n\
         N1-E1,N1,egg,2022-03-15,north,1,2,3,meal,\nN1-E2,N1,egg,2022-03-15,north,1,4,3,meal,\n\
         N1-E3,N1,egg,2022-03-15,north,1,6,3,meal,\nN1-E4,N1,egg,2022-03-15,north,1,8,3,meal,\n\
         N1-P1,N1,pheromone,2022-03-15,north,1,9,1,,lure\nN2-E1,N2,egg,2022-03-15,north,2,2,3,meal,\n\
         N2-P1,N2,pheromone,2022-03-15,north,2,9,1,,lure\nS1-E1,S1,egg,2022-03-15,,,,,meal,\n",
    );
    farm.import(
        "round.csv",
        &VISITS.replace(",e", ",N1-E").replacen("N1-Eggs", "eggs", 1),
    );
    farm
}

/// The round mail as it left, and by what an answer is known.
pub(crate) struct Round {
    pub(crate) message_id: String,
    pub(crate) reply_to: String,
    pub(crate) subject: String,
    pub(crate) text: String,
    pub(crate) html: String,
}

/// The bytes of a person's newest mail of a kind.
pub(crate) fn bytes_of(farm: &Farm, person: &str, kind: &str) -> Vec<u8> {
    let sql = format!(
        "SELECT hex(body) FROM outbox JOIN mail_content USING (message_id)
         WHERE person = '{person}' AND kind = '{kind}' ORDER BY place DESC LIMIT 1"
    );
    let hex = rows(&farm.database(), &sql).remove(0).remove(0);
    let places = (0..hex.len()).step_by(2);
    places
        .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
        .collect()
}

/// Tells and delivers the round of the day.
pub(crate) fn round(farm: &Farm) -> Round {
    farm.nightly(DAY);
    let bytes = bytes_of(farm, "sam", "round");
    let mail = MessageParser::default().parse(&bytes).unwrap();
    let to = mail.reply_to().unwrap().first().unwrap();
    Round {
        message_id: mail.message_id().unwrap().to_owned(),
        reply_to: to.address.as_ref().unwrap().to_string(),
        subject: mail.subject().unwrap().to_owned(),
        text: mail.body_text(0).unwrap().replace("\r\n", "\n"),
        html: mail.body_html(0).unwrap().replace("\r\n", "\n"),
    }
}

impl Round {
    /// Fills in by what an answer is known.
    fn fill_in(&self, message: &[u8]) -> Vec<u8> {
        let tag = self.reply_to.split(['+', '@']).nth(1).unwrap();
        let mut message = message.to_vec();
        for (sign, value) in [
            ("MESSAGE-ID", &*self.message_id),
            ("REPLY-TO", &*self.reply_to),
            ("TAG", tag),
        ] {
            message = replaced(&message, format!("@@{sign}@@").as_bytes(), value.as_bytes());
        }
        message
    }
}

fn replaced(bytes: &[u8], what: &[u8], by: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while at < bytes.len() {
        if bytes[at..].starts_with(what) {
            out.extend_from_slice(by);
            at += what.len();
        } else {
            out.push(bytes[at]);
            at += 1;
        }
    }
    out
}

/// Where the answers of a farm are handed in, on the morning after its round.
pub(crate) fn counter(farm: &Farm, database: &Path) -> Counter {
    let config = Arc::new(Config::read(Path::new(farm.config())).unwrap());
    let at = config.digest_instant("2022-04-23".parse().unwrap());
    Counter {
        store: Store::open(database).unwrap(),
        clock: Arc::new(SetClock::at(at)),
        config,
    }
}

/// What became of a message: what stands by it, and what is asked, a line each.
fn became(left: Option<Left>, database: &Path) -> Vec<String> {
    if let Some(left) = left {
        return vec![format!("left: {}", left.name())];
    }
    let connection = rusqlite::Connection::open(database).unwrap();
    let visits = rows(
        &connection,
        "SELECT trap, substr(day, 6), eggs, moths, males, females, readable, serviced, note, entered_by
         FROM visit WHERE via = 'mail' ORDER BY trap, day",
    );
    let mut lines: Vec<String> = visits.iter().map(|row| visit(row)).collect();
    for row in rows(
        &connection,
        "SELECT said FROM answer WHERE said IS NOT NULL",
    ) {
        let said: Value = serde_json::from_str(&row[0]).unwrap();
        let texts = |list: &str, of: &dyn Fn(&Value) -> String| -> Vec<String> {
            said[list].as_array().unwrap().iter().map(of).collect()
        };
        let text = |line: &Value| line["text"].as_str().unwrap().to_owned();
        lines.extend(texts("done", &|done| {
            format!("done: {}", done.as_str().unwrap())
        }));
        lines.extend(texts("asked", &|line| format!("sure? {}", text(line))));
        lines.extend(texts("unclear", &|line| format!("? {}", text(line))));
    }
    lines
}

fn visit(row: &[String]) -> String {
    assert_eq!(row[9], "sam");
    let mut parts = vec![row[0].clone(), row[1].clone()];
    for (count, name) in row[2..6].iter().zip(["eggs", "moths", "males", "females"]) {
        if !count.is_empty() {
            parts.push(format!("{count} {name}"));
        }
    }
    if row[6] == "0" {
        parts.push("unreadable".to_owned());
    }
    parts.extend((!row[7].is_empty()).then(|| row[7].clone()));
    parts.extend((!row[8].is_empty()).then(|| format!("# {}", row[8])));
    parts.join(" ")
}

/// Where the messages lie.
pub(crate) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/data/answers/mail")
}

/// What each message is to become, by its name.
fn expected() -> BTreeMap<String, Vec<String>> {
    let text = fs::read_to_string(folder().join("expected.txt")).unwrap();
    let parts = text.split("\n### ").skip(1);
    let read = |part: &str| {
        let mut lines = part.lines().map(str::trim).filter(|line| !line.is_empty());
        let name = lines.next().unwrap().split_once(' ').unwrap().0.to_owned();
        (name, lines.map(str::to_owned).collect())
    };
    parts.map(read).collect()
}

/// The messages, each with its name.
pub(crate) fn messages() -> BTreeMap<String, Vec<u8>> {
    let files = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let files = files.filter(|file| file.extension().is_some_and(|end| end == "eml"));
    files
        .map(|file| {
            let name = file.file_stem().unwrap().to_str().unwrap().to_owned();
            (name, fs::read(file).unwrap())
        })
        .collect()
}

#[tokio::test]
async fn messages_as_people_and_mail_programs_write_them_say_what_was_written() {
    let farm = farm();
    let round = round(&farm);
    // What they quote is the mail as it is now.
    for (name, now) in [("round.txt", &round.text), ("round.html", &round.html)] {
        if std::env::var_os("INSTA_UPDATE").is_some_and(|how| how == "always") {
            fs::write(folder().join(name), now).unwrap();
        }
        let quoted = fs::read_to_string(folder().join(name)).unwrap();
        assert_eq!(
            &quoted, now,
            "{name} is out of date: see the README beside it"
        );
    }
    let (messages, expected) = (messages(), expected());
    assert!(messages.len() >= 60, "{}", messages.len());
    assert!(messages.keys().eq(expected.keys()), "each has its result");
    let told = farm.saved_database();
    let mut wrong = String::new();
    for (name, message) in messages {
        let database = farm.path(&format!("{name}.sqlite"));
        fs::write(&database, &told).unwrap();
        let counter = counter(&farm, &database);
        let message = round.fill_in(&message);
        let left = counter.hand_in(message.clone(), true).await.unwrap();
        let found = became(left, &database);
        if found != expected[&name] {
            wrong += &format!("{name}:\n  is {found:#?}\n  not {:#?}\n", expected[&name]);
        }
        let again = counter.hand_in(message, true).await.unwrap();
        assert_eq!(
            became(again, &database),
            found,
            "{name}, handed in once more"
        );
        drop(counter);
        fs::remove_file(&database).unwrap();
    }
    assert!(wrong.is_empty(), "{wrong}");
}
